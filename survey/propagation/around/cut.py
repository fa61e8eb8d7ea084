"""A line's two planes, and what stands in them or so close beside that it counts."""

from __future__ import annotations

import math
from typing import NamedTuple

from survey.propagation.around.bodies import DEEP_M, Bodies
from survey.propagation.around.search import edge_loss_db
from survey.propagation.around.section import END_M, Section, Segment, joined
from survey.propagation.around.string import smooth

BESIDE_NU = -0.78
"""What ends farther beside a plane than this takes nothing from a line in it (ITU-R P.526-15, section 4.1)."""
SAME_M = 1e-6
"""Coordinates that differ by less are the same: rounding. [m]"""
CLEAR_M = 3e-6
"""What has a corner in the plane is cut so far beside it: more than rounding. [m]"""
INSIDE_M = 1e-3
"""What ends beside a plane is cut so far inside its end. [m]"""
NEAREST = 0.02
"""Ends of solids nearer to an end of the line than this share of its length are taken as so far away."""
LEVEL_M = 0.1003
"""A neighbour that ends so near to the end of a solid closes it there: an assumption; centimetres are no ties. [m]"""
SHUT_DB = 40.0
"""What the level plane charges in full for passing over something in the line: that counts in the upright plane."""
FAR_M = 50.0
"""Farther from the line than this the outline of a mirror does not count. [m]"""


class Line(NamedTuple):
    """A line with its axes."""

    start_m: tuple[float, float, float]
    along: tuple[float, float, float]
    up: tuple[float, float, float]
    """Square to the line and as upright as can be."""
    left: tuple[float, float, float]
    length_m: float


class Image(NamedTuple):
    """The mirror of an unfolded line, whose start is the image of a real place and whose end is real."""

    sheet: int
    normal: tuple[float, float, float]
    offset_m: float
    """With the line's end, and all that is real, on the positive side."""


class Window(NamedTuple):
    """The opening that a mirror is to its unfolded line, in the upright plane and in the level one."""

    low: tuple[tuple[float, float], tuple[float, float]]
    high: tuple[tuple[float, float], tuple[float, float]]
    """Ends of its cut, along the line and to the left of it. [m]"""
    nu: tuple[tuple[float, float], tuple[float, float]]
    """The same as nu, positive where they lie to the left. [-]"""
    leaves: tuple[float, float]
    """What it leaves of the line in each plane, amplitude."""


class Local(NamedTuple):
    """A solid in the axes of a line."""

    solid: int
    """For images of solids in a mirror, their number and that of all solids."""
    clip: int
    """1 where only what lies before a mirror counts, -1 for images behind it, 0 without a mirror."""
    corners: list[list[tuple[float, float, float]]]
    """Of each sheet: along, up, left."""
    low: tuple[float, float, float]
    high: tuple[float, float, float]
    nu: tuple[float, float, float, float]
    """How deep the line lies behind its top, bottom, left end and right end; negative where it clears it."""
    holds_end: bool
    """Whether an end of the line stands in it: no wave gets past it beside a plane then."""


def line_of(start_m: tuple[float, float, float], end_m: tuple[float, float, float]) -> Line:
    """A line from one point to another."""
    dx, dy, dz = end_m[0] - start_m[0], end_m[1] - start_m[1], end_m[2] - start_m[2]
    length_m = math.sqrt(dx * dx + dy * dy + dz * dz)
    if length_m < SAME_M:
        return Line(start_m, (1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0), 0.0)
    ax, ay, az = dx / length_m, dy / length_m, dz / length_m
    level = math.hypot(ax, ay)
    lx, ly = (-ay / level, ax / level) if level > SAME_M else (0.0, 1.0)
    return Line(
        start_m, (ax, ay, az), (ay * 0.0 - az * ly, az * lx - ax * 0.0, ax * ly - ay * lx), (lx, ly, 0.0), length_m
    )


def stands_in(bodies: Bodies, solid: int, at_m: tuple[float, float, float]) -> bool:
    """Whether a place lies inside a solid of several sheets, and not on one of them."""
    sheets = range(bodies.solid_first[solid], bodies.solid_first[solid + 1])
    x, y, z = (float(one) for one in bodies.centre_m[solid])
    for s in sheets:
        nx, ny, nz = (float(one) for one in bodies.normal[s])
        offset_m = float(bodies.offset_m[s])
        away_m = nx * at_m[0] + ny * at_m[1] + nz * at_m[2] - offset_m
        if (away_m if nx * x + ny * y + nz * z > offset_m else -away_m) <= END_M:
            return False
    return len(sheets) > 1


def mirrored(image: Image, at_m: tuple[float, float, float]) -> tuple[float, float, float]:
    """The image of a place."""
    n = image.normal
    twice_m = 2.0 * (at_m[0] * n[0] + at_m[1] * n[1] + at_m[2] * n[2] - image.offset_m)
    return at_m[0] - twice_m * n[0], at_m[1] - twice_m * n[1], at_m[2] - twice_m * n[2]


