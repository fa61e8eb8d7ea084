"""Rows of solar modules, each a sheet over its inverters; an array makes them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from survey.base.arrays import FloatArray
from survey.inputs.fields import Number, Numbers, Points, key
from survey.inputs.plan.kinds import NAME
from survey.inputs.plan.obstacles.kind import Look, Sheetlike

MODULE_MATERIAL = "pv module"
ANYWHERE = Numbers(Number(-1e9, 1e9), least=3, most=3, axes=("x", "y", "z"))
"""A corner as an array makes it: however far it reaches from a first inverter within the limits of coordinates."""


@dataclass(frozen=True, kw_only=True)
class ModuleRow(Sheetlike):
    """The modules over one row of an array: four corners for each run of them without a gap."""

    kind: ClassVar[str] = "modules"
    counted_as: ClassVar[str] = "module row"
    legend: ClassVar[str] = "row of modules"
    look: ClassVar[Look] = Look(line="#5b6c94", fill="#dfe6f2", width_pt=0.6, hatch="upright", opacity=0.75, layer=1)
    is_equipment: ClassVar[bool] = True

    array: str = key(NAME)
    material: str | None = key(NAME, default=MODULE_MATERIAL)
    corners: tuple[tuple[float, float, float], ...] = key(Points(ANYWHERE, least=4, most=400_000))

    @property
    def entry(self) -> tuple[str, str]:
        """Its array."""
        return "array", self.array

    @property
    def removed_as(self) -> str:
        """All rows of its array go together."""
        return self.array

    def sheets_m(self) -> list[FloatArray]:
        """Corners of each run, shapes (4, 3). [m]"""
        return list(np.array(self.corners).reshape(-1, 4, 3))
