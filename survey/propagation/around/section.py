"""What stands in a plane of a line, joined where it touches: segments, and the corners at which they end.

Places in the plane are x along the line from its start and y to the left of it (up, in the upright plane).
"""

from __future__ import annotations

import math
from typing import NamedTuple

JOINT_M = 0.0203
"""Ends of segments nearer together than this are one corner, and an end so near to another segment is closed. [m]

A little more than 2 cm, so that no plan drawn in centimetres is a tie.
"""
TOUCH_M = 1e-6
"""What lies within this of a line touches it. [m]"""


class Segment(NamedTuple):
    """The cut of a sheet."""

    x1: float
    y1: float
    x2: float
    y2: float
    loss_db: float
    """Of one pass through it."""
    sheet: int


class Corner(NamedTuple):
    """Where segments end."""

    x: float
    y: float
    arms: list[tuple[float, float, int]]
    """Unit direction of each segment away from here, and which segment; one that only passes has two."""
    loss_db: float
    """Most of its segments."""
    flat: bool
    """On a straight face, so that nothing bends here."""


class Section(NamedTuple):
    """Segments and their corners."""

    segments: list[Segment]
    ends: list[tuple[int, int]]
    """Corners of each segment."""
    corners: list[Corner]


def joined(segments: list[Segment]) -> Section:
    """Segments with their corners, ends that nearly touch moved together."""
    xs: list[float] = []
    ys: list[float] = []
    ends: list[tuple[int, int]] = []
    kept: list[Segment] = []
    for one in segments:
        pair = []
        for x, y in ((one.x1, one.y1), (one.x2, one.y2)):
            found = -1
            for node in range(len(xs)):
                if math.hypot(xs[node] - x, ys[node] - y) < JOINT_M and node not in pair:
                    found = node
                    break
            if found < 0:
                found = len(xs)
                xs.append(x)
                ys.append(y)
            pair.append(found)
        ends.append((pair[0], pair[1]))
        kept.append(Segment(xs[pair[0]], ys[pair[0]], xs[pair[1]], ys[pair[1]], one.loss_db, one.sheet))
    corners = []
    for node in range(len(xs)):
        arms: list[tuple[float, float, int]] = []
        loss_db = 0.0
        for number, one in enumerate(kept):
            a, b = ends[number]
            dx, dy = one.x2 - one.x1, one.y2 - one.y1
            size = math.hypot(dx, dy)
            if size < TOUCH_M:
                continue
            dx, dy = dx / size, dy / size
            if node == a:
                arms.append((dx, dy, number))
            elif node == b:
                arms.append((-dx, -dy, number))
            else:
                along = (xs[node] - one.x1) * dx + (ys[node] - one.y1) * dy
                off = (ys[node] - one.y1) * dx - (xs[node] - one.x1) * dy
                if not (JOINT_M < along < size - JOINT_M and abs(off) < JOINT_M):
                    continue
                arms.append((dx, dy, number))
                arms.append((-dx, -dy, number))
            loss_db = max(loss_db, one.loss_db)
        flat = False
        for i in range(len(arms)):
            for j in range(i):
                if arms[i][0] * arms[j][0] + arms[i][1] * arms[j][1] < -1.0 + 1e-5:
                    flat = True
        corners.append(Corner(xs[node], ys[node], arms, loss_db, flat))
    return Section(kept, ends, corners)


def leg_losses(
    section: Section, x1: float, y1: float, x2: float, y2: float, from_corner: int, to_corner: int, most_db: float
) -> tuple[float, list[int]]:
    """What a leg goes through: loss in all, and which segments; stops where more than `most_db` is lost. [dB]

    A leg that only touches corners of what lies on one side of it goes through nothing. One that passes exactly
    through a corner with arms on both sides goes through the weaker side.
    """
    dx, dy = x2 - x1, y2 - y1
    size = math.hypot(dx, dy)
    total_db = 0.0
    passed: list[int] = []
    if size < TOUCH_M:
        return total_db, passed
    dx, dy = dx / size, dy / size
    through_corner: list[tuple[int, int, float]] = []
    for number, one in enumerate(section.segments):
        a, b = section.ends[number]
        if from_corner in (a, b) or to_corner in (a, b):
            continue
        s1 = (one.y1 - y1) * dx - (one.x1 - x1) * dy
        s2 = (one.y2 - y1) * dx - (one.x2 - x1) * dy
        if (s1 > TOUCH_M and s2 > TOUCH_M) or (s1 < -TOUCH_M and s2 < -TOUCH_M):
            continue
        if abs(s1) <= TOUCH_M and abs(s2) <= TOUCH_M:
            continue
        for corner, s, other, px, py in ((a, s1, s2, one.x1, one.y1), (b, s2, s1, one.x2, one.y2)):
            along = (px - x1) * dx + (py - y1) * dy
            if abs(s) <= TOUCH_M and TOUCH_M < along < size - TOUCH_M:
                through_corner.append((corner, 1 if other > 0 else -1, one.loss_db))
        if abs(s1) <= TOUCH_M or abs(s2) <= TOUCH_M:
            continue
        share = s1 / (s1 - s2)
        along = (one.x1 + share * (one.x2 - one.x1) - x1) * dx + (one.y1 + share * (one.y2 - one.y1) - y1) * dy
        if TOUCH_M * 1e3 < along < size - TOUCH_M * 1e3:
            total_db += one.loss_db
            passed.append(number)
            if total_db > most_db:
                return total_db, passed
    done: list[int] = []
    for corner, _, _ in through_corner:
        if corner in done:
            continue
        done.append(corner)
        sides = [0.0, 0.0]
        for other, side, loss_db in through_corner:
            if other == corner:
                sides[0 if side > 0 else 1] = max(sides[0 if side > 0 else 1], loss_db)
        total_db += min(sides)
    return total_db, passed
