"""Joints of loose sheets: slits, ends of buildings left open, walls that count twice."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from survey.base.arrays import BoolArray, FloatArray
from survey.decisions.inspection.wording import length, point, quoted
from survey.geometry import gaps_between, lies_level, outer_edges, overlaps_of, touched
from survey.inputs.plan import Wall
from survey.scene import Scene

MIN_SLIT_M = 1e-3
"""A narrower slit is rounding: coordinates are written to the centimetre."""
MAX_SLIT_M = 0.30
"""A wider gap is more often meant than mistyped: a judgement."""
JOINT_STEP_M = 0.05
"""The joint that closes a slit is given in steps of this, as a round figure."""
MIN_OVERLAP_M = 0.5
"""Walls that share less of a line overlap at a corner."""
MIN_OPEN_END_M = 0.30
"""An end of a building that is open by less is a slit."""
BESIDE_WALL_M = 0.30
"""A roof's edge this far beside a wall, seen from above, is over that wall: an overhang."""
MIN_FALL = 0.05
"""A roof's edge that falls by less than this, by its length, is an eave or a ridge: 3 degrees."""
END_SHARES = (0.15, 0.5, 0.85)
"""Where along its edge a roof is looked at for an open end below."""


def joint_warnings(scene: Scene) -> Iterator[str]:
    """Yield slits, open ends, and walls in one line."""
    entries, owner = scene.obstacles.entries, scene.sheets.owner
    loose = np.array([not one.is_equipment and one.closed_m() is None for one in entries], dtype=bool)[owner]
    if not loose.any():
        return
    yield from _slits(scene, loose)
    buildings = {("building", one.name) for one in scene.plan.buildings}
    built = np.array([one.entry in buildings for one in entries], dtype=bool)[owner]
    yield from _open_ends(scene, loose & ~built)  # the end of a building is open where its plan says so
    yield from _doubled(scene, loose)


def _slits(scene: Scene, loose: BoolArray) -> Iterator[str]:
    """Yield the slit between two obstacles: of all their edges the one that comes nearest to closing."""
    entries, owner = scene.obstacles.entries, scene.sheets.owner
    gaps = gaps_between(scene.sheets, chosen=loose, min_m=MIN_SLIT_M, max_m=MAX_SLIT_M)
    found: dict[tuple[int, int], int] = {}
    for k in np.argsort(gaps.width_m, kind="stable").tolist():
        one, other = int(owner[gaps.sheet[k]]), int(owner[gaps.other[k]])
        found.setdefault((min(one, other), max(one, other)), k)
    for pair in sorted(found):
        k = found[pair]
        width_m = float(gaps.width_m[k])
        names = quoted(entries[i].name for i in pair)
        if any(isinstance(entries[i], Wall) for i in pair):
            joint_m = math.ceil(round(width_m / JOINT_STEP_M, 6)) * JOINT_STEP_M
            yield f"{length(width_m)} between {names}: joint_m = {joint_m:.2f} closes it"
        else:
            moved = entries[int(owner[gaps.sheet[k]])].name
            at, to = point(gaps.from_m[k]), point(gaps.to_m[k])
            yield f'{length(width_m)} between {names}: move the edge of "{moved}" from {at} to {to} to close it'


