"""Ways around what stands in a line: one rule for one line after another, in plain Python.

This is the specification; where there is a compiled kernel, that does the work, with the same result. `bodies.py` makes
a site ready, `cut.py` cuts a line's upright and level plane, `section.py` joins what touches there, `search.py` finds
strings, `string.py`, `windows.py` and `unfold.py` work out what arrives along one, `plane.py` along all of a plane,
`rule.py` joins the planes of a line, and `mirrors.py` adds reflections. `strings.py` tells what strings go through, and
gives those of one line for pictures.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable
from dataclasses import dataclass, fields
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from survey.base.workers import WORKERS, in_order
from survey.kernel import library
from survey.kernel.around import Figures
from survey.kernel.around import site as checked_site
from survey.kernel.around import ways_around as by_kernel
from survey.propagation import Way
from survey.propagation.around.bodies import Bodies, bodies_of
from survey.propagation.around.cut import Line, line_of
from survey.propagation.around.mirrors import Mirrored, mirror_ways
from survey.propagation.around.quadrature import POINTS, SPAN_POINTS, SPAN_WEIGHTS
from survey.propagation.around.quadrature import WEIGHTS as WEIGHTS_OF_POINTS
from survey.propagation.around.rule import Found, line_powers
from survey.propagation.around.strings import String, add_passes, string_power, strings_of, strongest_strings

__all__ = [
    "Bodies",
    "Polarisation",
    "String",
    "Way",
    "Ways",
    "bodies_of",
    "specified_ways",
    "strongest_strings",
    "ways_around",
]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int32]
LINES_AT_ONCE = 500
"""Lines that the kernel is given in one go: few enough for two threads to end together."""
LEAST_POWER = 1e-10
"""Ways that bring less than this are none: 100 dB."""
FREE = 0.97
"""Lines that keep this much have no use for mirror paths."""
LEAST_MIRROR_SHARE = 0.02
"""Mirror paths that could bring less than this share of all else are not looked at."""


class Polarisation(IntEnum):
    """Of the electric field at both ends; unknown stands for the mean of both by power."""

    UNKNOWN = 0
    VERTICAL = 1
    HORIZONTAL = 2


WEIGHTS = {
    Polarisation.UNKNOWN: (0.5, 0.5),
    Polarisation.VERTICAL: (1.0, 0.0),
    Polarisation.HORIZONTAL: (0.0, 1.0),
}
"""Of a vertical and of a horizontal field."""


@dataclass(frozen=True, kw_only=True)
class Ways:
    """Ways around, for some lines.

    Attributes
    ----------
    loss_db : ndarray of float, shape (lines, ways)
        Excess loss of each `Way` over the base loss; NaN where it is not there. [dB]
    mirror : ndarray of int, shape (lines,)
        The sheet that throws most of what is reflected; -1 where there is none.
    leave_deg, arrive_deg : ndarray of float, shape (lines,)
        Elevation in which the strongest of these ways leaves the start, and from which it comes in at the end; NaN
        where there is none. [deg]
    grazed_db : ndarray of float, shape (lines,)
        What the straight line loses to edges that it passes closely. [dB]
    grazed_solid : ndarray of int, shape (lines,)
        The solid with the nearest of them; -1 where there is none.
    through_db : ndarray of float, shape (lines,)
        What the straight line loses in all that it goes through, and does not only touch. Where that is nothing,
        `grazed_db` holds all that it loses, and there is no way but reflected. [dB]
    pass_line, pass_way, pass_obstacle : ndarray of int, shape (passes,)
        What ways go through all the same, a row for each line, way and obstacle, in this order.
    pass_count : ndarray of float, shape (passes,)
        How often, the mean by power of the strings that make the way up. [-]
    pass_power : ndarray of float, shape (passes,)
        What that way brings, relative to the line with nothing there. [-]
    """

    loss_db: FloatArray
    mirror: IntArray
    leave_deg: FloatArray
    arrive_deg: FloatArray
    grazed_db: FloatArray
    grazed_solid: IntArray
    through_db: FloatArray
    pass_line: IntArray
    pass_way: IntArray
    pass_obstacle: IntArray
    pass_count: FloatArray
    pass_power: FloatArray


def ways_around(
    bodies: Bodies,
    starts_m: FloatArray,
    ends_m: FloatArray,
    *,
    wavelength_m: float,
    polarisation: Polarisation,
    progress: Callable[[int, int], None] | None = None,
) -> Ways:
    """Work out the ways around for some lines.

    Parameters
    ----------
    bodies : Bodies
        What stands on the site.
    starts_m, ends_m : ndarray of float, shape (lines, 3)
        Ends of the lines. [m]
    wavelength_m : float
        Wavelength. [m]
    polarisation : Polarisation
        Of the electric field.
    progress : callable, optional
        Called with how many lines are done, and how many there are.

    Returns
    -------
    Ways
    """
    kernel = library()
    if kernel is None:
        return specified_ways(bodies, starts_m, ends_m, wavelength_m=wavelength_m, polarisation=polarisation)
    site = checked_site(**{one.name: getattr(bodies, one.name) for one in fields(bodies)})
    # Blocks of links are worked out in threads of their own already.
    workers = WORKERS if threading.current_thread() is threading.main_thread() else 1
    parts = [slice(first, first + LINES_AT_ONCE) for first in range(0, max(1, len(starts_m)), LINES_AT_ONCE)]

    def part_ways(part: slice) -> Figures:
        return by_kernel(
            kernel,
            site,
            starts_m[part],
            ends_m[part],
            wavelength_m=wavelength_m,
            weights=WEIGHTS[polarisation],
            quadrature=(POINTS, WEIGHTS_OF_POINTS, SPAN_POINTS, SPAN_WEIGHTS),
        )

    found: list[Figures] = []
    for part, one in zip(parts, in_order(part_ways, parts, workers=workers), strict=True):
        one.pass_line[:] += part.start
        found.append(one)
        if progress:
            progress(min(part.stop, len(starts_m)), len(starts_m))
    figures = {name: np.concatenate([getattr(one, name) for one in found]) for name in Figures._fields}
    return Ways(**figures)


def specified_ways(
    bodies: Bodies, starts_m: FloatArray, ends_m: FloatArray, *, wavelength_m: float, polarisation: Polarisation
) -> Ways:
    """The same by the specification, whether there is a kernel or not: plain Python, some milliseconds a line."""
    count = len(starts_m)
    ways = Ways(
        loss_db=np.full((count, len(Way)), np.nan),
        mirror=np.full(count, -1, dtype=np.int32),
        leave_deg=np.full(count, np.nan),
        arrive_deg=np.full(count, np.nan),
        grazed_db=np.zeros(count),
        grazed_solid=np.full(count, -1, dtype=np.int32),
        through_db=np.zeros(count),
        pass_line=np.zeros(0, dtype=np.int32),
        pass_way=np.zeros(0, dtype=np.int32),
        pass_obstacle=np.zeros(0, dtype=np.int32),
        pass_count=np.zeros(0),
        pass_power=np.zeros(0),
    )
    rows: list[tuple[int, int, int, float, float]] = []
    for i in range(count):
        start = (float(starts_m[i][0]), float(starts_m[i][1]), float(starts_m[i][2]))
        end = (float(ends_m[i][0]), float(ends_m[i][1]), float(ends_m[i][2]))
        _one_line(bodies, i, start, end, wavelength_m, polarisation, ways, rows)
    lines, sides, obstacles, counts, powers = zip(*rows, strict=True) if rows else ((),) * 5
    return Ways(
        loss_db=ways.loss_db,
        mirror=ways.mirror,
        leave_deg=ways.leave_deg,
        arrive_deg=ways.arrive_deg,
        grazed_db=ways.grazed_db,
        grazed_solid=ways.grazed_solid,
        through_db=ways.through_db,
        pass_line=np.array(lines, dtype=np.int32),
        pass_way=np.array(sides, dtype=np.int32),
        pass_obstacle=np.array(obstacles, dtype=np.int32),
        pass_count=np.array(counts, dtype=np.float64),
        pass_power=np.array(powers, dtype=np.float64),
    )


def _one_line(
    bodies: Bodies,
    i: int,
    start: tuple[float, float, float],
    end: tuple[float, float, float],
    wavelength_m: float,
    polarisation: Polarisation,
    ways: Ways,
    rows: list[tuple[int, int, int, float, float]],
) -> None:
    """Work out one line and put its figures where they belong."""
    line = line_of(start, end)
    if line.length_m < 1e-6:
        return
    found = line_powers(bodies, line, wavelength_m)
    if found is None:
        return
    weights = WEIGHTS[polarisation]
    powers = [0.0] * len(Way)
    straight = 0.0
    for weight, one in zip(weights, (found.vertical, found.horizontal), strict=True):
        powers[Way.OVER] += weight * one.over
        powers[Way.LEFT] += weight * one.left
        powers[Way.RIGHT] += weight * one.right
        straight += weight * one.straight
    straight = min(straight, 1.0)
    through = straight * 10.0 ** (-found.through_db / 10.0)
    turned = powers[Way.OVER] + powers[Way.LEFT] + powers[Way.RIGHT]
    if turned + through > 1.0:
        share = max(1.0 - through, 0.0) / turned
        powers = [one * share for one in powers]
        turned *= share
    whole = through + turned
    mirrored: list[Mirrored] = []
    if whole < FREE:
        mirrored = mirror_ways(bodies, start, end, wavelength_m, LEAST_MIRROR_SHARE * whole)
        for one_way in mirrored:
            powers[Way.REFLECTED] += weights[0] * one_way.vertical + weights[1] * one_way.horizontal
        powers[Way.REFLECTED] = min(powers[Way.REFLECTED], max(1.0 - whole, 0.0))
    ways.grazed_db[i] = max(-10.0 * math.log10(max(straight, 1e-12)), 0.0)
    ways.grazed_solid[i] = found.nearest
    ways.through_db[i] = found.through_db
    for way in Way:
        if powers[way] > LEAST_POWER:
            ways.loss_db[i, way] = -10.0 * math.log10(powers[way])
    best = max(Way, key=lambda way: powers[way])
    if powers[best] > LEAST_POWER:
        if best == Way.REFLECTED:
            at = mirrored[0].at_m
            ways.leave_deg[i], ways.arrive_deg[i] = elevation_deg(start, at), elevation_deg(end, at)
        else:
            ways.leave_deg[i], ways.arrive_deg[i] = _elevations_deg(found, line, best)
    if powers[Way.REFLECTED] > LEAST_POWER:
        ways.mirror[i] = mirrored[0].sheet
    for way in Way:
        if powers[way] <= LEAST_POWER:
            continue
        passes: dict[int, float] = {}
        if way == Way.REFLECTED:
            total = max(sum(0.5 * (one.vertical + one.horizontal) for one in mirrored), 1e-15)
            for one_way in mirrored:
                for obstacle, passed in one_way.passes.items():
                    passes[obstacle] = passes.get(obstacle, 0.0) + passed / total
        else:
            add_passes(bodies, found, way, 1.0, passes)
        rows.extend((i, int(way), obstacle, passed, powers[way]) for obstacle, passed in sorted(passes.items()))


def elevation_deg(here: tuple[float, float, float], there: tuple[float, float, float]) -> float:
    """Elevation of a place as seen from another. [deg]"""
    return math.degrees(math.atan2(there[2] - here[2], math.hypot(there[0] - here[0], there[1] - here[1])))


def _elevations_deg(found: Found, line: Line, way: Way) -> tuple[float, float]:
    """Elevations at both ends of the strongest string of a way. [deg]"""
    strings = strings_of(found, way)
    if not strings:  # all that arrives this way comes along strings that were joined with others
        return math.nan, math.nan
    best = max(strings, key=string_power)
    off = line.up if way == Way.OVER else line.left
    leave = best.leave[0] * line.along[2] + best.leave[1] * off[2]
    arrive = -best.arrive[0] * line.along[2] - best.arrive[1] * off[2]
    return math.degrees(math.asin(min(max(leave, -1.0), 1.0))), math.degrees(math.asin(min(max(arrive, -1.0), 1.0)))