def local(bodies: Bodies, number: int, line: Line, wavelength_m: float, image: Image | None = None) -> Local:
    """A solid in the axes of a line; from the number of all solids on their images in a mirror."""
    count = len(bodies.radius_m)
    solid = number % count
    clip = 0 if image is None else 1 if number < count else -1
    sheets: list[list[tuple[float, float, float]]] = []
    low = [math.inf] * 3
    high = [-math.inf] * 3
    nu = [-math.inf] * 4
    sx, sy, sz = line.start_m
    for s in range(bodies.solid_first[solid], bodies.solid_first[solid + 1]):
        corners = []
        for c in range(bodies.first[s], bodies.first[s + 1]):
            x, y, z = bodies.corner_m[c][0], bodies.corner_m[c][1], bodies.corner_m[c][2]
            if image is not None and clip < 0:
                x, y, z = mirrored(image, (x, y, z))
            x, y, z = x - sx, y - sy, z - sz
            u = float(x * line.along[0] + y * line.along[1] + z * line.along[2])
            v = float(x * line.up[0] + y * line.up[1] + z * line.up[2])
            w = float(x * line.left[0] + y * line.left[1] + z * line.left[2])
            corners.append((u, v, w))
            share = min(max(u / line.length_m, NEAREST), 1.0 - NEAREST)
            scale = math.sqrt(2.0 / (wavelength_m * line.length_m * share * (1.0 - share)))
            nu = [max(nu[0], v * scale), max(nu[1], -v * scale), max(nu[2], w * scale), max(nu[3], -w * scale)]
            for axis, value in enumerate((u, v, w)):
                low[axis] = min(low[axis], value)
                high[axis] = max(high[axis], value)
        sheets.append(corners)
    start_m = line.start_m if image is None else mirrored(image, line.start_m)
    end_m = tuple(line.start_m[i] + line.length_m * line.along[i] for i in range(3))
    ends_m = [start_m] * (clip <= 0) + [(end_m[0], end_m[1], end_m[2])] * (clip >= 0)
    return Local(
        number,
        clip,
        sheets,
        (low[0], low[1], low[2]),
        (high[0], high[1], high[2]),
        (nu[0], nu[1], nu[2], nu[3]),
        any(stands_in(bodies, solid, one) for one in ends_m),
    )


def beside_loss_db(bodies: Bodies, one: Local, every: list[Local], upright: bool, mirror: int) -> float:
    """What a wave in a plane loses in passing a solid beside the plane, past its nearest end there; 1e9 for no end."""
    axis = 2 if upright else 1
    other_axis = 1 if upright else 2
    best_db = 1e9
    if one.holds_end:
        return best_db
    for end in range(2):
        number = (2 if upright else 0) + end
        shut = False
        count = len(bodies.radius_m)
        solid = one.solid % count
        for k in range(bodies.touch_first[solid], bodies.touch_first[solid + 1]):
            if bodies.touch[k] == mirror:  # goes on in its own image
                shut = True
            for other in every:
                if other.solid != bodies.touch[k] + one.solid - solid:
                    continue
                if other.low[other_axis] > LEVEL_M or other.high[other_axis] < -LEVEL_M:
                    continue
                more = other.high[axis] - one.high[axis] if end == 0 else one.low[axis] - other.low[axis]
                shut = shut or more > -LEVEL_M
        if not shut:
            # Over something in the line is the upright plane's affair: the level one passes what is grazed.
            more_db = 0.0 if upright else SHUT_DB * smooth(one.nu[number])
            best_db = min(best_db, edge_loss_db(one.nu[number]) + more_db)
    return best_db


