"""What touches what on a site: sheets that meet, and the sheets that points are fixed to."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from survey.base.arrays import FloatArray, IntArray
from survey.geometry import Sheets, on_sheet

JOINED_M = 0.052
"""Sheets nearer together than this move as one: what the paths around take for closed (`around.bodies.SHORT_M`). [m]"""
NEAR_SHEET_M = 0.30
"""Inverters, arrays and spots nearer to a sheet than this are taken to be fixed to it: a judgement. [m]"""
SAMPLES = (0.0, 0.25, 0.5, 0.75)
"""Places along an edge at which is asked whether it lies on a sheet, beside where it meets the sheet's plane. [-]"""


def nearest_sheet(points_m: FloatArray, sheets: Sheets, *, without: IntArray | None = None) -> IntArray:
    """Return the nearest sheet within `NEAR_SHEET_M` of each point, -1 for none; `without` some obstacles' sheets."""
    if not len(sheets):
        return np.full(len(points_m), -1, dtype=np.int64)
    near = on_sheet(points_m, sheets, within_m=NEAR_SHEET_M)
    if without is not None:
        near &= ~np.isin(sheets.owner, without)
    apart_m = np.where(near, np.abs(points_m @ sheets.normal.T - sheets.offset_m), np.inf)
    return np.where(near.any(axis=1), apart_m.argmin(axis=1), -1).astype(np.int64)


def touching(sheets: Sheets, *, within_m: float = JOINED_M) -> Iterator[tuple[int, int]]:
    """Yield the pairs of sheets of different obstacles that meet within a distance."""
    low_m, high_m = sheets.corners_m.min(axis=1) - within_m, sheets.corners_m.max(axis=1) + within_m
    for s in range(len(sheets)):
        near = np.flatnonzero(
            np.all((low_m[s] <= high_m) & (low_m <= high_m[s]), axis=1) & (sheets.owner != sheets.owner[s])
        )
        if not len(near):
            continue
        start_m = sheets.corners_m[s]
        along_m = np.roll(start_m, -1, axis=0) - start_m
        off_m = start_m @ sheets.normal[near].T - sheets.offset_m[near]
        slope = along_m @ sheets.normal[near].T
        meets = np.clip(-off_m / np.where(np.abs(slope) > 1e-9, slope, 1.0), 0.0, 1.0)  # noqa: PLR2004  parallel
        for share in (meets, *(np.full_like(meets, value) for value in SAMPLES)):
            points_m = start_m[:, None] + share[:, :, None] * along_m[:, None]
            plane_m = np.abs(np.einsum("enx,nx->en", points_m, sheets.normal[near]) - sheets.offset_m[near])
            inside_m = np.einsum("enx,nkx->enk", points_m, sheets.edge_normal[near]) - sheets.edge_offset_m[near]
            hit = np.any((plane_m <= within_m) & np.all(inside_m >= -within_m, axis=2), axis=0)
            yield from ((s, int(t)) for t in near[hit])
