"""All that arrives in one plane of a line: its strings worked out, and their powers joined."""

from __future__ import annotations

import cmath
import math
from typing import NamedTuple

from survey.propagation.around.search import (
    MARGIN_DB,
    MAX_LOSS_DB,
    MAX_STRINGS,
    ROOM_STRINGS,
    SAME_DB,
    Path,
    Search,
    edge_loss_db,
)
from survey.propagation.around.section import Section
from survey.propagation.around.string import edges_along, stations_of
from survey.propagation.around.unfold import unfolded_powers
from survey.propagation.around.windows import field

LEAST_POWER = 1e-9
"""Strings that bring less than this, 90 dB, set no limit for others, and their bounces are not looked at. [-]"""


class Arrival(NamedTuple):
    """What arrives along one string, relative to the line with nothing there."""

    path: Path
    hard: complex
    """Amplitude with the electric field square to the plane's edges, its phase that of the string beside the line."""
    soft: complex
    more_hard: float
    """Power of what bounces between facing walls on the way, of no known phase."""
    more_soft: float
    leave: tuple[float, float]
    arrive: tuple[float, float]
    """Unit directions at its start and its end."""
    left: bool
    """Whether it runs to the left of the line for the most part."""


def string_power(one: Arrival) -> float:
    """What arrives along a string, the mean of both polarisations."""
    return 0.5 * (abs(one.hard) ** 2 + abs(one.soft) ** 2 + one.more_hard + one.more_soft)


def arrivals(section: Section, length_m: float, wavelength_m: float, most_db: float = MAX_LOSS_DB) -> list[Arrival]:
    """What arrives along each string of a plane; the line itself is among them."""
    found: list[Arrival] = []
    search = Search(section, length_m, wavelength_m)
    limit_db, last_db = most_db, -math.inf
    while len(found) < ROOM_STRINGS:
        path = search.next(max(limit_db, last_db + SAME_DB))
        if path is None or (len(found) >= MAX_STRINGS and path.bound_db > last_db + SAME_DB):
            break
        last_db = path.bound_db
        points = [(0.0, 0.0), *((section.corners[i].x, section.corners[i].y) for i in path.corners), (length_m, 0.0)]
        edges, factor = edges_along(section, path, points, wavelength_m)
        stations, faces, total_m = stations_of(section, edges, points, wavelength_m)
        hard, soft = field(stations, faces, total_m, wavelength_m)
        # No string brings more than an edge with its detour and the margin: a safeguard for the integral.
        nu = 2.0 * math.sqrt(max(0.0, total_m - length_m) / wavelength_m)
        most = 10.0 ** ((MARGIN_DB - (edge_loss_db(nu) if path.corners else 0.0)) / 20.0)
        hard *= min(1.0, most / max(abs(hard), 1e-12))
        soft *= min(1.0, most / max(abs(soft), 1e-12))
        kept = math.sqrt(factor) * 10.0 ** (-path.through_db / 20.0)
        phase = cmath.exp(-2j * math.pi * (total_m - length_m) / wavelength_m)
        scale = kept * length_m / total_m * phase
        more_hard, more_soft = 0.0, 0.0
        if abs(scale * hard) ** 2 > LEAST_POWER or len(path.corners) > 1:
            more_hard, more_soft = unfolded_powers(section, path, length_m, wavelength_m)
        area = 0.0
        for (x1, y1), (x2, y2) in zip(points, points[1:], strict=False):
            area += 0.5 * (y1 + y2) * (x2 - x1)
        found.append(
            Arrival(
                path,
                scale * hard,
                scale * soft,
                min(more_hard, most * most) * kept * kept,
                min(more_soft, most * most) * kept * kept,
                heading(points[0], points[1]),
                heading(points[-2], points[-1]),
                area > 0.0,
            )
        )
        power = string_power(found[-1])
        if power > LEAST_POWER and (path.corners or path.through_db == 0.0):
            limit_db = min(limit_db, MARGIN_DB - 10.0 * math.log10(power))
    return found


def heading(one: tuple[float, float], other: tuple[float, float]) -> tuple[float, float]:
    """Unit direction from one point to another."""
    dx, dy = other[0] - one[0], other[1] - one[1]
    size = max(math.hypot(dx, dy), 1e-9)
    return dx / size, dy / size


def in_step(one: tuple[float, float], other: tuple[float, float]) -> float:
    """How far two waves stay in step over a wavelength to either side, by their directions."""
    apart = 2.0 * math.hypot(one[0] - other[0], one[1] - other[1])
    if apart < 1e-6:
        return 1.0
    return max(math.sin(math.pi * apart) / (math.pi * apart), 0.0) if apart < 1.0 else 0.0


def scaled(one: Arrival, amplitude: float) -> Arrival:
    """The same with so much of its amplitude."""
    return one._replace(
        hard=one.hard * amplitude,
        soft=one.soft * amplitude,
        more_hard=one.more_hard * amplitude * amplitude,
        more_soft=one.more_soft * amplitude * amplitude,
    )


def weaker(one: Arrival, amplitude: float) -> Arrival:
    """The same with at most so much amplitude."""
    hard = min(1.0, amplitude / max(abs(one.hard), 1e-9))
    soft = min(1.0, amplitude / max(abs(one.soft), 1e-9))
    return one._replace(hard=one.hard * hard, soft=one.soft * soft)


def joined_power(ways: list[Arrival]) -> tuple[float, float]:
    """Power of several strings, hard and soft: in step where their directions hardly differ, by power elsewhere.

    What goes through something and what goes around its edge share one front: their powers add.
    So do those of all strings that go through more, or less, than the other.
    """
    hard, soft = 0.0, 0.0
    for i, one in enumerate(ways):
        hard += abs(one.hard) ** 2 + one.more_hard
        soft += abs(one.soft) ** 2 + one.more_soft
        for other in ways[:i]:
            if len(one.path.passed) != len(other.path.passed):
                continue
            share = in_step(one.leave, other.leave) * in_step(one.arrive, other.arrive)
            if share > 0.0:
                hard += 2.0 * share * (one.hard * other.hard.conjugate()).real
                soft += 2.0 * share * (one.soft * other.soft.conjugate()).real
    return max(hard, 0.0), max(soft, 0.0)
