"""Compass words, and what the sides of a building or box are called after them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.units import COMPASS

SECTOR_DEG = 45.0
"""Between two of the eight words. [deg]"""


def bearing_of(direction: FloatArray) -> float:
    """Return the bearing of a direction in plan, from 0 up to 360. [deg]

    Examples
    --------
    >>> bearing_of(np.array([1.0, 0.0]))
    90.0
    """
    return round(float(np.rad2deg(np.arctan2(direction[0], direction[1]))), 6) % 360.0


def word_of(bearing_deg: float) -> str:
    """Return the compass word of a bearing; between two, the next clockwise.

    Examples
    --------
    >>> word_of(110.0), word_of(22.5), word_of(-22.5)
    ('east', 'north-east', 'north')
    """
    return COMPASS[int((round(bearing_deg, 6) % 360.0 + SECTOR_DEG / 2.0) // SECTOR_DEG) % len(COMPASS)]


def degrees_of(word: str) -> float:
    """Return the bearing of a compass word. [deg]

    Examples
    --------
    >>> degrees_of("south-west")
    225.0
    """
    return COMPASS.index(word) * SECTOR_DEG


def turn_deg(one_deg: float, other_deg: float) -> float:
    """Return the angle between two bearings, from 0 to 180. [deg]

    Examples
    --------
    >>> turn_deg(350.0, 20.0)
    30.0
    """
    return abs((one_deg - other_deg + 180.0) % 360.0 - 180.0)


def part_names(bearings_deg: Sequence[float], part: str, own: Sequence[str] = ()) -> list[str]:
    """Name a part of each side after the way it looks or its own name; the same names are numbered in order.

    Parameters
    ----------
    bearings_deg : sequence of float
        The way each side looks. [deg]
    part : str
        ``wall``, ``roof``, ``side`` and the like.
    own : sequence of str
        The sides' own names; an empty one keeps the compass word.

    Examples
    --------
    >>> part_names([90.0, 0.0, 95.0, 180.0], "wall", ["", "street", "", ""])
    ['east wall 1', 'street wall', 'east wall 2', 'south wall']
    """
    stems = [(own[i] if i < len(own) else "") or word_of(bearing) for i, bearing in enumerate(bearings_deg)]
    counts, seen = Counter(stems), Counter[str]()
    names = []
    for stem in stems:
        seen[stem] += 1
        names.append(f"{stem} {part} {seen[stem]}" if counts[stem] > 1 else f"{stem} {part}")
    return names
