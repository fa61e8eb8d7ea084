"""Loose sheets that certainly are a building: one of the same figures is built, and every sheet has to fit it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations, count, takewhile
from typing import Any

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.errors import EntryError, PlanError
from survey.inputs.buildings import (
    Body,
    Building,
    Face,
    Level,
    area_m2,
    bearing_of,
    clip,
    common,
    faces_of,
    parts_of,
    word_of,
)
from survey.inputs.plan import Plan, Sheetlike
from survey.output.export.overhangs import overhung

SAME_M = 0.002
"""Corners nearer than this are the same: a plan is written to the centimetre. [m]"""
SAME_AREA = 0.001
"""Sheets that cover a wall but for this share of it cover it: a millimetre of a metre. [-]"""
MAX_PARAPET_M = 2.0
"""Walls that go on above a flat roof by more are those of another storey: a judgement. [m]"""
HIP_PLANES = 4
"""A hip roof over a rectangle has so many. [-]"""
QUAD = 4
"""Corners of a rectangle. [-]"""


@dataclass(frozen=True)
class Recognised:
    """A building, and the loose sheets that it replaces.

    Attributes
    ----------
    values : dict
        What the plan says of the building.
    replaced : tuple of str
        Names of the sheets.
    gables_added : bool
        Whether an end under the roof was open.
    """

    values: dict[str, Any]
    replaced: tuple[str, ...]
    gables_added: bool


@dataclass(frozen=True)
class Candidate:
    """What could be the roof of a building, with all that it says of it but the height of its foot. [m]"""

    over: tuple[Sheetlike, ...]
    values: dict[str, Any]
    eaves_m: float
    ridge_m: float | None = None
    shared: int | None = None
    """The side that is a wall of the building that it is joined to."""
    corners_m: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))


def buildings_in(plan: Plan) -> Iterator[Recognised]:
    """Yield what certainly is a building, those that others are joined to first; no sheet belongs to two."""
    used: set[str] = set()
    names = {one.name for one in plan.obstacles}
    sheets = [one for one in plan.obstacles if isinstance(one, Sheetlike) and one.table in {"wall", "roof"}]
    sheets = [one for one in sheets if one.material and not one.has_own_spread]
    uprights = [one for one in sheets if all(_is_upright(sheet_m) for sheet_m in one.sheets_m())]
    roofs = [one for one in sheets if one.table == "roof" and one not in uprights]
    entries: list[Building] = []
    while True:
        free = [one for one in roofs if one.name not in used]
        bodies = list(faces_of(entries).bodies.values()) if entries else []
        walls = [one for one in uprights if one.name not in used]
        found = next(
            (
                one
                for candidate in (*_free_standing(free), *_joined(free, bodies))
                for chosen in (candidate, overhung(candidate, walls))
                if chosen is not None and (one := _verified(chosen, walls, free, entries, names - used)) is not None
            ),
            None,
        )
        if found is None:
            return
        used |= set(found.replaced)
        names.add(found.values["name"])
        entries.append(_entry(found.values))
        yield found


def _entry(values: dict[str, Any]) -> Building:
    """The building that values as of a plan make."""
    levels = tuple(Level(**one) for one in values.get("level", ()))
    return Building(**values | ({"level": levels} if levels else {}))


# ---------------------------------------------------------------- what could be a roof


def _free_standing(roofs: Sequence[Sheetlike]) -> Iterator[Candidate]:
    """Yield what could be the roof of a building that stands by itself, the surest kinds first, high roofs first."""
    yield from _hips(roofs)
    for one, other in combinations(roofs, 2):
        if (candidate := _gable(one, other)) is not None:
            yield candidate
    high_first = sorted(roofs, key=lambda one: -max(float(sheet_m[:, 2].max()) for sheet_m in one.sheets_m()))
    for one in high_first:
        (sheet_m,) = one.sheets_m()
        corners_m, low_m, high_m = sheet_m[:, :2], float(sheet_m[:, 2].min()), float(sheet_m[:, 2].max())
        if high_m - low_m < SAME_M:
            yield Candidate((one,), {"corners": corners_m, "roof": "flat"}, low_m, corners_m=corners_m)
        elif (edges := _level_edges(one)) is not None:
            low, high = edges
            fall = bearing_of((low.mean(axis=0) - high.mean(axis=0))[:2])
            values = {"corners": corners_m, "roof": "mono-pitch", "falls_deg": round(fall, 4)}
            yield Candidate((one,), values, low_m, high_m, corners_m=corners_m)


def _gable(one: Sheetlike, other: Sheetlike) -> Candidate | None:
    """Two roofs of four corners that meet in a level ridge over the middle of a rectangle."""
    edges, others = _level_edges(one), _level_edges(other)
    if edges is None or others is None or one.made_of != other.made_of:
        return None
    (low_a, high_a), (low_b, high_b) = edges, [_like(edge, edges[0]) for edge in others]
    if np.abs(high_a - high_b).max() > SAME_M:
        return None
    corners_m = np.array([low_a[0], low_a[1], low_b[1], low_b[0]])[:, :2]
    values = {"corners": corners_m, "roof": "gable", "ridge_runs": word_of(bearing_of(corners_m[1] - corners_m[0]))}
    return Candidate((one, other), values, float(low_a[0, 2]), float(high_a[0, 2]), corners_m=corners_m)


def _hips(roofs: Sequence[Sheetlike]) -> Iterator[Candidate]:
    """Four planes, each with two corners of a rectangle at the eaves, that share the corners above them."""
    sloped = [one for one in roofs if len(one.sheets_m()) == 1 and np.ptp(one.sheets_m()[0][:, 2]) > SAME_M]
    for first in sloped:
        (sheet_m,) = first.sheets_m()
        eaves_m = float(sheet_m[:, 2].min())
        ring, corners_m = [first], _eaves(sheet_m)
        while len(ring) < HIP_PLANES and len(corners_m) == len(ring) + 1:
            for other in sloped:
                low = _eaves(other.sheets_m()[0])
                if other in ring or len(low) != 2 or other.made_of != first.made_of:  # noqa: PLR2004  the ends of an edge
                    continue
                near = [k for k in (0, 1) if np.abs(low[k] - corners_m[-1]).max() < SAME_M]
                if near:
                    ring.append(other)
                    corners_m.append(low[1 - near[0]])
                    break
            else:
                break
        closes = len(corners_m) == HIP_PLANES + 1 and np.abs(corners_m[0] - corners_m[-1]).max() < SAME_M
        if closes and len(ring) == HIP_PLANES:
            flat_m = np.array(corners_m[:-1])[:, :2]
            sides_m = np.linalg.norm(np.roll(flat_m, -1, axis=0) - flat_m, axis=1)
            longest = int(np.argmax(sides_m))
            runs = flat_m[(longest + 1) % QUAD] - flat_m[longest]
            ridge_m = max(float(one.sheets_m()[0][:, 2].max()) for one in ring)
            values = {"corners": flat_m, "roof": "hip", "ridge_runs": word_of(bearing_of(runs))}
            yield Candidate(tuple(ring), values, eaves_m, ridge_m, corners_m=flat_m)


def _eaves(sheet_m: FloatArray) -> list[FloatArray]:
    """The lowest corners of a plane, in its order."""
    return [corner for corner in sheet_m if corner[2] < sheet_m[:, 2].min() + SAME_M]


def _joined(roofs: Sequence[Sheetlike], bodies: Sequence[Body]) -> Iterator[Candidate]:
    """Roofs of four corners of which an edge lies on a wall of a building: a lean-to, or a flat one."""
    walls = [face for body in bodies for face in body.faces if face.kind == "wall" and len(face.frames) == 1]
    for one in roofs:
        (sheet_m,) = one.sheets_m()
        for face in walls if len(sheet_m) == QUAD else ():
            places_m = face.frames[0].places_m(sheet_m)
            high, away = np.split(np.argsort(places_m[:, 2], kind="stable"), 2)
            depths_m = places_m[away, 2]
            lefts_m, falls_m = places_m[:, 0], sheet_m[high, 2] - sheet_m[away, 2].mean()
            is_joined = np.abs(places_m[high, 2]).max() < SAME_M < depths_m.min() and np.ptp(depths_m) < SAME_M
            is_level = max(np.ptp(sheet_m[high, 2]), np.ptp(sheet_m[away, 2])) < SAME_M
            if not is_joined or not is_level or falls_m.min() < -SAME_M:
                continue
            values = {
                "against": face.name,
                "depth_m": round(float(depths_m.mean()), 4),
                "length_m": round(float(np.ptp(lefts_m)), 4),
                "left_m": round(float(lefts_m.min()), 4),
                "roof": "mono-pitch" if falls_m.max() > SAME_M else "flat",
            }
            eaves_m, ridge_m = float(sheet_m[away, 2].min()), float(sheet_m[high, 2].max())
            along, out = face.frames[0].along[:2], face.frames[0].outside[:2]
            start = face.frames[0].origin_m[:2] + lefts_m.min() * along
            steps = [(0.0, 1.0), (1.0, 1.0), (1.0, 0.0), (0.0, 0.0)]
            corners_m = np.array([start + a * np.ptp(lefts_m) * along + b * depths_m.mean() * out for a, b in steps])
            is_flat = values["roof"] == "flat"
            yield Candidate((one,), values, eaves_m, None if is_flat else ridge_m, shared=2, corners_m=corners_m)


def _is_upright(sheet_m: FloatArray) -> bool:
    line = sheet_m[:, :2] - sheet_m[0, :2]
    return bool(np.linalg.matrix_rank(line, tol=SAME_M) <= 1)


def _level_edges(roof: Sheetlike) -> tuple[FloatArray, FloatArray] | None:
    """The lower and the upper edge of a roof of four corners, both level, running the same way."""
    (sheet_m,) = roof.sheets_m()
    if len(sheet_m) != QUAD:
        return None
    low, high = np.split(sheet_m[np.argsort(sheet_m[:, 2], kind="stable")], 2)
    is_level = max(np.ptp(low[:, 2]), np.ptp(high[:, 2])) <= SAME_M
    return (low, _like(high, low)) if is_level else None


def _like(edge: FloatArray, other: FloatArray) -> FloatArray:
    """An edge, turned to run the way of another."""
    return edge if (edge[1] - edge[0]) @ (other[1] - other[0]) > 0 else edge[::-1]


# ---------------------------------------------------------------- whether it is one


def _verified(
    candidate: Candidate,
    uprights: Sequence[Sheetlike],
    roofs: Sequence[Sheetlike],
    entries: Sequence[Building],
    taken: set[str],
) -> Recognised | None:
    """The building of a candidate, or None where a sheet does not fit it."""
    sides = [(a, b) for a, b in zip(candidate.corners_m, np.roll(candidate.corners_m, -1, axis=0), strict=True)]
    sides = [side for number, side in enumerate(sides) if number != candidate.shared]
    walls = [one for one in uprights if all(_is_on(sheet_m, sides) for sheet_m in one.sheets_m())]
    if not walls or len({one.made_of for one in walls}) != 1:
        return None
    heights_m = np.concatenate([sheet_m[:, 2] for one in walls for sheet_m in one.sheets_m()])
    foot_m = float(heights_m.min())
    values = {key: value.round(4).tolist() if key == "corners" else value for key, value in candidate.values.items()}
    if abs(foot_m) > SAME_M or candidate.shared is not None:
        values["base_m"] = round(foot_m, 4)
    values["eaves_m"] = round(candidate.eaves_m - foot_m, 4)
    if candidate.ridge_m is not None:
        values["ridge_m"] = round(candidate.ridge_m - foot_m, 4)
    elif SAME_M < (parapet_m := float(heights_m.max()) - candidate.eaves_m) <= MAX_PARAPET_M:
        values["parapet_m"] = round(parapet_m, 4)
    levels = [one for one in roofs if one not in candidate.over and _is_level_of(one, candidate, foot_m)]
    if levels:
        values["level"] = [
            {"name": one.name, "height_m": _height_m(one, foot_m), "material": one.made_of}
            for one in sorted(levels, key=lambda one: float(one.sheets_m()[0][0, 2]))
        ]
    values |= {"wall_material": walls[0].made_of, "roof_material": candidate.over[0].made_of}
    replaced = tuple(one.name for one in (*walls, *candidate.over, *levels))
    values = {"name": _name([one.name for one in (*walls, *candidate.over)], taken - set(replaced))} | values
    try:
        body = faces_of([*entries, _entry(values)]).bodies[values["name"]]
    except (EntryError, PlanError):
        return None
    if not _roofs_fit(candidate.over, body):
        return None
    fit = _walls_fit(walls, body)
    return None if fit is None else Recognised(values, replaced, gables_added=fit)


def _is_on(sheet_m: FloatArray, sides: Sequence[tuple[FloatArray, FloatArray]]) -> bool:
    """Whether an upright sheet stands on a side, between its ends."""
    for start, end in sides:
        length_m = float(np.linalg.norm(end - start))
        along = (end - start) / max(length_m, SAME_M)
        places_m, off_m = (sheet_m[:, :2] - start) @ along, (sheet_m[:, :2] - start) @ np.array([-along[1], along[0]])
        if np.abs(off_m).max() < SAME_M and places_m.min() > -SAME_M and places_m.max() < length_m + SAME_M:
            return True
    return False


def _height_m(roof: Sheetlike, foot_m: float) -> float:
    return round(float(roof.sheets_m()[0][0, 2]) - foot_m, 4)


def _is_level_of(roof: Sheetlike, candidate: Candidate, foot_m: float) -> bool:
    """Whether a level sheet lies right across a building, between its foot and its eaves."""
    (sheet_m,) = roof.sheets_m()
    height_m = float(sheet_m[0, 2])
    between = foot_m + SAME_M < height_m < candidate.eaves_m - (SAME_M if candidate.ridge_m is None else -SAME_M)
    return bool(between and np.ptp(sheet_m[:, 2]) < SAME_M and _same_corners(sheet_m[:, :2], candidate.corners_m))


def _same_corners(one: FloatArray, other: FloatArray) -> bool:
    """Whether two outlines have the same corners; the ridge of a hip roof over a square may be a millimetre long."""
    apart_m = np.abs(one[:, None] - other).max(axis=2)
    return bool(apart_m.min(axis=1).max() < SAME_M and apart_m.min(axis=0).max() < SAME_M)


def _roofs_fit(over: Sequence[Sheetlike], body: Body) -> bool:
    """Whether every face of the roof is one of the sheets."""
    faces = [face.sheets_m for face in body.faces if face.kind == "roof"]
    planes = [one.sheets_m()[0] for one in over]
    fits = [[len(sheets_m) == 1 and _same_corners(sheets_m[0], plane_m) for plane_m in planes] for sheets_m in faces]
    return (
        len(faces) == len(planes)
        and all(sum(row) == 1 for row in fits)
        and all(sum(c) == 1 for c in zip(*fits, strict=True))
    )


def _walls_fit(walls: Sequence[Sheetlike], body: Body) -> bool | None:
    """Whether sheets leave the ends under a roof open; None where they do not cover the walls otherwise, once."""
    faces = [face for face in body.faces if face.kind == "wall"]
    on: dict[str, list[tuple[tuple[float, float], ...]]] = {face.name: [] for face in faces}
    for one in walls:
        for sheet_m in one.sheets_m():
            face = next((face for face in faces if _lies_in(sheet_m, face)), None)
            if face is None:
                return None
            on[face.name].extend(parts_of(face.frames[0].places_m(sheet_m)[:, :2]))
    gables_added = False
    for face in faces:
        own = on[face.name]
        covered_m2 = sum(map(area_m2, own))
        twice_m2 = sum(area_m2(shared) for one, other in combinations(own, 2) if (shared := common(one, other)))
        if twice_m2 > SAME_AREA * covered_m2:
            return None
        whole = [piece for _, piece in face.whole]
        if abs(covered_m2 - sum(map(area_m2, whole))) < SAME_AREA * covered_m2:
            continue
        below = [part for piece in whole if (part := clip(piece, 0.0, -1.0, -body.building.eaves_m))]
        ends_m = [face.top_m(left_m) or 0.0 for left_m in (0.0, face.length_m)]
        at_eaves = min(ends_m) < body.building.eaves_m + SAME_M < face.height_m
        if not at_eaves or abs(covered_m2 - sum(map(area_m2, below))) > SAME_AREA * covered_m2:
            return None
        gables_added = True
    return gables_added


def _lies_in(sheet_m: FloatArray, face: Face) -> bool:
    places_m = face.frames[0].places_m(sheet_m)
    return bool(np.abs(places_m[:, 2]).max() < SAME_M) and all(
        face.beyond_m(left_m=float(left_m), up_m=float(up_m)) < SAME_M for left_m, up_m, _ in places_m
    )


def _name(replaced: Sequence[str], taken: set[str]) -> str:
    """The words that all names of the sheets begin with, or `building 1`, ..."""
    in_step = takewhile(lambda words: len(set(words)) == 1, zip(*(name.split() for name in replaced), strict=False))
    name = " ".join(words[0] for words in in_step)
    if name and "/" not in name and name not in taken:
        return name
    return next(name for number in count(1) if (name := f"building {number}") not in taken)
