"""Sloping ground as far as a tape goes: a few points with heights, and the height of the ground between them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.polygon import LEAST_AREA_M2
from survey.inputs.fields import Entry, Points, key
from survey.inputs.plan.kinds import ANY_TEXT, CORNER

MAX_POINTS = 1_000
"""Of one entry: more than anybody measures by tape. A judgement."""
PLANE_POINTS = 3
"""So many points make one plane, which goes on beyond them. [-]"""
EDGE_M = 0.01
"""A point no farther than this beyond the outermost points of the ground is on their edge: rounding. [m]"""


@dataclass(frozen=True, kw_only=True)
class Ground(Entry):
    """Points of the ground, measured by tape or level."""

    points: tuple[tuple[float, float, float], ...] = key(Points(CORNER, least=1, most=MAX_POINTS))
    note: str = key(ANY_TEXT, default="")


@dataclass(frozen=True)
class GroundSurface:
    """The ground through all the points of a plan.

    Attributes
    ----------
    points : tuple of (float, float, float)
        Three or more, not on one line, no two over each other. [m]
    """

    points: tuple[tuple[float, float, float], ...]

    def height_m(self, places_m: FloatArray) -> FloatArray:
        """Return the height of the ground under places in plan; NaN beyond its outermost points.

        Three points make one plane, without an edge. Of more, every three neighbours make a plane between them:
        neighbours in the triangulation of Delaunay, whose circles through three points hold no other.

        Parameters
        ----------
        places_m : ndarray of float, shape (n, 2)
            Places in plan. [m]

        Returns
        -------
        ndarray of float, shape (n,)
            Heights. [m]

        Examples
        --------
        >>> slope = GroundSurface(((0.0, 0.0, 0.0), (10.0, 0.0, 1.0), (0.0, 10.0, 0.0)))
        >>> slope.height_m(np.array([[5.0, 2.0], [20.0, 0.0]])).tolist()
        [0.5, 2.0]
        """
        places_m = np.asarray(places_m, dtype=np.float64).reshape(-1, 2)
        points_m = np.array(self.points)
        heights_m, best_m = np.full(len(places_m), np.nan), np.full(len(places_m), -EDGE_M)
        for corners in _triangles(self.points):
            flat_m, z_m = points_m[list(corners), :2], points_m[list(corners), 2]
            shares = _shares(flat_m, places_m)
            if len(self.points) == PLANE_POINTS:
                return np.asarray(shares @ z_m)
            inside_m = _inside_m(flat_m, shares)
            better = inside_m >= best_m
            heights_m[better], best_m[better] = shares[better] @ z_m, inside_m[better]
        return heights_m

    def facets_m(self, low_m: FloatArray, high_m: FloatArray) -> list[FloatArray]:
        """Return the planes of the ground for a picture, each shape (3, 3): triangles, or the one plane cut in two.

        Parameters
        ----------
        low_m, high_m : ndarray of float, shape (2,)
            Lowest and highest x and y of the picture, as far as one plane is drawn. [m]
        """
        if len(self.points) > PLANE_POINTS:
            return [np.array(self.points)[list(corners)] for corners in _triangles(self.points)]
        (x, y), (x_2, y_2) = low_m, high_m
        flat_m = np.array([[x, y], [x_2, y], [x_2, y_2], [x, y_2]])
        corners_m = np.column_stack([flat_m, self.height_m(flat_m)])
        return [corners_m[[0, 1, 2]], corners_m[[0, 2, 3]]]


def _shares(corners_m: FloatArray, places_m: FloatArray) -> FloatArray:
    """Barycentric coordinates of places in a triangle, shape (n, 3). [-]"""
    rest = np.linalg.solve((corners_m[1:] - corners_m[0]).T, (places_m - corners_m[0]).T).T
    return np.column_stack([1.0 - rest.sum(axis=1), rest])


def _inside_m(corners_m: FloatArray, shares: FloatArray) -> FloatArray:
    """How far inside a triangle places are, from its nearest side, shape (n,); negative outside. [m]"""
    sides_m = np.roll(corners_m, -1, axis=0) - np.roll(corners_m, 1, axis=0)
    twice_m2 = abs(float(sides_m[0, 0] * sides_m[1, 1] - sides_m[0, 1] * sides_m[1, 0]))
    return np.asarray((shares * twice_m2 / np.hypot(*sides_m.T)).min(axis=1))


@lru_cache(maxsize=8)
def _triangles(points: tuple[tuple[float, float, float], ...]) -> tuple[tuple[int, ...], ...]:
    """Which three points each plane of the ground goes through."""
    if len(points) == PLANE_POINTS:
        return ((0, 1, 2),)
    from scipy.spatial import Delaunay  # noqa: PLC0415  a third of a second, only for a plan with such ground

    flat_m = np.array(points)[:, :2]
    found = Delaunay(flat_m - flat_m.mean(axis=0)).simplices.tolist()
    return tuple(tuple(three) for three in found if _area_m2(flat_m[three]) > LEAST_AREA_M2)


def _area_m2(corners_m: FloatArray) -> float:
    (ax, ay), (bx, by) = corners_m[1:] - corners_m[0]
    return abs(float(ax * by - ay * bx)) / 2.0


def ground_faults(points: Sequence[tuple[float, float, float]]) -> Iterator[str]:
    """Yield why points make no ground: fewer than three, two over each other, or all on one line."""
    flat_m = np.array(points)[:, :2]
    if len(points) < PLANE_POINTS:
        yield f"holds {len(points)} points; measure {PLANE_POINTS} or more, not on one line"
        return
    _, first, counts = np.unique(flat_m.round(6), axis=0, return_index=True, return_counts=True)
    if counts.max() > 1:
        x, y = flat_m[first[int(np.argmax(counts))]]
        yield f"has two points at {x:.2f}, {y:.2f}; write one of them"
        return
    spread_m = np.linalg.svd(flat_m - flat_m.mean(axis=0), compute_uv=False)
    if spread_m[1] < EDGE_M:
        yield "has all its points on one line; measure one beside it"
