"""Mirror paths: the line from the image of its start, and the same rule for all that stands before the mirror."""

from __future__ import annotations

import math
from typing import NamedTuple

from survey.propagation.around.bodies import Bodies
from survey.propagation.around.cut import Image, Line, Window, line_of
from survey.propagation.around.rule import line_powers, opening
from survey.propagation.around.search import MAX_LOSS_DB
from survey.propagation.around.string import smooth

ON_MIRROR_M = 1e-3
"""Ends so near to a mirror's plane are on it, and it shows them nothing. [m]"""
OWN_WAY_NU = 2.0**0.5
"""A detour of half a wavelength, the first Fresnel zone, as nu: nearer than that a mirror path is no way of its own."""
LEAST_SHARE = 0.02
"""A mirror path that brings less than this share of what the other ways bring is left out: 0.09 dB."""
MAX_PATHS = 4
"""So many mirror paths of a line count, those that may bring most."""


class Mirrored(NamedTuple):
    """What comes by way of one mirror, with a vertical and with a horizontal field, relative to the free line."""

    sheet: int
    vertical: float
    horizontal: float
    at_m: tuple[float, float, float]


class Candidate(NamedTuple):
    """A mirror that may bring something."""

    power: float
    image: Image
    line: Line
    window: Window
    scale: float
    """What its longer way leaves, and how much it is a way of its own."""
    at_m: tuple[float, float, float]


def mirror_ways(
    bodies: Bodies, start_m: tuple[float, float, float], end_m: tuple[float, float, float], wavelength_m: float, least: float
) -> list[Mirrored]:
    """Paths by way of every mirror that bring more than `least`, the strongest first."""
    direct_m = math.dist(start_m, end_m)
    candidates: list[Candidate] = []
    for sheet in range(len(bodies.mirror)):
        if bodies.mirror[sheet]:
            one = candidate(bodies, sheet, start_m, end_m, direct_m, wavelength_m)
            if one is not None and one.power > least:
                candidates.append(one)
    candidates.sort(key=lambda one: (-one.power, one.image.sheet))
    found: list[Mirrored] = []
    best = 0.0
    for one in candidates[:MAX_PATHS]:
        if one.power < LEAST_SHARE * best:
            break
        useful_db = min(MAX_LOSS_DB, 10.0 * math.log10(one.scale / max(least, 1e-12)))
        powers = line_powers(bodies, one.line, wavelength_m, one.image, one.window, useful_db)
        if powers is None:
            found.append(Mirrored(one.image.sheet, one.power, one.power, one.at_m))
        else:
            through = 10.0 ** (-powers.through_db / 10.0)
            both = []
            for each in (powers.vertical, powers.horizontal):
                turned = (each.over + each.left + each.right) * one.scale
                both.append(turned + each.straight * one.power * through)
            found.append(Mirrored(one.image.sheet, both[0], both[1], one.at_m))
        best = max(best, 0.5 * (found[-1].vertical + found[-1].horizontal))
    found.sort(key=lambda one: (-one.vertical - one.horizontal, one.sheet))
    return found


def candidate(
    bodies: Bodies,
    sheet: int,
    start_m: tuple[float, float, float],
    end_m: tuple[float, float, float],
    direct_m: float,
    wavelength_m: float,
) -> Candidate | None:
    """The path by way of one sheet as if nothing else stood there, or nothing."""
    nx, ny, nz = (float(one) for one in bodies.normal[sheet])
    offset = float(bodies.offset_m[sheet])
    away_1 = nx * start_m[0] + ny * start_m[1] + nz * start_m[2] - offset
    away_2 = nx * end_m[0] + ny * end_m[1] + nz * end_m[2] - offset
    if away_1 * away_2 <= 0.0 or min(abs(away_1), abs(away_2)) <= ON_MIRROR_M:
        return None
    if away_1 < 0.0:
        nx, ny, nz, offset, away_1, away_2 = -nx, -ny, -nz, -offset, -away_1, -away_2
    solid = int(bodies.solid[sheet])
    if bodies.solid_first[solid + 1] - bodies.solid_first[solid] > 1:  # a face of a box reflects on its outside
        centre = bodies.centre_m[solid]
        if nx * centre[0] + ny * centre[1] + nz * centre[2] - offset > 0.0:
            return None
    start = (start_m[0] - 2.0 * away_1 * nx, start_m[1] - 2.0 * away_1 * ny, start_m[2] - 2.0 * away_1 * nz)
    line = line_of(start, end_m)
    apart = smooth(2.0 * math.sqrt(max(line.length_m - direct_m, 0.0) / wavelength_m) / OWN_WAY_NU)
    if apart <= 0.0:
        return None
    x = line.length_m * away_1 / (away_1 + away_2)
    low, high = [0.0, 0.0], [0.0, 0.0]
    for plane in range(2):
        low[plane], high[plane] = outline(bodies, sheet, line, x, plane)
    window = Window(x, (low[0], low[1]), (high[0], high[1]))
    across, aside = opening(window, 0, line, wavelength_m), opening(window, 1, line, wavelength_m)
    scale = apart * (direct_m / line.length_m) ** 2
    at_m = (start[0] + x * line.along[0], start[1] + x * line.along[1], start[2] + x * line.along[2])
    power = min(across * aside, 1.0) ** 2 * scale
    return Candidate(power, Image(sheet, (nx, ny, nz), offset), line, window, scale, at_m) if power > 0.0 else None


def outline(bodies: Bodies, sheet: int, line: Line, x: float, plane: int) -> tuple[float, float]:
    """From where to where a mirror reaches in a plane of its line, measured across the line where that meets it."""
    corners = []
    out, off = (line.left, line.up) if plane == 0 else (line.up, line.left)
    for c in range(bodies.first[sheet], bodies.first[sheet + 1]):
        px = [float(bodies.corner_m[c][i]) - line.start_m[i] for i in range(3)]
        u = sum(px[i] * line.along[i] for i in range(3))
        scale = x / u if u > 1e-6 else 1.0  # noqa: PLR2004  seen from the image, at the mirror point's distance
        corners.append((sum(px[i] * off[i] for i in range(3)) * scale, sum(px[i] * out[i] for i in range(3)) * scale))
    lows = min(one[1] for one in corners)
    highs = max(one[1] for one in corners)
    inside = min(1e-3, 0.25 * (highs - lows))
    shift = min(max(0.0, lows + inside), highs - inside)
    found: list[float] = []
    for i in range(len(corners)):
        (a, p), (b, q) = corners[i - 1], corners[i]
        if (p > shift) != (q > shift):
            found.append(a + (shift - p) / (q - p) * (b - a))
    if len(found) < 2:  # noqa: PLR2004  seen edge on
        return 1e3, 1e3
    return min(found), max(found)
