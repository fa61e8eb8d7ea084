"""Roofs that reach beyond their walls: what the building under them could be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from survey.base import polygon
from survey.base.arrays import FloatArray
from survey.inputs.plan import Sheetlike

if TYPE_CHECKING:
    from survey.output.export.recognising import Candidate

MIN_OVERHANG_M, MAX_OVERHANG_M = 0.02, 5.0
"""Less is how a plan is drawn; more is what no building of a plan may have. [m]"""
SAME_M = 0.002
"""Overhangs of two sides that differ by less are the same: a plan is written to the centimetre. [m]"""
PARALLEL = 1e-3
"""Sine of the angle by which a wall may turn from the edge of its roof. [-]"""


def overhung(candidate: Candidate, uprights: Sequence[Sheetlike]) -> Candidate | None:
    """Return what a roof is of where walls stand equally far inside all its edges; None where they do not.

    Parameters
    ----------
    candidate : Candidate
        A roof over a building that would end at its edges.
    uprights : sequence of Sheetlike
        Walls.
    """
    corners_m = candidate.corners_m
    if candidate.shared is not None or not len(corners_m):
        return None
    if polygon.signed_area_m2(corners_m) < 0:
        corners_m = corners_m[::-1]
    sides = np.roll(corners_m, -1, axis=0) - corners_m
    inward = np.column_stack([-sides[:, 1], sides[:, 0]]) / np.linalg.norm(sides, axis=1)[:, None]
    feet = [sheet_m[:, :2] for one in uprights for sheet_m in one.sheets_m()]
    depths_m = [
        _depth_m(start, side, normal, feet) for start, side, normal in zip(corners_m, sides, inward, strict=True)
    ]
    overhang_m = float(np.mean(depths_m))
    if not MIN_OVERHANG_M <= overhang_m <= MAX_OVERHANG_M or np.ptp(depths_m) > SAME_M:
        return None
    both = inward + np.roll(inward, 1, axis=0)
    walls_m = corners_m + overhang_m * 2.0 * both / np.sum(both**2, axis=1, keepdims=True)
    fall_m = overhang_m * _slope(candidate, inward)
    is_mono = candidate.values["roof"] == "mono-pitch"
    ridge_m = None if candidate.ridge_m is None else candidate.ridge_m - (fall_m if is_mono else 0.0)
    values = candidate.values | {"corners": walls_m, "overhang_m": round(overhang_m, 4)}
    return replace(candidate, values=values, eaves_m=candidate.eaves_m + fall_m, ridge_m=ridge_m, corners_m=walls_m)


def _depth_m(start: FloatArray, side: FloatArray, inward: FloatArray, feet: Sequence[FloatArray]) -> float:
    """Return how far inside an edge of a roof the outermost wall along it stands; infinite where there is none. [m]"""
    length_m = float(np.linalg.norm(side))
    found = [np.inf]
    for foot_m in feet:
        depths_m, along_m = (foot_m - start) @ inward, (foot_m - start) @ side / length_m
        span_m = float(np.ptp(along_m))
        is_along = np.ptp(depths_m) <= max(PARALLEL * span_m, SAME_M / 2.0) and span_m > SAME_M
        if is_along and depths_m.min() > SAME_M and along_m.min() > 0 and along_m.max() < length_m:
            found.append(float(depths_m.mean()))
    return min(found)


def _slope(candidate: Candidate, inward: FloatArray) -> float:
    """Return how much a roof rises by the metre, 0 for a flat one. [-]"""
    if candidate.ridge_m is None:
        return 0.0
    rise_m = candidate.ridge_m - candidate.eaves_m
    (sheet_m,) = candidate.over[0].sheets_m()
    edge_m = sheet_m[sheet_m[:, 2] < sheet_m[:, 2].min() + SAME_M, :2]
    run_m = max(float(np.abs((sheet_m[:, :2] - edge_m[0]) @ normal).max()) for normal in _square_to(edge_m, inward))
    return rise_m / run_m


def _square_to(edge_m: FloatArray, inward: FloatArray) -> FloatArray:
    """Return those of the normals that are square to an edge."""
    along = (edge_m[-1] - edge_m[0]) / np.linalg.norm(edge_m[-1] - edge_m[0])
    return np.asarray(inward[np.abs(inward @ along) < PARALLEL])
