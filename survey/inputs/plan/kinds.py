"""What the values of a plan may be, and what is wrong with a polygon in one."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from survey.base import polygon
from survey.base.arrays import FloatArray
from survey.base.units import COMPASS
from survey.inputs.antennas import ENDING, KINDS
from survey.inputs.fields import Choice, Number, Numbers, Text

COORDINATE = Number(
    -100_000.0,
    100_000.0,
    hint=", in metres from a zero point on the site (of national grid figures, take off the first)",
)
"""100 km either way: a plan has its own zero, not that of a map. A judgement, as are the limits below. [m]"""
POINT = Numbers(COORDINATE, least=2, most=2, axes=("x", "y"))
"""On the ground. [m]"""
CORNER = Numbers(COORDINATE, least=3, most=3, axes=("x", "y", "z"))
"""In space. [m]"""
NAME = Text(needed=True)
ANY_TEXT = Text()
HEIGHT = Number(-100.0, 1_000.0)
"""From a pit to the highest mast. [m]"""
EXTENT = Number(0.01, 10_000.0)
"""From a centimetre to 10 km. [m]"""
ALONG_A_FACE = Number(0.0, 10_000.0)
"""Along a face or up it: as long as the longest wall. [m]"""
BEARING = Number(-360.0, 360.0)
"""Once around either way. [deg]"""
COMPASS_WORD = Choice(COMPASS)
LOSS = Number(0.0, 200.0)
"""Of an obstacle; more than any receiver could bridge. [dB]"""
SPREAD = Number(0.0, 40.0)
"""Standard deviation of a loss; more says nothing. [dB]"""
EXTRA_LOSS = Number(0.0, 60.0)
"""Of mountings and cables; more is a fault, not a loss. [dB]"""
TX_POWER = Number(-60.0, 36.0)
"""Up to 4 W. [dBm]"""
GAIN = Number(-40.0, 40.0)
"""From an antenna that hardly radiates to a large dish. [dBi]"""
SENSITIVITY = Number(-160.0, -10.0)
"""From below the best receivers of narrow bands to what a detector needs. [dBm]"""
DRAWN_WITHIN = Number(0.0, 100.0)
"""How far from where it is written a thing may stand: from exact to a guess on a map. [m]"""
DRAWN_WITHIN_M = 0.10
"""What a tape measure leaves: an assumption, for plans that say nothing. [m]"""
ANTENNA = Choice(tuple(KINDS), ending=ENDING)


MAX_DEGREES = 180.0
"""Larger figures are no longitudes."""
MIN_DEGREES = 1.0
"""Nearer to zero, a plan's own zero point is more likely than the Gulf of Guinea."""
MAX_SITE_DEG = 0.02
"""A site within two kilometres spans no more degrees; in metres, no two devices stand so close (2 cm)."""


def look_like_degrees(points: FloatArray) -> bool:
    """Return whether points in plan, shape (n, 2), are more likely latitudes and longitudes than metres."""
    span, middle = np.ptp(points, axis=0), np.median(points, axis=0)
    is_small = len(points) > 1 and 0 < span.max() <= MAX_SITE_DEG
    return bool(is_small and MIN_DEGREES < np.abs(middle).max() <= MAX_DEGREES)


def repeated_corner(corners: tuple[tuple[float, ...], ...]) -> str | None:
    """What is wrong where a corner stands twice in a row, or the first one again at the end."""
    for position in range(len(corners)):
        if corners[position - 1] == corners[position]:
            pair = sorted(((position - 1) % len(corners) + 1, position + 1))
            return f"corners {pair[0]} and {pair[1]} are the same; write each corner once"
    return None


def area_faults(name: str, corners: tuple[tuple[float, float], ...]) -> Iterator[tuple[str, str]]:
    """What is wrong with corners that should enclose an area: pairs of key and problem."""
    array = np.array(corners)
    if abs(polygon.signed_area_m2(array)) < 1e-4:  # noqa: PLR2004  a square centimetre
        degrees = "; these look like degrees: write metres from a zero point on the site"
        hint = degrees if look_like_degrees(array) else "; write its corners in order around the edge"
        yield name, f"has no area{hint}"
        return
    repeated = repeated_corner(corners)
    if repeated:
        yield name, repeated
    elif polygon.crosses_itself(array):
        yield name, "crosses itself; write its corners in order around the edge"
