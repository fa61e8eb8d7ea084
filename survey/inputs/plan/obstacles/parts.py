"""Parts of something larger, each one obstacle in plane pieces: faces of buildings, walls and boxes with openings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from survey.base.arrays import FloatArray
from survey.inputs.fields import Points, key, type_of
from survey.inputs.plan.kinds import DRAWN_WITHIN, NAME
from survey.inputs.plan.obstacles.box import Box
from survey.inputs.plan.obstacles.kind import Look, Sheetlike
from survey.inputs.plan.obstacles.modules import ANYWHERE
from survey.inputs.plan.obstacles.roof import Roof
from survey.inputs.plan.obstacles.wall import Wall

PIECE = Points(ANYWHERE, least=3, most=1_000)
"""Corners of a plane piece; a wall without openings of a building of many sides is one. [m]"""


@dataclass(frozen=True, slots=True)
class Pieces:
    """A list of plane pieces, each given by its corners."""

    def fault(self, value: object) -> str | None:
        """Say what is wrong with a value, or None."""
        if not isinstance(value, list | tuple):
            return f"{type_of(value)}; write a list of pieces, each a list of corners [x, y, z]"
        return next((problem for piece in value if (problem := PIECE.fault(piece))), None)

    def clean(self, value: Any) -> tuple[tuple[tuple[float, ...], ...], ...]:  # noqa: ANN401
        """Return the corners as tuples of floats."""
        return tuple(PIECE.clean(piece) for piece in value)


@dataclass(frozen=True, kw_only=True)
class Part(Sheetlike):
    """A part of something larger, in plane pieces; `whole` is the name of what it is part of."""

    of: ClassVar[str]
    """The table of what it is part of."""
    pieces: tuple[tuple[tuple[float, float, float], ...], ...] = key(Pieces())
    whole: str = key(NAME)
    drawn_within_m: float | None = key(DRAWN_WITHIN, default=None, repr=False)

    @property
    def entry(self) -> tuple[str, str]:
        """What it is part of."""
        return self.of, self.whole

    @property
    def removed_as(self) -> str:
        """All parts go together."""
        return self.whole

    @property
    def joined_to(self) -> str:
        """All parts share edges."""
        return self.whole

    def sheets_m(self) -> list[FloatArray]:
        """Return the corners of each piece, shapes (corners, 3). [m]"""
        return [np.array(piece) for piece in self.pieces]

    def inconsistencies(self) -> Iterator[tuple[str, str]]:
        """Neither a material nor a loss, or no piece."""
        yield from super().inconsistencies()
        if not self.pieces:
            yield "pieces", "are none; an obstacle has one or more"


@dataclass(frozen=True, kw_only=True)
class BuildingWall(Part):
    """An upright face of a building: a wall, a gable, a door, a window, an inner wall."""

    kind: ClassVar[str] = "wall"
    of: ClassVar[str] = "building"
    counted_as: ClassVar[str] = "building face"
    legend: ClassVar[str] = Wall.legend
    look: ClassVar[Look] = Wall.look


@dataclass(frozen=True, kw_only=True)
class BuildingRoof(BuildingWall):
    """A face of a building that is not upright: of its roof, a roof light, a ceiling."""

    kind: ClassVar[str] = "roof"
    legend: ClassVar[str] = Roof.legend
    look: ClassVar[Look] = Roof.look


@dataclass(frozen=True, kw_only=True)
class WallPart(Part):
    """A loose wall with openings, or loose sheets that the plan calls pieces of one obstacle."""

    kind: ClassVar[str] = "wall"
    of: ClassVar[str] = "wall"
    counted_as: ClassVar[str] = Wall.counted_as
    legend: ClassVar[str] = Wall.legend
    look: ClassVar[Look] = Wall.look


@dataclass(frozen=True, kw_only=True)
class WallLeaf(WallPart):
    """What fills an opening of a loose wall."""

    counted_as: ClassVar[str] = "door or window"


@dataclass(frozen=True, kw_only=True)
class BoxPart(Part):
    """A box with openings."""

    kind: ClassVar[str] = "box"
    of: ClassVar[str] = "box"
    counted_as: ClassVar[str] = Box.counted_as
    legend: ClassVar[str] = Box.legend
    look: ClassVar[Look] = Box.look


@dataclass(frozen=True, kw_only=True)
class BoxLeaf(BoxPart):
    """What fills an opening of a box."""

    counted_as: ClassVar[str] = "door or window"
