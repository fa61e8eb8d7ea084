"""What is exported, whatever the kind of file: devices with their best links, and obstacles seen from above."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.polygon import signed_area_m2
from survey.budget import STATES, Links, links_of
from survey.output.answers.values import plain
from survey.routing import Network
from survey.scene import Ends, Scene

FIGURES = ("distance_m", "uplink_level_dbm", "downlink_level_dbm", "margin_db", "reliability")
"""The figures of an inverter's link, as `survey links` names them."""
MIN_AREA_M2 = 1e-4
"""A sheet whose shape from above is smaller than a square centimetre is upright: a line."""


@dataclass(frozen=True, slots=True)
class Device:
    """An inverter, a gateway or a spot.

    Attributes
    ----------
    kind : str
        ``inverter``, ``gateway`` or ``spot``.
    at_m : ndarray of float, shape (3,)
        Position. [m]
    facts : dict
        Name, serial, branch, note; of inverters the state and figures of the link too. What is not known is left out.
    """

    kind: str
    at_m: FloatArray
    facts: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Shape:
    """A sheet of an obstacle, or foliage: its corners in space, shape (n, 3) [m]; upright ones as a foot line too."""

    kind: str
    name: str
    material: str
    corners_m: FloatArray

    @property
    def foot_m(self) -> FloatArray | None:
        """The two ends of an upright sheet from above, shape (2, 2); None where it covers an area. [m]"""
        flat = self.corners_m[:, :2]
        if abs(signed_area_m2(flat)) >= MIN_AREA_M2:
            return None
        along = flat - flat.mean(axis=0)
        reach = along @ along[np.argmax(np.hypot(*along.T))]
        return flat[[int(np.argmin(reach)), int(np.argmax(reach))]]

    @property
    def heights_m(self) -> tuple[float, float]:
        """Lowest and highest. [m]"""
        return float(self.corners_m[:, 2].min()), float(self.corners_m[:, 2].max())


@dataclass(frozen=True, kw_only=True)
class Exported:
    """A site, and its links where there is a gateway to link to.

    Attributes
    ----------
    scene : Scene
        The site.
    links : Links or None
        The links of all inverters.
    networks : tuple of Network
        Where spots are compared, the routes to each as the only gateway.
    """

    scene: Scene
    links: Links | None
    networks: tuple[Network, ...] = ()

    def devices(self) -> Iterator[Device]:
        """Inverters, gateways, and the spots that the plan or the user names."""
        scene = self.scene
        yield from self._inverters()
        notes = {one.name: one.note for one in (*scene.plan.gateways, *scene.plan.spots)}
        asked = set(self.links.gateways.names) if self.links else set()
        named = asked | {one.name for one in scene.plan.spots}
        yield from _places("gateway", scene.gateways, set(scene.gateways.names), notes)
        yield from _places("spot", scene.spots, named, notes)

    def _inverters(self) -> Iterator[Device]:
        ends, links = self.scene.inverters, self.links
        best = None if links is None else np.lexsort((links.margin_db, links.reliability))[:, -1].tolist()
        for i, name in enumerate(ends.names):
            facts: dict[str, Any] = {"name": name, "serial": ends.serials[i], "branch": ends.branches[i]}
            if links is not None and best is not None:
                facts |= {"gateway": links.gateways.names[best[i]], "state": STATES[int(links.state[i, best[i]])]}
                facts |= {figure: plain(getattr(links, figure)[i, best[i]]) for figure in FIGURES}
            if self.networks:
                facts["spots"] = {network.links.gateways.names[0]: _verdict(network, i) for network in self.networks}
            yield Device("inverter", ends.at_m[i], _said(facts))

    def shapes(self) -> Iterator[Shape]:
        """Every sheet of every obstacle; of a volume its outline at the bottom and at the top."""
        obstacles, sheets = self.scene.obstacles, self.scene.sheets
        for owner, corners in zip(sheets.owner.tolist(), sheets.corners_m, strict=True):
            once = corners[np.any(corners != np.roll(corners, 1, axis=0), axis=1)]  # sheets of few corners repeat some
            one = obstacles.entries[owner]
            yield Shape(one.kind, one.name, one.made_of, once)
        for one in obstacles.entries:
            volume = one.volume()
            if volume is None:
                continue
            for height_m in (volume.base_m, volume.top_m):
                ring_m = np.column_stack([volume.footprint_m, np.full(len(volume.footprint_m), height_m)])
                yield Shape(one.kind, one.name, one.made_of, ring_m)


def exported(scene: Scene, *, gateways: Sequence[str] = ()) -> Exported:
    """Return what is to be exported.

    Parameters
    ----------
    scene : Scene
        The site.
    gateways : sequence of str
        Gateways or spots to which links are worked out; without any, the gateways that stand today, if any.

    Raises
    ------
    UnknownNameError
        Naming every name that there is not.
    """
    linked = bool(gateways) or len(scene.gateways) > 0
    return Exported(scene=scene, links=links_of(scene, gateways=gateways) if linked else None)


def _places(kind: str, ends: Ends, named: set[str], notes: dict[str, str]) -> Iterator[Device]:
    for name, at_m in zip(ends.names, ends.at_m, strict=True):
        if name in named:
            yield Device(kind, at_m, _said({"name": name, "note": notes.get(name, "")}))


def _verdict(network: Network, i: int) -> dict[str, Any]:
    """An inverter's route to a spot, as `survey compare --json` names its figures."""
    route = network.routes[i]
    return {
        "margin_db": plain(route.weakest_margin_db),
        "reliability": plain(route.reliability),
        "state": STATES[int(network.state[i])],
    }


def _said(facts: dict[str, Any]) -> dict[str, Any]:
    """Facts without those that are empty."""
    return {key: value for key, value in facts.items() if value not in ("", None)}
