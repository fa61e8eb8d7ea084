"""Between two facing walls a zig-zag also bounces to and fro: its later part moved on by their distance.

A string that passes the end of one wall and then, to the other side, the end of the next may first be thrown back by
both an equal number of times. Unfolded, all that comes later lies so much farther off, and the string turns by less.
Nobody knows the distance of two walls within a quarter of a wavelength, so that the powers are added.
"""

from __future__ import annotations

import math

from survey.propagation.around.search import Path
from survey.propagation.around.section import END_M, TOUCH_M, Section
from survey.propagation.around.string import (
    FULL_NU,
    LEAST_NU,
    OPAQUE_DB,
    image_at,
    outer_angle,
    ripple,
    smooth,
    wedge_gain,
)
from survey.propagation.around.windows import Face, Station, field

MAX_BOUNCES = 2
"""Pairs of bounces that are followed."""
NARROW_M = 0.1003
"""Between walls nearer together than this nothing bounces: an assumption; centimetres are no ties. [m]"""
PARALLEL = 0.2
"""Walls count as facing where the sine of the angle between them is below this."""


def unfolded_powers(section: Section, path: Path, length_m: float, wavelength_m: float) -> tuple[float, float]:
    """Power of all that bounces between walls along a string, hard and soft, relative to the free line."""
    hard, soft = 0.0, 0.0
    sides = closed_sides(section, path, length_m)
    for leg in range(len(path.corners) - 1):
        if sides[leg] == sides[leg + 1]:
            continue
        facing = facing_walls(section, path.corners[leg], path.corners[leg + 1])
        if facing is None:
            continue
        nx, ny, width_m, share = facing
        for bounces in range(1, MAX_BOUNCES + 1):
            one, other = bounced(section, path, leg, bounces, (nx, ny, width_m), length_m, wavelength_m)
            hard += one * share
            soft += other * share
    return hard, soft


def facing_walls(section: Section, first: int, second: int) -> tuple[float, float, float, float] | None:
    """Of two corners, walls at them that face each other: square direction, distance, and how parallel they are."""
    a, b = section.corners[first], section.corners[second]
    best = None
    for ax, ay, one in a.arms:
        if section.segments[one].loss_db < OPAQUE_DB:
            continue
        size_1 = math.hypot(
            section.segments[one].x2 - section.segments[one].x1, section.segments[one].y2 - section.segments[one].y1
        )
        for bx, by, two in b.arms:
            if one == two or section.segments[two].loss_db < OPAQUE_DB or ax * bx + ay * by > 0.0:
                continue
            size_2 = math.hypot(
                section.segments[two].x2 - section.segments[two].x1, section.segments[two].y2 - section.segments[two].y1
            )
            across = abs(ax * by - ay * bx)
            mx, my = ax - bx, ay - by
            size = math.hypot(mx, my)
            mx, my = mx / size, my / size
            overlap_m = (b.x - a.x) * mx + (b.y - a.y) * my
            if across > PARALLEL or overlap_m <= TOUCH_M or overlap_m > min(size_1, size_2) + TOUCH_M:
                continue
            nx, ny = -my, mx
            width_m = (b.x - a.x) * nx + (b.y - a.y) * ny
            if width_m < 0.0:
                nx, ny, width_m = -nx, -ny, -width_m
            if width_m > NARROW_M and (best is None or width_m < best[2]):
                best = (nx, ny, width_m, smooth((PARALLEL - across) / PARALLEL))
    return best


def bounced(
    section: Section,
    path: Path,
    leg: int,
    bounces: int,
    wall: tuple[float, float, float],
    length_m: float,
    wavelength_m: float,
) -> tuple[float, float]:
    """Power of a string with so many pairs of bounces on one leg."""
    nx, ny, width_m = wall
    # Places of stations: x, y, corner, which side is closed (+1 left), bounce or not.
    a, b = section.corners[path.corners[leg]], section.corners[path.corners[leg + 1]]
    sides = closed_sides(section, path, length_m)
    places: list[tuple[float, float, int, float, bool]] = []
    for i in range(leg + 1):
        one = section.corners[path.corners[i]]
        places.append((one.x, one.y, path.corners[i], sides[i], False))
    for k in range(1, 2 * bounces + 1):
        corner, index = (b, leg + 1) if k % 2 == 1 else (a, leg)
        # The wall must be there to throw back, so the open side is that of the wall.
        shift = (k - (1 if k % 2 == 1 else 0)) * width_m
        side = -sides[index] if k % 2 == 1 else sides[index]
        if k % 2 == 1:
            side = -sides[leg + 1]
        else:
            side = -sides[leg]
        places.append((corner.x + shift * nx, corner.y + shift * ny, path.corners[index], side, True))
    shift = 2.0 * bounces * width_m
    for i in range(leg + 1, len(path.corners)):
        one = section.corners[path.corners[i]]
        places.append((one.x + shift * nx, one.y + shift * ny, path.corners[i], sides[i], False))
    end = (length_m + shift * nx, shift * ny)
    tight = [not place[4] for place in places]
    while True:
        points = [(0.0, 0.0), *((p[0], p[1]) for p, kept in zip(places, tight, strict=True) if kept), end]
        loose = -1
        number = 0
        for i in range(len(places)):
            if not tight[i]:
                continue
            number += 1
            if turn_at(points, number) * places[i][3] <= TOUCH_M:  # straight on
                loose = i
                break
        if loose < 0:
            break
        tight[loose] = False
    return straightened(section, places, tight, points, length_m, wavelength_m)


