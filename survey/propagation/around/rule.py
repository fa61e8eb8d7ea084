"""The rule for one line: its two planes worked out and joined."""

from __future__ import annotations

import math
from typing import NamedTuple

from survey.propagation.around.bodies import Bodies
from survey.propagation.around.cut import BESIDE_NU, Image, Line, Local, Window, local, section_of
from survey.propagation.around.plane import Arrival, arrivals, joined_power, scaled, string_power, weaker
from survey.propagation.around.plants import plants_loss_db
from survey.propagation.around.search import MARGIN_DB, MAX_LOSS_DB, Path, Search, edge_loss_db
from survey.propagation.around.section import TOUCH_M, Section, Segment, met_by_leg
from survey.propagation.around.string import FULL_NU, LEAST_NU, SAME_NU, edges_along, smooth, stations_of
from survey.propagation.around.windows import Station, field

FULL_DB, NONE_DB = 6.0, 12.4
"""The weaker of two planes adds to the other's amplitude in full down to 6 dB, and to its power only from 12.4 dB."""
OTHER_DB = 30.0
"""Strings of the level plane that lose so much more than the best of the upright one bring less than 0.005 dB."""
ROUGH_DB = 6.0
"""What a string loses beyond its bound, roughly; half of those of the demo sites lose more."""
NOTHING = 1e-12
"""A power that stands for none, so that it can be divided by. [-]"""
MAX_OPEN_NU = 3.3
"""A mirror path so far outside its mirror is none; it comes in over the last 1."""


class Sphere(NamedTuple):
    """A sphere around a solid, seen from a line."""

    number: int
    along_m: float
    off_m: float
    radius_m: float


class Plane(NamedTuple):
    """What arrives in one plane."""

    section: Section
    around: list[Arrival]
    """Strings that turn, none of them passing anything beside the plane."""
    mixed: list[Arrival]
    """Strings that turn and pass something beside the plane."""
    straight: Arrival | None
    """The line itself, where it passes nothing in this plane."""
    least_db: float
    """What the best of all these loses; infinite where there is none."""


class Power(NamedTuple):
    """Powers of one polarisation, relative to the free line; together what arrives but straight through."""

    over: float
    left: float
    right: float
    straight: float
    """What edges close by leave of what goes straight through."""


class Found(NamedTuple):
    """What the rule finds for a line."""

    vertical: Power
    horizontal: Power
    planes: tuple[Plane, Plane]
    through_db: float
    """What the line itself goes through, its loss."""
    passed: list[Segment]
    """And its cuts."""
    clear: bool
    nearest: int
    """The solid whose edge lies nearest to the line; -1 where none is near enough to count."""


def line_powers(
    bodies: Bodies,
    line: Line,
    wavelength_m: float,
    image: Image | None = None,
    window: Window | None = None,
    worth_db: float = MAX_LOSS_DB,
) -> Found | None:
    """Ways around for one line, or for one unfolded at a mirror; nothing where nothing stands near it.

    Strings that lose more than `worth_db` by their bound are left out.
    """
    reach = -LEAST_NU * math.sqrt(wavelength_m * line.length_m / 8.0)
    every = places_of(bodies, line, image)
    chosen = [i for i in range(len(every)) if distance_m(every[i], line) < every[i].radius_m + reach]
    places = [local(bodies, every[i].number, line, wavelength_m, image) for i in chosen]
    near = [one for one in places if counts(one, line)]
    if not near:
        return None
    through_db, passed = straight_loss_db(bodies, near, line, image)
    crossed = [one.solid for one in passed]
    if crossed:
        near = places
    most_db = min(worth_db, (through_db or MAX_LOSS_DB) + MARGIN_DB)
    if crossed:
        best_db = through_db
        for is_upright in (True, False):
            section = section_of(bodies, near, places, line, is_upright, True, image, window)
            best_db = min(best_db, rough_loss_db(section, line, wavelength_m, min(most_db, best_db)))
        for i, one in enumerate(every):
            if i not in chosen and edge_loss_db(2.0 * math.sqrt(detour_m(one, line) / wavelength_m)) <= best_db:
                places.append(local(bodies, one.number, line, wavelength_m, image))
        near = places
    upright = plane_of(bodies, near, places, line, True, wavelength_m, most_db, image, window)
    most_db = min(most_db, upright.least_db + OTHER_DB)
    level = plane_of(bodies, near, places, line, False, wavelength_m, most_db, image, window)
    grazed = (
        [one for one in near if one.solid not in crossed and counts(one, line)] if through_db <= MAX_LOSS_DB else []
    )
    straight = straight_amplitude(bodies, grazed, places, line, wavelength_m, image)
    nearest = max(grazed, key=graze_nu).solid if grazed else -1
    if not crossed:  # in each plane only as far as the line clears everything in that plane
        upright = upright._replace(straight=cleared(upright.straight, near, 0))
        level = level._replace(straight=cleared(level.straight, near, 2))
    powers = []
    for hard_over in (True, False):
        if image is not None and not crossed:
            powers.append(Power(0.0, 0.0, 0.0, straight[0 if hard_over else 1] ** 2))
            continue
        powers.append(joined(upright, level, straight[0 if hard_over else 1], not crossed, hard_over))
    return Found(powers[0], powers[1], (upright, level), through_db, passed, not crossed, nearest)


