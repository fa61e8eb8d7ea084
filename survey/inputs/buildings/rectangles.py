"""Roofs over right-angled footprints: the largest rectangles, each with its own slopes, of which the highest count.

Everything here is in plan, along the first side of the footprint (u) and to the left of it (v). A way is a number from
0 to 3: sides that run along u, v, -u and -v with the building to their left, and so look to -v, u, v and -u.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from survey.base import polygon
from survey.base.arrays import FloatArray
from survey.base.polygon import LEAST_AREA_M2
from survey.inputs.buildings.convex import SAME_CORNER_M, Piece, area_m2, clip, common, merged, without

SQUARE_M = 1e-3
"""A rectangle whose sides differ by less is square. [m]"""
INWARD = ((0.0, 1.0), (-1.0, 0.0), (0.0, -1.0), (1.0, 0.0))
"""By way, into the building."""

Rectangle = tuple[float, float, float, float]
"""Lowest u, lowest v, highest u, highest v. [m]"""
Eaves = tuple[int, float]
"""The line at which a slope begins: the way of its side, and how far along its inward direction it lies. [m]"""


def ways_of(exact_m: FloatArray) -> list[int]:
    """Return the way of each side of a right-angled footprint."""
    steps = np.roll(exact_m, -1, axis=0) - exact_m
    return [int(way) for way in np.round(np.arctan2(steps[:, 1], steps[:, 0]) / (np.pi / 2.0)).astype(int) % 4]


def eaves_of(exact_m: FloatArray, side: int, way: int) -> Eaves:
    """Return the line of a side."""
    a, b = INWARD[way]
    return way, a * float(exact_m[side, 0]) + b * float(exact_m[side, 1])


def largest_rectangles(exact_m: FloatArray) -> list[Rectangle]:
    """Return every rectangle in a right-angled footprint that no larger one there contains."""
    us = _levels(exact_m[:, 0])
    vs = _levels(exact_m[:, 1])
    middles = np.array([[u, v] for v in (vs[1:] + vs[:-1]) / 2.0 for u in (us[1:] + us[:-1]) / 2.0])
    covered = polygon.contains(exact_m, middles).reshape(len(vs) - 1, len(us) - 1)
    found = []
    for low in range(len(vs) - 1):
        for high in range(low, len(vs) - 1):
            full = covered[low : high + 1].all(axis=0)
            for left, right in _runs(np.asarray(full)):
                grows = (low > 0 and covered[low - 1, left:right].all()) or (
                    high + 1 < len(vs) - 1 and covered[high + 1, left:right].all()
                )
                if not grows:
                    found.append((float(us[left]), float(vs[low]), float(us[right]), float(vs[high + 1])))
    return found


def _levels(values: FloatArray) -> FloatArray:
    """The different ones among some coordinates, rising."""
    values = np.sort(values)
    return np.asarray(values[np.append(True, np.diff(values) > SAME_CORNER_M)])


def _runs(full: np.typing.NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    """Where true values follow one another: first, and one past the last."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], full.astype(int), [0]])))
    yield from zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)


@dataclass(frozen=True, kw_only=True)
class _Wing:
    """A rectangle with the lines of its sides by way, and which of them slope."""

    sides: tuple[float, float, float, float]
    slopes: tuple[int, ...]

    def region(self, way: int, out_m: Sequence[float]) -> Piece:
        """Where the slope of one side is the lowest of its rectangle's, the rectangle widened by so much a side."""
        v_low, u_high, v_high, u_low = (
            self.sides[0] - out_m[0],
            -self.sides[1] + out_m[1],
            -self.sides[2] + out_m[2],
            self.sides[3] - out_m[3],
        )
        piece: Piece = ((u_low, v_low), (u_high, v_low), (u_high, v_high), (u_low, v_high))
        for other in self.slopes:
            if piece and other != way:
                piece = _where_higher(piece, (way, self.sides[way]), (other, self.sides[other]))
        return piece


def _where_higher(piece: Piece, one: Eaves, other: Eaves) -> Piece:
    """The part of a piece in which the slope of the second eaves is the higher."""
    if one[0] == other[0]:
        return piece if one[1] - other[1] > SAME_CORNER_M else ()
    a, b = (INWARD[other[0]][k] - INWARD[one[0]][k] for k in range(2))
    length = float(np.hypot(a, b))
    return clip(piece, a / length, b / length, (other[1] - one[1]) / length)


def inward_m(eaves: Eaves, point: tuple[float, float]) -> float:
    """Return how far in from its eaves a point lies. [m]"""
    a, b = INWARD[eaves[0]]
    return a * point[0] + b * point[1] - eaves[1]


