"""What strings lose inside foliage: so much for each metre, up to a limit for each plant."""

from __future__ import annotations

import math

from survey.propagation.around.bodies import Bodies
from survey.propagation.around.cut import Image
from survey.propagation.around.section import TOUCH_M

Point = tuple[float, float, float]


def plants_loss_db(bodies: Bodies, points_m: list[Point], image: Image | None) -> float:
    """Loss of a string given by its corners in space, those behind a mirror folded back. [dB]"""
    total_db = 0.0
    if not len(bodies.plant_base_m):
        return total_db
    legs = folded(points_m, image)
    for plant in range(len(bodies.plant_base_m)):
        inside_m = 0.0
        for one, other in legs:
            inside_m += chord_m(bodies, plant, one, other)
        total_db += min(inside_m * float(bodies.plant_db_per_m[plant]), float(bodies.plant_most_db[plant]))
    return total_db


def folded(points_m: list[Point], image: Image | None) -> list[tuple[Point, Point]]:
    """Legs of a string as they run in space."""
    legs: list[tuple[Point, Point]] = []
    for one, other in zip(points_m, points_m[1:], strict=False):
        if image is None:
            legs.append((one, other))
            continue
        away_1, away_2 = away(one, image), away(other, image)
        if away_1 < 0.0 < away_2 or away_2 < 0.0 < away_1:
            share = away_1 / (away_1 - away_2)
            middle = (
                one[0] + share * (other[0] - one[0]),
                one[1] + share * (other[1] - one[1]),
                one[2] + share * (other[2] - one[2]),
            )
            legs.append((back(one, away_1, image), middle))
            legs.append((middle, back(other, away_2, image)))
        else:
            legs.append((back(one, away_1, image), back(other, away_2, image)))
    return legs


def away(point: Point, image: Image) -> float:
    """Distance before a mirror, negative behind it. [m]"""
    return sum(point[i] * image.normal[i] for i in range(3)) - image.offset_m


def back(point: Point, away_m: float, image: Image) -> Point:
    """A point behind a mirror as it is in space."""
    move = -2.0 * min(away_m, 0.0)
    return (
        point[0] + move * image.normal[0],
        point[1] + move * image.normal[1],
        point[2] + move * image.normal[2],
    )


def chord_m(bodies: Bodies, plant: int, one: Point, other: Point) -> float:
    """Length of a leg inside a plant. [m]"""
    first, last = int(bodies.plant_first[plant]), int(bodies.plant_first[plant + 1])
    dx, dy, dz = other[0] - one[0], other[1] - one[1], other[2] - one[2]
    low, high = 0.0, 1.0
    base_m, top_m = float(bodies.plant_base_m[plant]), float(bodies.plant_top_m[plant])
    if abs(dz) < 1e-12:
        if not base_m + TOUCH_M < one[2] < top_m - TOUCH_M:
            return 0.0
    else:
        a, b = (base_m + TOUCH_M - one[2]) / dz, (top_m - TOUCH_M - one[2]) / dz
        low, high = max(low, min(a, b)), min(high, max(a, b))
    if low >= high:
        return 0.0
    places = [low, high]
    for i in range(first, last):
        j = i + 1 if i + 1 < last else first
        px, py = float(bodies.plant_xy_m[i][0]) - one[0], float(bodies.plant_xy_m[i][1]) - one[1]
        qx, qy = float(bodies.plant_xy_m[j][0]) - one[0], float(bodies.plant_xy_m[j][1]) - one[1]
        s1, s2 = dx * py - dy * px, dx * qy - dy * qx
        if (s1 > 0.0) == (s2 > 0.0):
            continue
        share = s1 / (s1 - s2)
        x, y = px + share * (qx - px), py + share * (qy - py)
        t = (x * dx + y * dy) / max(dx * dx + dy * dy, 1e-18)
        if low < t < high:
            places.append(t)
    places.sort()
    inside, aside = 0.0, TOUCH_M / max(math.hypot(dx, dy), TOUCH_M)
    for a, b in zip(places, places[1:], strict=False):
        x, y = one[0] + 0.5 * (a + b) * dx, one[1] + 0.5 * (a + b) * dy
        # What runs along the outline is outside: both sides of the leg have to lie within.
        if within(bodies, first, last, x - aside * dy, y + aside * dx) and within(
            bodies, first, last, x + aside * dy, y - aside * dx
        ):
            inside += b - a
    return inside * math.sqrt(dx * dx + dy * dy + dz * dz)


def within(bodies: Bodies, first: int, last: int, x: float, y: float) -> bool:
    """Whether a place lies inside an outline in plan."""
    inside = False
    for i in range(first, last):
        j = i + 1 if i + 1 < last else first
        (px, py), (qx, qy) = bodies.plant_xy_m[i], bodies.plant_xy_m[j]
        if (py > y) != (qy > y) and x < px + (y - py) / (qy - py) * (qx - px):
            inside = not inside
    return inside
