"""A plan as arrays: who stands where with which radio, and what could be in the way."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from survey.antennas import Pattern
from survey.correction import Correction
from survey.errors import UnknownNameError, check_names
from survey.geometry import (
    Prisms,
    Screens,
    Sheets,
    buildings_of,
    convex_outlines,
    prisms_of,
    screens_of,
    sheets_of,
)
from survey.materials import vegetation_loss
from survey.plan import Array, Box, Foliage, Inverter, OwnRadio, Plan, RadioEnd, Roof, Search, Spot, Wall

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

MODULE_MATERIAL = "pv module"
SCREEN_LOSS_DB = 10.0
"""What costs less than this to go through is no screen: a wave goes through it rather than around it."""


@dataclass(frozen=True, kw_only=True)
class Ends:
    """Radios at one end of the links, inverters or gateways.

    Attributes
    ----------
    names, places, serials : tuple of str
        Name of each; what it belongs to in the plan (its array or search, or its own name); its serial or nothing.
    at_m : ndarray of float, shape (ends, 3)
        Position. [m]
    tx_power_dbm : ndarray of float, shape (ends,)
        Transmit power. [dBm]
    antenna_gain_dbi : ndarray of float, shape (ends,)
        Gain at the horizon, on top of which the pattern comes; 0 where the pattern is that of a whole antenna. [dBi]
    pattern : ndarray of int, shape (ends,)
        Index into the scene's `patterns`; 0 is isotropic.
    loss_db : ndarray of float, shape (ends,)
        Mounting and cable, on the way out and on the way in. [dB]
    need_dbm : ndarray of float, shape (ends,)
        Level that the receiver needs: sensitivity and noise rise. [dBm]
    """

    names: tuple[str, ...]
    places: tuple[str, ...]
    serials: tuple[str, ...]
    at_m: FloatArray
    tx_power_dbm: FloatArray
    antenna_gain_dbi: FloatArray
    pattern: IntArray
    loss_db: FloatArray
    need_dbm: FloatArray

    def __len__(self) -> int:
        return len(self.names)

    def pick(self, indices: Sequence[int] | IntArray | slice) -> Ends:
        """Some of them, in the order asked for."""
        chosen = np.arange(len(self))[indices]
        values: dict[str, Any] = {}
        for one in fields(self):
            value = getattr(self, one.name)
            values[one.name] = value[chosen] if isinstance(value, np.ndarray) else tuple(value[i] for i in chosen)
        return Ends(**values)

    def named(self, asked: Sequence[str], *, file: str, what: str) -> Ends:
        """Those of the given names, each once, in the order asked for.

        Raises
        ------
        UnknownNameError
            Naming every name that there is not.
        """
        check_names(asked, self.names, file=file, what=what)
        index = {name: i for i, name in enumerate(self.names)}
        return self.pick([index[name] for name in dict.fromkeys(asked)])


@dataclass(frozen=True, kw_only=True)
class Obstacles:
    """What stands on the site, with the loss of one pass through a sheet of it, or of a metre inside.

    Attributes
    ----------
    names, kinds : tuple of str
        Name; and ``wall``, ``box``, ``roof``, ``modules`` or ``foliage``.
    materials : tuple of str
        Material, or nothing where the obstacle carries its own loss.
    loss_db, spread_db : ndarray of float, shape (obstacles,)
        Loss of a pass and its standard deviation; for foliage the loss of a metre. [dB; dB/m]
    opaque : ndarray of bool, shape (obstacles,)
        Of a material that lets nothing through that counts.
    slabs : tuple of (str, float) or None
        Substance and thickness [m] where the loss is that of a slab, and so depends on the angle.
    most_loss_db : ndarray of float, shape (obstacles,)
        What foliage costs at most, however long the path inside; infinite for all else. [dB]
    """

    names: tuple[str, ...]
    kinds: tuple[str, ...]
    materials: tuple[str, ...]
    loss_db: FloatArray
    spread_db: FloatArray
    opaque: BoolArray
    slabs: tuple[tuple[str, float] | None, ...]
    most_loss_db: FloatArray

    def __len__(self) -> int:
        return len(self.names)


@dataclass(frozen=True, kw_only=True)
class Scene:
    """A site ready for computing.

    Attributes
    ----------
    plan : Plan
        What it was made of.
    patterns : tuple of Pattern
        Of the antennas, isotropic first.
    inverters, gateways, spots : Ends
        The inverters; the gateways that stand today; the places where one could go, searches included.
    obstacles : Obstacles
        Whatever `sheets` and `prisms` name as owner.
    sheets, prisms : Sheets, Prisms
        Their geometry.
    screens : Screens
        Those of them that a wave had better go around.
    correction : Correction or None
        What readings have taught, where a fit is used.
    """

    plan: Plan
    patterns: tuple[Pattern, ...]
    inverters: Ends
    gateways: Ends
    spots: Ends
    obstacles: Obstacles
    sheets: Sheets
    prisms: Prisms
    screens: Screens
    correction: Correction | None = None

    @cached_property
    def gateways_and_spots(self) -> Ends:
        """All places that a command may name as a gateway."""
        return join([self.gateways, self.spots])

    @cached_property
    def buildings(self) -> IntArray:
        """Which building each screen belongs to that lets something through; -1 for those of none."""
        return buildings_of(self.screens, self.sheets, ~self.obstacles.opaque[self.screens.owner])

    def wanting(self, **changes: int | None) -> Scene:
        """The same site with some of the plan's requirements changed."""
        wanted = {name: value for name, value in changes.items() if value is not None}
        plan = replace(self.plan, requirement=replace(self.plan.requirement, **wanted))
        return replace(self, plan=plan)

    def check_names(self, *, places: Sequence[str], inverters: Sequence[str]) -> None:
        """Refuse names that the plan does not have, those of both ends in one message.

        Raises
        ------
        UnknownNameError
            Naming every name that there is not.
        """
        told = []
        for ends, asked, what in (
            (self.gateways_and_spots, places, "gateway or spot"),
            (self.inverters, inverters, "inverter"),
        ):
            try:
                check_names(asked, ends.names, file=self.plan.file, what=what)
            except UnknownNameError as error:
                told.append(str(error))
        if told:
            raise UnknownNameError("\n".join(told))


