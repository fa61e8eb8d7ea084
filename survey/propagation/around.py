"""The ways around what stands in a line, and what a line loses to edges that it only grazes."""

from __future__ import annotations

import threading
from dataclasses import dataclass, fields

import numpy as np

from survey.base.arrays import FloatArray, IntArray
from survey.base.units import db_from_ratio, ratio_from_db
from survey.base.workers import WORKERS, in_order
from survey.geometry import Crossings, Lines, Screens, lines_between
from survey.propagation.bends import bend
from survey.propagation.enclosed import Leaks, Shut, joined, no_leaks, opened_ways
from survey.propagation.mirrors import Mirrored, mirror_paths
from survey.propagation.sides import Near, blocked_lines
from survey.propagation.slight import graze_reach_m
from survey.scene import Scene

LINES_AT_ONCE = 5_000
LEAST_MIRROR_SHARE = 0.02
"""A mirror path that brings less than this share of what the other ways bring is left out: 0.09 dB."""


@dataclass(frozen=True, kw_only=True)
class Around:
    """What goes around, for some lines.

    Attributes
    ----------
    around_db : ndarray of float, shape (ways, lines)
        Excess loss of each `Way` over the base loss; NaN where it is not there. [dB]
    mirror : ndarray of int, shape (lines,)
        The sheet that throws most of what is reflected; -1 where there is none.
    leave_deg, arrive_deg : ndarray of float, shape (lines,)
        Elevation in which the strongest of these ways leaves the start, and from which it comes in at the end;
        NaN where there is none. [deg]
    grazed_db : ndarray of float, shape (lines,)
        What the straight line loses to edges that it passes closely. [dB]
    grazed_screen : ndarray of int, shape (lines,)
        The nearest of them; -1 where there is none.
    leaks : Leaks
        What these ways go through all the same, by line.
    """

    around_db: FloatArray
    mirror: IntArray
    leave_deg: FloatArray
    arrive_deg: FloatArray
    grazed_db: FloatArray
    grazed_screen: IntArray
    leaks: Leaks


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


def around(scene: Scene, starts_m: FloatArray, ends_m: FloatArray, near: Near, shut: Shut) -> Around:
    """Work out the ways around for some lines.

    Parameters
    ----------
    scene : Scene
        The site.
    starts_m, ends_m : ndarray of float, shape (lines, 3)
        Their ends. [m]
    near : Near
        What blocks them or lies close, from `near_lines`.
    shut : Shut
        How far each building shuts in one end of a line and not the other, from `shut_on_one_side`.

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
        return _around(scene, lines, (line[rows] - first, screen[rows], blocks[rows]), shut.pick(slice(first, last)))

    firsts = range(0, max(1, len(starts_m)), LINES_AT_ONCE)
    # Blocks of links are worked out in threads of their own already.
    alone = threading.current_thread() is threading.main_thread()
    every = np.arange(LINES_AT_ONCE)
    parts = list(in_order(part, firsts, workers=WORKERS if alone else 1))
    leaks = joined([part.leaks.numbered(first + every) for first, part in zip(firsts, parts, strict=True)])
    names = [one.name for one in fields(Around) if one.name != "leaks"]
    columns = {name: np.concatenate([getattr(part, name) for part in parts], axis=-1) for name in names}
    return Around(leaks=leaks, **columns)


def _around(scene: Scene, lines: Lines, near: Near, shut: Shut) -> Around:
    bent, leaks = bend(scene, lines, near), no_leaks()
    if np.any(shut.share > 0):
        bent, leaks = opened_ways(scene, lines, near, shut, bent)
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

    over, under, left, right = bent.by_side.T
    ways = np.stack([over + under, left, right, reflected])  # in the order of `Way`
    return Around(
        around_db=np.where(ways > 0, -db_from_ratio(ways), np.nan),
        mirror=np.where(reflected > 0, mirror, -1),
        leave_deg=leave_deg,
        arrive_deg=arrive_deg,
        grazed_db=bent.grazed_db,
        grazed_screen=bent.grazed_screen,
        leaks=leaks,
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
