"""Pieces of roof, and other plane sheets in any position."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from survey.base import polygon
from survey.base.arrays import FloatArray
from survey.inputs.fields import Points, key
from survey.inputs.plan.kinds import ANY_TEXT, CORNER, DRAWN_WITHIN, repeated_corner
from survey.inputs.plan.obstacles.kind import Look, Sheetlike

ROOF_FLATNESS_M = 0.02
"""How far a roof's corner may lie off the plane of the others: what a tape measure leaves."""


@dataclass(frozen=True, kw_only=True)
class Roof(Sheetlike):
    """A flat piece of roof, or any other plane sheet."""

    kind: ClassVar[str] = "roof"
    table: ClassVar[str] = "roof"
    counted_as: ClassVar[str] = "roof"
    legend: ClassVar[str] = "roof or other sheet"
    look: ClassVar[Look] = Look(line="#8c6d3f", fill="#f3ead9", dashes=(5.0, 2.0), opacity=0.75, layer=0)

    corners: tuple[tuple[float, float, float], ...] = key(Points(CORNER, least=3, most=8))
    part_of: str = key(ANY_TEXT, default="", repr=False)
    drawn_within_m: float | None = key(DRAWN_WITHIN, default=None, repr=False)

    def inconsistencies(self) -> Iterator[tuple[str, str]]:
        """Corners that make no plane simple polygon."""
        yield from super().inconsistencies()
        corners = np.array(self.corners)
        level = corners - corners.mean(axis=0)
        _, extents, axes = np.linalg.svd(level, full_matrices=False)
        if extents[1] < 1e-6 * max(float(extents[0]), 1.0):
            yield "corners", "lie on one line: a roof of no area; write 3 to 8 corners around it, in order"
            return
        distances_m = np.abs(level @ axes[2])
        if distances_m.max() > ROOF_FLATNESS_M:
            worst = int(distances_m.argmax())
            problem = (
                f"are not in one plane: corner {worst + 1} is {distances_m[worst]:.2f} m off the plane through all; "
                f"up to {ROOF_FLATNESS_M:g} m is allowed. Measure again, or split the roof in two"
            )
            yield "corners", problem
            return
        repeated = repeated_corner(self.corners)
        if repeated:
            yield "corners", repeated
        elif polygon.crosses_itself(level @ axes[:2].T):
            yield "corners", "cross themselves; write them in order around the edge"

    def sheets_m(self) -> list[FloatArray]:
        """Its corners, shape (corners, 3). [m]"""
        return [np.array(self.corners)]
