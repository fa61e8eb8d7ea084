"""Boxes: closed and hollow, such as a container or a cabinet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.units import direction_of_bearing
from survey.inputs.fields import key
from survey.inputs.plan.kinds import BEARING, DRAWN_WITHIN, EXTENT, HEIGHT, POINT
from survey.inputs.plan.obstacles.kind import Look, Sheetlike

MAX_MOVED_M = (13.8, 2.5, 2.9)
"""Length, width and height of the largest box that can be moved: a container of 45 ft and 9 ft 6 in, 13.716 by 2.438 by
2.896 m (ISO 668, type 1EEE), rounded up to what a tape measures. [m]"""


@dataclass(frozen=True, kw_only=True)
class Box(Sheetlike):
    """A closed hollow box."""

    kind: ClassVar[str] = "box"
    table: ClassVar[str] = "box"
    counted_as: ClassVar[str] = "box"
    legend: ClassVar[str] = "box"
    look: ClassVar[Look] = Look(fill="#c9c9c9", width_pt=0.8, hatch="diagonal", layer=3)

    centre: tuple[float, float] = key(POINT)
    length_m: float = key(EXTENT)
    width_m: float = key(EXTENT)
    height_m: float = key(EXTENT)
    bearing_deg: float = key(BEARING, default=0.0)
    base_m: float = key(HEIGHT, default=0.0)
    drawn_within_m: float | None = key(DRAWN_WITHIN, default=None, repr=False)

    @property
    def removal(self) -> str:
        """Move it, if it is no larger than the largest container; what is larger is a building."""
        sides_m = (max(self.length_m, self.width_m), min(self.length_m, self.width_m), self.height_m)
        fits = all(side_m <= most_m for side_m, most_m in zip(sides_m, MAX_MOVED_M, strict=True))
        return "move or remove" if fits else ""

    def footprint_m(self) -> FloatArray:
        """Corners in plan, anticlockwise, shape (4, 2). [m]"""
        lengthwise = direction_of_bearing(self.bearing_deg) * self.length_m / 2.0
        crosswise = direction_of_bearing(self.bearing_deg - 90.0) * self.width_m / 2.0
        signs = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
        return np.asarray(np.asarray(self.centre) + signs @ np.array([lengthwise, crosswise]))

    def closed_m(self) -> FloatArray:
        """Its corners, bottom in order and then top, shape (8, 3). [m]"""
        footprint_m = self.footprint_m()
        ends_m = (self.base_m, self.base_m + self.height_m)
        return np.concatenate([np.column_stack([footprint_m, np.full(4, height_m)]) for height_m in ends_m])

    def sheets_m(self) -> list[FloatArray]:
        """Corners of its six faces: four sides, bottom and top, shapes (4, 3). [m]"""
        low, high = np.split(self.closed_m(), 2)
        sides = [np.array([low[i - 1], low[i], high[i], high[i - 1]]) for i in range(4)]
        return [*sides, low, high]

    def footprints_m(self) -> list[FloatArray]:
        """Its outline from above, shape (4, 2). [m]"""
        return [self.footprint_m()]
