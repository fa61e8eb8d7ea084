"""Walls: upright sheets along a line."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import ClassVar

import numpy as np

from survey.base.arrays import FloatArray
from survey.inputs.fields import Points, key
from survey.inputs.plan.kinds import ANY_TEXT, DRAWN_WITHIN, EXTENT, HEIGHT, POINT
from survey.inputs.plan.obstacles.kind import Look, Sheetlike


@dataclass(frozen=True, kw_only=True)
class Wall(Sheetlike):
    """A vertical sheet along a line of two or more points."""

    kind: ClassVar[str] = "wall"
    table: ClassVar[str] = "wall"
    counted_as: ClassVar[str] = "wall"
    legend: ClassVar[str] = "wall"
    look: ClassVar[Look] = Look(width_pt=1.9, layer=4)

    along: tuple[tuple[float, float], ...] = key(Points(POINT, least=2, most=1_000))
    height_m: float = key(EXTENT)
    base_m: float = key(HEIGHT, default=0.0)
    part_of: str = key(ANY_TEXT, default="", repr=False)
    drawn_within_m: float | None = key(DRAWN_WITHIN, default=None, repr=False)

    def inconsistencies(self) -> Iterator[tuple[str, str]]:
        """A point that stands twice in a row."""
        yield from super().inconsistencies()
        for position, (start, end) in enumerate(pairwise(self.along), start=1):
            if math.dist(start, end) == 0:
                yield "along", f"points {position} and {position + 1} are the same: a wall of no length; move one"

    def sheets_m(self) -> list[FloatArray]:
        """Corners of the sheet of each stretch, shapes (4, 3). [m]"""
        heights_m = np.array([self.base_m, self.base_m, self.base_m + self.height_m, self.base_m + self.height_m])
        line = np.array(self.along)
        return [np.column_stack([np.array([start, end, end, start]), heights_m]) for start, end in pairwise(line)]
