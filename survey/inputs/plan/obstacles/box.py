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


@dataclass(frozen=True, kw_only=True)
class Box(Sheetlike):
    """A closed hollow box."""

    kind: ClassVar[str] = "box"
    table: ClassVar[str] = "box"
    counted_as: ClassVar[str] = "box"
    legend: ClassVar[str] = "box"
    look: ClassVar[Look] = Look(fill="#c9c9c9", width_pt=0.8, hatch="diagonal", layer=3)
    removal: ClassVar[str] = "move or remove"

    centre: tuple[float, float] = key(POINT)
    length_m: float = key(EXTENT)
    width_m: float = key(EXTENT)
    height_m: float = key(EXTENT)
    bearing_deg: float = key(BEARING, default=0.0)
    base_m: float = key(HEIGHT, default=0.0)
    drawn_within_m: float | None = key(DRAWN_WITHIN, default=None, repr=False)

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
