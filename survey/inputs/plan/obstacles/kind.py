"""What every kind of obstacle gives: geometry, loss, looks, and what may be done about it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import ClassVar

from survey.base.arrays import FloatArray
from survey.inputs.fields import Entry, key
from survey.inputs.materials import Material
from survey.inputs.plan.kinds import LOSS, NAME, SPREAD

FROM_PLAN = "from the plan"
OWN_LOSS = "the plan gives this obstacle a loss of its own"
"""Status and source of a figure that the plan gives."""
SAME_DB = 1e-9
"""An obstacle's own loss this close to that of its material is no other figure."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Look:
    """How a kind of obstacle is drawn, in pictures and on the page; kinds differ without their colours too.

    Attributes
    ----------
    line, fill : str
        Colours; without a filling a legend shows a line.
    width_pt : float
        Width of the line. [pt]
    dashes : tuple of float
        Lengths of dashes and gaps in widths of the line; nothing for an unbroken one.
    hatch : str
        ``diagonal``, ``upright``, ``circles`` or nothing.
    opacity : float
        Of line and filling. [-]
    layer : int
        Higher layers lie on top.
    """

    line: str = "#3b3b3b"
    fill: str = ""
    width_pt: float = 0.9
    dashes: tuple[float, ...] = ()
    hatch: str = ""
    opacity: float = 1.0
    layer: int = 4


@dataclass(frozen=True, kw_only=True, slots=True)
class Loss:
    """Loss of one pass through a sheet of an obstacle, or of a metre inside.

    Attributes
    ----------
    db, spread_db : float
        Loss and its standard deviation. [dB; dB/m]
    most_db : float
        Most that it comes to, however long the path inside. [dB]
    opaque : bool
        Nothing that counts passes.
    slab : tuple of (str, float) or None
        Substance and thickness [m] where the loss depends on the angle.
    what, status, source : str
        Whose figure it is, and where it comes from.
    """

    db: float
    spread_db: float = 0.0
    most_db: float = math.inf
    opaque: bool = False
    slab: tuple[str, float] | None = None
    what: str
    status: str
    source: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Volume:
    """An upright prism that costs by the metre inside: its footprint, shape (corners, 2), bottom and top. [m]"""

    footprint_m: FloatArray
    base_m: float
    top_m: float