def section_of(
    bodies: Bodies,
    near: list[Local],
    every: list[Local],
    line: Line,
    upright: bool,
    pass_beside: bool,
    image: Image | None = None,
    window: Window | None = None,
) -> Section:
    """What some solids cut from the upright or the level plane of a line."""
    segments: list[Segment] = []
    axis = 2 if upright else 1
    mirror = int(bodies.solid[image.sheet]) if image is not None else -1
    normal_up = line.up if upright else line.left
    for one in near:
        low, high = one.low[axis], one.high[axis]
        shift = 0.0
        if high - low < SAME_M:
            continue
        if low > -SAME_M or high < SAME_M:  # beside the plane
            ends = (one.nu[2], one.nu[3]) if upright else (one.nu[0], one.nu[1])
            if min(ends) <= BESIDE_NU or one.high[0] <= SAME_M or one.low[0] >= line.length_m - SAME_M:
                continue
            inside_m = min(INSIDE_M, 0.5 * (high - low))
            shift = low + inside_m if low > -SAME_M else high - inside_m
        elif any(abs(corner[axis]) < SAME_M for corners in one.corners for corner in corners):
            # A corner in the plane is no tie: the cut lies beside it, towards the end that is nearer.
            shift = math.copysign(CLEAR_M, -low - high)
        beside_db = beside_loss_db(bodies, one, every, upright, mirror) if pass_beside else 1e9
        first = bodies.solid_first[one.solid % len(bodies.radius_m)]
        for number, corners in enumerate(one.corners):
            ends_m = cut(corners, axis, shift)
            if image is not None and len(ends_m) == 2:
                ends_m = before_mirror(ends_m, line, axis, shift, image, one.clip)
            if len(ends_m) < 2 or math.hypot(ends_m[1][0] - ends_m[0][0], ends_m[1][1] - ends_m[0][1]) < INSIDE_M:
                continue
            s = first + number
            normal = bodies.normal[s]
            if image is not None and one.clip < 0:
                square = sum(float(normal[i]) * image.normal[i] for i in range(3))
                normal = [float(normal[i]) - 2.0 * square * image.normal[i] for i in range(3)]
            table = tuple(bodies.table_db[bodies.table[s]]) if bodies.table[s] >= 0 else ()
            segments.append(
                Segment(
                    ends_m[0][0],
                    ends_m[0][1],
                    ends_m[1][0],
                    ends_m[1][1],
                    float(bodies.loss_db[s]),
                    int(s),
                    one.solid,
                    beside_db,
                    float(normal[0] * line.along[0] + normal[1] * line.along[1] + normal[2] * line.along[2]),
                    float(normal[0] * normal_up[0] + normal[1] * normal_up[1] + normal[2] * normal_up[2]),
                    table,
                )
            )
    if image is not None and window is not None:
        segments.extend(around_mirror(upright, image, window))
    section = joined(segments)
    for number, corner in enumerate(section.corners):  # nothing turns below the ground, or far off around a mirror
        height_m = line.start_m[2] + corner.x * line.along[2] + corner.y * (line.up[2] if upright else line.left[2])
        beyond = any(section.segments[arm[2]].solid < 0 for arm in corner.arms) and abs(corner.y) > 0.5 * FAR_M
        if height_m < 0.5 * DEEP_M or beyond:
            section.corners[number] = corner._replace(flat=True)
    return section


def around_mirror(upright: bool, image: Image, window: Window) -> list[Segment]:
    """What is no mirror lets nothing through to its image: a sheet on either side of its outline, in its plane."""
    plane = 0 if upright else 1
    (x1, y1), (x2, y2) = window.low[plane], window.high[plane]
    size = math.hypot(x2 - x1, y2 - y1)
    found: list[Segment] = []
    if size < INSIDE_M:
        return found
    dx, dy = (x2 - x1) / size * FAR_M, (y2 - y1) / size * FAR_M
    for (x, y), side in (((x1, y1), -1.0), ((x2, y2), 1.0)):
        if abs(y) < FAR_M:
            found.append(Segment(x, y, x + side * dx, y + side * dy, 1e3, image.sheet, -1, 1e9, 0.0, 0.0, ()))
    return found


def before_mirror(
    ends_m: list[tuple[float, float]], line: Line, axis: int, shift: float, image: Image, clip: int
) -> list[tuple[float, float]]:
    """The part of a cut that lies on its side of the mirror."""
    out = line.left if axis == 2 else line.up
    off = line.up if axis == 2 else line.left
    away = []
    for x, y in ends_m:
        total = -image.offset_m
        for i in range(3):
            total += image.normal[i] * (line.start_m[i] + x * line.along[i] + y * off[i] + shift * out[i])
        away.append(total * clip)
    if away[0] <= SAME_M and away[1] <= SAME_M:
        return []
    if away[0] >= 0.0 and away[1] >= 0.0:
        return ends_m
    share = away[0] / (away[0] - away[1])
    middle = (
        ends_m[0][0] + share * (ends_m[1][0] - ends_m[0][0]),
        ends_m[0][1] + share * (ends_m[1][1] - ends_m[0][1]),
    )
    return [ends_m[0], middle] if away[0] > 0.0 else [middle, ends_m[1]]


def cut(corners: list[tuple[float, float, float]], axis: int, shift: float) -> list[tuple[float, float]]:
    """Where the edges of a convex sheet cross a plane beside or through the line: its two places there, or none."""
    found: list[tuple[float, float]] = []
    other = 3 - axis
    for i in range(len(corners)):
        a, b = corners[i - 1], corners[i]
        d1, d2 = a[axis] - shift, b[axis] - shift
        if (d1 > -SAME_M) == (d2 > -SAME_M):
            continue
        share = min(max(d1 / (d1 - d2), 0.0), 1.0) if abs(d1 - d2) > 1e-12 else 0.0
        found.append((a[0] + share * (b[0] - a[0]), a[other] + share * (b[other] - a[other])))
    return found[:2]
