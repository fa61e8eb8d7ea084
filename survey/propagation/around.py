"""The ways around what stands in a line, and what a line loses to edges that it only grazes."""

from __future__ import annotations

import threading
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from survey.geometry import (
    SIDES,
    Crossings,
    Lines,
    Screens,
    lines_between,
)
from survey.propagation.mirrors import Mirrored, mirror_paths
from survey.propagation.sides import Near, Ways, blocked_lines, grazed_loss_db, ways_of
from survey.propagation.slight import DEEP_NU, graze_reach_m, slight_blockers, smooth
from survey.scene import Scene
from survey.units import db_from_ratio, ratio_from_db, wavelength_m
from survey.workers import WORKERS, in_order

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

LINES_AT_ONCE = 5_000
OTHER_WAY_ROUND = np.array([0, 1, 3, 2])
"""The sides as they are called from a line's other end."""
LEAST_MIRROR_SHARE = 0.02
"""A mirror path that brings less than this share of what the other ways bring is left out: 0.09 dB."""
SHALLOW = (DEEP_NU / 2.0) ** 2 * 1.01
"""A detour of more wavelengths than this leads around something that a line is in the shadow of in full."""
PLANES = (slice(0, 2), slice(2, 4))
"""The sides in the upright plane and in the level one."""


@dataclass(frozen=True, kw_only=True)
class Around:
    """What goes around, for some lines.

    Attributes
    ----------
    over_db, left_db, right_db, reflected_db : ndarray of float, shape (lines,)
        Excess loss of each way over the base loss; NaN where it is not there. [dB]
    mirror : ndarray of int, shape (lines,)
        The sheet that throws most of `reflected_db`; -1 where there is none.
    leave_deg, arrive_deg : ndarray of float, shape (lines,)
        Elevation in which the strongest of these ways leaves the start, and from which it comes in at the end;
        NaN where there is none. [deg]
    grazed_db : ndarray of float, shape (lines,)
        What the straight line loses to edges that it passes closely. [dB]
    grazed_screen : ndarray of int, shape (lines,)
        The nearest of them; -1 where there is none.
    """

    over_db: FloatArray
    left_db: FloatArray
    right_db: FloatArray
    reflected_db: FloatArray
    mirror: IntArray
    leave_deg: FloatArray
    arrive_deg: FloatArray
    grazed_db: FloatArray
    grazed_screen: IntArray


@dataclass(frozen=True, kw_only=True)
class Bent:
    """Powers relative to free space, for some lines.

    Attributes
    ----------
    by_side : ndarray of float, shape (lines, sides)
        What arrives round each of `SIDES`. [-]
    depth : ndarray of float, shape (lines,)
        How deep in the shadow of the nearest edge, from 0 at the edge to 1. [-]
    leave_deg, arrive_deg : ndarray of float, shape (lines, sides)
        Elevations at start and end of each. [deg]
    grazed_db, grazed_screen
        As in `Around`.
    """

    by_side: FloatArray
    depth: FloatArray
    leave_deg: FloatArray
    arrive_deg: FloatArray
    grazed_db: FloatArray
    grazed_screen: IntArray


def within_reach(missed: Crossings, distance_m: FloatArray, *, wavelength_m: float) -> Crossings:
    """Those misses of lines that are near enough to graze, whatever other lines were looked at beside them.

    Parameters
    ----------
    missed : Crossings
        What lines miss by little.
    distance_m : ndarray of float, shape (starts, ends)
        Lengths of the lines. [m]
    wavelength_m : float
        Wavelength. [m]
    """
    length_m = distance_m[missed.start, missed.end]
    before_m, beyond_m = missed.fraction * length_m, (1.0 - missed.fraction) * length_m
    return missed.pick(-missed.inside_m <= graze_reach_m(before_m, beyond_m, wavelength_m=wavelength_m))