def scene_of(plan: Plan) -> Scene:
    """Lay a plan out as arrays.

    Parameters
    ----------
    plan : Plan
        A plan.

    Returns
    -------
    Scene
        Inverters of arrays first, then single ones; spots first, then searches, each in the order of the plan.
    """
    obstacles, sheets, prisms, screens = _obstacles(plan)
    common = plan.radio
    return Scene(
        plan=plan,
        patterns=tuple(plan.patterns.values()),
        inverters=join(_ends(plan, one, common.inverter) for one in (*plan.arrays, *plan.inverters)),
        gateways=join(_ends(plan, one, common.gateway) for one in plan.gateways),
        spots=join(_ends(plan, one, common.gateway) for one in (*plan.spots, *plan.searches)),
        obstacles=obstacles,
        sheets=sheets,
        prisms=prisms,
        screens=screens,
    )


def corrected(scene: Scene, correction: Correction) -> Scene:
    """A site as readings have shown it to be.

    Parameters
    ----------
    scene : Scene
        As the plan has it.
    correction : Correction
        Fitted to readings of that site.

    Returns
    -------
    Scene
        With the fitted exponent and shadowing in its plan, and with the standard errors of fitted losses in the place
        of their spreads. The losses themselves, and with them what ways around meet, stay the plan's; links add the
        changes to straight lines, and to ways that leave a building.
    """
    fitted = correction.unit >= 0
    errors_db = np.sqrt(np.diag(correction.covariance))[2:]
    spread_db = scene.obstacles.spread_db.copy()
    spread_db[fitted] = errors_db[correction.unit[fitted]]
    environment = replace(
        scene.plan.environment,
        path_loss_exponent=correction.path_loss_exponent,
        shadowing_db=correction.shadowing_db,
    )
    return replace(
        scene,
        plan=replace(scene.plan, environment=environment),
        obstacles=replace(scene.obstacles, spread_db=spread_db),
        correction=correction,
    )