def cleared(straight: Arrival | None, near: list[Local], first: int) -> Arrival | None:
    """The line itself in a plane, at most what it keeps of passing all that is near over or under it, or beside it."""
    if straight is None:
        return None
    loss_db = 0.0
    for one in near:
        if graze_nu(one) > BESIDE_NU:
            loss_db += edge_loss_db(min(one.nu[first], one.nu[first + 1]))
    return None if loss_db > 2.0 * NONE_DB else weaker(straight, 10.0 ** (-loss_db / 20.0))


def places_of(bodies: Bodies, line: Line, image: Image | None) -> list[Sphere]:
    """Spheres around all solids in the axes of a line, and around their images behind a mirror."""
    found: list[Sphere] = []
    count = len(bodies.radius_m)
    for number in range(count if image is None else 2 * count):
        q = number % count
        x, y, z = float(bodies.centre_m[q][0]), float(bodies.centre_m[q][1]), float(bodies.centre_m[q][2])
        radius_m = float(bodies.radius_m[q])
        if image is not None:
            away = x * image.normal[0] + y * image.normal[1] + z * image.normal[2] - image.offset_m
            if away < -radius_m or bodies.solid[image.sheet] == q:
                continue
            if number >= count:
                x, y, z = (
                    x - 2.0 * away * image.normal[0],
                    y - 2.0 * away * image.normal[1],
                    z - 2.0 * away * image.normal[2],
                )
        x, y, z = x - line.start_m[0], y - line.start_m[1], z - line.start_m[2]
        along = x * line.along[0] + y * line.along[1] + z * line.along[2]
        found.append(Sphere(number, along, math.sqrt(max(x * x + y * y + z * z - along * along, 0.0)), radius_m))
    return found


def distance_m(one: Sphere, line: Line) -> float:
    """Of a sphere's middle from the line."""
    beyond = max(-one.along_m, one.along_m - line.length_m, 0.0)
    return math.hypot(one.off_m, beyond)


def detour_m(one: Sphere, line: Line) -> float:
    """How much longer a way by a sphere is at least."""
    before = math.hypot(one.off_m, one.along_m)
    return max(before + math.hypot(one.off_m, line.length_m - one.along_m) - 2.0 * one.radius_m - line.length_m, 0.0)


def graze_nu(one: Local) -> float:
    """How deep behind the edge that a line clears by most, negative where it does clear it."""
    return min(one.nu)


def counts(one: Local, line: Line) -> bool:
    """Whether a solid stands in a line or near enough to be grazed."""
    return graze_nu(one) > LEAST_NU and one.high[0] > TOUCH_M and one.low[0] < line.length_m - TOUCH_M


def straight_loss_db(bodies: Bodies, near: list[Local], line: Line, image: Image | None) -> tuple[float, list[Segment]]:
    """What the line itself goes through, its loss and its cuts; what it only touches is not among them."""
    section = section_of(
        bodies, [one for one in near if one.low[2] < -TOUCH_M and one.high[2] > TOUCH_M], near, line, True, False, image
    )
    met = met_by_leg(section, 0.0, 0.0, line.length_m, 0.0, -1, -1, 1e9, [])
    return met.loss_db, [section.segments[i] for i in met.passed]


