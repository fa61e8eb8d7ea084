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
END_M = 1e-3
"""What a leg meets so near to its ends stands at them: radios stand on sheets. [m]"""
TOUCH_M = 1e-6
"""What lies within this of a line touches it. [m]"""


class Segment(NamedTuple):
    """The cut of a sheet."""

    x1: float
    y1: float
    x2: float
    y2: float
    loss_db: float
    """Of one pass square through it."""
    sheet: int
    solid: int = -1
    beside_db: float = 1e9
    """What is lost in passing its solid beside the plane, past its nearest end there."""
    nx: float = 0.0
    ny: float = 0.0
    """The part of the sheet's normal that lies in the plane."""
    table: tuple[float, ...] = ()
    """Loss by cosine of incidence in equal steps from 0 to 1; empty where it does not depend on it."""


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


def gathered(places: list[tuple[float, float]]) -> tuple[list[int], list[float], list[float]]:
    """The corner at each place, and where corners are: in the middle of all places that hang together.

    So the order of places is nothing to a corner, but where a curve of short pieces hangs together over more than twice
    the joint: there each piece keeps to the first corner so near.
    """
    apart: list[tuple[float, float]] = []  # places that differ by more than rounding, and which of them hang together
    group: list[int] = []
    which: list[int] = []
    for x, y in places:
        away_m = [math.hypot(px - x, py - y) for px, py in apart]
        number = next((i for i, one in enumerate(away_m) if one < TOUCH_M), -1)
        if number < 0:
            number = len(apart)
            near = {group[i] for i, one in enumerate(away_m) if one < JOINT_M}
            group = [number if one in near else one for one in group] + [number]
            apart.append((x, y))
        which.append(number)
    xs: list[float] = []
    ys: list[float] = []
    node: list[int] = []
    owner: list[int] = []
    for number, (x, y) in enumerate(apart):
        own = [one for i, one in enumerate(apart) if group[i] == group[number]]
        low_x, high_x = min(one[0] for one in own), max(one[0] for one in own)
        low_y, high_y = min(one[1] for one in own), max(one[1] for one in own)
        if math.hypot(high_x - low_x, high_y - low_y) < 2.0 * JOINT_M:
            x, y = 0.5 * (low_x + high_x), 0.5 * (low_y + high_y)
        found = -1
        for i in range(len(xs)):
            if owner[i] == group[number] and math.hypot(xs[i] - x, ys[i] - y) < JOINT_M:
                found = i
                break
        if found < 0:
            found = len(xs)
            xs.append(x)
            ys.append(y)
            owner.append(group[number])
        node.append(found)
    return [node[one] for one in which], xs, ys


def joined(segments: list[Segment]) -> Section:
    """Segments with their corners, ends that nearly touch moved together."""
    nodes, xs, ys = gathered([end for one in segments for end in ((one.x1, one.y1), (one.x2, one.y2))])
    ends = list(zip(nodes[::2], nodes[1::2], strict=True))
    kept = [
        one._replace(x1=xs[ends[i][0]], y1=ys[ends[i][0]], x2=xs[ends[i][1]], y2=ys[ends[i][1]])
        for i, one in enumerate(segments)
    ]
    for node in range(len(xs)):  # an end near to other segments is moved onto the nearest
        feet: list[tuple[float, float, float]] = []
        for number, one in enumerate(kept):
            if node in ends[number]:
                continue
            dx, dy = one.x2 - one.x1, one.y2 - one.y1
            size = max(math.hypot(dx, dy), TOUCH_M)
            along = ((xs[node] - one.x1) * dx + (ys[node] - one.y1) * dy) / size
            off = ((ys[node] - one.y1) * dx - (xs[node] - one.x1) * dy) / size
            if JOINT_M < along < size - JOINT_M and abs(off) < JOINT_M:
                feet.append((abs(off), one.x1 + along * dx / size, one.y1 + along * dy / size))
        nearest = [one for one in feet if one[0] <= min(feet)[0] + TOUCH_M]
        if nearest:  # or between those that are equally near
            xs[node] = sum(one[1] for one in nearest) / len(nearest)
            ys[node] = sum(one[2] for one in nearest) / len(nearest)
    kept = [
        one._replace(x1=xs[ends[i][0]], y1=ys[ends[i][0]], x2=xs[ends[i][1]], y2=ys[ends[i][1]])
        for i, one in enumerate(kept)
    ]
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


class Met(NamedTuple):
    """What a leg goes through."""

    loss_db: float
    passed: list[int]
    """Segments that it goes through."""
    beside: list[int]
    """Solids that it passes beside the plane."""


