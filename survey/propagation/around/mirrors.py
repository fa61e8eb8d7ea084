"""Mirror paths: the line from the image of its start, and the same rule for all that stands before the mirror."""

from __future__ import annotations

import math
from typing import NamedTuple

from survey.propagation import Way
from survey.propagation.around.bodies import Bodies
from survey.propagation.around.cut import NEAREST, Image, Line, Window, line_of
from survey.propagation.around.plants import plants_loss_db
from survey.propagation.around.rule import MAX_OPEN_NU, line_powers, opening
from survey.propagation.around.search import edge_loss_db
from survey.propagation.around.section import END_M, TOUCH_M
from survey.propagation.around.string import smooth
from survey.propagation.around.strings import add_passes

ON_MIRROR_M = 1e-3
"""Ends so near to a mirror's plane are on it, and it shows them nothing. [m]"""
NEARER_M = 1e-6
"""Distances that differ by less than this are the same. [m]"""
OWN_WAY_NU = 2.0**0.5
"""A detour of half a wavelength, the first Fresnel zone, as nu: nearer than that a mirror path is no way of its own."""
LEAST_SHARE = 0.02
"""A mirror path of less than this share of what else arrives counts for nothing, in full from twice as much."""
TURNED_DB = 6.0
"""A mirror path that loses more than this around something has to turn around it, beyond what its edge alone costs."""
MAX_STRAIGHT, MAX_TURNED = 3, 2
"""So many mirror paths of a line are worked out that need not turn, and so many others: those that may bring most."""


class Mirrored(NamedTuple):
    """What comes by way of one mirror, with a vertical and with a horizontal field, relative to the free line."""

    sheet: int
    vertical: float
    horizontal: float
    at_m: tuple[float, float, float]
    passes: dict[int, float]
    """How often it goes through each obstacle, the mean by power of all that comes this way, times that power."""


class Candidate(NamedTuple):
    """A mirror that may bring something."""

    power: float
    """What it brings as if nothing else stood there."""
    most: float
    """What it may bring with what stands in it."""
    turns: bool
    """Whether it had rather turn around something than go through."""
    image: Image
    line: Line
    window: Window
    scale: float
    """What its longer way leaves, and how much it is a way of its own."""
    at_m: tuple[float, float, float]


def mirror_ways(
    bodies: Bodies,
    start_m: tuple[float, float, float],
    end_m: tuple[float, float, float],
    wavelength_m: float,
    whole: float,
) -> list[Mirrored]:
    """Paths by way of mirrors beside all else that arrives, the strongest first."""
    direct_m = math.dist(start_m, end_m)
    candidates: list[Candidate] = []
    for sheet in range(len(bodies.mirror)):
        if bodies.mirror[sheet]:
            one = candidate(bodies, sheet, start_m, end_m, direct_m, wavelength_m, LEAST_SHARE * whole)
            if one is not None:
                candidates.append(one)
    candidates.sort(key=lambda one: (-one.most, one.image.sheet))
    straight_ones = [one for one in candidates if not one.turns][:MAX_STRAIGHT]
    turned_ones = [one for one in candidates if one.turns][:MAX_TURNED]
    found: list[Mirrored] = []
    for one in [*straight_ones, *turned_ones]:
        least = LEAST_SHARE * whole
        if one.most <= least:
            continue
        worth_db = -10.0 * math.log10(max(least, 1e-7) / one.scale)
        powers = line_powers(bodies, one.line, wavelength_m, one.image, one.window, worth_db)
        end = (
            one.line.start_m[0] + one.line.length_m * one.line.along[0],
            one.line.start_m[1] + one.line.length_m * one.line.along[1],
            one.line.start_m[2] + one.line.length_m * one.line.along[2],
        )
        plants = 10.0 ** (-plants_loss_db(bodies, [one.line.start_m, end], one.image) / 10.0)
        both = [one.power * plants] * 2
        passes: dict[int, float] = {}
        if powers is not None:
            through = 10.0 ** (-powers.through_db / 10.0) * plants
            fields = (powers.vertical, powers.horizontal)
            straight = [min(each.straight, 1.0) * one.power * through for each in fields]
            both = [
                (each.over + each.left + each.right) * one.scale + direct
                for each, direct in zip(fields, straight, strict=True)
            ]
            for passed in powers.passed:
                obstacle = int(bodies.obstacle[passed.sheet])
                passes[obstacle] = passes.get(obstacle, 0.0) + 0.5 * sum(straight)
            for way, name in () if powers.clear else ((Way.OVER, "over"), (Way.LEFT, "left"), (Way.RIGHT, "right")):
                turned = 0.5 * (getattr(fields[0], name) + getattr(fields[1], name)) * one.scale
                add_passes(bodies, powers, way, turned, passes)
        share = smooth(0.5 * (both[0] + both[1]) / max(least, 1e-15) - 1.0)
        if share > 0.0:
            passes = {obstacle: share * passed for obstacle, passed in passes.items()}
            found.append(Mirrored(one.image.sheet, share * both[0], share * both[1], one.at_m, passes))
            whole += 0.5 * (found[-1].vertical + found[-1].horizontal)
    found.sort(key=lambda one: (-one.vertical - one.horizontal, one.sheet))
    return found


