"""Crossings of all lines with all sheets, by crossings.c."""

from __future__ import annotations

import ctypes

import numpy as np

from survey.kernel import FloatArray, IntArray, call, floats, indices

Rows = tuple[IntArray, IntArray, IntArray, FloatArray, FloatArray]

ROWS_A_LINE = 4
"""Rows for which there is room at first, per line; where more are found, the work is done again with room for all."""


def crossings(
    kernel: ctypes.CDLL,
    starts_m: FloatArray,
    ends_m: FloatArray,
    *,
    normal: FloatArray,
    offset_m: FloatArray,
    edge_normal: FloatArray,
    edge_offset_m: FloatArray,
    grown_m: FloatArray,
    group: IntArray,
    cost_db: FloatArray,
    on_sheet_m: float,
    edge_m: float,
    same_point_m: float,
) -> Rows:
    """All crossings, as `survey.geometry.crossings` has them.

    Parameters
    ----------
    kernel : CDLL
        The kernel.
    starts_m, ends_m : ndarray of float, shapes (starts, 3) and (ends, 3)
        Ends of the lines. [m]
    normal, offset_m, edge_normal, edge_offset_m, group, cost_db
        As in `Sheets`.
    grown_m : ndarray of float, shape (sheets, edges, 3)
        Corners, moved outward a little. [m]
    on_sheet_m, edge_m, same_point_m : float
        The lengths by which the rules decide. [m]

    Returns
    -------
    tuple of five ndarrays, shape (rows,)
        Start, end, sheet, fraction and how far inside the edge.
    """
    sheets, edges = edge_offset_m.shape
    lines = len(starts_m) * len(ends_m)
    if not sheets or not lines:
        return _rows(0)
    arguments = (
        floats("starts_m", starts_m, -1, 3),
        len(starts_m),
        floats("ends_m", ends_m, -1, 3),
        len(ends_m),
        sheets,
        edges,
        floats("normal", normal, sheets, 3),
        floats("offset_m", offset_m, sheets),
        floats("edge_normal", edge_normal, sheets, edges, 3),
        floats("edge_offset_m", edge_offset_m, sheets, edges),
        floats("grown_m", grown_m, sheets, edges, 3),
        indices("group", group, sheets, below=np.iinfo(np.int64).max),
        floats("cost_db", cost_db, sheets),
        float(on_sheet_m),
        float(edge_m),
        float(same_point_m),
    )
    room = ROWS_A_LINE * lines + 1_000
    counts = np.zeros(2, dtype=np.int64)
    while True:
        crossed = _rows(room)
        call(kernel, "survey_crossings", *arguments, room, *crossed, counts)
        if counts[1] <= room:
            break
        room = int(counts[1])
    return _first(crossed, int(counts[0]))


def _rows(count: int) -> Rows:
    whole, broken = np.int64, np.float64
    return (
        np.empty(count, whole),
        np.empty(count, whole),
        np.empty(count, whole),
        np.empty(count, broken),
        np.empty(count, broken),
    )


def _first(rows: Rows, count: int) -> Rows:
    """The rows that were written; the memory of the others is given back."""
    for one in rows:
        one.resize(count, refcheck=False)
    return rows
