"""An opening: a door, a window, a roof light, in a building, an inner wall, a loose wall or a box."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from survey.inputs.fields import Entry, Number, key
from survey.inputs.nested import Tables
from survey.inputs.plan.kinds import ALONG_A_FACE, ANY_TEXT, NAME

OPEN = "open"
"""The material of what is no sheet at all."""
_OPENING = Number(0.05, 1_000.0)
"""From a slot to the front of a hangar: a judgement. [m]"""


@dataclass(frozen=True, kw_only=True)
class Opening(Entry):
    """A door, a window, a roof light, or a row of equal ones."""

    name: str = key(ANY_TEXT, default="")
    on: str = key(ANY_TEXT, default="")
    left_m: float | None = key(ALONG_A_FACE, default=None)
    right_m: float | None = key(ALONG_A_FACE, default=None)
    up_m: float | None = key(ALONG_A_FACE, default=None)
    width_m: float = key(_OPENING)
    height_m: float = key(_OPENING)
    material: str = key(NAME, default=OPEN)
    count: int = key(Number(1, 500, whole=True), default=1)
    every_m: float | None = key(_OPENING, default=None)

    def inconsistencies(self) -> Iterator[tuple[str, str]]:
        """Both ends given; a row without its distance, or with too small a one."""
        if self.left_m is not None and self.right_m is not None:
            yield "right_m", "left_m is given too; write one of them"
        if self.count == 1 and self.every_m is not None:
            yield "every_m", "means nothing without count; write count = 2 or more"
        if self.count > 1 and self.every_m is None:
            yield "every_m", "is missing; write how far it is from left edge to left edge"
        elif self.every_m is not None and self.count > 1 and self.every_m < self.width_m:
            yield "every_m", f"{self.every_m:g} m is less than width_m, {self.width_m:g} m: the openings would overlap"


OPENINGS = Tables(Opening, "opening")


def without_on(openings: tuple[Opening, ...]) -> Iterator[tuple[str, str]]:
    """Tell of openings that name a face where there is only one."""
    for number, opening in enumerate(openings, start=1):
        if opening.on:
            yield f"{place_of(opening, number)}: on", "there is only one face here; leave it out"


def place_of(opening: Opening, number: int) -> str:
    """Return how messages call an opening."""
    return OPENINGS.place(opening, number)