def candidate(
    bodies: Bodies,
    sheet: int,
    start_m: tuple[float, float, float],
    end_m: tuple[float, float, float],
    direct_m: float,
    wavelength_m: float,
    least: float,
) -> Candidate | None:
    """The path by way of one sheet, or nothing where it cannot bring more than so much."""
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
    # The end nearer to the mirror is the one that is mirrored, so that both directions give the same.
    if away_2 < away_1 - NEARER_M or (away_2 < away_1 + NEARER_M and end_m[2] < start_m[2]):
        start_m, end_m, away_1, away_2 = end_m, start_m, away_2, away_1
    start = (start_m[0] - 2.0 * away_1 * nx, start_m[1] - 2.0 * away_1 * ny, start_m[2] - 2.0 * away_1 * nz)
    line = line_of(start, end_m)
    apart = smooth(2.0 * math.sqrt(max(line.length_m - direct_m, 0.0) / wavelength_m) / OWN_WAY_NU)
    if apart <= 0.0:
        return None
    x = line.length_m * away_1 / (away_1 + away_2)
    upright, level = outline(bodies, sheet, line, 0), outline(bodies, sheet, line, 1)
    if upright is None or level is None:
        return None
    nus = (as_nu(upright, line, wavelength_m), as_nu(level, line, wavelength_m))
    scale = apart * (direct_m / line.length_m) ** 2
    if any(low > MAX_OPEN_NU or high < -MAX_OPEN_NU for low, high in nus):  # it lies beside the line by too much
        return None
    across, aside = opening(*nus[0]), opening(*nus[1])
    window = Window((upright[0], level[0]), (upright[1], level[1]), nus, (across, aside))
    at_m = (start[0] + x * line.along[0], start[1] + x * line.along[1], start[2] + x * line.along[2])
    power = min(across * aside, 1.0) ** 2 * scale
    if power <= least:
        return None
    stand_m = [(start_m, x), (end_m, line.length_m - x)]
    closed_db, turns = closed_loss_db(bodies, sheet, at_m, stand_m, line.length_m, wavelength_m)
    most = power * 10.0 ** (-closed_db / 10.0)
    image = Image(sheet, (nx, ny, nz), offset)
    return Candidate(power, most, turns, image, line, window, scale, at_m) if most > least else None


