"""Convex pieces of plane figures: cut by a line, one taken from others, pieces put together, their outline.

Roofs, walls and what openings leave of them are kept as convex pieces, since that is what lines are tested against.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from functools import partial
from itertools import pairwise

import numpy as np

from survey.base import polygon
from survey.base.arrays import FloatArray
from survey.base.polygon import LEAST_AREA_M2

Point = tuple[float, float]
Piece = tuple[Point, ...]
"""Corners of a convex piece, anticlockwise. [m]"""

ON_LINE_M = 1e-8
"""What lies nearer to a line than this lies on it: far above rounding, far below what matters. [m]"""
SAME_CORNER_M = 1e-6
"""Corners nearer together than this are one. [m]"""


def sides_of(corners: Sequence[Point]) -> list[tuple[Point, Point]]:
    """Return the sides of a closed figure, each from its first corner to the next."""
    return list(pairwise((*corners, corners[0])))


def area_m2(piece: Sequence[Point]) -> float:
    """Return the area of a figure, positive where its corners run anticlockwise.

    Examples
    --------
    >>> area_m2(((0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0)))
    12.0
    """
    x, y = piece[0]
    return 0.5 * sum((p[0] - x) * (q[1] - y) - (q[0] - x) * (p[1] - y) for p, q in sides_of(piece))


def clip(piece: Piece, a: float, b: float, c: float) -> Piece:
    """Keep what lies where ``a x + b y >= c``, with (a, b) of length 1; nothing where no area is left.

    Examples
    --------
    >>> clip(((0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0)), 1.0, 0.0, 3.0)
    ((3.0, 0.0), (4.0, 0.0), (4.0, 3.0), (3.0, 3.0))
    """
    distances_m = [a * x + b * y - c for x, y in piece]
    if min(distances_m) >= -ON_LINE_M:
        return piece
    if max(distances_m) <= ON_LINE_M:
        return ()
    kept: list[Point] = []
    for i, (p, d) in enumerate(zip(piece, distances_m, strict=True)):
        q, e = piece[(i + 1) % len(piece)], distances_m[(i + 1) % len(piece)]
        if d >= -ON_LINE_M:
            kept.append(p)
        if min(d, e) < -ON_LINE_M and max(d, e) > ON_LINE_M:
            share = d / (d - e)
            kept.append((p[0] + share * (q[0] - p[0]), p[1] + share * (q[1] - p[1])))
    return tuple(kept) if len(kept) > 2 and area_m2(kept) > LEAST_AREA_M2 else ()  # noqa: PLR2004  a triangle


def halves(piece: Piece) -> list[tuple[float, float, float]]:
    """Return the half-planes whose common part is a piece, as `clip` takes them."""
    found = []
    for p, q in sides_of(piece):
        length_m = math.dist(p, q)
        if length_m > ON_LINE_M:
            a, b = (p[1] - q[1]) / length_m, (q[0] - p[0]) / length_m
            found.append((a, b, a * p[0] + b * p[1]))
    return found


Bounds = tuple[float, float, float, float]


def _bounds(piece: Piece) -> Bounds:
    xs, ys = [p[0] for p in piece], [p[1] for p in piece]
    return min(xs), min(ys), max(xs), max(ys)


def _apart(one: Bounds, other: Bounds) -> bool:
    return one[0] >= other[2] or other[0] >= one[2] or one[1] >= other[3] or other[1] >= one[3]


def common(one: Piece, other: Piece) -> Piece:
    """Return the common part of two pieces."""
    if _apart(_bounds(one), _bounds(other)):
        return ()
    for a, b, c in halves(other):
        if one:
            one = clip(one, a, b, c)
    return one


def without(pieces: Iterable[Piece], hole: Piece) -> list[Piece]:
    """Take a piece away from others.

    Examples
    --------
    >>> door = ((1.0, 0.0), (2.0, 0.0), (2.0, 2.0), (1.0, 2.0))
    >>> [area_m2(part) for part in without([((0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0))], door)]
    [6.0, 3.0, 1.0]
    """
    left: list[Piece] = []
    sides, bounds = halves(hole), _bounds(hole)
    sides.sort(key=lambda half: abs(half[1]))  # upright cuts first: what is left of a wall stands in full height
    for piece in pieces:
        if _apart(_bounds(piece), bounds) or not common(piece, hole):
            left.append(piece)
            continue
        rest = piece
        for a, b, c in sides:
            outside = clip(rest, -a, -b, -c)
            if outside:
                left.append(outside)
            rest = clip(rest, a, b, c)
            if not rest:
                break
    return left


def _same(p: Point, q: Point) -> bool:
    return abs(p[0] - q[0]) <= SAME_CORNER_M and abs(p[1] - q[1]) <= SAME_CORNER_M


def tidy(piece: Sequence[Point]) -> Piece:
    """Leave out corners that stand twice or in a straight side."""
    left = [p for i, p in enumerate(piece) if not _same(p, piece[i - 1])]
    kept = []
    for i, p in enumerate(left):
        before, after = left[i - 1], left[(i + 1) % len(left)]
        turn = (p[0] - before[0]) * (after[1] - p[1]) - (p[1] - before[1]) * (after[0] - p[0])
        if abs(turn) > ON_LINE_M * math.dist(before, after):
            kept.append(p)
    return tuple(kept)


def _is_convex(piece: Piece) -> bool:
    return all(
        (p[0] - piece[i - 1][0]) * (piece[(i + 1) % len(piece)][1] - p[1])
        - (p[1] - piece[i - 1][1]) * (piece[(i + 1) % len(piece)][0] - p[0])
        > 0
        for i, p in enumerate(piece)
    )


def _joined(one: Piece, side: int, other: Piece, other_side: int) -> Piece:
    """Two pieces that share a side as one; nothing where that is not convex."""
    union = tidy(
        [*(one[(side + k) % len(one)] for k in range(1, len(one) + 1))]
        + [other[(other_side + k) % len(other)] for k in range(2, len(other))]
    )
    return union if len(union) > 2 and _is_convex(union) else ()  # noqa: PLR2004  a triangle


def _side_key(p: Point, q: Point) -> tuple[int, int, int, int]:
    """The same for sides that differ by rounding; where it is not, two pieces stay two."""
    (x, y), (x_2, y_2) = p, q
    return round(x / SAME_CORNER_M), round(y / SAME_CORNER_M), round(x_2 / SAME_CORNER_M), round(y_2 / SAME_CORNER_M)


def merged(pieces: Iterable[Piece]) -> list[Piece]:
    """Put pieces together where two that share a side make a convex one.

    Examples
    --------
    >>> merged([((0.0, 0.0), (1.0, 0.0), (1.0, 3.0), (0.0, 3.0)), ((1.0, 0.0), (4.0, 0.0), (4.0, 3.0), (1.0, 3.0))])
    [((0.0, 3.0), (0.0, 0.0), (4.0, 0.0), (4.0, 3.0))]
    """
    done = {number: shape for number, piece in enumerate(pieces) if len(shape := tidy(piece)) > 2}  # noqa: PLR2004
    sides: dict[tuple[int, int, int, int], tuple[int, int]] = {}
    waiting, following = [*done], max(done, default=0) + 1
    while waiting:
        number = waiting.pop()
        piece = done.get(number)
        if piece is None:  # part of another by now
            continue
        for side, (p, q) in enumerate(sides_of(piece)):
            sides[_side_key(p, q)] = (number, side)
            other, other_side = sides.get(_side_key(q, p), (-1, 0))
            union = _joined(piece, side, done[other], other_side) if other in done else ()
            if union:
                del done[number], done[other]
                done[following] = union
                waiting.append(following)
                following += 1
                break
    return list(done.values())


def parts_of(corners_m: FloatArray) -> list[Piece]:
    """Cut a simple polygon, either way round, into few convex pieces."""
    parts = polygon.convex_parts(np.asarray(corners_m, dtype=np.float64))
    return merged(map(piece_of, parts))


def piece_of(corners_m: FloatArray) -> Piece:
    """Return corners of an array as a piece."""
    return tuple((float(x), float(y)) for x, y in corners_m)


def holds(pieces: Iterable[Piece], point: Point, *, edge_m: float = SAME_CORNER_M) -> bool:
    """Tell whether a point lies in one of some pieces, or so near to it."""
    x, y = point
    return any(all(a * x + b * y - c >= -edge_m for a, b, c in halves(piece)) for piece in pieces)


def beyond_m(pieces: Iterable[Piece], point: Point) -> float:
    """Return how far a point lies outside of some pieces; 0 within one. [m]"""
    pieces = list(pieces)
    if holds(pieces, point, edge_m=0.0):
        return 0.0
    return min(_from_side_m(point, p, q) for piece in pieces for p, q in sides_of(piece))


def _from_side_m(point: Point, p: Point, q: Point) -> float:
    along = (q[0] - p[0], q[1] - p[1])
    length_2 = along[0] ** 2 + along[1] ** 2
    share = ((point[0] - p[0]) * along[0] + (point[1] - p[1]) * along[1]) / length_2 if length_2 else 0.0
    share = min(max(share, 0.0), 1.0)
    return math.dist(point, (p[0] + share * along[0], p[1] + share * along[1]))


def outlines(pieces: Sequence[Piece]) -> list[list[Point]]:
    """Return the closed lines around some pieces: outer ones anticlockwise, those around holes clockwise.

    Examples
    --------
    >>> left, right = ((0.0, 0.0), (1.0, 0.0), (1.0, 3.0)), ((1.0, 0.0), (4.0, 0.0), (1.0, 3.0))
    >>> outlines([left, right])
    [[(0.0, 0.0), (4.0, 0.0), (1.0, 3.0)]]
    """
    onward: dict[Point, list[Point]] = defaultdict(list)
    steps = _steps(pieces)
    for p, q in steps:
        if (q, p) not in steps:
            onward[p].append(q)
    lines: list[list[Point]] = []
    while any(onward.values()):
        start = next(p for p, after in onward.items() if after)
        line = [start]
        while onward[line[-1]]:
            line.append(onward[line[-1]].pop())
            if line[-1] == start:
                break
        lines.append(list(tidy(line[:-1])))
    return [line for line in lines if len(line) > 2]  # noqa: PLR2004


def _steps(pieces: Sequence[Piece]) -> dict[tuple[Point, Point], None]:
    """The sides of all pieces, cut where the corner of another lies on them."""
    corners: list[Point] = []
    place: dict[Point, Point] = {}
    for p in (p for piece in pieces for p in piece):
        place[p] = next((q for q in corners if _same(p, q)), p)
        if place[p] == p:
            corners.append(p)
    steps: dict[tuple[Point, Point], None] = {}  # a set that keeps its order
    for piece in pieces:
        for p, q in sides_of([place[p] for p in piece]):
            between = [r for r in corners if r not in (p, q) and _from_side_m(r, p, q) <= SAME_CORNER_M]
            steps.update(dict.fromkeys(pairwise((p, *sorted(between, key=partial(math.dist, p)), q))))
    return steps