def near_lines(crossed: Crossings, missed: Crossings, screens: Screens, *, columns: int) -> tuple[IntArray, Near]:
    """Lines that screens block or come close to.

    Parameters
    ----------
    crossed, missed : Crossings
        What lines cross, and what they miss by little.
    screens : Screens
        The screens.
    columns : int
        How many ends there are; line number is start times columns plus end.

    Returns
    -------
    tuple of ndarray and a tuple of three
        The lines' numbers, sorted; and for each pair of line and screen the line's place among them, the screen, and
        whether it blocks.
    """
    count = max(1, len(screens))

    def pairs(met: Crossings) -> IntArray:
        screen = screens.of_sheet[met.sheet]
        chosen = screen >= 0
        return (met.start[chosen] * columns + met.end[chosen]) * count + screen[chosen]

    blocked = np.unique(pairs(crossed))
    beside = np.setdiff1d(pairs(missed), blocked)
    pair = np.concatenate([blocked, beside])
    number, line = np.unique(pair // count, return_inverse=True)
    return number, (line, pair % count, np.arange(len(pair)) < len(blocked))


def around(scene: Scene, starts_m: FloatArray, ends_m: FloatArray, near: Near) -> Around:
    """Work out the ways around for some lines.

    Parameters
    ----------
    scene : Scene
        The site.
    starts_m, ends_m : ndarray of float, shape (lines, 3)
        Their ends. [m]
    near : Near
        What blocks them or lies close, from `near_lines`.

    Returns
    -------
    Around
    """
    order = np.argsort(near[0], kind="stable")
    line, screen, blocks = near[0][order], near[1][order], near[2][order]

    def part(first: int) -> Around:
        last = min(first + LINES_AT_ONCE, len(starts_m))
        rows = slice(*np.searchsorted(line, [first, last]))
        lines = lines_between(starts_m[first:last], ends_m[first:last])
        return _around(scene, lines, (line[rows] - first, screen[rows], blocks[rows]))

    firsts = range(0, max(1, len(starts_m)), LINES_AT_ONCE)
    # Blocks of links are worked out in threads of their own already.
    alone = threading.current_thread() is threading.main_thread()
    parts = list(in_order(part, firsts, workers=WORKERS if alone else 1))
    return Around(**{one.name: np.concatenate([getattr(part, one.name) for part in parts]) for one in fields(Around)})


def _around(scene: Scene, lines: Lines, near: Near) -> Around:
    bent = bend(scene, lines, near)
    count = len(lines.length_m)
    blocked = blocked_lines(near, count)
    reflected, mirror_deg, mirror = np.zeros(count), np.full((count, 2), np.nan), np.full(count, -1)
    floor = LEAST_MIRROR_SHARE * bent.by_side.sum(axis=1)
    paths = mirror_paths(scene, lines, np.flatnonzero(blocked & (bent.depth > 0)), floor)
    power = _mirrored_power(scene, paths)
    np.add.at(reflected, paths.line, power)
    weakest_first = np.argsort(power, kind="stable")
    mirror_deg[paths.line[weakest_first]] = paths.elevations_deg[weakest_first]  # so the strongest stays
    mirror[paths.line[weakest_first]] = paths.mirror[weakest_first]
    reflected *= bent.depth
    every = np.column_stack([bent.by_side, reflected])
    best = np.argmax(every, axis=1)[:, None]
    no_way = every.max(axis=1, initial=0.0) <= 0
    leave_deg, arrive_deg = (
        np.where(no_way, np.nan, np.take_along_axis(np.column_stack([one, mirrored]), best, axis=1)[:, 0])
        for one, mirrored in ((bent.leave_deg, mirror_deg[:, 0]), (bent.arrive_deg, mirror_deg[:, 1]))
    )

    def way_db(power: FloatArray) -> FloatArray:
        return np.where(power > 0, -db_from_ratio(power), np.nan)

    over, under, left, right = bent.by_side.T
    return Around(
        over_db=way_db(over + under),
        left_db=way_db(left),
        right_db=way_db(right),
        reflected_db=way_db(reflected),
        mirror=np.where(reflected > 0, mirror, -1),
        leave_deg=leave_deg,
        arrive_deg=arrive_deg,
        grazed_db=bent.grazed_db,
        grazed_screen=bent.grazed_screen,
    )


def _mirrored_power(scene: Scene, paths: Mirrored) -> FloatArray:
    """Power along mirror paths, relative to the straight line in free space; their legs bend where they must."""
    power = paths.power.copy()
    for first in range(0, len(paths.leg_path), LINES_AT_ONCE):
        last = min(first + LINES_AT_ONCE, len(paths.leg_path))
        legs = paths.legs.pick(np.arange(first, last))
        rows = (paths.near[0] >= first) & (paths.near[0] < last)
        near = (paths.near[0][rows] - first, paths.near[1][rows], paths.near[2][rows])
        bent = bend(scene, legs, near)
        passed = np.where(
            blocked_lines(near, last - first), np.minimum(bent.by_side.sum(axis=1), 1.0), ratio_from_db(-bent.grazed_db)
        )
        np.multiply.at(power, paths.leg_path[first:last], passed)
    return power


def bend(scene: Scene, lines: Lines, near: Near) -> Bent:
    """Powers round every side of what blocks some lines.

    Parameters
    ----------
    scene : Scene
        The site.
    lines : Lines
        The lines.
    near : Near
        What blocks them or lies close.

    Returns
    -------
    Bent
    """
    wave_m = float(wavelength_m(scene.plan.radio.frequency_mhz))
    count = len(lines.length_m)
    slight = slight_blockers(lines, near, scene.screens, wavelength_m=wave_m)
    copies, more, ignored = [np.arange(count)], [near], [np.zeros(0, dtype=np.int64)]
    for one in slight:
        # Such lines once more, without what blocks them so slightly.
        place = np.full(count, -1)
        place[one.line] = sum(map(len, copies)) + np.arange(len(one.line))
        copies.append(one.line)
        kept = place[near[0]] >= 0
        kept[one.row] = False
        more.append((place[near[0][kept]], near[1][kept], near[2][kept]))
        ignored.append(place[near[0][one.row]] * len(scene.screens) + near[1][one.row])
    every = lines.pick(np.concatenate(copies))
    rows = (
        np.concatenate([one[0] for one in more]),
        np.concatenate([one[1] for one in more]),
        np.concatenate([one[2] for one in more]),
    )
    air = np.concatenate(ignored)
    longest_m = np.full((len(every.length_m), len(SIDES)), np.inf)
    first = count
    for one in slight:
        # Of such lines only the ways in their plane are asked for; others only where they make them shallow.
        copied = slice(first, first + len(one.line))
        other = PLANES[1 - one.plane]
        longest_m[copied, other] = every.length_m[copied, None] + SHALLOW * wave_m
        first = copied.stop
    ways = ways_of(scene, every, rows, air, longest_m)
    _also_from_other_end(scene, every, (rows, air), longest_m, ways)
    by_side, nu, elevations_deg = ways.power, ways.nu, ways.elevations_deg
    nearest = np.min(nu, axis=1)
    depth = smooth(np.where(np.isfinite(nearest), nearest, DEEP_NU) / DEEP_NU)
    # A line that is only just blocked still goes past the edge that it touches, and that way counts in full; the ways
    # on the other sides come in by degrees as the line goes into the shadow.
    by_side *= np.where(nu <= nearest[:, None], 1.0, depth[:, None])
    blocked = blocked_lines(rows, len(every.length_m))
    grazed_db, grazed_screen = grazed_loss_db(scene, ways.strings, ways.along_string, blocked)
    whole = np.ones((count, len(SIDES)))
    extra = np.zeros((count, len(SIDES)))
    first = count
    for one in slight:
        sides = PLANES[one.plane]
        without = by_side[first : first + len(one.line), sides]
        first += len(one.line)
        whole[one.line, sides] -= one.weight[:, None]
        extra[one.line, sides] += one.weight[:, None] * without
    return Bent(
        by_side=whole * by_side[:count] + extra,
        depth=depth[:count],
        leave_deg=elevations_deg[0, :count],
        arrive_deg=elevations_deg[1, :count],
        grazed_db=grazed_db[:count],
        grazed_screen=grazed_screen[:count],
    )


def _also_from_other_end(
    scene: Scene, lines: Lines, near_and_air: tuple[Near, IntArray], longest_m: FloatArray, ways: Ways
) -> None:
    """Put better ways into those found, where a string of which an end is hemmed in finds one from its other end."""
    if not len(ways.strings.hemmed_in):
        return
    near, ignored = near_and_air
    screens = max(1, len(scene.screens))
    line, number = np.unique(ways.strings.hemmed_in // len(SIDES), return_inverse=True)
    side = ways.strings.hemmed_in % len(SIDES)
    place = np.full(len(lines.length_m), -1)
    place[line] = np.arange(len(line))
    again = place[near[0]] >= 0
    air_line = place[ignored // screens]
    air = (air_line * screens + ignored % screens)[air_line >= 0]
    # Left is right then, and each end the other.
    longest_back_m = np.full((len(line), len(SIDES)), -np.inf)
    longest_back_m[number, OTHER_WAY_ROUND[side]] = longest_m[line[number], side]
    back_near = (place[near[0][again]], near[1][again], near[2][again])
    back = ways_of(scene, lines.pick(line).back(), back_near, air, longest_back_m)
    power = back.power[:, OTHER_WAY_ROUND]
    better = power > ways.power[line]
    ways.power[line] = np.where(better, power, ways.power[line])
    ways.nu[line] = np.where(better, back.nu[:, OTHER_WAY_ROUND], ways.nu[line])
    turned_deg = back.elevations_deg[::-1][..., OTHER_WAY_ROUND]
    ways.elevations_deg[:, line] = np.where(better, turned_deg, ways.elevations_deg[:, line])