def plane_of(
    bodies: Bodies,
    near: list[Local],
    every: list[Local],
    line: Line,
    upright: bool,
    wavelength_m: float,
    most_db: float,
    image: Image | None,
    window: Window | None,
) -> Plane:
    """Everything in one plane."""
    section = section_of(bodies, near, every, line, upright, True, image, window)
    around, mixed = [], []
    straight = None
    for one in arrivals(section, line.length_m, wavelength_m, most_db):
        plants_db = plants_loss_db(bodies, in_space(section, one.path, line, upright), image)
        if plants_db > 0.0:
            one = scaled(one, 10.0 ** (-plants_db / 20.0))
        if window is not None:
            one = scaled(one, window.leaves[1 if upright else 0])
        if not one.path.corners:
            if not one.path.passed and not one.path.beside:
                straight = one
        elif one.path.beside:
            mixed.append(one)
        else:
            around.append(one)
    around = [scaled(one, not_beside(section, one.path, mixed)) for one in around]
    most = max(map(string_power, [*around, *mixed, *([straight] if straight else [])]), default=0.0)
    if window is not None:
        most /= window.leaves[1 if upright else 0] ** 2
    return Plane(section, around, mixed, straight, -10.0 * math.log10(most) if most > 0.0 else math.inf)


def not_beside(section: Section, path: Path, mixed: list[Arrival]) -> float:
    """What is left of a string around things that others pass beside the plane: 1 - F, as past the corner of a wall."""
    left = 1.0
    done: list[int] = []
    for i in path.corners:
        for _, _, number in section.corners[i].arms:
            one = section.segments[number]
            if one.solid in done or not any(one.solid in other.path.beside for other in mixed):
                continue
            done.append(one.solid)
            left *= 1.0 - 10.0 ** (-one.beside_db / 20.0)
    return left


def opening(low: float, high: float) -> float:
    """What a window between two edges leaves of a wave that meets it at nu = 0, amplitude.

    Seen from its nearer edge, so that left and right are alike; the farther one has no more ripple than that one.
    """
    if low < -high:
        low, high = -high, -low
    if low > MAX_OPEN_NU:
        return 0.0
    inside = smooth(-low)
    beyond = (1.0 - inside) * beyond_edge(high) if inside < 1.0 else 0j
    if inside > 0.0:
        beyond += inside * (1.0 - beyond_edge(-high))
    return abs(beyond_edge(low) - beyond) * smooth(MAX_OPEN_NU - low)


def beyond_edge(nu: float) -> complex:
    """Field behind a sharp edge; 1 far above it."""
    weight = smooth((nu - LEAST_NU) / (FULL_NU - LEAST_NU))
    if weight <= 0.0:
        return 1.0 + 0.0j
    if nu > 12.0:
        return 0j
    # Legs of 1 m and a wavelength of 1 m: nu is twice the height.
    one, _ = field([Station(1.0, 0.5 * nu, math.inf, 0.0, 1.0)], [], 2.0, 1.0)
    return 1.0 + weight * (one - 1.0)


def in_space(section: Section, path: Path, line: Line, upright: bool) -> list[tuple[float, float, float]]:
    """Corners of a string with its ends. [m]"""
    off = line.up if upright else line.left
    points = []
    for i in [-2, *path.corners, -1]:
        x, y = (section.corners[i].x, section.corners[i].y) if i >= 0 else (0.0 if i == -2 else line.length_m, 0.0)
        points.append(
            (
                line.start_m[0] + x * line.along[0] + y * off[0],
                line.start_m[1] + x * line.along[1] + y * off[1],
                line.start_m[2] + x * line.along[2] + y * off[2],
            )
        )
    return points


def rough_loss_db(section: Section, line: Line, wavelength_m: float, most_db: float) -> float:
    """What the string of the lowest bound that turns loses, roughly; `most_db` where there is none. [dB]"""
    search = Search(section, line.length_m, wavelength_m)
    while (path := search.next(most_db)) is not None:
        if path.corners:
            return path.bound_db + ROUGH_DB
    return most_db


