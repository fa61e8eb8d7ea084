"""Labels of a drawing: each where there is room for it, the most needed first."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from survey.base.layout import columns_of, shortened

FONT = 15.0
"""Height of the letters, in the units of the drawing."""
LETTER = 0.58 * FONT
"""Width of a letter, at a guess that is rather too wide."""
LINE = 1.05 * FONT
"""From line to line of a name; by eye."""
MOST_LETTERS = 26
"""Of a name on the map; the table has it whole."""


class Marked(Protocol):
    """Whatever stands at a place that no label may cover."""

    @property
    def x(self) -> float:
        """Across."""

    @property
    def y(self) -> float:
        """Down."""


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle."""

    left: float
    top: float
    right: float
    bottom: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Wish:
    """A label that is wanted: its text, what it is of, where that is, and how much room that takes itself."""

    text: str
    kind: str
    x: float
    y: float
    clear: float
    centred: bool = False
    needed: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Label:
    """A label with its place: ``start``, ``middle`` or ``end`` of its text stands at x, its foot at y."""

    text: str
    kind: str
    x: float
    y: float
    anchor: str


def put_labels(
    wishes: Sequence[Wish], *, frame: Box, marks: Sequence[Marked], mark: float, clear: Sequence[Box] = ()
) -> tuple[Label, ...]:
    """Place labels so that none covers another, or a mark that is not its own.

    Parameters
    ----------
    wishes : sequence of Wish
        What is wanted, the most needed first.
    frame : Box
        No label goes beyond it.
    marks : sequence
        What no label may cover.
    mark : float
        Half the size of a mark.
    clear : sequence of Box
        Where no label goes either.

    Returns
    -------
    tuple of Label
        Those that found a place; a needed one in any case.
    """
    points = np.array([[one.x, one.y] for one in marks]).reshape(-1, 2)
    taken = np.array([[one.left, one.top, one.right, one.bottom] for one in clear]).reshape(-1, 4)
    found: list[Label] = []
    for wish in wishes:
        first: tuple[Label, Box] | None = None
        for label, box in _tries(wish):
            inside = frame.left <= box.left and box.right <= frame.right and frame.top <= box.top
            if not inside or box.bottom > frame.bottom:
                continue
            first = first or (label, box)
            over = (taken[:, 0] < box.right) & (taken[:, 2] > box.left)
            over &= (taken[:, 1] < box.bottom) & (taken[:, 3] > box.top)
            across = (points[:, 0] > box.left - mark) & (points[:, 0] < box.right + mark)
            across &= (points[:, 1] > box.top - mark) & (points[:, 1] < box.bottom + mark)
            if not over.any() and not across.any():
                chosen: tuple[Label, Box] | None = (label, box)
                break
        else:
            chosen = first if wish.needed else None
        if chosen:
            found.append(chosen[0])
            box = chosen[1]
            taken = np.vstack([taken, [box.left, box.top, box.right, box.bottom]])
    return tuple(found)


def _tries(wish: Wish) -> Iterator[tuple[Label, Box]]:
    """Where a label could stand, the best place first."""
    text = shortened(wish.text, MOST_LETTERS)
    wide = LETTER * columns_of(text)
    x, y, off = wish.x, wish.y, wish.clear
    middle = y + 0.35 * FONT
    places = [("middle", x, middle), ("middle", x, middle - LINE), ("middle", x, middle + LINE)]
    if not wish.centred:
        above, below = y - off - 0.25 * FONT, y + off + 0.85 * FONT
        places = [("start", x + off, middle), ("end", x - off, middle), ("middle", x, above), ("middle", x, below)]
        places += [("start", x + off, above), ("end", x - off, above), ("start", x + off, below)]
    for anchor, at_x, at_y in places:
        left = at_x - {"start": 0.0, "middle": wide / 2.0, "end": wide}[anchor]
        box = Box(left, at_y - 0.8 * FONT, left + wide, at_y + 0.25 * FONT)
        yield Label(text=text, kind=wish.kind, x=at_x, y=at_y, anchor=anchor), box
