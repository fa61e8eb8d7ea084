"""Obstacles of faces: those of buildings, of boxes and walls with openings, and sheets that are pieces of one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.errors import EntryError
from survey.inputs.buildings import Face
from survey.inputs.places.boxes import trial
from survey.inputs.places.carriers import PlacedBox
from survey.inputs.places.words import Written
from survey.inputs.plan import Obstacle, Roof, Wall
from survey.inputs.plan.obstacles import BoxLeaf, BoxPart, BuildingRoof, BuildingWall, Part, WallLeaf, WallPart

UPRIGHT = 1e-6
"""A sheet whose unit normal rises no more than this is upright. [-]"""
DECIMALS = 9
"""Of a corner: a nanometre, far above rounding and far below what a line can tell. [-]"""
COSTS = ("material", "loss_db", "spread_db")
"""The keys of an obstacle that say what a pass costs."""
OWN = (*COSTS, "drawn_within_m")
"""The keys that parts of an obstacle have from it."""


def pieces_of(sheets_m: Iterable[FloatArray]) -> tuple[tuple[tuple[float, float, float], ...], ...]:
    """Return the corners of sheets as an obstacle keeps them: what a bearing leaves of rounding is rounded off."""
    return tuple(tuple((x, y, z) for x, y, z in (sheet_m.round(DECIMALS) + 0.0).tolist()) for sheet_m in sheets_m)


def building_parts(faces: Sequence[Face], within_m: Mapping[str, float | None]) -> list[Obstacle]:
    """Return an obstacle for each face that is not open, with what its building is drawn within. [m]"""
    return [
        (BuildingWall if _is_upright(face.sheets_m[0]) else BuildingRoof)(
            name=face.name,
            material=face.material,
            pieces=pieces_of(face.sheets_m),
            whole=face.owner,
            drawn_within_m=within_m.get(face.owner),
        )
        for face in faces
        if not face.is_open and face.sheets_m
    ]


def _is_upright(sheet_m: FloatArray) -> bool:
    normal = np.linalg.svd(sheet_m - sheet_m.mean(axis=0), full_matrices=False)[2][2]
    return abs(float(normal[2])) <= UPRIGHT


def box_parts(name: str, box: PlacedBox) -> tuple[Obstacle, ...]:
    """Return a box with openings as one obstacle, and what fills the openings, each as one."""
    low_m = trial(box.values).closed_m()[:4]
    sheets_m = [*(sheet_m for face in box.faces for sheet_m in face.sheets_m), low_m]
    shell = BoxPart(name=name, whole=name, pieces=pieces_of(sheets_m), **_own(box.values))
    return (shell, *_leaves(BoxLeaf, name, box.leaves))


def wall_parts(one: Written, face: Face, leaves: Sequence[Face]) -> tuple[Obstacle, ...]:
    """Return a wall with openings as one obstacle, and what fills the openings, each as one."""
    wall = WallPart(name=one.name, whole=one.name, pieces=pieces_of(face.sheets_m), **_own(one.rest))
    return (wall, *_leaves(WallLeaf, one.name, leaves))


def _own(values: dict[str, Any]) -> dict[str, Any]:
    return {name: values[name] for name in OWN if name in values}


def _leaves(kind: type[Part], whole: str, leaves: Sequence[Face]) -> list[Obstacle]:
    return [
        kind(name=leaf.name, material=leaf.material, pieces=pieces_of(leaf.sheets_m), whole=whole)
        for leaf in leaves
        if not leaf.is_open
    ]


def merged(named: Sequence[tuple[str, Wall | Roof]]) -> list[tuple[str, Part]]:
    """Return the obstacles that loose sheets are pieces of, each with the place of its first piece.

    Parameters
    ----------
    named : sequence of (str, Wall or Roof)
        Sheets with `part_of`, each with its place.

    Raises
    ------
    EntryError
        Where pieces of one obstacle are not of one material or loss: pairs of place and problem.
    """
    groups: dict[str, list[tuple[str, Wall | Roof]]] = {}
    for place, sheet in named:
        groups.setdefault(sheet.part_of, []).append((place, sheet))
    found: list[tuple[str, Part]] = []
    problems: list[tuple[str, str]] = []
    for name, sheets in groups.items():
        place, first = sheets[0]
        own = {key: getattr(first, key) for key in COSTS}
        for at, other in sheets[1:]:
            if any(getattr(other, key) != own[key] for key in COSTS):
                problem = f'is of "{name}" as "{first.name}" is, but not of its material or loss; write the same'
                problems.append((at, problem))
        own["drawn_within_m"] = max(
            (one.drawn_within_m for _, one in sheets if one.drawn_within_m is not None), default=None
        )
        sheets_m = [sheet_m for _, sheet in sheets for sheet_m in sheet.sheets_m()]
        is_face = "/" in name
        upright = _is_upright(sheets_m[0])
        kind = (BuildingWall if upright else BuildingRoof) if is_face else WallPart
        whole = name.partition("/")[0] if is_face else name
        found.append((place, kind(name=name, whole=whole, pieces=pieces_of(sheets_m), **own)))
    if problems:
        raise EntryError(problems)
    return found
