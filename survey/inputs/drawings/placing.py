"""From a file's own figures to the plan: axes that are turned, and what is too far away to be meant."""

from __future__ import annotations

import numpy as np

from survey.base.arrays import BoolArray, FloatArray
from survey.base.units import direction_of_bearing

MAX_DISTANCE_M = 100_000.0
"""What a plan allows of coordinates. [m]"""
FAR = "is more than 100 km from the plan's zero (zero_lat_deg, zero_lon_deg in [site]); are the two in the wrong order?"


def far(points_m: FloatArray) -> BoolArray:
    """Which points are beyond what a plan allows, or not to be seen from its zero."""
    return np.asarray(~(np.abs(points_m) <= MAX_DISTANCE_M).all(axis=1))


def turned(points_m: FloatArray, up_deg: float) -> FloatArray:
    """Return points in the plan whose figures count along axes of which the upward one has this bearing.

    Examples
    --------
    >>> turned(np.array([[0.0, 1.0]]), 90.0).round(6).tolist()
    [[1.0, 0.0]]
    """
    if up_deg == 0:
        return points_m
    return np.asarray(points_m @ np.array([direction_of_bearing(up_deg + 90.0), direction_of_bearing(up_deg)]))