def revised(scene: Scene, plan: Plan) -> Scene:
    """The site of a changed plan; where readings have corrected the site, so is the new one, obstacle by obstacle."""
    changed, correction = scene_of(plan), scene.correction
    if correction is None:
        return changed
    old = {name: i for i, name in enumerate(scene.obstacles.names)}
    index = np.array([old.get(name, -1) for name in changed.obstacles.names], dtype=np.int64)
    unit = np.append(correction.unit, -1)[index]
    change_db = np.append(correction.change_db, 0.0)[index]
    return corrected(changed, replace(correction, unit=unit, change_db=change_db))


def join(parts: Iterable[Ends]) -> Ends:
    """Several groups of ends as one."""
    groups = list(parts)
    names, places, serials = (
        tuple(text for group in groups for text in getattr(group, field)) for field in ("names", "places", "serials")
    )

    def joined(field: str) -> FloatArray:
        return np.concatenate([np.zeros(0), *(getattr(group, field) for group in groups)])

    return Ends(
        names=names,
        places=places,
        serials=serials,
        at_m=np.concatenate([np.zeros((0, 3)), *(group.at_m for group in groups)]),
        tx_power_dbm=joined("tx_power_dbm"),
        antenna_gain_dbi=joined("antenna_gain_dbi"),
        pattern=np.concatenate([np.zeros(0, dtype=np.int64), *(group.pattern for group in groups)]),
        loss_db=joined("loss_db"),
        need_dbm=joined("need_dbm"),
    )


def _ends(plan: Plan, one: OwnRadio, common: RadioEnd) -> Ends:
    """The radios that one entry of a plan stands for."""
    radio = one.radio(common)
    serials: tuple[str, ...] = ()
    if isinstance(one, Array):
        name, names, at_m = one.name, one.inverter_names(), one.positions_m()
        serials = one.serials
    elif isinstance(one, Search):
        name, names, at_m = one.name, one.spot_names(), one.positions_m()
    else:
        assert isinstance(one, Inverter | Spot)
        name, names, at_m = one.name, [one.name], np.array([[*one.at, one.height_m]])
        serials = (one.serial,) if isinstance(one, Inverter) else ()
    group = radios_at(plan, radio, at_m)
    count = len(names)
    return replace(group, names=tuple(names), places=(name,) * count, serials=serials or ("",) * count)


def radios_at(plan: Plan, radio: RadioEnd, at_m: FloatArray) -> Ends:
    """The same radio at many places, without names.

    Parameters
    ----------
    plan : Plan
        The plan whose antennas the radio names.
    radio : RadioEnd
        The radio.
    at_m : ndarray of float, shape (places, 3)
        The places. [m]
    """
    count = len(at_m)
    return Ends(
        names=("",) * count,
        places=("",) * count,
        serials=("",) * count,
        at_m=at_m,
        tx_power_dbm=np.full(count, radio.tx_power_dbm),
        antenna_gain_dbi=np.full(count, plan.patterns[radio.antenna].base_gain_dbi(radio.antenna_gain_dbi)),
        pattern=np.full(count, list(plan.patterns).index(radio.antenna), dtype=np.int64),
        loss_db=np.full(count, radio.mounting_loss_db + radio.cable_loss_db),
        need_dbm=np.full(count, radio.sensitivity_dbm + radio.noise_rise_db),
    )


def wall_outlines_m(wall: Wall) -> list[FloatArray]:
    """Corners of each upright sheet of a wall, shapes (4, 3). [m]"""
    line = np.array(wall.along)
    heights_m = np.array([wall.base_m, wall.base_m, wall.base_m + wall.height_m, wall.base_m + wall.height_m])
    return [np.column_stack([np.array([start, end, end, start]), heights_m]) for start, end in pairwise(line)]


