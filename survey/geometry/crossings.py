"""Which sheets a straight line goes through: the kernel behind every link.

The rules are those of the plan file: an edge belongs to its sheet; sheets of one obstacle that a line meets in the
same point (a shared corner) count once, and of the faces of one building the costliest; a sheet that one end of
the line stands on is not crossed; a line that runs within the plane of a sheet and over it crosses it once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.geometry.sheets import Sheets
from survey.geometry.wedges import through_wedges

ON_SHEET_M = 1e-3
"""An end this close to a sheet stands on it. Coordinates are written to the centimetre, so nothing nearer is meant."""
EDGE_M = 1e-7
"""A line this far outside an edge still touches it: rounding must not open a slit at a corner."""
SAME_POINT_M = 1e-5
"""Crossings of one obstacle nearer together than this along a line are one: a shared corner."""


@dataclass(frozen=True)
class Crossings:
    """What each line goes through, a row for each crossing.

    Where on its line a crossing lies is worked out when first asked for: most losses do not depend on it.

    Attributes
    ----------
    start, end : ndarray of int, shape (crossings,)
        Which start and which end the line joins.
    sheet : ndarray of int, shape (crossings,)
        Which sheet it goes through.
    starts_m, ends_m : ndarray of float, shapes (starts, 3) and (ends, 3)
        All starts and all ends. [m]
    sheets : Sheets
        All sheets.
    known : tuple of two ndarrays of float, optional
        `fraction` and `inside_m`, where they are worked out already.
    """

    start: IntArray
    end: IntArray
    sheet: IntArray
    starts_m: FloatArray
    ends_m: FloatArray
    sheets: Sheets
    known: tuple[FloatArray, FloatArray] | None = None

    def __len__(self) -> int:
        return len(self.sheet)

    @cached_property
    def _where(self) -> tuple[FloatArray, FloatArray]:
        if self.known is not None:
            return self.known
        met = _meet(self.starts_m[self.start], self.ends_m[self.end], self.sheets, self.sheet)
        return met.fraction, met.inside_m

    @property
    def fraction(self) -> FloatArray:
        """How far along the line, from 0 at its start to 1 at its end, shape (crossings,). [-]"""
        return self._where[0]

    @property
    def inside_m(self) -> FloatArray:
        """How far inside the nearest edge; negative for a line that misses it by so much, shape (crossings,). [m]"""
        return self._where[1]

    def pick(self, chosen: IntArray | BoolArray) -> Crossings:
        """Some of them."""
        known = self.__dict__.get("_where", self.known)
        return Crossings(
            self.start[chosen],
            self.end[chosen],
            self.sheet[chosen],
            self.starts_m,
            self.ends_m,
            self.sheets,
            known and (known[0][chosen], known[1][chosen]),
        )

    def to(self, chosen: IntArray) -> Crossings:
        """Those of the lines to some of the ends, each once, numbered in the order asked for."""
        place = np.full(len(self.ends_m), -1)
        place[chosen] = np.arange(len(chosen))
        some = self.pick(place[self.end] >= 0)
        return replace(some, end=place[some.end], ends_m=self.ends_m[chosen])


@dataclass(frozen=True, kw_only=True)
class _Met:
    """How single lines meet single sheets; arrays of shape (lines,).

    Attributes
    ----------
    through : ndarray of bool
        The ends lie on opposite sides of the plane, and not both within it.
    fraction, inside_m : ndarray of float
        As in `Crossings`; of a run within the plane its middle, and nothing.
    stands : ndarray of bool
        An end stands on the sheet.
    runs : ndarray of bool
        The line runs over the sheet within its plane.
    enter, leave : ndarray of float
        Where it comes over the sheet and where it leaves it; the same for lines that go through. [-]
    """

    through: BoolArray
    fraction: FloatArray
    inside_m: FloatArray
    stands: BoolArray
    runs: BoolArray
    enter: FloatArray
    leave: FloatArray


_EMPTY = np.zeros(0, dtype=np.int64)


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
    What certainly goes through, and what may, comes from `through_wedges`; the rules decide the latter one by one.
    With s the distance of an end from a sheet's plane and f how far inside an edge it lies, the line meets the plane
    where ``f = (f1 |s2| + f2 |s1|) / (|s1| + |s2|)``; it goes through where the ends are on opposite sides and f is
    not negative for any edge. Exact in double precision down to a tenth of a micrometre at the edges.
    """
    from_start = len(starts_m) < len(ends_m)
    hubs_m, spokes_m = (starts_m, ends_m) if from_start else (ends_m, starts_m)
    found = [(_EMPTY, _EMPTY, _EMPTY, np.zeros(0, dtype=bool)), *through_wedges(hubs_m, spokes_m, sheets, beside_m)]
    hub, spoke, sheet, sure = (np.concatenate(column) for column in zip(*found, strict=True))
    start, end = (hub, spoke) if from_start else (spoke, hub)
    del found
    unsure = np.flatnonzero(~sure)
    met = _meet(starts_m[start[unsure]], ends_m[end[unsure]], sheets, sheet[unsure])
    near = met.through & ~met.stands & (met.inside_m >= -beside_m[sheet[unsure]])
    missed = near & (met.inside_m < -EDGE_M)
    crossed = (near & ~missed) | (met.runs & ~met.stands)
    shared = np.flatnonzero(crossed & (met.inside_m <= SAME_POINT_M))
    row = unsure[shared]
    lengths_m = _length(ends_m[end[row]] - starts_m[start[row]])
    line = start[row] * len(ends_m) + end[row]
    crossed[shared] = ~_repeats(
        line * (int(sheets.group.max(initial=0)) + 1) + sheets.group[sheet[row]],
        first_m=met.enter[shared] * lengths_m,
        last_m=met.leave[shared] * lengths_m,
        is_run=met.runs[shared],
        cost_db=sheets.cost_db[sheet[row]],
    )
    sure[unsure] = crossed
    row = unsure[missed]
    known = (met.fraction[missed], met.inside_m[missed])
    beside = Crossings(start[row], end[row], sheet[row], starts_m, ends_m, sheets, known)
    return Crossings(start[sure], end[sure], sheet[sure], starts_m, ends_m, sheets), beside


