"""What a plan holds, and what in it is legal but looks wrong."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray
from survey.decisions.placement import short_of_room
from survey.geometry import inside_boxes, on_sheet
from survey.inputs.materials import BUILT_IN, foliage_loss
from survey.inputs.plan import OwnRadio, Plan, RadioEnd
from survey.links import Links, Progress, links_in_blocks
from survey.scene import Ends, Scene, box_outlines_m

FAR_M = 1_000.0
"""Farther than this from the inverters, a coordinate is more often mistyped than meant."""
NEAR_SHEET_M = 0.05
"""An end this close to a sheet was probably meant to be on it."""
MOST_NAMES = 5
"""How many names one warning gives before it counts the rest."""
STRETCH = 1.2
"""A figure found at one frequency may be used this many times above or below it without a warning."""
RADIATING = ("tx_power_dbm", "antenna_gain_dbi", "antenna")
"""The figures of a radio that say what it radiates."""


@dataclass(frozen=True, kw_only=True)
class RadiatedLimit:
    """A usual limit of radiated power in one band: a reminder for the installer, never a verdict."""

    low_mhz: float
    high_mhz: float
    eirp_dbm: float
    rule: str


RADIATED_LIMITS = (
    RadiatedLimit(low_mhz=2400.0, high_mhz=2483.5, eirp_dbm=20.0, rule="ETSI EN 300 328"),
    RadiatedLimit(low_mhz=2400.0, high_mhz=2483.5, eirp_dbm=36.0, rule="FCC 47 CFR 15.247"),
    RadiatedLimit(low_mhz=902.0, high_mhz=928.0, eirp_dbm=36.0, rule="FCC 47 CFR 15.247"),
    RadiatedLimit(low_mhz=868.0, high_mhz=868.6, eirp_dbm=16.13, rule="ETSI EN 300 220 (25 mW e.r.p.)"),
    RadiatedLimit(low_mhz=869.4, high_mhz=869.65, eirp_dbm=29.14, rule="ETSI EN 300 220 (500 mW e.r.p.)"),
    RadiatedLimit(low_mhz=433.05, high_mhz=434.79, eirp_dbm=12.15, rule="ETSI EN 300 220 (10 mW e.r.p.)"),
)
"""ERC Recommendation 70-03 and 47 CFR 15.247(b); an e.r.p. is 2.15 dB lower than the e.i.r.p. it stands for."""


@dataclass(frozen=True, kw_only=True)
class Inspection:
    """What `survey check` tells.

    Attributes
    ----------
    scene : Scene
        The site.
    counts : tuple of (str, int)
        How many there are of each kind of thing.
    extent_m : tuple of three pairs of float
        Lowest and highest x, y and z of all ends. [m]
    defaults : tuple of ((str, str, object), int)
        Table, key and value of each default that makes a difference, and how often.
    warnings : tuple of str
        What looks wrong.
    """

    scene: Scene
    counts: tuple[tuple[str, int], ...]
    extent_m: tuple[tuple[float, float], ...]
    defaults: tuple[tuple[tuple[str, str, object], int], ...]
    warnings: tuple[str, ...]


def inspect(scene: Scene, *, met: BoolArray | None = None, progress: Progress | None = None) -> Inspection:
    """Look a plan over.

    Parameters
    ----------
    scene : Scene
        The site.
    met : ndarray of bool, shape (obstacles,), optional
        Which obstacles straight lines to gateways and spots meet, where `mark_met` has found that already.
    progress : callable, optional
        Told how many gateways and spots have been tried.

    Returns
    -------
    Inspection
    """
    plan = scene.plan
    ends_m = np.concatenate([scene.inverters.at_m, scene.gateways_and_spots.at_m])
    counts = (
        ("inverter", len(scene.inverters)),
        ("gateway", len(scene.gateways)),
        ("spot", len(scene.spots)),
        ("wall", len(plan.walls)),
        ("box", len(plan.boxes)),
        ("roof", len(plan.roofs)),
        ("module row", sum(kind == "modules" for kind in scene.obstacles.kinds)),
        ("foliage", len(plan.foliage)),
        ("own material", len(plan.own_materials)),
    )
    extent_m = tuple(zip(ends_m.min(axis=0).tolist(), ends_m.max(axis=0).tolist(), strict=True))
    warnings = (
        *_places(scene),
        *_serials(scene),
        *_inside_boxes(scene),
        *_near_sheets(scene),
        *_materials(plan),
        *_radiated(plan),
        *filter(None, [short_of_room(scene)]),
        *_never_met(scene, met, progress),
    )
    return Inspection(scene=scene, counts=counts, extent_m=extent_m, defaults=defaults_of(plan), warnings=warnings)


def defaults_of(plan: Plan) -> tuple[tuple[tuple[str, str, object], int], ...]:
    """The defaults that make a difference to this plan, each with how often it applies."""
    counts = Counter(one for one in plan.defaults if one[2] not in {"", ()})
    sheets = sum(array.module_depth_m is not None for array in plan.arrays)
    for one in [one for one in counts if one[1] == "clearance_m"]:
        counts[one] = min(counts[one], sheets)
    without = [plant for plant in plan.foliage if plant.loss_db_per_m is None]
    for key, usual in foliage_loss(plan.radio.frequency_mhz)._asdict().items():
        counts["[[foliage]]", key, round(usual, 3)] = sum(getattr(plant, key) is None for plant in without)
    return tuple((one, times) for one, times in counts.items() if times)


def _listed(names: list[str], what: str = "") -> str:
    """Names for a warning, the first few of many, and what they are in the singular or the plural."""
    many = " or ".join(f"{one}s" for one in what.split(" or "))
    shown = f"{what if len(names) == 1 else many} " if what else ""
    shown += ", ".join(names[:MOST_NAMES])
    return f"{shown} and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else shown


def _chosen(ends: Ends, chosen: NDArray[np.bool_]) -> list[str]:
    return [ends.names[i] for i in np.flatnonzero(chosen).tolist()]


def _places(scene: Scene) -> Iterator[str]:
    """Ends below ground, far away, or in the same place."""
    for what, ends in (("inverter", scene.inverters), ("gateway or spot", scene.gateways_and_spots)):
        below = _chosen(ends, ends.at_m[:, 2] < 0)
        if below:
            yield f"below ground (height under 0): {_listed(below, what)}"
    middle_m = np.median(scene.inverters.at_m, axis=0)
    for what, ends in (("inverter", scene.inverters), ("gateway or spot", scene.gateways_and_spots)):
        far = _chosen(ends, np.linalg.norm(ends.at_m - middle_m, axis=1) > FAR_M)
        if far:
            yield f"more than {FAR_M:g} m from the middle of the inverters: {_listed(far, what)}"
    _, index, counts = np.unique(np.round(scene.inverters.at_m, 3), axis=0, return_index=True, return_counts=True)
    same = [scene.inverters.names[i] for i in index[counts > 1].tolist()]
    if same:
        yield f"another inverter stands in the very same place as {_listed(same)}"


def _serials(scene: Scene) -> Iterator[str]:
    """Serials that stand in the plan more than once."""
    serials = scene.inverters.serials
    for serial, times in Counter(one for one in serials if one).items():
        if times > 1:
            names = [name for name, own in zip(scene.inverters.names, serials, strict=True) if own == serial]
            yield f'one serial for several inverters: "{serial}" of {_listed(names)}'


def _inside_boxes(scene: Scene) -> Iterator[str]:
    """Ends inside a closed box: metal all round them."""
    for box in scene.plan.boxes:
        corners_m = np.concatenate(box_outlines_m(box)[-2:])[None]
        for what, ends in (("inverter", scene.inverters), ("gateway or spot", scene.gateways_and_spots)):
            inside = _chosen(ends, inside_boxes(ends.at_m, corners_m)[:, 0])
            if inside:
                yield f'inside the closed box "{box.name}": {_listed(inside, what)}'


def _near_sheets(scene: Scene) -> Iterator[str]:
    """Ends a little off a sheet: they count as in front of it or behind it, which may not be what is meant."""
    owners = scene.sheets.owner
    solid = np.array([kind != "modules" for kind in scene.obstacles.kinds], dtype=bool)[owners]
    for ends in (scene.inverters, _single_places(scene)):
        near = on_sheet(ends.at_m, scene.sheets, within_m=NEAR_SHEET_M) & ~on_sheet(ends.at_m, scene.sheets) & solid
        rows, sheets = np.nonzero(near)
        for row, sheet in zip(rows.tolist()[:MOST_NAMES], sheets.tolist(), strict=False):
            off_m = abs(float(ends.at_m[row] @ scene.sheets.normal[sheet] - scene.sheets.offset_m[sheet]))
            yield (
                f'"{ends.names[row]}" is {off_m * 100:.1f} cm off "{scene.obstacles.names[owners[sheet]]}", neither on '
                "it nor clear of it: what is written on a sheet is heard through it for nothing; on a bracket outside, "
                "write it about 10 cm in front"
            )


def _single_places(scene: Scene) -> Ends:
    """Gateways and single spots: a search has too many points to name."""
    return scene.gateways_and_spots.pick(slice(0, len(scene.plan.gateways) + len(scene.plan.spots)))


def _materials(plan: Plan) -> Iterator[str]:
    """Figures used outside their frequencies, and built-in names that the plan takes over."""
    frequency_mhz = plan.radio.frequency_mhz
    solid = [one for one in (*plan.walls, *plan.boxes, *plan.roofs) if one.material and one.loss_db is None]
    stretched: dict[str, list[str]] = {}
    for name in sorted({one.material.casefold() for one in solid if one.material}):
        low_mhz, high_mhz = plan.materials[name].range_mhz
        stretch = STRETCH if low_mhz == high_mhz else 1.0
        if not low_mhz / stretch <= frequency_mhz <= high_mhz * stretch:
            bound = f"at {low_mhz:g} MHz" if low_mhz == high_mhz else f"from {low_mhz:g} to {high_mhz:g} MHz"
            stretched.setdefault(bound, []).append(name)
    for bound, names in stretched.items():
        yield (
            f"loss of {_listed(names)}: found {bound}, used at {frequency_mhz:g} MHz; take a reading, or give your "
            "own loss_db"
        )
    for own in plan.own_materials:
        if own.name.casefold() in BUILT_IN:
            yield f'[[material]] "{own.name}" takes the place of the built-in one of that name'


def _radiated(plan: Plan) -> Iterator[str]:
    """Radios that radiate more than the usual limit of their band."""
    limits = [one for one in RADIATED_LIMITS if one.low_mhz <= plan.radio.frequency_mhz <= one.high_mhz]
    radios: list[tuple[str, RadioEnd]] = [
        ("[radio.inverter]", plan.radio.inverter),
        ("[radio.gateway]", plan.radio.gateway),
    ]
    owners: list[tuple[OwnRadio, RadioEnd]] = [
        *((one, plan.radio.inverter) for one in (*plan.arrays, *plan.inverters)),
        *((one, plan.radio.gateway) for one in (*plan.gateways, *plan.spots, *plan.searches)),
    ]
    for one, common in owners:
        own = one.radio(common)
        if any(getattr(own, name) != getattr(common, name) for name in RADIATING):
            radios.append((f'"{getattr(one, "name", "")}"', own))
    for place, radio in radios:
        eirp_dbm = _eirp_dbm(plan, radio)
        for limit in limits:
            if eirp_dbm > limit.eirp_dbm + 1e-9:
                yield (
                    f"{place}: {eirp_dbm:.2f} dBm e.i.r.p. (power plus antenna gain) is above the "
                    f"{limit.eirp_dbm:g} dBm usual under {limit.rule}; which limit holds is for the local radio rules "
                    "to say: look it up"
                )


def _eirp_dbm(plan: Plan, radio: RadioEnd) -> float:
    """What a radio radiates in the direction in which its antenna is strongest. [dBm]"""
    return radio.tx_power_dbm + plan.patterns[radio.antenna].peak_gain_dbi(radio.antenna_gain_dbi)


def mark_met(met: BoolArray, links: Links) -> None:
    """Mark the obstacles that the straight lines of some links meet."""
    met[links.scene.sheets.owner[links.crossings.sheet]] = True
    met[links.scene.prisms.owner[links.chords.prism]] = True


def _never_met(scene: Scene, met: BoolArray | None, progress: Progress | None) -> Iterator[str]:
    """Obstacles that no straight line meets."""
    if not len(scene.gateways_and_spots):
        yield "no [[gateway]], [[spot]] or [[search]]: there is no link to work out yet"
        return
    if met is None:
        met = np.zeros(len(scene.obstacles), dtype=bool)
        for _, links in links_in_blocks(scene, scene.inverters, scene.gateways_and_spots, progress=progress):
            mark_met(met, links)
    unmet = [
        name for i, name in enumerate(scene.obstacles.names) if not met[i] and scene.obstacles.kinds[i] != "modules"
    ]
    if unmet:
        yield f"no straight line from an inverter to a gateway or spot meets {_listed(unmet)}: well placed?"
