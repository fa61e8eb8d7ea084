"""What part of a site a map shows, and how large what stands on it can be drawn."""

from __future__ import annotations

import math

import numpy as np

from survey.base.arrays import FloatArray
from survey.scene import Scene

AROUND = 0.06
"""Space around the site, as a share of its size."""
MIN_SPACE_M = 0.4
"""The least space around a site, for sites of a few metres; by eye. [m]"""
FAR = 0.5
"""Obstacles are shown as far as this share of the site's size beyond radios and spots; a fence may run on."""
SAME_PLACE_M = 0.05
"""Inverters closer than this in plan are one above the other."""
AT_ONCE = 500
"""Obstacles compared with all points in one go, so that memory stays small: a judgement."""


def extent_m(scene: Scene) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest x and y that a map of the whole site shows. [m]"""
    ends_m = np.concatenate([scene.inverters.at_m, scene.gateways.at_m, scene.spots.at_m])[:, :2]
    low_m, high_m = ends_m.min(axis=0), ends_m.max(axis=0)
    far_m = FAR * max(float(np.max(high_m - low_m)), 10.0)
    corners = [outline_m for one in scene.plan.obstacles for outline_m in one.footprints_m()]
    if corners:
        corners_m = np.clip(np.concatenate(corners), low_m - far_m, high_m + far_m)
        low_m, high_m = np.minimum(low_m, corners_m.min(axis=0)), np.maximum(high_m, corners_m.max(axis=0))
    space_m = max(MIN_SPACE_M, AROUND * float(np.max(high_m - low_m)))
    return low_m - space_m, high_m + space_m


def frame_m(scene: Scene, *, wide: float, flattest: float, tallest: float) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest x and y of a frame of a given width around a site, which shows some surroundings too. [m]

    Parameters
    ----------
    scene : Scene
        The site.
    wide : float
        Width of the drawing.
    flattest, tallest : float
        Limits of its height, in the same unit.
    """
    low_m, high_m = extent_m(scene)
    wide_m, tall_m = high_m - low_m
    tall = min(max(wide * tall_m / wide_m, flattest), tallest)
    half_m = np.array([wide, tall]) * max(wide_m / wide, tall_m / tall) / 2.0
    return (low_m + high_m) / 2.0 - half_m, (low_m + high_m) / 2.0 + half_m


def spacing_m(scene: Scene) -> float:
    """Usual distance from an inverter to the next one in plan; infinite where there is none. [m]"""
    at_m = scene.inverters.at_m[:, :2]
    nearest_m = np.full(len(at_m), np.inf)
    for first in range(0, len(at_m) if len(at_m) > 1 else 0, AT_ONCE):
        apart_m = np.linalg.norm(at_m[first : first + AT_ONCE, None] - at_m[None], axis=2)
        apart_m[apart_m < SAME_PLACE_M] = np.inf
        nearest_m[first : first + AT_ONCE] = apart_m.min(axis=1)
    return float(np.median(nearest_m))


def nice_length_m(most_m: float) -> float:
    """The longest of 1, 2, 5, 10, 20 ... metres, or parts of one, that is no longer than this.

    Examples
    --------
    >>> nice_length_m(37.0), nice_length_m(0.7)
    (20.0, 0.5)
    """
    power = 10.0 ** math.floor(math.log10(most_m))
    return float(max(step * power for step in (1, 2, 5) if step * power <= most_m * (1 + 1e-9)))
