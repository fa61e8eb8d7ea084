"""Which sheets a straight line goes through: the kernel behind every link.

The rules are those of the plan file: an edge belongs to its sheet; sheets of one obstacle that a line meets in the
same point (a shared corner) count once; a sheet that one end of the line stands on is not crossed; a line that runs
within the plane of a sheet and over it crosses it once.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from survey.geometry.sheets import Sheets

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

ON_SHEET_M = 1e-3
"""An end this close to a sheet stands on it. Coordinates are written to the centimetre, so nothing nearer is meant."""
EDGE_M = 1e-7
"""A line this far outside an edge still touches it: rounding must not open a slit at a corner."""
SAME_POINT_M = 1e-5
"""Crossings of one obstacle nearer together than this along a line are one: a shared corner."""


@dataclass(frozen=True)
class Crossings:
    """What each line goes through, a row for each crossing.

    Attributes
    ----------
    start, end : ndarray of int, shape (crossings,)
        Which start and which end the line joins.
    sheet : ndarray of int, shape (crossings,)
        Which sheet it goes through.
    fraction : ndarray of float, shape (crossings,)
        How far along the line, from 0 at its start to 1 at its end. [-]
    inside_m : ndarray of float, shape (crossings,)
        How far inside the nearest edge of the sheet; negative for a line that misses it by so much. [m]
    """

    start: IntArray
    end: IntArray
    sheet: IntArray
    fraction: FloatArray
    inside_m: FloatArray

    def __len__(self) -> int:
        return len(self.sheet)

    def pick(self, chosen: IntArray | BoolArray) -> Crossings:
        """Some of them."""
        return Crossings(**{one.name: getattr(self, one.name)[chosen] for one in fields(self)})


_EMPTY = np.zeros(0, dtype=np.int64)
_NOTHING = (_EMPTY, _EMPTY, _EMPTY, np.zeros(0), np.zeros(0))


def on_sheet(points_m: FloatArray, sheets: Sheets, *, within_m: float = ON_SHEET_M) -> BoolArray:
    """Which points stand on which sheets.

    Parameters
    ----------
    points_m : ndarray of float, shape (points, 3)
        Points. [m]
    sheets : Sheets
        Sheets.
    within_m : float
        How far from the plane, and outside the edge, still counts. [m]

    Returns
    -------
    ndarray of bool, shape (points, sheets)
    """
    near = np.abs(points_m @ sheets.normal.T - sheets.offset_m) <= within_m
    for k in range(sheets.edge_normal.shape[1]):
        near &= points_m @ sheets.edge_normal[:, k].T - sheets.edge_offset_m[:, k] >= -within_m
    return near


def crossings(starts_m: FloatArray, ends_m: FloatArray, sheets: Sheets) -> Crossings:
    """All crossings of all lines from every start to every end.

    Parameters
    ----------
    starts_m : ndarray of float, shape (starts, 3)
        One end of the lines. [m]
    ends_m : ndarray of float, shape (ends, 3)
        Their other end. [m]
    sheets : Sheets
        What may be in the way.

    Returns
    -------
    Crossings
        In no particular order.
    """
    return crossings_and_misses(starts_m, ends_m, sheets, np.full(len(sheets), EDGE_M))[0]


def crossings_and_misses(
    starts_m: FloatArray, ends_m: FloatArray, sheets: Sheets, beside_m: FloatArray
) -> tuple[Crossings, Crossings]:
    """All crossings, as `crossings` finds them, and the sheets that a line misses by little.

    Parameters
    ----------
    starts_m, ends_m, sheets
        As for `crossings`.
    beside_m : ndarray of float, shape (sheets,)
        How far outside the edge of each sheet a line's crossing with its plane counts as a miss. [m]

    Returns
    -------
    tuple of Crossings
        What is crossed, and what is missed.

    Notes
    -----
    With s the distance of an end from a sheet's plane and f how far inside an edge it lies, the line meets the plane
    where ``f = (f1 |s2| + f2 |s1|) / (|s1| + |s2|)``; it goes through where the ends are on opposite sides and f is
    not negative for any edge. So each sheet costs a few products of a column with a row, for those ends only that
    are on opposite sides of it. Exact in double precision down to a tenth of a micrometre at the edges.
    """
    met: list[tuple[IntArray, IntArray, IntArray, FloatArray, FloatArray]] = [_NOTHING]
    runs: list[tuple[IntArray, IntArray, IntArray, FloatArray, FloatArray]] = [_NOTHING]
    starts_on, ends_on = on_sheet(starts_m, sheets), on_sheet(ends_m, sheets)
    for k in range(len(sheets)):
        side_1 = starts_m @ sheets.normal[k] - sheets.offset_m[k]
        side_2 = ends_m @ sheets.normal[k] - sheets.offset_m[k]
        inside_1 = starts_m @ sheets.edge_normal[k].T - sheets.edge_offset_m[k]
        inside_2 = ends_m @ sheets.edge_normal[k].T - sheets.edge_offset_m[k]
        free_1, free_2 = ~starts_on[:, k], ~ends_on[:, k]
        for towards in (1.0, -1.0):
            rows = np.flatnonzero(free_1 & (towards * side_1 > 0))
            columns = np.flatnonzero(free_2 & (towards * side_2 < 0))
            if len(rows) and len(columns):
                row, column, fraction, inside = _through(
                    np.abs(side_1[rows]), np.abs(side_2[columns]), inside_1[rows], inside_2[columns], float(beside_m[k])
                )
                met.append((rows[row], columns[column], np.full(len(row), k), fraction, inside))
        rows = np.flatnonzero(free_1 & (np.abs(side_1) <= EDGE_M))
        columns = np.flatnonzero(free_2 & (np.abs(side_2) <= EDGE_M))
        if len(rows) and len(columns):
            row, column, enter, leave = _within(inside_1[rows], inside_2[columns])
            runs.append((rows[row], columns[column], np.full(len(row), k), enter, leave))
    found = Crossings(*(np.concatenate(column) for column in zip(*met, strict=True)))
    missed = found.inside_m < -EDGE_M
    start, end, sheet, enter, leave = (np.concatenate(column) for column in zip(*runs, strict=True))
    return _each_once(starts_m, ends_m, sheets, found.pick(~missed), (start, end, sheet, enter, leave)), found.pick(
        missed
    )


def _each_once(
    starts_m: FloatArray,
    ends_m: FloatArray,
    sheets: Sheets,
    met: Crossings,
    runs: tuple[IntArray, IntArray, IntArray, FloatArray, FloatArray],
) -> Crossings:
    """Crossings and runs within a plane, without those that another one of the same obstacle stands for."""
    at_edge = np.flatnonzero(met.inside_m <= SAME_POINT_M)
    start, end, sheet, enter, leave = runs
    if not len(at_edge) and not len(start):
        return met
    every = Crossings(
        start=np.concatenate([met.start, start]),
        end=np.concatenate([met.end, end]),
        sheet=np.concatenate([met.sheet, sheet]),
        fraction=np.concatenate([met.fraction, (enter + leave) / 2.0]),
        inside_m=np.concatenate([met.inside_m, np.zeros(len(start))]),
    )
    unsure = np.concatenate([at_edge, np.arange(len(met), len(every))])
    lengths_m = np.linalg.norm(ends_m[every.end[unsure]] - starts_m[every.start[unsure]], axis=1)
    line = np.unique(every.start[unsure] * len(ends_m) + every.end[unsure], return_inverse=True)[1]
    once = np.ones(len(every), dtype=bool)
    once[unsure] = ~_repeats(
        line * (int(sheets.owner.max()) + 1) + sheets.owner[every.sheet[unsure]],
        first_m=np.concatenate([met.fraction[at_edge], enter]) * lengths_m,
        last_m=np.concatenate([met.fraction[at_edge], leave]) * lengths_m,
        is_run=np.arange(len(unsure)) >= len(at_edge),
    )
    return every.pick(once)


def segment_crossings(
    starts_m: FloatArray, ends_m: FloatArray, sheets: Sheets, *, stands: tuple[BoolArray, BoolArray] | None = None
) -> Crossings:
    """All crossings of lines given one by one, by the rules of `crossings`; shared corners may count twice.

    Parameters
    ----------
    starts_m, ends_m : ndarray of float, shape (lines, 3)
        Ends of each line. [m]
    sheets : Sheets
        What may be in the way.
    stands : tuple of two ndarrays of bool, shape (lines,), optional
        Which starts and which ends are things that may stand on a sheet, and so do not cross it; without it, all.

    Returns
    -------
    Crossings
        With `start` and `end` both the number of the line.
    """
    return segment_crossings_and_misses(starts_m, ends_m, sheets, np.full(len(sheets), EDGE_M), stands=stands)[0]


def segment_crossings_and_misses(
    starts_m: FloatArray,
    ends_m: FloatArray,
    sheets: Sheets,
    beside_m: FloatArray,
    *,
    stands: tuple[BoolArray, BoolArray] | None = None,
) -> tuple[Crossings, Crossings]:
    """The same, and the sheets that a line misses by little.

    Parameters
    ----------
    starts_m, ends_m, sheets, stands
        As for `segment_crossings`.
    beside_m : ndarray of float, shape (sheets,)
        How far outside the edge of each sheet a line's crossing with its plane counts as a miss. [m]

    Returns
    -------
    tuple of Crossings
        What is crossed, and what is missed.
    """
    found: list[tuple[IntArray, IntArray, IntArray, FloatArray, FloatArray]] = [_NOTHING]
    for k in range(len(sheets)):
        side_1 = starts_m @ sheets.normal[k] - sheets.offset_m[k]
        side_2 = ends_m @ sheets.normal[k] - sheets.offset_m[k]
        line = np.flatnonzero((side_1 > 0) != (side_2 > 0))
        if not len(line):
            continue
        one, other = side_1[line], side_2[line]
        inside_1 = starts_m[line] @ sheets.edge_normal[k].T - sheets.edge_offset_m[k]
        inside_2 = ends_m[line] @ sheets.edge_normal[k].T - sheets.edge_offset_m[k]
        share = one / (one - other)
        inside_m = np.min(inside_1 + share[:, None] * (inside_2 - inside_1), axis=1)
        met = inside_m >= -beside_m[k]
        on_1 = (np.abs(one) <= ON_SHEET_M) & np.all(inside_1 >= -ON_SHEET_M, axis=1)
        on_2 = (np.abs(other) <= ON_SHEET_M) & np.all(inside_2 >= -ON_SHEET_M, axis=1)
        if stands is not None:
            on_1 &= stands[0][line]
            on_2 &= stands[1][line]
        met &= ~on_1 & ~on_2
        found.append((line[met], line[met], np.full(int(met.sum()), k), share[met], inside_m[met]))
    every = Crossings(*(np.concatenate(column) for column in zip(*found, strict=True)))
    missed = every.inside_m < -EDGE_M
    return every.pick(~missed), every.pick(missed)


def _through(
    away_1: FloatArray, away_2: FloatArray, inside_1: FloatArray, inside_2: FloatArray, beside_m: float
) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
    """Rows and columns of the lines that go through a sheet or just miss it, where, and how far inside its edge."""
    through = np.ones((len(away_1), len(away_2)), dtype=bool)
    weighed_1 = np.empty(through.shape)
    weighed_2 = np.empty(through.shape)
    for edge in range(inside_1.shape[1]):
        np.multiply.outer(inside_1[:, edge] + beside_m, away_2, out=weighed_1)
        np.multiply.outer(away_1, inside_2[:, edge] + beside_m, out=weighed_2)
        weighed_1 += weighed_2
        through &= weighed_1 >= 0
    row, column = np.nonzero(through)
    leaves_the_plane = (away_1[row] > EDGE_M) | (away_2[column] > EDGE_M)  # the others run within it
    row, column = row[leaves_the_plane], column[leaves_the_plane]
    share = away_1[row] / (away_1[row] + away_2[column])
    inside_m = np.min(inside_1[row] + share[:, None] * (inside_2[column] - inside_1[row]), axis=1, initial=np.inf)
    return row, column, share, inside_m


def _within(inside_1: FloatArray, inside_2: FloatArray) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
    """Rows and columns of the lines that run over a sheet within its plane, and where they meet and leave it."""
    one, other = inside_1[:, None] + EDGE_M, inside_2[None] + EDGE_M
    with np.errstate(divide="ignore", invalid="ignore"):
        reached = one / (one - other)
    enter = np.max(np.where(other > one, reached, -np.inf), axis=2, initial=0.0)
    leave = np.min(np.where(other < one, reached, np.inf), axis=2, initial=1.0)
    beside = np.any((one < 0) & (other < 0), axis=2)
    row, column = np.nonzero((enter <= leave) & ~beside)
    return row, column, enter[row, column], leave[row, column]


def _repeats(group: IntArray, *, first_m: FloatArray, last_m: FloatArray, is_run: BoolArray) -> BoolArray:
    """Which of the crossings at an edge, and of the runs within a sheet, another one of their group stands for.

    A group is what one line has with one obstacle. Points nearer than `SAME_POINT_M` are one. Runs that touch count
    once, and not at all where a point lies on them: a line along the top of a box meets its two side faces.
    """
    order = np.lexsort((is_run, first_m, group))
    group, first_m, last_m, is_run = group[order], first_m[order], last_m[order], is_run[order]
    repeats = np.zeros(len(order), dtype=bool)
    points = np.flatnonzero(~is_run)
    repeats[points[1:]] = (np.diff(group[points]) == 0) & (np.diff(first_m[points]) <= SAME_POINT_M)
    if np.any(is_run):
        number = np.unique(group, return_inverse=True)[1]
        apart_m = float(last_m.max()) + 1.0
        reached_m = np.maximum.accumulate(last_m + number * apart_m)
        opens = np.append(
            True, (np.diff(number) > 0) | (first_m[1:] + number[1:] * apart_m > reached_m[:-1] + SAME_POINT_M)
        )
        cluster = np.cumsum(opens) - 1
        has_point = np.bincount(cluster, weights=~is_run) > 0
        runs = np.flatnonzero(is_run)
        later = np.append(False, np.diff(cluster[runs]) == 0)
        repeats[runs] = later | has_point[cluster[runs]]
    result = np.empty(len(order), dtype=bool)
    result[order] = repeats
    return result
