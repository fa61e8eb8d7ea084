"""Where gateways stand or could go: gateways, spots and searches."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from survey.base import polygon
from survey.base.arrays import FloatArray
from survey.inputs.fields import Number, Numbers, Points, key
from survey.inputs.plan.ground import GroundSurface
from survey.inputs.plan.kinds import ANY_TEXT, DRAWN_WITHIN, HEIGHT, NAME, POINT, area_faults
from survey.inputs.plan.radio import OwnRadio

MOST_SEARCH_POINTS = 1_000_000
"""Points of a search at most: a judgement, more would take very long."""
MOST_GRID_POINTS = 20_000_000
"""How many points a search may try to find those that lie inside its area: a few seconds' work."""


@dataclass(frozen=True, kw_only=True)
class Spot(OwnRadio):
    """A place for a gateway: one that stands there today, or one where a gateway could go."""

    name: str = key(NAME)
    at: tuple[float, float] = key(POINT)
    height_m: float = key(HEIGHT)
    note: str = key(ANY_TEXT, default="")
    drawn_within_m: float | None = key(DRAWN_WITHIN, default=None, repr=False)


@dataclass(frozen=True, kw_only=True)
class Search(OwnRadio):
    """Many spots: points every step along a line, or inside a polygon."""

    name: str = key(NAME)
    along: tuple[tuple[float, float], ...] | None = key(Points(POINT, least=2, most=1_000), default=None)
    within: tuple[tuple[float, float], ...] | None = key(Points(POINT, least=3, most=200), default=None)
    heights_m: tuple[float, ...] = key(Numbers(HEIGHT, least=1, most=100))
    step_m: float = key(Number(0.05, 1_000.0), default=1.0)
    note: str = key(ANY_TEXT, default="")
    drawn_within_m: float | None = key(DRAWN_WITHIN, default=None, repr=False)
    ground: GroundSurface | None = None

    def inconsistencies(self) -> Iterator[tuple[str, str]]:
        """Both a line and a polygon or neither, no length or area, or too many points."""
        if (self.along is None) == (self.within is None):
            yield "along", "or within: write exactly one of the two, a line of points or the corners of an area"
            return
        if self.along is not None and _length_m(self.along) == 0:
            yield "along", "has no length: its points are all the same; move one"
        if self.within is not None:
            problems = list(area_faults("within", self.within))
            if problems:
                yield from problems
                return
        count, tried = self.most_points, self.grid_points
        if count > MOST_SEARCH_POINTS:
            yield (
                "step_m",
                f"makes about {count} points; up to {MOST_SEARCH_POINTS} are allowed, so write a longer step",
            )
        elif tried > MOST_GRID_POINTS:
            problem = f"lays a grid of {tried} points over the area; up to {MOST_GRID_POINTS} are allowed"
            yield "step_m", f"{problem}, so write a longer step or split the area"

    @property
    def grid_points(self) -> int:
        """How many points the grid over the area has, in it or not; none along a line."""
        if self.within is None:
            return 0
        corners = np.array(self.within)
        return int(np.prod(np.floor((corners.max(axis=0) - corners.min(axis=0)) / self.step_m) + 1))

    @property
    def most_points(self) -> int:
        """How many points there will be at most, without making them."""
        if self.along is not None:
            per_height = int(_length_m(self.along) / self.step_m) + 1
        else:
            corners = np.array(self.within)
            sides_m = corners.max(axis=0) - corners.min(axis=0)
            filled = min(1.0, abs(polygon.signed_area_m2(corners)) / float(np.prod(sides_m)))
            across = sides_m / self.step_m + 1
            per_height = (
                int(filled * float(np.prod(across)) + float(np.sum(across)))
                if filled < 1
                else int(float(np.prod(np.floor(across))))
            )
        return per_height * len(self.heights_m)

    def positions_m(self) -> FloatArray:
        """Where its spots are, height by height, shape (n, 3). [m]

        Along a line the first point is its start, and the distance is measured along the line round its corners.
        Inside an area the points stand on a grid from its lowest x and lowest y; points on its edge belong to it.
        Heights count from the ground under each point where the search has a ground.
        """
        flat = self._along_m(np.array(self.along)) if self.along is not None else self._within_m(np.array(self.within))
        flat = flat + 0.0  # no minus zero in names
        names = np.round(flat, 2)
        _, first = np.unique(names, axis=0, return_index=True)
        flat = flat[np.sort(first)]
        heights = np.unique(np.round(self.heights_m, 2), return_index=True)[1]
        ground_m = np.zeros(len(flat)) if self.ground is None else self.ground.height_m(flat)
        layers = [np.column_stack([flat, ground_m + self.heights_m[i]]) for i in np.sort(heights)]
        return np.concatenate(layers)

    def _along_m(self, corners: FloatArray) -> FloatArray:
        lengths_m = np.hypot(*np.diff(corners, axis=0).T)
        reached_m = np.concatenate([[0.0], np.cumsum(lengths_m)])
        count = int(np.floor(reached_m[-1] / self.step_m + 1e-9)) + 1
        stops_m = np.minimum(np.arange(count) * self.step_m, reached_m[-1])
        return np.column_stack([np.interp(stops_m, reached_m, corners[:, axis]) for axis in (0, 1)])

    def _within_m(self, corners: FloatArray) -> FloatArray:
        low, high = corners.min(axis=0), corners.max(axis=0)
        counts = np.floor((high - low) / self.step_m + 1e-9).astype(int) + 1
        x, y = (low[axis] + np.arange(counts[axis]) * self.step_m for axis in (0, 1))
        at_once = max(1, MOST_SEARCH_POINTS // len(y))  # columns of the grid: memory does not grow with its extent
        inside = []
        for first in range(0, len(x), at_once):
            grid = np.stack(np.meshgrid(x[first : first + at_once], y, indexing="ij"), axis=-1).reshape(-1, 2)
            inside.append(grid[polygon.contains(corners, grid, edge_m=1e-6)])
        return np.concatenate(inside)

    def spot_names(self) -> list[str]:
        """Names in the order of `positions_m`: NAME/x,y,height with two decimals."""
        rounded = np.round(self.positions_m(), 2) + 0.0
        return [f"{self.name}/{x:.2f},{y:.2f},{z:.2f}" for x, y, z in rounded.tolist()]


def _length_m(points: tuple[tuple[float, float], ...]) -> float:
    return sum(math.dist(start, end) for start, end in pairwise(points))
