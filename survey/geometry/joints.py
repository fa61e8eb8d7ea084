"""Where sheets that were meant to meet miss each other, and where two sheets stand in one place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.geometry.plain import ON_SHEET_M
from survey.geometry.sheets import Sheets

SHARES = (0.02, 0.26, 0.5, 0.74, 0.98)
"""Where along an edge its distance from other sheets is taken."""
MIN_OPEN = 3
"""An edge misses a sheet where so many of these places do; fewer belong to a sheet that it meets at an angle."""
REACH_M = 0.5
"""A sheet that another meets so far in from its edge ends on that: an overhang, a parapet."""
PARALLEL = 0.98
"""Sheets whose normals agree so far lie side by side, not end to end, where the gap runs square to them."""
IN_ONE_PLANE_M = 0.02
"""Sheets so close together are written for one: what a tape measure leaves."""
PAIRS_AT_ONCE = 200_000
"""Pairs of places and sheets worked out together: some 50 MB."""


@dataclass(frozen=True, kw_only=True)
class Gaps:
    """Edges that miss a sheet, a row for each edge and sheet.

    Attributes
    ----------
    sheet, other : ndarray of int, shape (gaps,)
        The sheet whose edge it is, and the one that it misses.
    width_m : ndarray of float, shape (gaps,)
        How wide the gap is, where it is widest. [m]
    from_m, to_m : ndarray of float, shape (gaps, 3)
        There: the point of the edge, and the point of the other sheet. [m]
    """

    sheet: IntArray
    other: IntArray
    width_m: FloatArray
    from_m: FloatArray
    to_m: FloatArray

    def __len__(self) -> int:
        return len(self.width_m)


def outer_edges(sheets: Sheets) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return the edges of sheets: their sheet, shape (edges,), start and end, shape (edges, 3). [m]"""
    ends_m = np.roll(sheets.corners_m, -1, axis=1)
    # Sheets of fewer corners repeat theirs, and so have edges twice.
    count = sheets.corners_m.shape[1]
    again = np.all(sheets.corners_m == sheets.corners_m[:, :1], axis=2)
    again[:, 0] = False
    corners = np.where(again.any(axis=1), again.argmax(axis=1), count)
    number = np.arange(count)
    ends_m = np.where((number + 1 == corners[:, None])[..., None], sheets.corners_m[:, :1], ends_m)
    real = number < corners[:, None]
    sheet = np.nonzero(real)[0]
    return sheet, sheets.corners_m[real], ends_m[real]


