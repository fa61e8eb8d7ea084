"""The strongest string on each side of a line, as points in space: what a picture of a link shows."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from survey.propagation.around.bodies import Bodies
from survey.propagation.around.cut import line_of
from survey.propagation.around.plane import Arrival
from survey.propagation.around.rule import in_space, line_powers

SIDES = (("over", "under"), ("left", "right"))
"""In the upright and in the level plane, what lies to the left of the line there first."""


class String(NamedTuple):
    """A path around: its side, and its points from end to end, shape (points, 3). [m]"""

    side: str
    points_m: NDArray[np.float64]


def string_power(one: Arrival) -> float:
    """Return what arrives along a string, the mean of both polarisations."""
    return 0.5 * (abs(one.hard) ** 2 + abs(one.soft) ** 2 + one.more_hard + one.more_soft)


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