def straight_amplitude(
    bodies: Bodies, grazed: list[Local], every: list[Local], line: Line, wavelength_m: float, image: Image | None
) -> tuple[float, float]:
    """What edges that a line clears leave of it, with a vertical and with a horizontal field, amplitudes.

    Each solid stands in the plane in which the line clears it by more.
    """
    result = [1.0, 1.0]
    for upright in (True, False):
        own = [one for one in grazed if (min(one.nu[:2]) <= min(one.nu[2:]) + SAME_NU) == upright]
        if not own:
            continue
        section = section_of(bodies, own, every, line, upright, False, image)
        path = Path(0.0, [], line.length_m, 0.0, [], [])
        points = [(0.0, 0.0), (line.length_m, 0.0)]
        edges, factor = edges_along(section, path, points, wavelength_m)
        stations, faces, total_m = stations_of(section, edges, points, wavelength_m)
        hard, soft = field(stations, faces, total_m, wavelength_m)
        root = math.sqrt(factor)
        result[0] *= root * abs(hard if upright else soft)
        result[1] *= root * abs(soft if upright else hard)
    return result[0], result[1]


def joined(upright: Plane, level: Plane, straight: float, clear: bool, hard_over: bool) -> Power:
    """Both planes joined, for a vertical field (hard over the top, soft past the sides) or a horizontal one.

    Past the corner of a wall the open part is F + G - F G of the open parts of the two planes, in amplitude; deep in
    the shadow two ways have no common phase and their powers add.
    """
    sides = [one for one in level.around if one.left]
    others = [one for one in level.around if not one.left]
    left, right = pick(joined_power(sides), not hard_over), pick(joined_power(others), not hard_over)
    straight_1 = 1.0 if clear and upright.straight else 0.0
    straight_2 = 1.0 if clear and level.straight else 0.0
    upright_ways = [*upright.around, upright.straight] if clear and upright.straight else upright.around
    level_ways = [*level.around, level.straight] if clear and level.straight else level.around
    over, beside = pick(joined_power(upright_ways), hard_over), pick(joined_power(level_ways), not hard_over)
    grow = beside / max(left + right, NOTHING)
    left, right = left * grow, right * grow
    mixed_1, mixed_2 = pick(joined_power(upright.mixed), hard_over), pick(joined_power(level.mixed), not hard_over)
    first, second = math.sqrt(over), math.sqrt(beside)
    if clear and straight_1 == 0.0 and straight_2 == 0.0:
        total = together(straight, max(first, second)) + min(first, second) ** 2
    elif clear and straight_1 > 0.0 and straight_2 == 0.0:
        total = together(max(first, straight), second)
    elif clear and straight_2 > 0.0 and straight_1 == 0.0:
        total = together(first, max(second, straight))
    else:
        total = together(first, second)
    total = min(total + max(mixed_1, mixed_2) * max(1.0 - total, 0.0), 1.0) if clear else min(total, 1.0)
    if clear:
        return Power(0.0, 0.0, 0.0, total)
    plain = max(over + beside, NOTHING)
    scale = total / plain
    over, left, right = over * scale, left * scale, right * scale
    if mixed_1 > mixed_2:
        over += mixed_1
    else:
        share = left / max(left + right, NOTHING)
        left, right = left + mixed_2 * share, right + mixed_2 * (1.0 - share)
    whole = over + left + right
    if whole > 1.0:
        over, left, right = over / whole, left / whole, right / whole
    return Power(over, left, right, straight * straight)


def pick(powers: tuple[float, float], hard: bool) -> float:
    """One of two polarisations."""
    return powers[0] if hard else powers[1]


def together(one: float, other: float) -> float:
    """Power of two planes with these amplitudes."""
    strong, weak = min(max(one, other), 1.0), min(one, other)
    if weak <= 0.0:
        return max(one, other) ** 2 if max(one, other) <= 1.0 else strong
    weak_db = -20.0 * math.log10(weak)
    share = smooth((NONE_DB - weak_db) / (NONE_DB - FULL_DB))
    return share * (strong + weak - strong * weak) ** 2 + (1.0 - share) * (strong**2 + weak**2)