def gaps_between(sheets: Sheets, *, chosen: BoolArray, min_m: float, max_m: float) -> Gaps:
    """Return the edges that miss a sheet by a little, and meet none there.

    Parameters
    ----------
    sheets : Sheets
        All sheets of a site: an edge that meets any of them is closed.
    chosen : ndarray of bool, shape (sheets,)
        Those between which gaps are looked for.
    min_m, max_m : float
        How wide a gap is at least and at most. [m]

    Returns
    -------
    Gaps
        Between sheets of different owners.

    Notes
    -----
    An edge is looked at in five places. It is closed where a sheet touches it, and where its own sheet goes through the
    other within half a metre of it, as under an overhang. Sheets side by side leave no gap of this kind.
    """
    edge_sheet, start_m, end_m = outer_edges(sheets)
    kept = chosen[edge_sheet]
    edge_sheet, start_m, end_m = edge_sheet[kept], start_m[kept], end_m[kept]
    shares = np.array(SHARES)[:, None]
    places_m = (start_m[:, None] + shares * (end_m - start_m)[:, None]).reshape(-1, 3)
    of_edge = np.repeat(np.arange(len(edge_sheet)), len(SHARES))
    place, other = _boxes_near(places_m, sheets, max_m)
    keep = edge_sheet[of_edge[place]] != other
    place, other = place[keep], other[keep]
    nearest_m = _nearest_m(places_m[place], sheets, other)
    width_m = np.linalg.norm(nearest_m - places_m[place], axis=1)
    closed = np.zeros(len(places_m), dtype=bool)
    closed[place[width_m < min_m]] = True
    own = edge_sheet[of_edge[place]]
    off_m = np.abs(np.sum((nearest_m - places_m[place]) * sheets.normal[own], axis=1))
    beside = (np.abs(np.sum(sheets.normal[own] * sheets.normal[other], axis=1)) > PARALLEL) & (off_m > width_m / 2.0)
    inward = _inward(sheets, edge_sheet, start_m, end_m)[of_edge[place]]
    through = _goes_through(places_m[place], inward, sheets, other)
    is_open = sheets.owner[own] != sheets.owner[other]
    is_open &= (width_m >= min_m) & (width_m <= max_m) & ~closed[place] & chosen[other] & ~beside & ~through
    edge = of_edge[place[is_open]]
    pair, row, counts = np.unique(edge * len(sheets) + other[is_open], return_inverse=True, return_counts=True)
    widest = np.full(len(pair), -1.0)
    np.maximum.at(widest, row, width_m[is_open])
    order = np.lexsort((-width_m[is_open], row))
    first = order[np.searchsorted(row[order], np.arange(len(pair)))]
    many = np.flatnonzero(counts >= MIN_OPEN)
    at = np.flatnonzero(is_open)[first[many]]
    return Gaps(
        sheet=edge_sheet[pair[many] // len(sheets)],
        other=pair[many] % len(sheets),
        width_m=widest[many],
        from_m=places_m[place[at]],
        to_m=nearest_m[at],
    )


def touched(places_m: FloatArray, sheets: Sheets, *, own: IntArray, within_m: float) -> BoolArray:
    """Return which places on edges are met by a sheet other than their own.

    Parameters
    ----------
    places_m : ndarray of float, shape (places, 3)
        Places. [m]
    sheets : Sheets
        Sheets.
    own : ndarray of int, shape (places,)
        The sheet that each place is on.
    within_m : float
        How near is met. [m]
    """
    place, other = _boxes_near(places_m, sheets, within_m)
    keep = own[place] != other
    place, other = place[keep], other[keep]
    near = np.linalg.norm(_nearest_m(places_m[place], sheets, other) - places_m[place], axis=1) <= within_m
    met = np.zeros(len(places_m), dtype=bool)
    met[place[near]] = True
    return met


def overlaps_of(sheets: Sheets, *, chosen: BoolArray, min_m: float) -> tuple[IntArray, IntArray, FloatArray]:
    """Return upright sheets that stand in one place, and so count twice.

    Parameters
    ----------
    sheets : Sheets
        Sheets.
    chosen : ndarray of bool, shape (sheets,)
        Those to be compared; the upright ones of them are.
    min_m : float
        How long and how high they share their place at least. [m]

    Returns
    -------
    tuple of ndarrays, shapes (pairs,)
        One sheet, the other, of different owners, and over which length they stand in one line. [m]
    """
    upright = np.flatnonzero(chosen & (np.abs(sheets.normal[:, 2]) < 0.05))  # noqa: PLR2004  within 3 degrees
    corners_m, normal = sheets.corners_m[upright], sheets.normal[upright]
    along = np.stack([-normal[:, 1], normal[:, 0], np.zeros(len(upright))], axis=1)
    one, other = np.triu_indices(len(upright), k=1)
    keep = sheets.owner[upright[one]] != sheets.owner[upright[other]]
    keep &= np.abs(np.sum(normal[one] * normal[other], axis=1)) > 0.999  # noqa: PLR2004  within 3 degrees
    one, other = one[keep], other[keep]
    off_m = np.sum(corners_m[other] * normal[one][:, None], axis=2) - sheets.offset_m[upright[one]][:, None]
    keep = np.max(np.abs(off_m), axis=1) <= IN_ONE_PLANE_M
    one, other = one[keep], other[keep]
    shared_m = []
    for axis in (along[one], np.tile([0.0, 0.0, 1.0], (len(one), 1))):
        first_m, second_m = (np.sum(corners_m[i] * axis[:, None], axis=2) for i in (one, other))
        low_m = np.maximum(first_m.min(axis=1), second_m.min(axis=1))
        shared_m.append(np.minimum(first_m.max(axis=1), second_m.max(axis=1)) - low_m)
    both = (shared_m[0] >= min_m) & (shared_m[1] >= min_m)
    one, other = one[both], other[both]
    level_m = np.zeros(len(one))
    for number, (i, j) in enumerate(zip(one.tolist(), other.tolist(), strict=True)):
        flat_m = [_outline_m(np.stack([corners_m[k] @ along[i], corners_m[k][:, 2]], axis=1)) for k in (i, j)]
        wide_m, high_m = _common_extent_m(*flat_m)
        level_m[number] = wide_m if min(wide_m, high_m) >= min_m else 0.0
    found = level_m > 0
    return upright[one[found]], upright[other[found]], level_m[found]


def _outline_m(corners_m: FloatArray) -> FloatArray:
    """Return the corners of a sheet once each: outlines of fewer than the most corners begin again."""
    _, first = np.unique(corners_m, axis=0, return_index=True)
    return np.asarray(corners_m[np.sort(first)])


def _common_extent_m(one_m: FloatArray, other_m: FloatArray) -> tuple[float, float]:
    """Return how wide and how high the common part of two convex outlines is, 0 where there is none. [m]"""
    before_m = np.roll(other_m, 1, axis=0)
    turn = float(np.sum(before_m[:, 0] * other_m[:, 1] - before_m[:, 1] * other_m[:, 0]))
    left_m = one_m
    for start_m, end_m in zip(before_m, other_m, strict=True):
        side_m = np.sign(turn) * (end_m - start_m)
        inside_m = (left_m - start_m) @ np.array([-side_m[1], side_m[0]])
        kept = []
        for k in range(len(left_m)):
            if inside_m[k - 1] * inside_m[k] < 0:
                share = inside_m[k - 1] / (inside_m[k - 1] - inside_m[k])
                kept.append(left_m[k - 1] + share * (left_m[k] - left_m[k - 1]))
            if inside_m[k] >= 0:
                kept.append(left_m[k])
        if len(kept) < 3:  # noqa: PLR2004  no area
            return 0.0, 0.0
        left_m = np.array(kept)
    wide_m, high_m = np.ptp(left_m, axis=0).tolist()
    after_m = np.roll(left_m, -1, axis=0)
    area_m2 = abs(float(np.sum(left_m[:, 0] * after_m[:, 1] - left_m[:, 1] * after_m[:, 0]))) / 2.0
    return (wide_m, high_m) if area_m2 > IN_ONE_PLANE_M * max(wide_m, high_m) else (0.0, 0.0)


def _boxes_near(places_m: FloatArray, sheets: Sheets, within_m: float) -> tuple[IntArray, IntArray]:
    """Return places and sheets that may be as near to each other as this: pairs, by the boxes around sheets."""
    if not len(places_m) or not len(sheets):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    low_m, high_m = sheets.corners_m.min(axis=1) - within_m, sheets.corners_m.max(axis=1) + within_m
    found = []
    at_once = max(1, PAIRS_AT_ONCE * 10 // len(sheets))
    for first in range(0, len(places_m), at_once):
        some_m = places_m[first : first + at_once]
        near = np.abs(some_m @ sheets.normal.T - sheets.offset_m) <= within_m
        for axis in range(3):
            near &= (some_m[:, axis, None] >= low_m[:, axis]) & (some_m[:, axis, None] <= high_m[:, axis])
        place, sheet = np.nonzero(near)
        found.append((place + first, sheet))
    return np.concatenate([place for place, _ in found]), np.concatenate([sheet for _, sheet in found])


def _nearest_m(points_m: FloatArray, sheets: Sheets, sheet: IntArray) -> FloatArray:
    """Return the point of a sheet that is nearest to each point, shape (points, 3). [m]"""
    return np.concatenate(
        [
            np.zeros((0, 3)),
            *(
                _nearest_of_some_m(
                    points_m[first : first + PAIRS_AT_ONCE], sheets, sheet[first : first + PAIRS_AT_ONCE]
                )
                for first in range(0, len(points_m), PAIRS_AT_ONCE)
            ),
        ]
    )


def _nearest_of_some_m(points_m: FloatArray, sheets: Sheets, sheet: IntArray) -> FloatArray:
    normal = sheets.normal[sheet]
    foot_m = points_m - (np.sum(points_m * normal, axis=1) - sheets.offset_m[sheet])[:, None] * normal
    inside_m = np.sum(foot_m[:, None] * sheets.edge_normal[sheet], axis=2) - sheets.edge_offset_m[sheet]
    start_m = sheets.corners_m[sheet]
    edge_m = np.roll(start_m, -1, axis=1) - start_m
    square_m2 = np.maximum(np.sum(edge_m**2, axis=2), 1e-12)
    share = np.clip(np.sum((points_m[:, None] - start_m) * edge_m, axis=2) / square_m2, 0.0, 1.0)
    on_edge_m = start_m + share[..., None] * edge_m
    best = np.argmin(np.sum((on_edge_m - points_m[:, None]) ** 2, axis=2), axis=1)
    over = np.all(inside_m >= 0.0, axis=1)
    return np.asarray(np.where(over[:, None], foot_m, on_edge_m[np.arange(len(best)), best]))


def _inward(sheets: Sheets, sheet: IntArray, start_m: FloatArray, end_m: FloatArray) -> FloatArray:
    """Return the way into its sheet from each edge, as unit vectors, shape (edges, 3)."""
    way = np.cross(sheets.normal[sheet], end_m - start_m)
    way /= np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12)
    middle_m = sheets.corners_m[sheet].mean(axis=1)
    return np.asarray(np.where(np.sum((middle_m - start_m) * way, axis=1, keepdims=True) < 0, -way, way))


def _goes_through(places_m: FloatArray, inward: FloatArray, sheets: Sheets, other: IntArray) -> BoolArray:
    """Return whether the line from each place into its sheet meets the other sheet within reach."""
    normal = sheets.normal[other]
    away_m = np.sum(places_m * normal, axis=1) - sheets.offset_m[other]
    slope = np.sum(inward * normal, axis=1)
    steep = np.abs(slope) > 1e-9  # noqa: PLR2004  else it runs beside it
    step_m = -away_m / np.where(steep, slope, 1.0)
    at_m = places_m + step_m[:, None] * inward
    inside_m = np.sum(at_m[:, None] * sheets.edge_normal[other], axis=2) - sheets.edge_offset_m[other]
    return np.asarray(steep & (step_m >= 0) & (step_m <= REACH_M) & np.all(inside_m >= -ON_SHEET_M, axis=1))
