"""Obstacles as arrays: what can be in the way, its geometry, and what a pass through it costs."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from survey.base.arrays import BoolArray, FloatArray
from survey.geometry import Prisms, Sheets, convex_outlines, prisms_of, sheets_of
from survey.inputs.plan import Obstacle, Plan


@dataclass(frozen=True, kw_only=True)
class Obstacles:
    """The obstacles of a site, with the loss of one pass through a sheet of each, or of a metre inside.

    Attributes
    ----------
    entries : tuple of Obstacle
        As the plan has them; sheets and prisms name their owner by its place here.
    loss_db, spread_db : ndarray of float, shape (obstacles,)
        Loss of a pass and its standard deviation; for foliage those of the first metre. [dB; dB/m]
    opaque : ndarray of bool, shape (obstacles,)
        Of a material that lets nothing through that counts.
    slabs : tuple of (str, float) or None
        Substance and thickness [m] where the loss is that of a slab, and so depends on the angle.
    most_loss_db : ndarray of float, shape (obstacles,)
        What foliage costs at most, however long the path inside; infinite for all else. [dB]
    """

    entries: tuple[Obstacle, ...]
    loss_db: FloatArray
    spread_db: FloatArray
    opaque: BoolArray
    slabs: tuple[tuple[str, float] | None, ...]
    most_loss_db: FloatArray

    def __len__(self) -> int:
        return len(self.entries)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Name of each."""
        return tuple(one.name for one in self.entries)


def obstacles_of(plan: Plan) -> tuple[Obstacles, Sheets, Prisms]:
    """Everything that can be in the way: what it is, and its geometry."""
    entries, frequency_mhz = plan.obstacles, plan.radio.frequency_mhz
    losses = [one.loss(plan.materials, frequency_mhz=frequency_mhz) for one in entries]
    groups: dict[str, int] = {}
    outlines: list[FloatArray] = []
    owners: list[int] = []
    for number, one in enumerate(entries):
        groups.setdefault(one.joined_to, len(groups))
        parts_m = [part_m for sheet_m in one.sheets_m() for part_m in convex_outlines(sheet_m)]
        outlines.extend(parts_m)
        owners.extend([number] * len(parts_m))
    obstacles = Obstacles(
        entries=entries,
        loss_db=np.array([loss.db for loss in losses], dtype=np.float64),
        spread_db=np.array([loss.spread_db for loss in losses], dtype=np.float64),
        opaque=np.array([loss.opaque for loss in losses], dtype=bool),
        slabs=tuple(loss.slab for loss in losses),
        most_loss_db=np.array([loss.most_db for loss in losses], dtype=np.float64),
    )
    volumes = [(volume, number) for number, one in enumerate(entries) if (volume := one.volume()) is not None]
    prisms = prisms_of(
        [volume.footprint_m for volume, _ in volumes],
        [volume.base_m for volume, _ in volumes],
        [volume.top_m for volume, _ in volumes],
        [number for _, number in volumes],
    )
    sheets = sheets_of(
        outlines,
        owners,
        groups=[groups[entries[owner].joined_to] for owner in owners],
        costs_db=[losses[owner].db for owner in owners],
    )
    return obstacles, sheets, prisms