def closed_sides(section: Section, path: Path, length_m: float) -> list[float]:
    """On which side each corner of a string closes it, +1 for left."""
    points = [(0.0, 0.0), *((section.corners[i].x, section.corners[i].y) for i in path.corners), (length_m, 0.0)]
    return [1.0 if turn_at(points, i) > 0.0 else -1.0 for i in range(1, len(points) - 1)]


def turn_at(points: list[tuple[float, float]], i: int) -> float:
    """Angle by which a string turns at one of its points, positive to the left. [rad]"""
    ux, uy = points[i][0] - points[i - 1][0], points[i][1] - points[i - 1][1]
    vx, vy = points[i + 1][0] - points[i][0], points[i + 1][1] - points[i][1]
    return math.atan2(ux * vy - uy * vx, ux * vx + uy * vy)


def straightened(
    section: Section,
    places: list[tuple[float, float, int, float, bool]],
    tight: list[bool],
    points: list[tuple[float, float]],
    length_m: float,
    wavelength_m: float,
) -> tuple[float, float]:
    """Power of a string with all its places as stations."""
    starts_m = [0.0]
    for i in range(len(points) - 1):
        starts_m.append(starts_m[-1] + math.hypot(points[i + 1][0] - points[i][0], points[i + 1][1] - points[i][1]))
    stations: list[Station] = []
    members: list[list[int]] = []
    kept: list[int] = []
    gain = 1.0
    last_m = 0.0
    number = 0
    for i, (x, y, corner, side, bounce) in enumerate(places):
        arms = [arm[2] for arm in section.corners[corner].arms]
        if tight[i]:
            number += 1
            last_m = starts_m[number]
            turn_rad = turn_at(points, number)
            n = outer_angle(section, corner)
            low_m, high_m = (-math.inf, 0.0) if side > 0 else (0.0, math.inf)
            image = image_at(section, corner, points[number - 1], points[number + 1], turn_rad)
            shared = len(members) > 0 and any(one in members[-1] for one in arms)
            if (
                shared
                or i + 1 < len(places)
                and places[i + 1][2] != corner
                and any(arm[2] in arms for arm in section.corners[places[i + 1][2]].arms)
            ):
                image = (0.0, 0.0)
            gain_here, none = wedge_gain(abs(turn_rad), n), (0.0, 0.0)
            images = (image, none) if side > 0 else (none, image)
            stations.append(
                Station(starts_m[number], low_m, high_m, 2.0 * math.sin(turn_rad / 2.0), gain_here, *images)
            )
        else:
            (x1, y1), (x2, y2) = points[number], points[number + 1]
            size = math.hypot(x2 - x1, y2 - y1)
            dx, dy = (x2 - x1) / size, (y2 - y1) / size
            along = (x - x1) * dx + (y - y1) * dy
            if not END_M < along < size - END_M or starts_m[number] + along <= last_m + TOUCH_M:
                continue
            off = (y - y1) * dx - (x - x1) * dy
            low_m, high_m = (-math.inf, off) if side > 0 else (off, math.inf)
            nu = -(off * side) * math.sqrt(2.0 / wavelength_m * (1.0 / along + 1.0 / (size - along)))
            weight = smooth((nu - LEAST_NU) / (FULL_NU - LEAST_NU))
            if weight < 1.0:
                gain *= 1.0 + weight * ripple(nu)
                continue
            last_m = starts_m[number] + along
            stations.append(Station(last_m, low_m, high_m, 0.0, 1.0))
        members.append([] if bounce else arms)
        kept.append(i)
    faces = []
    for i in range(len(stations) - 1):
        one, two = places[kept[i]], places[kept[i + 1]]
        same = any(arm in members[i + 1] for arm in members[i]) and one[2] != two[2]
        left = 1.0 if same and one[3] > 0 and two[3] > 0 else 0.0
        right = 1.0 if same and one[3] < 0 and two[3] < 0 else 0.0
        faces.append(Face(left, right))
    hard, soft = field(stations, faces, starts_m[-1], wavelength_m)
    scale = (gain * length_m / starts_m[-1]) ** 2
    return scale * abs(hard) ** 2, scale * abs(soft) ** 2