def box_outlines_m(box: Box) -> list[FloatArray]:
    """Corners of the six faces of a box: four sides, bottom and top, shapes (4, 3). [m]"""
    footprint_m = box.footprint_m()
    low = np.column_stack([footprint_m, np.full(4, box.base_m)])
    high = np.column_stack([footprint_m, np.full(4, box.base_m + box.height_m)])
    sides = [np.array([low[i - 1], low[i], high[i], high[i - 1]]) for i in range(4)]
    return [*sides, low, high]


def _obstacles(plan: Plan) -> tuple[Obstacles, Sheets, Prisms, Screens]:
    """Everything that can be in the way."""
    frequency_mhz = plan.radio.frequency_mhz
    rows: list[tuple[str, str, str, float, float, bool, tuple[str, float] | None]] = []
    outlines: list[FloatArray] = []
    owners: list[int] = []
    bodies: list[tuple[FloatArray, int, Sequence[int]]] = []

    def add(kind: str, name: str, outlines_m: list[FloatArray], one: Wall | Box | Roof | None) -> None:
        named = MODULE_MATERIAL if one is None else one.material
        material = plan.materials[named.casefold()] if named else None
        own_loss_db, own_spread_db = (one.loss_db, one.spread_db) if one is not None else (None, None)
        loss_db = own_loss_db if own_loss_db is not None else material.loss_db(frequency_mhz) if material else 0.0
        spread_db = own_spread_db if own_spread_db is not None else material.spread_db if material else 0.0
        opaque = own_loss_db is None and material is not None and material.opaque
        parts_m = [part_m for outline_m in outlines_m for part_m in convex_outlines(outline_m)]
        numbers = range(len(outlines), len(outlines) + len(parts_m))
        if kind == "box" and 2.0 * loss_db >= SCREEN_LOSS_DB:
            bodies.append((np.concatenate(outlines_m[-2:]), len(rows), numbers))
        elif kind != "box" and loss_db >= SCREEN_LOSS_DB:
            bodies.extend((part_m, len(rows), [number]) for part_m, number in zip(parts_m, numbers, strict=True))
        outlines.extend(parts_m)
        owners.extend([len(rows)] * len(parts_m))
        slab = (material.slab, material.thickness_m) if own_loss_db is None and material and material.slab else None
        rows.append((name, kind, named or "", loss_db, spread_db, opaque, slab))

    for wall in plan.walls:
        add("wall", wall.name, wall_outlines_m(wall), wall)
    for box in plan.boxes:
        add("box", box.name, box_outlines_m(box), box)
    for roof in plan.roofs:
        add("roof", roof.name, [np.array(roof.corners)], roof)
    for array in plan.arrays:
        for row, sheet_m in enumerate(array.module_sheets_m(), start=1):
            add("modules", array.row_name(row), [sheet_m], None)
    first_plant = len(rows)
    usual_db_per_m, usual_most_db = vegetation_loss(frequency_mhz)
    for plant in plan.foliage:
        own = plant.loss_db_per_m
        rows.append((plant.name, "foliage", "", usual_db_per_m if own is None else own, 0.0, False, None))
    most_db = [
        plant.most_loss_db or (usual_most_db if plant.loss_db_per_m is None else np.inf) for plant in plan.foliage
    ]
    names, kinds, materials, loss_db, spread_db, opaque, slabs = zip(*rows, strict=True) if rows else ((),) * 7
    obstacles = Obstacles(
        names=names,
        kinds=kinds,
        materials=materials,
        loss_db=np.array(loss_db, dtype=np.float64),
        spread_db=np.array(spread_db, dtype=np.float64),
        opaque=np.array(opaque, dtype=bool),
        slabs=slabs,
        most_loss_db=np.append(np.full(first_plant, np.inf), most_db),
    )
    sheets = sheets_of(outlines, owners)
    screens = screens_of(bodies, sheets=sheets)
    return obstacles, sheets, _prisms(plan.foliage, first_plant), screens


def _prisms(plants: Sequence[Foliage], first_owner: int) -> Prisms:
    return prisms_of(
        [np.array(plant.footprint) for plant in plants],
        [plant.base_m for plant in plants],
        [plant.base_m + plant.height_m for plant in plants],
        range(first_owner, first_owner + len(plants)),
    )
