"""What lines go through, by the plain formula: every line against every sheet, one sheet at a time.

This is what the kernel is held to, and what does its work where there is none. Nothing is left out for speed.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from survey.geometry.sheets import Sheets

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
Rows = tuple[IntArray, IntArray, IntArray, FloatArray, FloatArray]

ON_SHEET_M = 1e-3
"""An end this close to a sheet stands on it. Coordinates are written to the centimetre, so nothing nearer is meant."""
EDGE_M = 1e-7
"""A line this far outside an edge still touches it: rounding must not open a slit at a corner."""
SAME_POINT_M = 1e-5
"""Crossings of one obstacle nearer together than this along a line are one: a shared corner."""


def plain_crossings(starts_m: FloatArray, ends_m: FloatArray, sheets: Sheets) -> Rows:
    """All crossings, as `survey.geometry.crossings` has them.

    Parameters
    ----------
    starts_m, ends_m, sheets
        As there.

    Returns
    -------
    tuple of five ndarrays, shape (rows,)
        Start, end, sheet, fraction and how far inside the edge.

    Notes
    -----
    With s the distance of an end from a sheet's plane and f how far inside an edge it lies, the line meets the plane
    at the share ``|s1| / (|s1| + |s2|)`` of its length, and there lies ``f1 + share (f2 - f1)`` inside that edge. It
    goes through where the ends are on opposite sides and that is not negative for any edge.
    """
    length_m = np.sqrt(_dot(ends_m[None] - starts_m[:, None], ends_m[None] - starts_m[:, None]))
    empty = np.zeros(0, dtype=np.int64)
    nothing: Rows = (empty, empty, empty, np.zeros(0), np.zeros(0))
    crossed = [nothing]
    touching = [(np.zeros(0, dtype=bool), np.zeros(0), np.zeros(0))]  # runs within the plane; where they begin and end
    for k in range(len(sheets)):
        side_1, side_2 = (_dot(at_m, sheets.normal[k]) - sheets.offset_m[k] for at_m in (starts_m, ends_m))
        edges = sheets.edge_normal[k], sheets.edge_offset_m[k]
        inside_1, inside_2 = (_dot(at_m[:, None], edges[0]) - edges[1] for at_m in (starts_m, ends_m))
        free_1, free_2 = (
            (np.abs(side) > ON_SHEET_M) | (inside.min(axis=1) < -ON_SHEET_M)
            for side, inside in ((side_1, inside_1), (side_2, inside_2))
        )
        flat_1, flat_2 = np.abs(side_1) <= EDGE_M, np.abs(side_2) <= EDGE_M
        in_plane = flat_1[:, None] & flat_2
        meets = np.sign(side_1)[:, None] * np.sign(side_2) < 0
        start, end = np.nonzero((meets | in_plane) & free_1[:, None] & free_2)
        runs = in_plane[start, end]
        away_1, away_2 = np.abs(side_1[start]), np.abs(side_2[end])
        enter = away_1 / np.where(runs, 1.0, away_1 + away_2)
        leave = enter.copy()
        inside_m = np.min(inside_1[start] + enter[:, None] * (inside_2[end] - inside_1[start]), axis=1, initial=np.inf)
        over, enter[runs], leave[runs] = _within(inside_1[start[runs]], inside_2[end[runs]])
        inside_m[runs] = np.where(over, 0.0, -np.inf)
        rows: Rows = (start, end, np.full(len(start), k), (enter + leave) / 2.0, inside_m)
        hit = inside_m >= -EDGE_M
        crossed.append(_pick(rows, hit))
        along_m = length_m[start, end][hit]
        touching.append((runs[hit], enter[hit] * along_m, leave[hit] * along_m))
    every = _joined(crossed)
    is_run, first_m, last_m = (np.concatenate(column) for column in zip(*touching, strict=True))
    shared = np.flatnonzero(every[4] <= SAME_POINT_M)
    keep = np.ones(len(every[0]), dtype=bool)
    keep[shared] = ~_repeats(
        np.column_stack([every[0], every[1], sheets.group[every[2]]])[shared],
        first_m=first_m[shared],
        last_m=last_m[shared],
        is_run=is_run[shared],
        cost_db=sheets.cost_db[every[2][shared]],
    )
    return _pick(every, keep)


def _pick(rows: Rows, chosen: BoolArray) -> Rows:
    return rows[0][chosen], rows[1][chosen], rows[2][chosen], rows[3][chosen], rows[4][chosen]


def _joined(parts: list[Rows]) -> Rows:
    start, end, sheet, fraction, inside_m = (np.concatenate(column) for column in zip(*parts, strict=True))
    return start, end, sheet, fraction, inside_m


def _dot(one: FloatArray, other: FloatArray) -> FloatArray:
    """Scalar products over the last axis, of three, always added up in the same order."""
    return np.asarray(one[..., 0] * other[..., 0] + one[..., 1] * other[..., 1] + one[..., 2] * other[..., 2])


def _within(inside_1: FloatArray, inside_2: FloatArray) -> tuple[BoolArray, FloatArray, FloatArray]:
    """Which lines within the plane of a sheet run over it, and where they come over it and leave it."""
    one, other = inside_1 + EDGE_M, inside_2 + EDGE_M
    with np.errstate(divide="ignore", invalid="ignore"):
        reached = one / (one - other)
    enter = np.max(np.where(other > one, reached, -np.inf), axis=1, initial=0.0)
    leave = np.min(np.where(other < one, reached, np.inf), axis=1, initial=1.0)
    beside = np.any((one < 0) & (other < 0), axis=1)
    return (enter <= leave) & ~beside, enter, leave


def _repeats(
    group: IntArray, *, first_m: FloatArray, last_m: FloatArray, is_run: BoolArray, cost_db: FloatArray
) -> BoolArray:
    """Which of the crossings at an edge, and of the runs within a sheet, another one of their group stands for.

    A group is what one line has with one obstacle, or with all faces of one building. Points nearer than
    `SAME_POINT_M` are one, and the costliest sheet's stays, the first of those that cost the same. Runs that touch
    count once, and not at all where a point lies on them: a line along the top of a box meets its two side faces.
    """
    repeats = np.zeros(len(group), dtype=bool)
    members: dict[tuple[int, ...], list[int]] = {}
    for row, of in enumerate(map(tuple, group.tolist())):
        members.setdefault(of, []).append(row)
    for rows in members.values():
        rows.sort(key=lambda row: first_m[row])
        points = [row for row in rows if not is_run[row]]
        for cluster in _clusters(points, first_m, first_m):
            repeats[cluster] = cluster != _costliest(cluster, cost_db)
        for cluster in _clusters(rows, first_m, last_m):
            runs = cluster[is_run[cluster]]
            if len(runs):
                repeats[runs] = (runs != _costliest(runs, cost_db)) | (len(runs) < len(cluster))
    return repeats


def _clusters(rows: list[int], first_m: FloatArray, last_m: FloatArray) -> list[IntArray]:
    """Rows that touch the one before, or anything that it touches, together; they come by where they begin."""
    found: list[list[int]] = []
    reached_m = -np.inf
    for row in rows:
        if first_m[row] > reached_m + SAME_POINT_M:
            found.append([])
        found[-1].append(row)
        reached_m = max(reached_m, last_m[row])
    return [np.array(cluster) for cluster in found]


def _costliest(rows: IntArray, cost_db: FloatArray) -> int:
    """The row of the costliest sheet, the first of those that cost the same."""
    return int(max(rows.tolist(), key=lambda row: (cost_db[row], -row)))