def _meet(starts_m: FloatArray, ends_m: FloatArray, sheets: Sheets, sheet: IntArray) -> _Met:
    """How lines given one by one, shape (lines, 3), meet one sheet each."""
    normal, edge_normal = sheets.normal[sheet], sheets.edge_normal[sheet]
    side_1, side_2 = (_dot(at_m, normal) - sheets.offset_m[sheet] for at_m in (starts_m, ends_m))
    inside_1, inside_2 = (_dot(at_m[:, None], edge_normal) - sheets.edge_offset_m[sheet] for at_m in (starts_m, ends_m))
    away_1, away_2 = np.abs(side_1), np.abs(side_2)
    in_plane = (away_1 <= EDGE_M) & (away_2 <= EDGE_M)
    through = (np.sign(side_1) * np.sign(side_2) < 0) & ~in_plane
    share = away_1 / np.where(through, away_1 + away_2, 1.0)
    inside_m = np.min(inside_1 + share[:, None] * (inside_2 - inside_1), axis=1, initial=np.inf)
    runs = np.zeros(len(sheet), dtype=bool)
    enter, leave = share.copy(), share.copy()
    rows = np.flatnonzero(in_plane)
    if len(rows):
        runs[rows], enter[rows], leave[rows] = _within(inside_1[rows], inside_2[rows])
        inside_m[rows] = 0.0
    stands = (away_1 <= ON_SHEET_M) & np.all(inside_1 >= -ON_SHEET_M, axis=1)
    stands |= (away_2 <= ON_SHEET_M) & np.all(inside_2 >= -ON_SHEET_M, axis=1)
    return _Met(
        through=through,
        fraction=(enter + leave) / 2.0,
        inside_m=inside_m,
        stands=stands,
        runs=runs,
        enter=enter,
        leave=leave,
    )


def _dot(one: FloatArray, other: FloatArray) -> FloatArray:
    """Scalar products over the last axis, of three, always added up in the same order."""
    return np.asarray(one[..., 0] * other[..., 0] + one[..., 1] * other[..., 1] + one[..., 2] * other[..., 2])


def _length(vector_m: FloatArray) -> FloatArray:
    return np.sqrt(_dot(vector_m, vector_m))


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

    A group is what one line has with one obstacle, or with all faces of one building; the costliest stands for the
    others, the first of those that cost the same. Points nearer than `SAME_POINT_M` are one. Runs that touch count
    once, and not at all where a point lies on them: a line along the top of a box meets its two side faces.
    """
    order = np.lexsort((is_run, first_m, group))
    group, first_m, last_m, is_run = group[order], first_m[order], last_m[order], is_run[order]
    cost_db = cost_db[order]
    repeats = np.zeros(len(order), dtype=bool)
    points = np.flatnonzero(~is_run)
    begins = (np.diff(group[points]) != 0) | (np.diff(first_m[points]) > SAME_POINT_M)
    repeats[points] = _is_outdone(np.append(0, np.cumsum(begins))[: len(points)], cost_db[points])
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
        repeats[runs] = _is_outdone(cluster[runs], cost_db[runs]) | has_point[cluster[runs]]
    result = np.empty(len(order), dtype=bool)
    result[order] = repeats
    return result


def _is_outdone(cluster: IntArray, cost_db: FloatArray) -> BoolArray:
    """Which members of each cluster are not its costliest; of those that cost the same the first stays."""
    order = np.lexsort((np.arange(len(cluster)), -cost_db, cluster))
    result = np.empty(len(cluster), dtype=bool)
    result[order] = np.append(False, np.diff(cluster[order]) == 0)[: len(cluster)]
    return result
