"""Names put beside what they name, where there is room for them; whatever draws them says how large they are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from survey.base.arrays import FloatArray

SIDES = ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (1, -1), (-1, 1), (-1, -1))
"""Where a name is put: to the right, to the left, above, below, and between these."""
OVERLAP, BEYOND, LATER = 50.0, 20.0, 0.01
"""Price of covering a name, of reaching beyond the frame, and of each place tried before; covering a point costs 1."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Label:
    """A name and where it belongs.

    Attributes
    ----------
    text, kind : str
        The name, and what it is of, by which its letters are chosen.
    at : tuple of float
        Its point.
    over : bool
        Goes on its point rather than beside it, where there is room.
    needed : bool
        Is shown even where there is no room for it.
    near : bool
        Stands close to its point or not at all: among many alike a name farther off is taken for another's.
    """

    text: str
    kind: str
    at: tuple[float, float]
    over: bool = False
    needed: bool = False
    near: bool = False


@dataclass(frozen=True, slots=True)
class Size:
    """Width and height of a name, and how far beside its point it goes."""

    wide: float
    tall: float
    gap: float


@dataclass(frozen=True, slots=True)
class Position:
    """Where a name goes: which point of it lies at x and y.

    Attributes
    ----------
    x, y : float
        In the drawing's units, upwards.
    across, up : int
        Its left (1), middle (0) or right (-1) end; its lower edge (1), middle (0) or upper edge (-1).
    """

    x: float
    y: float
    across: int
    up: int


def place_labels(
    labels: Sequence[Label],
    *,
    sizes: Sequence[Size],
    frame: tuple[float, float, float, float],
    points: FloatArray,
    reach: float,
    taken: Sequence[tuple[float, float, float, float]] = (),
    farther: Sequence[float] = (1.0,),
) -> list[Position | None]:
    """Place names where they cover no point and no other name, the first ones first.

    Parameters
    ----------
    labels : sequence of Label
        The names; their points in the drawing's units, upwards.
    sizes : sequence of Size
        How large each name is drawn.
    frame : tuple of float
        Left, lower, right and upper edge of the drawing.
    points : ndarray of float, shape (points, 2)
        What should stay in sight.
    reach : float
        How far around each of them.
    taken : sequence of tuple of float
        Boxes that should stay in sight too: left, lower, right and upper edge.
    farther : sequence of float
        How far from its point a name may go, in gaps.

    Returns
    -------
    list of Position or None
        For each name; None where there is no room for it and it is not needed.
    """
    boxes = np.array(taken, dtype=np.float64).reshape(-1, 4)
    steps = [(x, y, far) for far in farther for x, y in SIDES]
    found: list[Position | None] = []
    for label, size in zip(labels, sizes, strict=True):
        best, least = None, np.inf
        here = steps[: len(SIDES)] if label.near else steps
        for number, (x, y, far) in enumerate([(0, 0, 0.0), *here] if label.over else here):
            at_x, at_y = label.at[0] + x * far * size.gap, label.at[1] + y * far * size.gap
            left, low = at_x + (x - 1) * size.wide / 2.0, at_y + (y - 1) * size.tall / 2.0
            box = (left, low, left + size.wide, low + size.tall)
            cost = float(np.sum(_inside(points, box, reach))) + LATER * number
            cost += OVERLAP * float(np.sum(_meets(boxes, box)))
            cost += BEYOND * (box[0] < frame[0] or box[1] < frame[1] or box[2] > frame[2] or box[3] > frame[3])
            if cost < least:
                best, least = (Position(at_x, at_y, x, y), box), cost
            if cost < 1.0:
                break
        assert best is not None
        has_room = least < 1.0 or label.needed
        found.append(best[0] if has_room else None)
        if has_room:
            boxes = np.vstack([boxes, best[1]])
    return found


def _inside(points: FloatArray, box: tuple[float, float, float, float], reach: float) -> FloatArray:
    x, y = points[:, 0], points[:, 1]
    return np.asarray(
        (x > box[0] - reach) & (x < box[2] + reach) & (y > box[1] - reach) & (y < box[3] + reach), dtype=np.float64
    )


def _meets(boxes: FloatArray, box: tuple[float, float, float, float]) -> FloatArray:
    across = (boxes[:, 0] < box[2]) & (boxes[:, 2] > box[0])
    return np.asarray(across & (boxes[:, 1] < box[3]) & (boxes[:, 3] > box[1]), dtype=np.float64)
