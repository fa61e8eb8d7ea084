"""Screens that a line only just meets: they come into its way by degrees."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.geometry import Lines, Screens
from survey.geometry.hulls import LEAST_NU

DEEP_NU = 0.78
"""Behind an edge by this much, a line is in its shadow in full."""
OBLIQUE = 2.0
"""Sheets that a line meets at up to 60 degrees are searched for grazed edges: a miss in the sheet is twice as wide."""
MOST_SLIGHT = 3
"""How many screens that block a line slightly are left out at most."""
CLOSED_BELOW_M = 0.01
"""What comes down to this height stands on the ground. [m]"""


def graze_reach_m(before_m: FloatArray, beyond_m: FloatArray, *, wavelength_m: float) -> FloatArray:
    """How far beside a line an edge can lie and still be grazed, measured in the plane of its sheet.

    Parameters
    ----------
    before_m, beyond_m : ndarray of float
        Distances from the edge to either end of the line. [m]
    wavelength_m : float
        Wavelength. [m]

    Returns
    -------
    ndarray of float
        Distance. [m]
    """
    total_m = np.maximum(before_m + beyond_m, 1e-9)
    return np.asarray(OBLIQUE * abs(LEAST_NU) * np.sqrt(wavelength_m * before_m * beyond_m / (2.0 * total_m)))


def smooth(share: FloatArray) -> FloatArray:
    """A step from 0 to 1 without corners, for shares between 0 and 1 and flat beyond them."""
    share = np.clip(share, 0.0, 1.0)
    return np.asarray(share**2 * (3.0 - 2.0 * share))


@dataclass(frozen=True, kw_only=True)
class Slight:
    """Lines that something blocks with little more than its edge, seen in one plane.

    Attributes
    ----------
    plane : int
        0 for the upright plane, 1 for the level one.
    line : ndarray of int, shape (lines,)
        Which lines.
    row : ndarray of int, shape (rows,)
        Which pairs of line and screen to leave out.
    weight : ndarray of float, shape (lines,)
        How much the line counts without them. [-]
    """

    plane: int
    line: IntArray
    row: IntArray
    weight: FloatArray


def slight_blockers(
    lines: Lines, near: tuple[IntArray, IntArray, BoolArray], screens: Screens, *, wavelength_m: float
) -> list[Slight]:
    """Lines that several screens block, some of them with little more than their edge.

    Seen in the upright plane, a screen whose end the line only just meets stands there in full or not at all; in
    truth it comes in by degrees. The same holds for the level plane and a top that the line only just meets. So the
    ways in a plane are a mean of those with and without the slight ones, the slightest left out first.

    Parameters
    ----------
    lines : Lines
        The lines.
    near : tuple of three ndarrays
        Which line, which screen, and whether it blocks.
    screens : Screens
        The screens.
    wavelength_m : float
        Wavelength. [m]

    Returns
    -------
    list of Slight
        For each plane, and for one, two ... slight screens left out; one that blocks is always kept.
    """
    line, screen, blocks = near
    row = np.flatnonzero(blocks)
    number = np.bincount(line[row], minlength=len(lines.length_m))
    row = row[number[line[row]] > 1]
    corners_m = screens.corners_m[screen[row]]
    local = np.einsum("kij,kcj->ikc", lines.axes[line[row]], corners_m - lines.starts_m[line[row]][:, None])
    length_m = lines.length_m[line[row]][:, None]
    along_m = np.clip(local[0], 0.02 * length_m, 0.98 * length_m)
    scale = np.sqrt(2.0 * length_m / (wavelength_m * along_m * (length_m - along_m)))
    grounded = corners_m[..., 2].min(axis=1) <= CLOSED_BELOW_M
    found = []
    for plane, axis in enumerate((2, 1)):
        out = local[axis] * scale
        joined = screens.attached[screen[row]]
        above = np.where(joined & (out > 0), np.inf, out).max(axis=1, initial=-np.inf)
        below = np.where(joined & (out < 0), np.inf, -out).max(axis=1, initial=-np.inf)
        below = np.where(grounded & (axis == 1), np.inf, below)
        share = np.round(smooth(np.minimum(above, below) / DEEP_NU), 9)
        order = np.lexsort((share, line[row]))
        sorted_line = line[row][order]
        opens = np.append(True, np.diff(sorted_line) > 0)[: len(order)]
        rank = np.arange(len(order)) - np.maximum.accumulate(np.where(opens, np.arange(len(order)), 0))
        share, row_sorted = share[order], row[order]
        next_share = np.append(share[1:], 1.0)[: len(share)]
        for left_out in range(1, MOST_SLIGHT + 1):
            last = (rank == left_out - 1) & (share < 1.0) & (left_out < number[sorted_line])
            final = (left_out == MOST_SLIGHT) | (number[sorted_line] - 1 == left_out)
            weight = np.where(final, 1.0, next_share) - share
            chosen = np.flatnonzero(last & (weight > 0))
            dropped = np.isin(sorted_line, sorted_line[chosen]) & (rank < left_out)
            found.append(Slight(plane=plane, line=sorted_line[chosen], row=row_sorted[dropped], weight=weight[chosen]))
    return found