@dataclass(frozen=True, kw_only=True)
class Obstacle(Entry):
    """Whatever can be in the way of a link; a kind of obstacle derives from this, or from `Sheetlike`.

    One obstacle may have any number of sheets: all of them have its one loss, and each pass through one of them counts.

    Attributes
    ----------
    kind : str
        Its word in tables and JSON.
    table : str
        Table of the plan in which it is written, ``[[table]]``; nothing where another entry makes it.
    counted_as : str
        What `check` counts it as, in the singular.
    legend : str
        Its word in legends.
    look : Look
        How it is drawn.
    is_equipment : bool
        Comes with the inverters: not named on maps, not missed where no line meets it, close to them by intent, and
        as a change between plans no other than theirs.
    """

    kind: ClassVar[str]
    table: ClassVar[str] = ""
    counted_as: ClassVar[str]
    legend: ClassVar[str]
    look: ClassVar[Look] = Look()
    is_equipment: ClassVar[bool] = False

    name: str = key(NAME)

    @property
    def entry(self) -> tuple[str, str]:
        """Kind and name of the plan's entry that it is, or is part of: what changes as one between two plans."""
        return self.kind, self.name

    @property
    def removal(self) -> str:
        """What a remedy may do about it, before its name; nothing where it has to stay, as buildings and roofs have."""
        return ""

    @property
    def removed_as(self) -> str:
        """What has to go for it to go: itself, or what it is part of."""
        return self.name

    @property
    def joined_to(self) -> str:
        """What it shares edges with: a line through such an edge crosses the costlier of what meets there, once."""
        return self.name

    @property
    def label(self) -> str:
        """Its name on maps and sections; nothing where there is none."""
        return "" if self.is_equipment else self.name

    @property
    def made_of(self) -> str:
        """Name of its material; nothing where it has none."""
        return ""

    @property
    def has_own_loss(self) -> bool:
        """Whether its loss is its own, and not that of all that is of its material."""
        return True

    @property
    def has_own_spread(self) -> bool:
        """Whether its loss is uncertain on its own, and not along with all that is of its material."""
        return True

    @property
    def fitted_with(self) -> str:
        """Return the name of all that readings change together: of its material, or its own."""
        return self.name if self.has_own_loss else self.made_of.casefold()

    def loss(self, materials: Mapping[str, Material], *, frequency_mhz: float) -> Loss:
        """Loss of a pass or of a metre, with the plan's materials by their folded names."""
        raise NotImplementedError

    def computed_defaults(self, *, frequency_mhz: float) -> Iterator[tuple[str, float]]:  # noqa: ARG002  for those that have some
        """Keys left out whose defaults depend on the frequency, with their values."""
        return iter(())

    def sheets_m(self) -> list[FloatArray]:
        """Corners of each plane sheet, shapes (corners, 3). [m]"""
        return []

    def volume(self) -> Volume | None:
        """The space inside which it costs by the metre; None where only its sheets cost something."""
        return None

    def closed_m(self) -> FloatArray | None:
        """Corners of a closed hollow box, bottom in order and then top, shape (8, 3); None for all else. [m]"""
        return None

    def faces_m(self) -> list[FloatArray]:
        """Outlines for sections, shapes (corners, 3): its sheets, or the sides of its volume. [m]"""
        return self.sheets_m()

    def footprints_m(self) -> list[FloatArray]:
        """Outlines from above, shapes (corners, 2). [m]"""
        return [sheet_m[:, :2] for sheet_m in self.sheets_m()]


@dataclass(frozen=True, kw_only=True)
class Sheetlike(Obstacle):
    """An obstacle that costs a loss at each pass through one of its sheets: that of its material, or its own."""

    material: str | None = key(NAME, default=None)
    loss_db: float | None = key(LOSS, default=None)
    spread_db: float | None = key(SPREAD, default=None)

    def inconsistencies(self) -> Iterator[tuple[str, str]]:
        """Neither a material nor a loss."""
        if self.material is None and self.loss_db is None:
            yield "material", "is missing; write a material (see `survey materials`) or loss_db"

    @property
    def made_of(self) -> str:
        """Name of its material; nothing where it has none."""
        return self.material or ""

    @property
    def has_own_loss(self) -> bool:
        """Whether its loss is its own, and not that of all that is of its material."""
        return self.loss_db is not None

    @property
    def has_own_spread(self) -> bool:
        """Whether its loss is uncertain on its own, and not along with all that is of its material."""
        return self.loss_db is not None or self.spread_db is not None

    def loss(self, materials: Mapping[str, Material], *, frequency_mhz: float) -> Loss:
        """Loss of a pass, square on; its own figures win over those of its material."""
        material = materials[self.made_of.casefold()] if self.material else None
        spread_db = self.spread_db if self.spread_db is not None else material.spread_db if material else 0.0
        usual_db = material.loss_db(frequency_mhz) if material else 0.0
        loss_db = usual_db if self.loss_db is None else self.loss_db
        if material is None or abs(usual_db - loss_db) > SAME_DB:
            return Loss(db=loss_db, spread_db=spread_db, what=self.name, status=FROM_PLAN, source=OWN_LOSS)
        slab = (material.slab, material.thickness_m) if material.slab else None
        return Loss(
            db=loss_db,
            spread_db=spread_db,
            opaque=material.opaque and not self.has_own_loss,
            slab=None if self.has_own_loss else slab,
            what=self.made_of,
            status=material.status,
            source=material.source,
        )