def pass_loss_db(one: Segment, dx: float, dy: float) -> float:
    """Loss of a pass through a segment in a direction of the plane."""
    if not one.table:
        return one.loss_db
    at = min(abs(one.nx * dx + one.ny * dy), 1.0) * (len(one.table) - 1)
    low = min(int(at), len(one.table) - 2)
    return one.table[low] + (at - low) * (one.table[low + 1] - one.table[low])


def along_face_loss_db(section: Section, one: int, other: int, closed_left: bool) -> float:
    """What a leg along a face from corner to corner meets: all that stands on the face on the leg's own side. [dB]"""
    a, b = section.corners[one], section.corners[other]
    total_db = 0.0
    dx, dy = b.x - a.x, b.y - a.y
    size = math.hypot(dx, dy)
    dx, dy = dx / size, dy / size
    for number, corner in enumerate(section.corners):
        if number == one or number == other:
            continue
        along = (corner.x - a.x) * dx + (corner.y - a.y) * dy
        off = (corner.y - a.y) * dx - (corner.x - a.x) * dy
        if not END_M < along < size - END_M or abs(off) > JOINT_M:
            continue
        most_db = 0.0
        face = False
        for ax, ay, segment in corner.arms:
            side = dx * ay - dy * ax
            if abs(side) < 0.02:
                face = True
            elif (side > 0.0) != closed_left and abs(side) > 0.1:
                most_db = max(most_db, section.segments[segment].loss_db)
        if face:
            total_db += most_db
    return total_db


def met_by_leg(
    section: Section,
    x1: float,
    y1: float,
    x2: float,
    y2: float,
    from_corner: int,
    to_corner: int,
    most_db: float,
    beside: list[int],
) -> Met:
    """What a leg goes through, or passes beside the plane where that costs less.

    A leg that only touches corners of what lies on one side of it meets nothing. One that passes exactly through a
    corner with arms on both sides goes through the weaker side. Where more than `most_db` is lost no more is told.
    """
    dx, dy = x2 - x1, y2 - y1
    size = math.hypot(dx, dy)
    if size < TOUCH_M:
        return Met(0.0, [], [])
    dx, dy = dx / size, dy / size
    hits: list[tuple[int, float]] = []
    through_corner: list[tuple[int, int, float, int]] = []
    for number, one in enumerate(section.segments):
        a, b = section.ends[number]
        if from_corner == a or from_corner == b or to_corner == a or to_corner == b:
            continue
        s1 = (one.y1 - y1) * dx - (one.x1 - x1) * dy
        s2 = (one.y2 - y1) * dx - (one.x2 - x1) * dy
        if (s1 > TOUCH_M and s2 > TOUCH_M) or (s1 < -TOUCH_M and s2 < -TOUCH_M):
            continue
        if abs(s1) <= TOUCH_M and abs(s2) <= TOUCH_M:
            continue
        if abs(s1) <= TOUCH_M or abs(s2) <= TOUCH_M:
            corner, other = (a, s2) if abs(s1) <= TOUCH_M else (b, s1)
            px, py = (one.x1, one.y1) if corner == a else (one.x2, one.y2)
            along = (px - x1) * dx + (py - y1) * dy
            if END_M < along < size - END_M:
                through_corner.append((corner, 1 if other > 0.0 else -1, pass_loss_db(one, dx, dy), number))
            continue
        share = s1 / (s1 - s2)
        along = (one.x1 + share * (one.x2 - one.x1) - x1) * dx + (one.y1 + share * (one.y2 - one.y1) - y1) * dy
        if END_M < along < size - END_M:
            hits.append((number, pass_loss_db(one, dx, dy)))
    done: list[int] = []
    for corner, _, _, _ in through_corner:
        if corner in done:
            continue
        done.append(corner)
        most_left, most_right, left, right = -1.0, -1.0, -1, -1
        for other, side, loss_db, number in through_corner:
            if other == corner and side > 0 and loss_db > most_left:
                most_left, left = loss_db, number
            if other == corner and side < 0 and loss_db > most_right:
                most_right, right = loss_db, number
        if left >= 0 and right >= 0:
            hits.append((left, most_left) if most_left < most_right else (right, most_right))
    total_db = 0.0
    passed: list[int] = []
    beside_now: list[int] = []
    seen: list[int] = []
    for number, _ in hits:
        one = section.segments[number]
        if one.solid in seen:
            continue
        if one.solid >= 0:
            seen.append(one.solid)
            if one.solid in beside:
                continue
        material_db = 0.0
        members: list[int] = []
        for other, loss_db in hits:
            if other == number or (one.solid >= 0 and section.segments[other].solid == one.solid):
                material_db += loss_db
                members.append(other)
        if one.beside_db < material_db:
            total_db += one.beside_db
            beside_now.append(one.solid)
        else:
            total_db += material_db
            passed.extend(members)
        if total_db > most_db:
            return Met(total_db, passed, beside_now)
    return Met(total_db, passed, beside_now)
