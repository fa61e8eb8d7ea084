"""Where a gateway could go with little effort: higher, along its wall, or its antenna away from it on a cable."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.layout import place_name
from survey.base.units import compass_word, direction_of_bearing
from survey.decisions.remedies.remedy import IN_REACH_M
from survey.geometry import crossings, on_sheet
from survey.inputs.plan import Box, Search
from survey.scene import Ends, Scene

RAISES_M = (0.5, 1.0, 2.0)
"""By how much a gateway is raised: a longer bracket, a longer post, a short mast. [m]"""
STEPS_M = (0.5, 1.0, 2.0)
"""How far it is moved along its wall, each way. [m]"""
LIFTS_M = (2.0, 5.0)
"""How far straight up an antenna goes on a cable. [m]"""
WALL_WITHIN_M = 0.5
"""A gateway this close to an upright sheet hangs on it. [m]"""
NEAR_SHEET_M = 0.1
"""Nothing is hung closer than this under a ceiling or before another wall. [m]"""
HIGHEST_M = 1_000.0
"""No antenna is put higher than a plan may have it (`plan.kinds.HEIGHT`). [m]"""
OUTSIDE_M = 0.15
"""How far a gateway hangs in front of the cabinet that it was in: clear of it by more than `NEAR_SHEET_M`. [m]"""
BESIDE_M = 2.0
"""A gateway is hung outside a box within this of where it is: farther off it is another spot. A judgement. [m]"""


@dataclass(frozen=True, kw_only=True)
class Cable:
    """The cable between a gateway and an antenna away from it.

    Attributes
    ----------
    longest_m : float
        How long it may be; 0 for none. [m]
    loss_db_per_m : float
        What a metre of it costs. [dB/m]
    connectors_db : float
        What its two ends cost together. [dB]
    assumed : bool
        Whether the loss is an assumption, and not given.
    """

    longest_m: float
    loss_db_per_m: float
    connectors_db: float = 0.5
    assumed: bool = True

    def loss_db(self, length_m: float) -> float:
        """What so much of it costs, ends included. [dB]"""
        return self.loss_db_per_m * length_m + self.connectors_db


def usual_cable(frequency_mhz: float) -> Cable:
    """The cable that is assumed where nobody says otherwise.

    Notes
    -----
    10 m of flexible coaxial cable of 5 mm, 0.5 dB/m at 868 MHz and more with the root of frequency, since the current
    keeps to the skin of the conductor; 0.5 dB for both connectors. An assumption, from memory of what such cables
    (RG-58) lose: the data sheet of the cable at hand has the figure.

    Examples
    --------
    >>> round(usual_cable(868.0).loss_db(5.0), 2), round(usual_cable(2440.0).loss_db_per_m, 2)
    (3.0, 0.84)
    """
    return Cable(longest_m=10.0, loss_db_per_m=0.5 * math.sqrt(frequency_mhz / 868.0))


@dataclass(frozen=True, kw_only=True)
class Variant:
    """A gateway, a little changed.

    Attributes
    ----------
    kind : str
        ``outside``, ``raise``, ``move`` or ``cable``.
    action : str
        What to do, in words.
    gateway : Ends
        The gateway as it then is, one end.
    cautions : tuple of str
        Of `remedies.CAUTIONS`.
    spot : int
        To which spot of the scene the antenna goes; -1 for none of them.
    """

    kind: str
    action: str
    gateway: Ends
    cautions: tuple[str, ...]
    spot: int = -1


def variants_of(scene: Scene, gateway: Ends, *, cable: Cable, spots: list[int]) -> list[Variant]:
    """All that can be done with a gateway near where it is.

    Parameters
    ----------
    scene : Scene
        The site.
    gateway : Ends
        One gateway.
    cable : Cable
        For an antenna away from it.
    spots : list of int
        The spots of the scene to which its antenna could go.

    Returns
    -------
    list of Variant
        The gateway itself goes through no wall and no roof, and no mast stands under a roof; a cable to a spot may go
        through a hole.
    """
    return [
        *_outside(scene, gateway),
        *_raised(scene, gateway),
        *_moved(scene, gateway),
        *_lifted(scene, gateway, cable),
        *_away(scene, gateway, cable, spots),
    ]


def cable_m(gateway: Ends, places: Ends) -> FloatArray:
    """How long a cable from a gateway to each of some places is, laid along walls and posts: shape (places,). [m]"""
    return np.asarray(np.abs(places.at_m - gateway.at_m).sum(axis=1))


def _at(gateway: Ends, at_m: FloatArray, *, more_loss_db: float = 0.0) -> Ends:
    return replace(gateway, at_m=at_m.reshape(1, 3), loss_db=gateway.loss_db + more_loss_db)


def _clear(scene: Scene, gateway: Ends, at_m: FloatArray) -> bool:
    """Whether nothing stands between where a gateway is and where it would go."""
    return not len(crossings(gateway.at_m, at_m.reshape(1, 3), scene.sheets).start)


def _free(scene: Scene, gateway: Ends, at_m: FloatArray) -> bool:
    """Whether a place lies on no sheet that the gateway is not on today: through that it would be heard for nothing."""
    there, here = (on_sheet(one.reshape(1, 3), scene.sheets, within_m=NEAR_SHEET_M) for one in (at_m, gateway.at_m))
    return not np.any(there & ~here)


def _under_the_sky(scene: Scene, gateway: Ends) -> bool:
    """Whether nothing is above a gateway: only there a mast can stand."""
    return _clear(scene, gateway, np.array([*gateway.at_m[0, :2], HIGHEST_M]))


def is_inside(box: Box, at_m: FloatArray) -> bool:
    """Whether a point is inside a box."""
    away_m = at_m[:2] - np.asarray(box.centre)
    along_m = abs(float(away_m @ direction_of_bearing(box.bearing_deg)))
    across_m = abs(float(away_m @ direction_of_bearing(box.bearing_deg - 90.0)))
    up_m = float(at_m[2]) - box.base_m
    return along_m < box.length_m / 2.0 and across_m < box.width_m / 2.0 and 0.0 < up_m < box.height_m


def _outside(scene: Scene, gateway: Ends) -> Iterator[Variant]:
    """Yield the gateway in front of each side of the box that it is in, at its height, beside no other sheet."""
    for box in scene.plan.obstacles:
        if not isinstance(box, Box):
            continue
        if not is_inside(box, gateway.at_m[0]):
            continue
        along, across = direction_of_bearing(box.bearing_deg), direction_of_bearing(box.bearing_deg - 90.0)
        away_m = gateway.at_m[0, :2] - np.asarray(box.centre)
        place, half_m = (away_m @ along, away_m @ across), (box.length_m / 2.0, box.width_m / 2.0)
        for axis, side in ((axis, side) for axis in (0, 1) for side in (-1.0, 1.0)):
            step_m = side * (half_m[axis] + OUTSIDE_M) - place[axis]
            at_m = gateway.at_m[0] + step_m * np.array([*(along, across)[axis], 0.0])
            passed = scene.sheets.owner[crossings(gateway.at_m, at_m.reshape(1, 3), scene.sheets).sheet].tolist()
            own = all(scene.obstacles.names[one] == box.name for one in passed)
            if abs(step_m) <= BESIDE_M and own and _free(scene, gateway, at_m):
                word = compass_word(*(side * (along, across)[axis]).tolist())
                action = f"hang the gateway outside {box.name}, on its {word} side"
                cautions = ("height", "mains") if at_m[2] > IN_REACH_M else ("mains",)
                yield Variant(kind="outside", action=action, gateway=_at(gateway, at_m), cautions=cautions)


def _raised(scene: Scene, gateway: Ends) -> Iterator[Variant]:
    for up_m in RAISES_M:
        at_m = gateway.at_m[0] + [0.0, 0.0, up_m]
        if at_m[2] <= HIGHEST_M and _clear(scene, gateway, at_m) and _free(scene, gateway, at_m):
            action = f"raise the gateway {up_m:g} m, to {at_m[2]:.2f} m"
            yield Variant(kind="raise", action=action, gateway=_at(gateway, at_m), cautions=("height",))


def _moved(scene: Scene, gateway: Ends) -> Iterator[Variant]:
    """Along the line it was searched on or, where there is none, along the wall that it hangs on."""
    search = next((one for one in scene.plan.searches if one.name == gateway.places[0] and one.along), None)
    cautions = ("height", "mains") if gateway.at_m[0, 2] > IN_REACH_M else ("mains",)
    for along, at_m, step_m in _along_line(search, gateway) if search else _along_wall(scene, gateway):
        if _clear(scene, gateway, at_m) and _free(scene, gateway, at_m):
            word = compass_word(*(at_m - gateway.at_m[0])[:2].tolist())
            action = f"move the gateway {step_m:g} m {word} along {along}"
            yield Variant(kind="move", action=action, gateway=_at(gateway, at_m), cautions=cautions)


def _along_line(search: Search, gateway: Ends) -> Iterator[tuple[str, FloatArray, float]]:
    assert search.along is not None
    corners_m = np.array(search.along)
    legs_m = np.hypot(*np.diff(corners_m, axis=0).T)
    reached_m = np.concatenate([[0.0], np.cumsum(legs_m)])
    share = np.sum((gateway.at_m[0, :2] - corners_m[:-1]) * np.diff(corners_m, axis=0), axis=1)
    share = np.clip(share / np.maximum(legs_m, 1e-9) ** 2, 0.0, 1.0)
    nearest = corners_m[:-1] + share[:, None] * np.diff(corners_m, axis=0)
    leg = int(np.argmin(np.hypot(*(nearest - gateway.at_m[0, :2]).T)))
    here_m = float(reached_m[leg] + share[leg] * legs_m[leg])
    for step_m in STEPS_M:
        for there_m in (here_m - step_m, here_m + step_m):
            if 0.0 <= there_m <= reached_m[-1]:
                flat = [float(np.interp(there_m, reached_m, corners_m[:, axis])) for axis in (0, 1)]
                rise_m = 0.0
                if search.ground is not None:
                    here, there = search.ground.height_m(np.array([gateway.at_m[0, :2], flat])).tolist()
                    rise_m = there - here
                yield search.name, np.array([*flat, gateway.at_m[0, 2] + rise_m]), step_m


def _along_wall(scene: Scene, gateway: Ends) -> Iterator[tuple[str, FloatArray, float]]:
    upright = np.abs(scene.sheets.normal[:, 2]) < 0.01  # noqa: PLR2004
    near = on_sheet(gateway.at_m, scene.sheets, within_m=WALL_WITHIN_M)[0] & upright
    if not near.any():
        return
    off_m = np.abs(scene.sheets.normal @ gateway.at_m[0] - scene.sheets.offset_m)
    wall = int(np.argmin(np.where(near, off_m, np.inf)))
    x, y, _ = scene.sheets.normal[wall].tolist()
    along = np.array([-y, x, 0.0]) / math.hypot(x, y)
    name = scene.obstacles.names[scene.sheets.owner[wall]]
    for step_m in STEPS_M:
        for way in (-1.0, 1.0):
            at_m = gateway.at_m[0] + way * step_m * along
            if on_sheet(at_m.reshape(1, 3), scene.sheets, within_m=WALL_WITHIN_M)[0, wall]:
                yield name, at_m, step_m


def _lifted(scene: Scene, gateway: Ends, cable: Cable) -> Iterator[Variant]:
    for up_m in LIFTS_M:
        at_m, loss_db = gateway.at_m[0] + [0.0, 0.0, up_m], cable.loss_db(up_m)
        if (
            up_m <= cable.longest_m
            and at_m[2] <= HIGHEST_M
            and _under_the_sky(scene, gateway)
            and _free(scene, gateway, at_m)
        ):
            yield Variant(
                kind="cable",
                action=f"put the antenna {up_m:g} m higher on a cable ({loss_db:.1f} dB)",
                gateway=_at(gateway, at_m, more_loss_db=loss_db),
                cautions=("height", "cable"),
            )


def _away(scene: Scene, gateway: Ends, cable: Cable, spots: list[int]) -> Iterator[Variant]:
    lengths_m = cable_m(gateway, scene.spots.pick(spots))
    for i, length_m in zip(spots, lengths_m.tolist(), strict=True):
        loss_db = cable.loss_db(length_m)
        action = f"put the antenna at {place_name(scene.spots.names[i])} on a cable ({loss_db:.1f} dB)"
        yield Variant(
            kind="cable",
            action=action,
            gateway=_at(gateway, scene.spots.at_m[i], more_loss_db=loss_db),
            cautions=("height", "cable") if scene.spots.at_m[i, 2] > IN_REACH_M else ("cable",),
            spot=i,
        )
