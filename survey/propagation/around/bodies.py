"""What stands on a site, made ready once for all lines: convex sheets as flat arrays, what they touch, and seams."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int32]

JOINT_M = 0.0203
"""What lies nearer together than this is joined; a little more than 2 cm, so that centimetres are no ties. [m]"""
SHORT_M = 0.052
"""What lies nearer together than this touches: walls are drawn a little short of their roof. [m]"""
SEAM_M = 0.49 * JOINT_M
"""So far a sheet is moved on where it goes on in another: a line in the seam meets both. [m]

Less than half of what is joined, so that the edges of two sheets that both moved are one corner for certain.
"""
GROUND_M, DEEP_M = 0.011, -60.0
"""What comes down to the first height stands on the ground: it reaches down to the second. [m]"""
COPLANAR = 0.995
"""Cosine between normals of sheets that make one face: 6 degrees, an assumption. [-]"""
SAMPLES = (0.02, 0.25, 0.5, 0.75, 0.98)
"""Places along an edge at which is asked whether it goes on."""


@dataclass(frozen=True, kw_only=True)
class Bodies:
    """Convex sheets, and the solids that they bound.

    Attributes
    ----------
    corner_m : ndarray of float64, shape (corners, 3)
        Corners of all sheets one after another, in order; moved outward by `SEAM_M` along edges that go on in another
        sheet. [m]
    first : ndarray of int32, shape (sheets + 1,)
        Where the corners of each sheet begin.
    normal : ndarray of float64, shape (sheets, 3)
        Unit normals. [-]
    offset_m : ndarray of float64, shape (sheets,)
        ``normal @ p - offset_m`` is the distance of p from the plane. [m]
    loss_db : ndarray of float64, shape (sheets,)
        Loss of a pass square through it. [dB]
    table : ndarray of int32, shape (sheets,)
        Row of `table_db` for sheets whose loss depends on the angle, -1 for others.
    table_db : ndarray of float64, shape (tables, steps)
        Loss by cosine of incidence from 0 to 1. [dB]
    obstacle : ndarray of int32, shape (sheets,)
        Which obstacle of the plan.
    solid : ndarray of int32, shape (sheets,)
        Which solid: a box, or a sheet alone.
    mirror : ndarray of uint8, shape (sheets,)
        Whether mirror paths are looked for.
    solid_first : ndarray of int32, shape (solids + 1,)
        Sheets of each solid; the sheets of a solid stand one after another.
    centre_m, radius_m : ndarray of float64, shapes (solids, 3) and (solids,)
        A sphere around each solid. [m]
    touch_first, touch : ndarray of int32, shapes (solids + 1,) and (touches,)
        Which other solids each touches.
    plant_first, plant_xy_m : ndarray of int32, shape (plants + 1,); ndarray of float64, shape (places, 2)
        Outlines of foliage in plan, one after another. [m]
    plant_base_m, plant_top_m, plant_db_per_m, plant_most_db : ndarray of float64, shape (plants,)
        Between which heights each stands, what a metre in it costs, and what it costs at most. [m, m, dB/m, dB]
    """

    corner_m: FloatArray
    first: IntArray
    normal: FloatArray
    offset_m: FloatArray
    loss_db: FloatArray
    table: IntArray
    table_db: FloatArray
    obstacle: IntArray
    solid: IntArray
    mirror: NDArray[np.uint8]
    solid_first: IntArray
    centre_m: FloatArray
    radius_m: FloatArray
    touch_first: IntArray
    touch: IntArray
    plant_first: IntArray
    plant_xy_m: FloatArray
    plant_base_m: FloatArray
    plant_top_m: FloatArray
    plant_db_per_m: FloatArray
    plant_most_db: FloatArray


def bodies_of(
    outlines_m: Sequence[FloatArray],
    *,
    loss_db: Sequence[float],
    obstacle: Sequence[int],
    solid: Sequence[int],
    mirror_loss_db: float = 20.0,
    table: Sequence[int] = (),
    table_db: FloatArray | None = None,
    plants: Sequence[tuple[FloatArray, float, float, float, float]] = (),
) -> Bodies:
    """Make sheets ready.

    Parameters
    ----------
    outlines_m : sequence of ndarray of float, each of shape (corners, 3)
        Convex plane outlines; those of a solid stand one after another. [m]
    loss_db : sequence of float
        Loss of a pass through each. [dB]
    obstacle, solid : sequence of int
        Which obstacle and which solid each belongs to; solids are numbered in their order.
    mirror_loss_db : float
        Sheets that cost this or more to go through are mirrors. [dB]
    table : sequence of int, optional
        Row of `table_db` of each, -1 for none.
    table_db : ndarray of float, shape (tables, steps), optional
        Loss by cosine of incidence. [dB]
    plants : sequence of (ndarray of float of shape (n, 2), float, float, float, float)
        Foliage: outline in plan, base, top, loss of a metre, and what it costs at most. [m, m, m, dB/m, dB]

    Returns
    -------
    Bodies
    """
    outlines_m = [np.asarray(one, dtype=np.float64) for one in outlines_m]
    count = len(outlines_m)
    normal, offset_m = np.zeros((count, 3)), np.zeros(count)
    for s, outline_m in enumerate(outlines_m):
        middle_m = outline_m.mean(axis=0)
        square = np.zeros(3)
        for i in range(len(outline_m)):  # Newell's normal
            square += np.cross(outline_m[i - 1] - middle_m, outline_m[i] - middle_m)
        normal[s] = square / np.linalg.norm(square)
        offset_m[s] = normal[s] @ middle_m
    inward = [_inward(outline_m, normal[s]) for s, outline_m in enumerate(outlines_m)]
    box = [(outline_m.min(axis=0) - SHORT_M, outline_m.max(axis=0) + SHORT_M) for outline_m in outlines_m]
    solid_of = np.array(solid, dtype=np.int32)
    grown: list[FloatArray] = []
    touching: set[tuple[int, int]] = set()
    for s in range(count):
        near = [t for t in range(count) if t != s and np.all(box[s][0] <= box[t][1]) and np.all(box[t][0] <= box[s][1])]
        grown.append(_grown(outlines_m, s, near, normal, offset_m, inward))
        for t in near:
            if solid_of[s] != solid_of[t] and _touches(outlines_m[s], t, outlines_m, normal, offset_m, inward):
                touching |= {(int(solid_of[s]), int(solid_of[t])), (int(solid_of[t]), int(solid_of[s]))}
    solids = int(solid_of.max(initial=-1)) + 1
    solid_first = np.searchsorted(solid_of, np.arange(solids + 1)).astype(np.int32)
    centre_m, radius_m = np.zeros((solids, 3)), np.zeros(solids)
    for q in range(solids):
        every_m = np.concatenate(grown[solid_first[q] : solid_first[q + 1]])
        centre_m[q] = 0.5 * (every_m.min(axis=0) + every_m.max(axis=0))
        radius_m[q] = np.linalg.norm(every_m - centre_m[q], axis=1).max()
    for one in grown:
        one[:, 2] = np.where(one[:, 2] <= GROUND_M, DEEP_M, one[:, 2])
    pairs = sorted(touching)
    return Bodies(
        corner_m=np.concatenate(grown) if grown else np.zeros((0, 3)),
        first=np.cumsum([0, *(len(one) for one in grown)]).astype(np.int32),
        normal=normal,
        offset_m=offset_m,
        loss_db=np.array(loss_db, dtype=np.float64),
        table=np.array(table if len(table) else np.full(count, -1), dtype=np.int32),
        table_db=np.zeros((0, 2)) if table_db is None else table_db,
        obstacle=np.array(obstacle, dtype=np.int32),
        solid=solid_of,
        mirror=(np.array(loss_db, dtype=np.float64) >= mirror_loss_db).astype(np.uint8),
        solid_first=solid_first,
        centre_m=centre_m,
        radius_m=radius_m,
        touch_first=np.searchsorted([one for one, _ in pairs], np.arange(solids + 1)).astype(np.int32),
        touch=np.array([other for _, other in pairs], dtype=np.int32),
        plant_first=np.cumsum([0, *(len(one[0]) for one in plants)]).astype(np.int32),
        plant_xy_m=np.concatenate([one[0] for one in plants]) if plants else np.zeros((0, 2)),
        plant_base_m=np.array([one[1] for one in plants], dtype=np.float64),
        plant_top_m=np.array([one[2] for one in plants], dtype=np.float64),
        plant_db_per_m=np.array([one[3] for one in plants], dtype=np.float64),
        plant_most_db=np.array([one[4] for one in plants], dtype=np.float64),
    )


def _inward(outline_m: FloatArray, normal: FloatArray) -> FloatArray:
    """Unit normals of edges in the sheet's plane, pointing inward; edge i runs from corner i to the next."""
    inward = np.cross(normal, np.roll(outline_m, -1, axis=0) - outline_m)
    inward /= np.maximum(np.linalg.norm(inward, axis=1, keepdims=True), 1e-12)
    return np.asarray(
        np.where(np.sum(inward * (outline_m.mean(axis=0) - outline_m), axis=1)[:, None] < 0, -inward, inward)
    )


