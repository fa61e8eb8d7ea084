"""How high points lie over sheets, straight up or down."""

from __future__ import annotations

import numpy as np

from survey.base.arrays import BoolArray, FloatArray
from survey.geometry.sheets import Sheets

MIN_RISE = 0.25
"""Share of a unit normal that points up in a sheet that anything can lie over: slopes up to 75 degrees."""
AT_ONCE = 2_000_000
"""Pairs of points and sheets worked out together: some 50 MB."""


def lies_level(sheets: Sheets) -> BoolArray:
    """Return which sheets slope by less than 75 degrees, shape (sheets,)."""
    return np.asarray(np.abs(sheets.normal[:, 2]) >= MIN_RISE)


def heights_over(points_m: FloatArray, sheets: Sheets, *, beyond_m: float = 1e-6) -> FloatArray:
    """Return how high points lie over sheets, measured upright.

    Parameters
    ----------
    points_m : ndarray of float, shape (points, 3)
        Points. [m]
    sheets : Sheets
        Sheets, none of them upright.
    beyond_m : float
        How far outside the edge of a sheet a point is still over it. [m]

    Returns
    -------
    ndarray of float, shape (points, sheets)
        Negative below the sheet; NaN for points that are neither over nor under it. [m]

    Examples
    --------
    >>> from survey.geometry import sheets_of
    >>> roof = np.array([[0.0, 0.0, 3.0], [4.0, 0.0, 3.0], [4.0, 4.0, 4.0], [0.0, 4.0, 4.0]])
    >>> heights_over(np.array([[1.0, 2.0, 3.6], [1.0, 5.0, 3.6]]), sheets_of([roof], [0])).round(3).tolist()
    [[0.1], [nan]]
    """
    heights_m = np.empty((len(points_m), len(sheets)))
    at_once = max(1, AT_ONCE // max(len(sheets), 1))
    for first in range(0, len(points_m), at_once):
        some = slice(first, first + at_once)
        heights_m[some] = _heights_over(points_m[some], sheets, beyond_m)
    return heights_m


def _heights_over(points_m: FloatArray, sheets: Sheets, beyond_m: float) -> FloatArray:
    """Return the same for as many points as are worked out together."""
    up = sheets.normal[:, 2]
    heights_m = (points_m @ sheets.normal.T - sheets.offset_m) / up
    over = np.ones(heights_m.shape, dtype=bool)
    for k in range(sheets.edge_normal.shape[1]):
        edge = sheets.edge_normal[:, k]
        inside_m = points_m @ edge.T - heights_m * edge[:, 2] - sheets.edge_offset_m[:, k]
        over &= inside_m >= -beyond_m
    return np.where(over, heights_m, np.nan)