def _open_ends(scene: Scene, loose: BoolArray) -> Iterator[str]:
    """Yield ends where walls stand under a sloping roof and nothing fills the space between: a gable is missing."""
    sheets, entries = scene.sheets, scene.obstacles.entries
    edge_sheet, start_m, end_m = outer_edges(sheets)
    fall = np.abs(end_m[:, 2] - start_m[:, 2]) > MIN_FALL * np.linalg.norm(end_m - start_m, axis=1)
    kept = fall & loose[edge_sheet] & lies_level(sheets)[edge_sheet]
    edge_sheet, start_m, end_m = edge_sheet[kept], start_m[kept], end_m[kept]
    if not len(edge_sheet):
        return
    shares = np.array(END_SHARES)[:, None]
    places_m = (start_m[:, None] + shares * (end_m - start_m)[:, None]).reshape(-1, 3)
    met = touched(places_m, sheets, own=np.repeat(edge_sheet, len(END_SHARES)), within_m=MAX_SLIT_M)
    free = met.reshape(-1, len(END_SHARES)).sum(axis=1) <= 1  # the place nearest to the eaves may still be met
    edges: dict[int, list[int]] = {}
    walls = np.flatnonzero(loose & (np.abs(sheets.normal[:, 2]) < 0.05))  # noqa: PLR2004  within 3 degrees
    low_m = sheets.corners_m[walls, :, :2].min(axis=1) - MAX_SLIT_M
    high_m = sheets.corners_m[walls, :, :2].max(axis=1) + MAX_SLIT_M
    for edge in np.flatnonzero(free).tolist():
        ends_m = np.stack([start_m[edge], end_m[edge]])[:, :2]
        near = walls[np.all((ends_m.min(axis=0) >= low_m) & (ends_m.max(axis=0) <= high_m), axis=1)].tolist()
        below = [wall for wall in near if _is_under(sheets.corners_m[wall], start_m[edge], end_m[edge])]
        for wall in below[:1]:
            edges.setdefault(wall, []).append(edge)
    for wall, own in edges.items():
        corners_m = sheets.corners_m[wall]
        top_m = float(corners_m[:, 2].max())
        points_m = np.concatenate([np.stack([start_m[i], end_m[i]]) for i in own])
        outline_m = _end_outline_m(corners_m, top_m, points_m)
        roofs = quoted(entries[int(sheets.owner[edge_sheet[i]])].name for i in own)
        high_m = float(points_m[:, 2].max()) - top_m
        name = entries[int(sheets.owner[wall])].name
        corners = ", ".join(point(one) for one in outline_m)
        yield (
            f'{roofs} over "{name}": the end at {point(outline_m[:2, :2].mean(axis=0))} is open, up to '
            f"{length(high_m)} high; a [[roof]] with corners = [{corners}] closes it"
        )


def _is_under(wall_m: FloatArray, start_m: FloatArray, end_m: FloatArray) -> bool:
    """Whether a wall stands right under a roof's edge, as high as its lower end, and the edge rises from it."""
    foot_m, far_m = _ends_m(wall_m)
    way = (far_m - foot_m) / max(float(np.linalg.norm(far_m - foot_m)), 1e-9)
    line_m = np.stack([start_m, end_m])[:, :2] - foot_m
    beside_m = np.abs(line_m @ np.array([-way[1], way[0]]))
    along_m = line_m @ way
    reach_m = float(np.linalg.norm(far_m - foot_m)) + MAX_SLIT_M
    if beside_m.max() > BESIDE_WALL_M or along_m.min() < -MAX_SLIT_M or along_m.max() > reach_m:
        return False
    top_m, low_m, high_m = float(wall_m[:, 2].max()), min(start_m[2], end_m[2]), max(start_m[2], end_m[2])
    return bool(abs(low_m - top_m) <= MAX_SLIT_M and high_m - top_m > MIN_OPEN_END_M)


def _ends_m(wall_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the two ends of an upright sheet from above, shape (2,). [m]"""
    apart_m = np.linalg.norm(wall_m[:, None, :2] - wall_m[None, :, :2], axis=2)
    one, other = np.unravel_index(int(np.argmax(apart_m)), apart_m.shape)
    return wall_m[one, :2], wall_m[other, :2]


def _end_outline_m(wall_m: FloatArray, top_m: float, points_m: FloatArray) -> FloatArray:
    """Return the corners of the open end above a wall, shape (corners, 3). [m]"""
    foot_m, far_m = _ends_m(wall_m)
    way = (far_m - foot_m) / np.linalg.norm(far_m - foot_m)
    along_m = (points_m[:, :2] - foot_m) @ way
    low, high = float(along_m.min()), float(along_m.max())
    above = [(float(s), float(z)) for s, z in zip(along_m, points_m[:, 2], strict=True) if z > top_m + MIN_SLIT_M]
    highest = {round(s, 2): z for s, z in sorted(above, key=lambda one: one[1])}
    corners = {(round(low, 2), round(top_m, 2)): None, (round(high, 2), round(top_m, 2)): None}
    corners |= {(s, round(z, 2)): None for s, z in sorted(highest.items(), reverse=True)}
    return np.array([[*(foot_m + s * way), z] for s, z in corners])


def _doubled(scene: Scene, loose: BoolArray) -> Iterator[str]:
    """Yield walls of two obstacles that stand in one place."""
    names, owner = scene.obstacles.names, scene.sheets.owner
    one, other, shared_m = overlaps_of(scene.sheets, chosen=loose, min_m=MIN_OVERLAP_M)
    found: dict[str, float] = {}
    for i, j, metres in zip(owner[one].tolist(), owner[other].tolist(), shared_m.tolist(), strict=True):
        pair = quoted([names[i], names[j]])
        found[pair] = max(found.get(pair, 0.0), metres)
    for pair, metres in found.items():
        yield (
            f"{pair} stand in one line over {length(metres)}: a line through both pays twice there. Write the wall once"
        )
