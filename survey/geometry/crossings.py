"""Which sheets a straight line goes through.

The rules are those of the plan file: an edge belongs to its sheet; sheets of one obstacle that a line meets in the
same point (a shared corner) count once, and of the faces of one building the costliest; a sheet that one end of
the line stands on is not crossed; a line that runs within the plane of a sheet and over it crosses it once.
`survey.geometry.plain` works them out by the plain formula; where there is a compiled kernel, that does it, with the
same result.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.geometry.plain import EDGE_M, ON_SHEET_M, SAME_POINT_M, plain_crossings
from survey.geometry.sheets import Sheets
from survey.kernel import library
from survey.kernel.crossings import crossings as by_kernel

SPARE_M = 1e-3
"""How much wider than it is the kernel takes a sheet to be when it leaves lines out by their direction."""


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
        How far inside the nearest edge. [m]
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
        return Crossings(
            self.start[chosen], self.end[chosen], self.sheet[chosen], self.fraction[chosen], self.inside_m[chosen]
        )

    def to(self, chosen: IntArray) -> Crossings:
        """Those of the lines to some of the ends, each once, numbered in the order asked for."""
        place = np.full(max(self.end.max(initial=-1), chosen.max(initial=-1)) + 1, -1)
        place[chosen] = np.arange(len(chosen))
        some = self.pick(place[self.end] >= 0)
        return replace(some, end=place[some.end])


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
        For one line the sheets come in their order; otherwise in no particular order.
    """
    kernel = library()
    if kernel is None:
        return Crossings(*plain_crossings(starts_m, ends_m, sheets))
    return Crossings(
        *by_kernel(
            kernel,
            starts_m,
            ends_m,
            normal=sheets.normal,
            offset_m=sheets.offset_m,
            edge_normal=sheets.edge_normal,
            edge_offset_m=sheets.edge_offset_m,
            grown_m=sheets.corners_m + SPARE_M * sheets.corner_growth,
            group=sheets.group,
            cost_db=sheets.cost_db,
            on_sheet_m=ON_SHEET_M,
            edge_m=EDGE_M,
            same_point_m=SAME_POINT_M,
        )
    )
