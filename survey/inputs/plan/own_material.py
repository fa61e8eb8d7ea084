"""Materials that a plan adds to those built in."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from survey.base.errors import did_you_mean
from survey.inputs.fields import Entry, Number, key
from survey.inputs.materials import Material
from survey.inputs.plan.kinds import ANY_TEXT, LOSS, NAME, SPREAD
from survey.inputs.slab import SUBSTANCES


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