def closed_loss_db(
    bodies: Bodies,
    mirror: int,
    at_m: tuple[float, float, float],
    stand_m: list[tuple[tuple[float, float, float], float]],
    whole_m: float,
    wavelength_m: float,
) -> tuple[float, bool]:
    """Roughly what a wave loses at all that stands between a mirror and both ends, and whether it has to turn. [dB]

    Around a solid it costs J by how far inside its nearest edge the line meets it, less J of the edge itself. The solid
    that costs most to go around counts in full and others by half, since one detour leads around several.
    """
    through_db, worst_db, total_db = 0.0, 0.0, 0.0
    for end_m, leg_m in stand_m:
        for solid in range(len(bodies.radius_m)):
            pass_db, edge_db = 0.0, 0.0
            for s in range(bodies.solid_first[solid], bodies.solid_first[solid + 1]):
                n = [float(one) for one in bodies.normal[s]]
                away_1 = sum(n[i] * at_m[i] for i in range(3)) - float(bodies.offset_m[s])
                away_2 = sum(n[i] * end_m[i] for i in range(3)) - float(bodies.offset_m[s])
                if away_1 * away_2 >= 0.0 or s == mirror:
                    continue
                share = away_1 / (away_1 - away_2)
                if not END_M < share * leg_m < leg_m - END_M:
                    continue
                hit = [at_m[i] + share * (end_m[i] - at_m[i]) for i in range(3)]
                inside_m = inside_edges_m(bodies, s, (hit[0], hit[1], hit[2]))
                if inside_m < -TOUCH_M:
                    continue
                from_m = whole_m - leg_m + share * leg_m
                nu = inside_m * math.sqrt(2.0 * whole_m / (wavelength_m * from_m * (whole_m - from_m)))
                # Exactly at an edge two sheets meet, and each counts by half.
                pass_db += (1.0 if inside_m > TOUCH_M else 0.5) * float(bodies.loss_db[s])
                edge_db = max(edge_db, edge_loss_db(nu) - edge_loss_db(0.0))
            if pass_db <= edge_db:
                through_db += pass_db
            else:
                worst_db = max(worst_db, edge_db)
                total_db += edge_db
    return through_db + 0.5 * (worst_db + total_db), worst_db > TURNED_DB


def inside_edges_m(bodies: Bodies, sheet: int, at_m: tuple[float, float, float]) -> float:
    """How far inside the nearest edge of a sheet a place of its plane lies; negative outside. [m]"""
    n = [float(one) for one in bodies.normal[sheet]]
    first, last = int(bodies.first[sheet]), int(bodies.first[sheet + 1])
    nearest_m = math.inf
    for c in range(first, last):
        a = [float(one) for one in bodies.corner_m[c]]
        b = [float(one) for one in bodies.corner_m[c + 1 if c + 1 < last else first]]
        d = [b[i] - a[i] for i in range(3)]
        p = [at_m[i] - a[i] for i in range(3)]
        volume = (
            n[0] * (d[1] * p[2] - d[2] * p[1]) + n[1] * (d[2] * p[0] - d[0] * p[2]) + n[2] * (d[0] * p[1] - d[1] * p[0])
        )
        nearest_m = min(nearest_m, volume / max(math.sqrt(d[0] * d[0] + d[1] * d[1] + d[2] * d[2]), NEARER_M))
    return nearest_m


Cut = tuple[tuple[float, float], tuple[float, float]]


def outline(bodies: Bodies, sheet: int, line: Line, plane: int) -> Cut | None:
    """Ends of a mirror's cut by a plane of its line, or by one beside it that still meets it; right to left. [m]"""
    corners: list[tuple[float, float, float]] = []
    out, off = (line.left, line.up) if plane == 0 else (line.up, line.left)
    for c in range(bodies.first[sheet], bodies.first[sheet + 1]):
        px = [float(bodies.corner_m[c][i]) - line.start_m[i] for i in range(3)]
        corners.append(
            (
                sum(px[i] * line.along[i] for i in range(3)),
                sum(px[i] * off[i] for i in range(3)),
                sum(px[i] * out[i] for i in range(3)),
            )
        )
    lows = min(one[2] for one in corners)
    highs = max(one[2] for one in corners)
    inside = min(1e-3, 0.25 * (highs - lows))
    shift = min(max(0.0, lows + inside), highs - inside)
    found: list[tuple[float, float]] = []
    for i in range(len(corners)):
        (a, b, p), (u, v, q) = corners[i - 1], corners[i]
        if (p > shift) != (q > shift):
            share = (shift - p) / (q - p)
            found.append((a + share * (u - a), b + share * (v - b)))
    if len(found) < 2:
        return None
    return (found[0], found[1]) if found[0][1] <= found[1][1] else (found[1], found[0])


def as_nu(cut: Cut, line: Line, wavelength_m: float) -> tuple[float, float]:
    """How far both ends of a cut lie to the left of a line, as nu."""
    nus = []
    for x, y in cut:
        share = min(max(x / line.length_m, NEAREST), 1.0 - NEAREST)
        nus.append(y * math.sqrt(2.0 / (wavelength_m * line.length_m * share * (1.0 - share))))
    return nus[0], nus[1]