def _on_sheet(
    point_m: FloatArray,
    t: int,
    outlines_m: Sequence[FloatArray],
    normal: FloatArray,
    offset_m: FloatArray,
    inward: list[FloatArray],
    within_m: float = JOINT_M,
) -> bool:
    """Whether a point lies on a sheet, or so near to it."""
    if abs(normal[t] @ point_m - offset_m[t]) > within_m:
        return False
    return bool(np.all(np.sum(inward[t] * (point_m - outlines_m[t]), axis=1) > -within_m))


def _grown(
    outlines_m: Sequence[FloatArray],
    s: int,
    near: list[int],
    normal: FloatArray,
    offset_m: FloatArray,
    inward: list[FloatArray],
) -> FloatArray:
    """Corners of a sheet with the edges moved outward along which it goes on in another."""
    outline_m = outlines_m[s]
    count = len(outline_m)
    moves = np.zeros(count)
    flat = [t for t in near if abs(normal[s] @ normal[t]) > COPLANAR]
    for i in range(count):
        along_m = outline_m[(i + 1) % count] - outline_m[i]
        for share in SAMPLES:
            point_m = outline_m[i] + share * along_m - 1e-4 * inward[s][i]
            if any(_on_sheet(point_m, t, outlines_m, normal, offset_m, inward) for t in flat):
                moves[i] = SEAM_M
    if not np.any(moves):
        return outline_m.copy()
    corners_m = outline_m.copy()
    for i in range(count):  # where the moved edges before and after a corner meet
        a, b = inward[s][i - 1], inward[s][i]
        dot = a @ b
        det = max(1.0 - dot * dot, 1e-6)
        corners_m[i] -= ((moves[i - 1] - moves[i] * dot) * a + (moves[i] - moves[i - 1] * dot) * b) / det
    return corners_m


