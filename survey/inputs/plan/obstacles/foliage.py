"""Foliage: plants that cost by the metre of path inside."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from survey.base.arrays import FloatArray
from survey.inputs.fields import Number, Points, key
from survey.inputs.materials import Material, foliage_loss
from survey.inputs.plan.kinds import DRAWN_WITHIN, EXTENT, HEIGHT, POINT, area_faults
from survey.inputs.plan.obstacles.kind import FROM_PLAN, Look, Loss, Obstacle, Volume

TREES = "single trees in leaf at 869 MHz, Vogel and Goldhirsh, 1986, and ITU-R P.833-9 for the most"
"""Source of the default figures."""
WITHOUT_FIGURES = "foliage without figures"
"""Name of the loss that all plants have whose entries give none."""


@dataclass(frozen=True, kw_only=True)
class Foliage(Obstacle):
    """Plants that cost by the metre of path inside."""

    kind: ClassVar[str] = "foliage"
    table: ClassVar[str] = "foliage"
    counted_as: ClassVar[str] = "foliage"
    legend: ClassVar[str] = "foliage"
    look: ClassVar[Look] = Look(
        line="#5a7d46", fill="#dcebd3", width_pt=0.8, dashes=(1.0, 1.65), hatch="circles", layer=2
    )
    footprint: tuple[tuple[float, float], ...] = key(Points(POINT, least=3, most=200))
    height_m: float = key(EXTENT)
    base_m: float = key(HEIGHT, default=0.0)
    loss_db_per_m: float | None = key(Number(0.0, 50.0), default=None)
    most_loss_db: float | None = key(Number(0.1, 200.0), default=None)
    spread_db_per_m: float | None = key(Number(0.0, 50.0), default=None)
    drawn_within_m: float | None = key(DRAWN_WITHIN, default=None, repr=False)

    @property
    def removal(self) -> str:
        """Cut it back."""
        return "cut back"

    @property
    def fitted_with(self) -> str:
        """Return the name of all that readings change together: its own, or that of all plants without figures."""
        return WITHOUT_FIGURES if self.loss_db_per_m is None else self.name

    def inconsistencies(self) -> Iterator[tuple[str, str]]:
        """A footprint that is no area."""
        return area_faults("footprint", self.footprint)

    def loss(self, materials: Mapping[str, Material], *, frequency_mhz: float) -> Loss:  # noqa: ARG002  has no material
        """Loss of the first metre, and the most that any length costs."""
        usual, spread_db = foliage_loss(frequency_mhz), self.spread_db_per_m
        if self.loss_db_per_m is None:
            return Loss(
                db=usual.loss_db_per_m,
                spread_db=usual.spread_db_per_m if spread_db is None else spread_db,
                most_db=self.most_loss_db or usual.most_loss_db,
                what="foliage",
                status="from memory",
                source=TREES,
            )
        return Loss(
            db=self.loss_db_per_m,
            spread_db=spread_db or 0.0,
            most_db=self.most_loss_db or math.inf,
            what=self.name,
            status=FROM_PLAN,
            source="the plan",
        )

    def computed_defaults(self, *, frequency_mhz: float) -> Iterator[tuple[str, float]]:
        """The figures of plants in leaf that are left out, where no loss is given."""
        if self.loss_db_per_m is None:
            usual = foliage_loss(frequency_mhz)._asdict()
            yield from ((name, value) for name, value in usual.items() if getattr(self, name) is None)

    def volume(self) -> Volume:
        """The space that it fills."""
        return Volume(footprint_m=np.array(self.footprint), base_m=self.base_m, top_m=self.base_m + self.height_m)

    def faces_m(self) -> list[FloatArray]:
        """Its upright sides, shapes (4, 3). [m]"""
        foot = np.array(self.footprint)
        low, high = (np.column_stack([foot, np.full(len(foot), z)]) for z in (self.base_m, self.base_m + self.height_m))
        return [np.array([low[i - 1], low[i], high[i], high[i - 1]]) for i in range(len(foot))]

    def footprints_m(self) -> list[FloatArray]:
        """Its outline from above, shape (corners, 2). [m]"""
        return [np.array(self.footprint)]
