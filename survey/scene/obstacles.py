"""Obstacles as arrays: what can be in the way, its geometry, and what a pass through it costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from survey.base.arrays import BoolArray, FloatArray
from survey.geometry import Prisms, Screens, Sheets, convex_outlines, prisms_of, screens_of, sheets_of
from survey.inputs.materials import FoliageLoss, foliage_loss
from survey.inputs.plan import Box, Foliage, Plan, Roof, Wall

MODULE_MATERIAL = "pv module"
SCREEN_LOSS_DB = 10.0
"""What costs less than this to go through is no screen: a wave goes through it rather than around it."""


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
        Loss of a pass and its standard deviation; for foliage those of the first metre. [dB; dB/m]
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


def obstacles_of(plan: Plan) -> tuple[Obstacles, Sheets, Prisms, Screens]:
    """Everything that can be in the way: what it is, and its geometry."""
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
    most_db: list[float] = []
    for plant in plan.foliage:
        own = plant.loss_db_per_m
        usual = foliage_loss(frequency_mhz) if own is None else FoliageLoss(own, np.inf, 0.0)
        spread = usual.spread_db_per_m if plant.spread_db_per_m is None else plant.spread_db_per_m
        rows.append((plant.name, "foliage", "", usual.loss_db_per_m, spread, False, None))
        most_db.append(plant.most_loss_db or usual.most_loss_db)
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