def wings(
    exact_m: FloatArray, *, is_hip: bool, gables: Sequence[int], ridge_along_u: bool | None
) -> tuple[list[_Wing], set[int]]:
    """Give each largest rectangle its slopes.

    Parameters
    ----------
    exact_m : ndarray of float, shape (n, 2)
        Corners of the footprint. [m]
    is_hip : bool
        All sides slope, except the gables.
    gables : sequence of int
        Sides of the footprint that are gables of a hip roof.
    ridge_along_u : bool, optional
        Which way the ridge of a single rectangle runs.

    Returns
    -------
    tuple of list, set of int
        The wings; and the sides of the footprint that are a wing's whole short end.
    """
    ways = ways_of(exact_m)
    found, ends = [], set[int]()
    for u_low, v_low, u_high, v_high in largest_rectangles(exact_m):
        along_u = u_high - u_low >= v_high - v_low - SQUARE_M if ridge_along_u is None else ridge_along_u
        sides = (v_low, -u_high, -v_high, u_low)
        slopes = [0, 2] if along_u else [1, 3]
        for way in (1, 3) if along_u else (0, 2):
            whole = _whole_sides(exact_m, ways, way, sides[way], (u_low, u_high) if way % 2 == 0 else (v_low, v_high))
            ends.update(whole)
            if not whole or (is_hip and not set(whole) & set(gables)):
                slopes.append(way)
        found.append(_Wing(sides=sides, slopes=tuple(sorted(slopes))))
    return found, ends


def _whole_sides(
    exact_m: FloatArray, ways: Sequence[int], way: int, line_m: float, reach_m: tuple[float, float]
) -> list[int]:
    """The sides that make up one whole end of a rectangle, where there are such."""
    axis = way % 2
    on_line = [
        i for i in range(len(ways)) if ways[i] == way and abs(eaves_of(exact_m, i, way)[1] - line_m) <= SAME_CORNER_M
    ]
    within = []
    for i in on_line:
        ends = sorted((float(exact_m[i, axis]), float(exact_m[(i + 1) % len(ways), axis])))
        if ends[1] > reach_m[0] + SAME_CORNER_M and ends[0] < reach_m[1] - SAME_CORNER_M:
            if ends[0] < reach_m[0] - SAME_CORNER_M or ends[1] > reach_m[1] + SAME_CORNER_M:
                return []  # the side goes on beyond the rectangle
            within.append((ends, i))
    covered_m = sum(ends[1] - ends[0] for ends, _ in within)
    if covered_m < reach_m[1] - reach_m[0] - SAME_CORNER_M:
        return []
    # A side that runs on in one line beyond the rectangle, past a corner that is no corner, is no end either.
    for edge in reach_m:
        for i in on_line:
            ends = sorted((float(exact_m[i, axis]), float(exact_m[(i + 1) % len(ways), axis])))
            outside = ends[1] <= reach_m[0] + SAME_CORNER_M or ends[0] >= reach_m[1] - SAME_CORNER_M
            if outside and min(abs(ends[0] - edge), abs(ends[1] - edge)) <= SAME_CORNER_M:
                return []
    return [i for _, i in within]


def slopes_of(found: Sequence[_Wing], out_m: Callable[[Eaves], float]) -> dict[Eaves, list[Piece]]:
    """Return where each slope is the highest: convex pieces that cover the footprint, and its overhang, once.

    Parameters
    ----------
    found : sequence of wings
        As of `wings`.
    out_m : callable
        How far the roof reaches beyond a line of the footprint. [m]
    """
    regions: list[tuple[Eaves, Piece]] = []
    for wing in found:
        beyond = [out_m((way, wing.sides[way])) for way in range(4)]
        regions.extend(((way, wing.sides[way]), piece) for way in wing.slopes if (piece := wing.region(way, beyond)))
    covered: dict[Eaves, list[Piece]] = {}
    for number, (eaves, _) in enumerate(regions):
        line = next((one for one in covered if same_line(one, eaves)), eaves)
        covered.setdefault(line, []).extend(_highest(regions, number))
    return {line: merged(pieces) for line, pieces in covered.items() if pieces}


def _highest(regions: Sequence[tuple[Eaves, Piece]], number: int) -> list[Piece]:
    """What is left of a region where the others are not higher; of the same plane the first one counts."""
    eaves, piece = regions[number]
    left = [piece]
    for other_number, (other, other_piece) in enumerate(regions):
        if other_number == number or not left:
            continue
        shared = common(other_piece, piece)
        if shared and same_line(other, eaves):
            higher = shared if other_number < number else ()
        else:
            higher = _where_higher(shared, eaves, other) if shared else ()
        if higher:
            left = [part for part in without(left, higher) if area_m2(part) > LEAST_AREA_M2]
    return left


def same_line(one: Eaves, other: Eaves) -> bool:
    """Tell whether two slopes begin at the same line, and so are one plane."""
    return one[0] == other[0] and abs(one[1] - other[1]) <= SAME_CORNER_M