def _touches(
    outline_m: FloatArray,
    t: int,
    outlines_m: Sequence[FloatArray],
    normal: FloatArray,
    offset_m: FloatArray,
    inward: list[FloatArray],
) -> bool:
    """Whether an edge of a sheet lies on another somewhere."""
    for i in range(len(outline_m)):
        along_m = outline_m[(i + 1) % len(outline_m)] - outline_m[i]
        for share in (0.0, 0.25, 0.5, 0.75):
            if _on_sheet(outline_m[i] + share * along_m, t, outlines_m, normal, offset_m, inward, SHORT_M):
                return True
    return False


def moved(base: Bodies, sheet_m: FloatArray, piece: NDArray[np.int64], *, plant_m: FloatArray) -> Bodies:
    """Move what stands on a site, piece by piece; what stands on the ground still reaches into it.

    Parameters
    ----------
    base : Bodies
        Before.
    sheet_m, plant_m : ndarray of float, shapes (sheets, 3) and (plants, 3)
        By how much each moves. [m]
    piece : ndarray of int, shape (sheets,)
        Sheets that move as one have the same number, so that nothing between them changes.

    Returns
    -------
    Bodies
        Pieces that have come to touch each other do so; those that did are one piece.
    """
    counts = np.diff(base.first)
    corner_m = base.corner_m + np.repeat(sheet_m, counts, axis=0)
    corner_m[:, 2] = np.where(base.corner_m[:, 2] == DEEP_M, DEEP_M, corner_m[:, 2])
    offset_m = base.offset_m + np.sum(base.normal * sheet_m, axis=1)
    first = base.solid_first[:-1]
    plant_counts = np.diff(base.plant_first)
    change = replace(
        base,
        corner_m=corner_m,
        offset_m=offset_m,
        centre_m=base.centre_m + sheet_m[first].reshape(-1, 3),
        plant_xy_m=base.plant_xy_m + np.repeat(plant_m, plant_counts, axis=0)[:, :2],
        plant_base_m=base.plant_base_m + plant_m[:, 2],
        plant_top_m=base.plant_top_m + plant_m[:, 2],
    )
    met = _met(change, piece)
    if not met:
        return change
    old = np.repeat(np.arange(len(first)), np.diff(base.touch_first)).tolist()
    pairs = sorted({*zip(old, base.touch.tolist(), strict=True), *met, *((other, one) for one, other in met)})
    return replace(
        change,
        touch_first=np.searchsorted([one for one, _ in pairs], np.arange(len(first) + 1)).astype(np.int32),
        touch=np.array([other for _, other in pairs], dtype=np.int32),
    )


def _met(bodies: Bodies, piece: NDArray[np.int64]) -> set[tuple[int, int]]:
    """Solids of different pieces that touch."""
    if len(bodies.loss_db) < 2:  # nothing to touch
        return set()
    low_m = np.minimum.reduceat(bodies.corner_m, bodies.first[:-1]) - SHORT_M
    high_m = np.maximum.reduceat(bodies.corner_m, bodies.first[:-1]) + SHORT_M
    near = np.all((low_m[:, None] <= high_m) & (low_m <= high_m[:, None]), axis=2) & (piece[:, None] != piece)
    if not near.any():
        return set()
    outlines_m = [bodies.corner_m[bodies.first[s] : bodies.first[s + 1]] for s in range(len(piece))]
    inward = [_inward(outline_m, bodies.normal[s]) for s, outline_m in enumerate(outlines_m)]
    return {
        (int(bodies.solid[s]), int(bodies.solid[t]))
        for s, t in np.argwhere(near).tolist()
        if _touches(outlines_m[s], t, outlines_m, bodies.normal, bodies.offset_m, inward)
    }
