"""How high upright faces go: the roof over a line in plan, and the pieces of a wall under it."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from survey.base.arrays import FloatArray
from survey.inputs.buildings.convex import SAME_CORNER_M, Piece, clip, halves, merged
from survey.inputs.buildings.footprints import PARALLEL
from survey.inputs.buildings.slopes import Slope

Stretch = tuple[float, float, float, float]
"""From so far along a line, at a height, to so far along it, at a height. [m]"""


def inside_stretches(start_m: FloatArray, end_m: FloatArray, pieces: Sequence[Piece]) -> list[tuple[float, float]]:
    """Return where a line in plan lies in some convex pieces: from and to, along it. [m]"""
    length_m = float(np.hypot(*(end_m - start_m)))
    along = (end_m - start_m) / length_m
    found = []
    for piece in pieces:
        low_m, high_m = 0.0, length_m
        for a, b, c in halves(piece):
            value, slope = a * start_m[0] + b * start_m[1] - c, a * along[0] + b * along[1]
            if abs(slope) < PARALLEL:  # the line runs beside this side
                if value < -SAME_CORNER_M:
                    high_m = -1.0
            elif slope > 0:
                low_m = max(low_m, -value / slope)
            else:
                high_m = min(high_m, -value / slope)
        if high_m - low_m > SAME_CORNER_M:
            found.append((float(low_m), float(high_m)))
    return sorted(found)


def joined(stretches: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Put together stretches that touch or overlap."""
    whole: list[tuple[float, float]] = []
    for low_m, high_m in sorted(stretches):
        if whole and low_m <= whole[-1][1] + 2.0 * SAME_CORNER_M:
            whole[-1] = (whole[-1][0], max(whole[-1][1], high_m))
        else:
            whole.append((low_m, high_m))
    return whole


def roof_over(start_m: FloatArray, end_m: FloatArray, slopes: Sequence[Slope]) -> list[Stretch]:
    """Return the height of the roof along a line in plan, stretch by stretch, above the building's foot."""
    along = (end_m - start_m) / np.hypot(*(end_m - start_m))
    own = [(low, high, slope) for slope in slopes for low, high in inside_stretches(start_m, end_m, slope.inside)]
    marks: list[float] = []
    for mark in sorted(mark for low, high, _ in own for mark in (low, high)):
        if not marks or mark - marks[-1] > SAME_CORNER_M:
            marks.append(mark)
    found: list[Stretch] = []
    for low, high in pairwise(marks):
        middle = 0.5 * (low + high)
        over = [slope for first, last, slope in own if first <= middle <= last]
        if over:
            (x, y), (x_1, y_1), (x_2, y_2) = (start_m + mark * along for mark in (middle, low, high))
            slope = max(over, key=lambda one: one.height_m(x, y))
            found.append((low, slope.height_m(x_1, y_1), high, slope.height_m(x_2, y_2)))
    return found


def raised(stretches: Sequence[Stretch], least_m: float) -> list[Stretch]:
    """Raise stretches to a height where they are below it: a parapet."""
    found: list[Stretch] = []
    for low, z, high, z_2 in stretches:
        if min(z, z_2) < least_m < max(z, z_2):
            middle = low + (high - low) * (least_m - z) / (z_2 - z)
            found += [(low, max(z, least_m), middle, least_m), (middle, least_m, high, max(z_2, least_m))]
        else:
            found.append((low, max(z, least_m), high, max(z_2, least_m)))
    return found


def upright_pieces(stretches: Sequence[Stretch], *, foot_m: float, top_m: float | None = None) -> list[Piece]:
    """Return the pieces of an upright face under a roof, from a foot up, cut off at a height where one is given."""
    pieces: list[Piece] = []
    for low, z, high, z_2 in stretches:
        floor_m = min(foot_m, z, z_2) - 1.0
        piece = clip(((low, floor_m), (high, floor_m), (high, z_2), (low, z)), 0.0, 1.0, foot_m)
        if piece and top_m is not None:
            piece = clip(piece, 0.0, -1.0, -top_m)
        if piece:
            pieces.append(piece)
    return merged(pieces)


def parapet_pieces(stretches: Sequence[Stretch], top_m: float) -> list[Piece]:
    """Return the pieces of an upright face from a roof up to a height, where the roof is lower. [m]"""
    pieces: list[Piece] = []
    for low, z, high, z_2 in stretches:
        high_m = max(z, z_2, top_m) + 1.0
        piece = clip(((low, z), (high, z_2), (high, high_m), (low, high_m)), 0.0, -1.0, -top_m)
        if piece and min(z, z_2) < top_m - SAME_CORNER_M:
            pieces.append(piece)
    return merged(pieces)


def moved(pieces: Sequence[Piece], *, left_m: float = 0.0, up_m: float = 0.0) -> list[Piece]:
    """Return pieces moved along and up."""
    return [tuple((x + left_m, y + up_m) for x, y in piece) for piece in pieces]
