"""The strings that make a way up: what they go through, and the strongest of each side in space, for pictures."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from survey.propagation import Way
from survey.propagation.around.bodies import Bodies
from survey.propagation.around.cut import line_of
from survey.propagation.around.plane import Arrival
from survey.propagation.around.rule import Found, in_space, line_powers

SIDES = (("over", "under"), ("left", "right"))
"""In the upright and in the level plane, what lies to the left of the line there first."""


class String(NamedTuple):
    """A path around: its side, and its points from end to end, shape (points, 3). [m]"""

    side: str
    points_m: NDArray[np.float64]


def string_power(one: Arrival) -> float:
    """Return what arrives along a string, the mean of both polarisations."""
    return 0.5 * (abs(one.hard) ** 2 + abs(one.soft) ** 2 + one.more_hard + one.more_soft)


def strings_of(found: Found, way: Way) -> list[Arrival]:
    """Return the strings that make up a way over or past the sides."""
    if way == Way.OVER:
        return [*found.planes[0].around, *found.planes[0].mixed]
    return [one for one in (*found.planes[1].around, *found.planes[1].mixed) if one.left == (way == Way.LEFT)]


def add_passes(bodies: Bodies, found: Found, way: Way, power: float, passes: dict[int, float]) -> None:
    """Add up how often a way of such power goes through each obstacle, the mean by power of its strings, times that."""
    strings = strings_of(found, way)
    total = max(sum(map(string_power, strings)), 1e-15)
    section = found.planes[0 if way == Way.OVER else 1].section
    for one in strings:
        for _, segment in one.path.passed:
            obstacle = int(bodies.obstacle[section.segments[segment].sheet])
            passes[obstacle] = passes.get(obstacle, 0.0) + string_power(one) / total * power


def strongest_strings(
    bodies: Bodies, start_m: NDArray[np.float64], end_m: NDArray[np.float64], *, wavelength_m: float
) -> list[String]:
    """Return the strongest string on each side of one line, as the rule finds them; plain Python, some milliseconds.

    Parameters
    ----------
    bodies : Bodies
        What stands on the site.
    start_m, end_m : ndarray of float, shape (3,)
        Ends of the line. [m]
    wavelength_m : float
        Wavelength. [m]

    Returns
    -------
    list of String
        Over, under, left and right, those that there are; none where nothing blocks the line.
    """
    start = (float(start_m[0]), float(start_m[1]), float(start_m[2]))
    line = line_of(start, (float(end_m[0]), float(end_m[1]), float(end_m[2])))
    found = line_powers(bodies, line, wavelength_m) if line.length_m > 0.0 else None
    if found is None or found.clear:
        return []
    strings = []
    for plane, sides, upright in zip(found.planes, SIDES, (True, False), strict=True):
        for side in sides:
            own = [one for one in (*plane.around, *plane.mixed) if one.left == (side == sides[0])]
            if own:
                best = max(own, key=string_power)
                strings.append(String(side, np.array(in_space(plane.section, best.path, line, upright))))
    return strings
