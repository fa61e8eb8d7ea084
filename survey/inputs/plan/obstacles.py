"""What stands on a site, and what it is made of."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from survey.base import polygon
from survey.base.arrays import FloatArray
from survey.base.errors import did_you_mean
from survey.base.units import direction_of_bearing
from survey.inputs.fields import Entry, Number, Points, key
from survey.inputs.materials import Material
from survey.inputs.plan.kinds import (
    ANY_TEXT,
    BEARING,
    CORNER,
    EXTENT,
    HEIGHT,
    LOSS,
    NAME,
    POINT,
    SPREAD,
    area_faults,
    repeated_corner,
)
from survey.inputs.slab import SUBSTANCES

ROOF_FLATNESS_M = 0.02
"""How far a roof's corner may lie off the plane of the others: what a tape measure leaves."""


@dataclass(frozen=True, kw_only=True)
class OwnMaterial(Entry):
    """A material of the user's own: a loss, or a slab of a known substance."""

    name: str = key(NAME)
    loss_db: float | None = key(LOSS, default=None)
    spread_db: float = key(SPREAD, default=0.0)
    slab: str | None = key(NAME, default=None)
    thickness_m: float | None = key(Number(0.001, 2.0), default=None)
    source: str = key(ANY_TEXT, default="")

    def inconsistencies(self) -> Iterator[tuple[str, str]]:
        """A loss and a slab at once, or neither."""
        if self.slab is None:
            if self.loss_db is None:
                yield "loss_db", "is missing; write loss_db, or slab and thickness_m"
            if self.thickness_m is not None:
                yield "thickness_m", f"means nothing without slab; write slab as one of {', '.join(SUBSTANCES)}"
            return
        if self.loss_db is not None:
            yield "slab", "loss_db is given too; write one or the other"
        if self.slab.casefold() not in SUBSTANCES:
            near = did_you_mean(self.slab, SUBSTANCES)
            yield "slab", f'"{self.slab}" is not known; write one of {", ".join(SUBSTANCES)}{near}'
        if self.thickness_m is None:
            yield "thickness_m", "is missing; a slab needs its thickness"

    def material(self) -> Material:
        """The material with its way of working out the loss."""
        source = self.source or "the plan"
        if self.slab is not None and self.thickness_m is not None:
            return Material(
                name=self.name,
                slab=self.slab.casefold(),
                thickness_m=self.thickness_m,
                spread_db=self.spread_db,
                source=source,
                status="computed from a standard",
            )
        assert self.loss_db is not None
        return Material(
            name=self.name,
            loss_by_mhz=((1.0, self.loss_db),),
            spread_db=self.spread_db,
            source=source,
            status="from the plan",
        )


@dataclass(frozen=True, kw_only=True)
class Sheetlike(Entry):
    """An obstacle that costs a loss at each pass through one of its sheets."""

    name: str = key(NAME)
    material: str | None = key(NAME, default=None)
    loss_db: float | None = key(LOSS, default=None)
    spread_db: float | None = key(SPREAD, default=None)

    def inconsistencies(self) -> Iterator[tuple[str, str]]:
        """Neither a material nor a loss."""
        if self.material is None and self.loss_db is None:
            yield "material", "is missing; write a material (see `survey materials`) or loss_db"


@dataclass(frozen=True, kw_only=True)
class Wall(Sheetlike):
    """A vertical sheet along a line of two or more points."""

    along: tuple[tuple[float, float], ...] = key(Points(POINT, least=2, most=1_000))
    height_m: float = key(EXTENT)
    base_m: float = key(HEIGHT, default=0.0)

    def inconsistencies(self) -> Iterator[tuple[str, str]]:
        """A point that stands twice in a row."""
        yield from super().inconsistencies()
        for position, (start, end) in enumerate(pairwise(self.along), start=1):
            if math.dist(start, end) == 0:
                yield "along", f"points {position} and {position + 1} are the same: a wall of no length; move one"


@dataclass(frozen=True, kw_only=True)
class Box(Sheetlike):
    """A closed hollow box."""

    centre: tuple[float, float] = key(POINT)
    length_m: float = key(EXTENT)
    width_m: float = key(EXTENT)
    height_m: float = key(EXTENT)
    bearing_deg: float = key(BEARING, default=0.0)
    base_m: float = key(HEIGHT, default=0.0)

    def footprint_m(self) -> FloatArray:
        """Corners in plan, anticlockwise, shape (4, 2). [m]"""
        lengthwise = direction_of_bearing(self.bearing_deg) * self.length_m / 2.0
        crosswise = direction_of_bearing(self.bearing_deg - 90.0) * self.width_m / 2.0
        signs = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
        return np.asarray(np.asarray(self.centre) + signs @ np.array([lengthwise, crosswise]))


@dataclass(frozen=True, kw_only=True)
class Roof(Sheetlike):
    """A flat piece of roof, or any other plane sheet."""

    corners: tuple[tuple[float, float, float], ...] = key(Points(CORNER, least=3, most=8))

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
                f"at most {ROOF_FLATNESS_M:g} m, so measure again or split the roof in two"
            )
            yield "corners", problem
            return
        repeated = repeated_corner(self.corners)
        if repeated:
            yield "corners", repeated
        elif polygon.crosses_itself(level @ axes[:2].T):
            yield "corners", "cross themselves; write them in order around the edge"


@dataclass(frozen=True, kw_only=True)
class Foliage(Entry):
    """Plants that cost by the metre of path inside."""

    name: str = key(NAME)
    footprint: tuple[tuple[float, float], ...] = key(Points(POINT, least=3, most=200))
    height_m: float = key(EXTENT)
    base_m: float = key(HEIGHT, default=0.0)
    loss_db_per_m: float | None = key(Number(0.0, 50.0), default=None)
    most_loss_db: float | None = key(Number(0.1, 200.0), default=None)
    spread_db_per_m: float | None = key(Number(0.0, 50.0), default=None)

    def inconsistencies(self) -> Iterator[tuple[str, str]]:
        """A footprint that is no area."""
        return area_faults("footprint", self.footprint)


Obstacle = Wall | Box | Roof | Foliage
