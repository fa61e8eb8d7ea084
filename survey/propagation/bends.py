"""What bends around whatever blocks a line, on every side of it; slight blockers come in by degrees."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.base.units import wavelength_m
from survey.geometry import SIDES, Lines
from survey.propagation.sides import Near, Ways, blocked_lines, grazed_loss_db, ways_of
from survey.propagation.slight import DEEP_NU, slight_blockers, smooth
from survey.scene import Scene

OTHER_WAY_ROUND = np.array([0, 1, 3, 2])
"""The sides as they are called from a line's other end."""
SHALLOW = (DEEP_NU / 2.0) ** 2 * 1.01
"""A detour of more wavelengths than this leads around something that a line is in the shadow of in full."""
PLANES = (slice(0, 2), slice(2, 4))
"""The sides in the upright plane and in the level one."""


@dataclass(frozen=True, kw_only=True)
class Passes:
    """What strings go through, a row for each line, side and obstacle.

    Attributes
    ----------
    line, side, owner : ndarray of int, shape (rows,)
        Which line, which of `SIDES`, and which obstacle.
    power : ndarray of float, shape (rows,)
        Power that goes through it, times how often, summed over the strings of that side. [-]
    """

    line: IntArray
    side: IntArray
    owner: IntArray
    power: FloatArray


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
    grazed_db : ndarray of float, shape (lines,)
        What a clear line loses to edges that it passes closely. [dB]
    grazed_screen : ndarray of int, shape (lines,)
        The nearest of them; -1 where there is none.
    passes : Passes
        What the strings of lines with opened screens go through.
    """

    by_side: FloatArray
    depth: FloatArray
    leave_deg: FloatArray
    arrive_deg: FloatArray
    grazed_db: FloatArray
    grazed_screen: IntArray
    passes: Passes


def bend(scene: Scene, lines: Lines, near: Near, opened: BoolArray | None = None) -> Bent:
    """Powers round every side of what blocks some lines.

    Parameters
    ----------
    scene : Scene
        The site.
    lines : Lines
        The lines.
    near : Near
        What blocks them or lies close.
    opened : ndarray of bool, shape (lines, screens), optional
        Screens that the ways of a line go through and not around; none of them is near it.

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
    copied_line = np.concatenate(copies)
    every = lines.pick(copied_line)
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
    if opened is not None:
        opened = opened[copied_line]
    ways = ways_of(scene, every, rows, air, longest_m=longest_m, opened=opened)
    ways = _also_from_other_end(scene, every, (rows, air), ways, longest_m=longest_m, opened=opened)
    by_side, nu, elevations_deg = ways.power, ways.nu, ways.elevations_deg
    nearest = np.min(nu, axis=1)
    depth = smooth(np.where(np.isfinite(nearest), nearest, DEEP_NU) / DEEP_NU)
    # A line that is only just blocked still goes past the edge that it touches, and that way counts in full; the ways
    # on the other sides come in by degrees as the line goes into the shadow.
    by_side *= np.where(nu <= nearest[:, None], 1.0, depth[:, None])
    blocked = blocked_lines(rows, len(every.length_m))
    grazed_db, grazed_screen = grazed_loss_db(scene, ways.strings, ways.along_string, blocked)
    share = np.zeros(by_side.shape)  # in which each copy of a line counts
    share[:count] = 1.0
    first = count
    for one in slight:
        sides = PLANES[one.plane]
        share[one.line, sides] -= one.weight[:, None]
        share[first : first + len(one.line), sides] = one.weight[:, None]
        first += len(one.line)
    by_side *= share
    total = by_side[:count].copy()
    first = count
    for one in slight:
        total[one.line] += by_side[first : first + len(one.line)]
        first += len(one.line)
    return Bent(
        by_side=total,
        depth=depth[:count],
        leave_deg=elevations_deg[0, :count],
        arrive_deg=elevations_deg[1, :count],
        grazed_db=grazed_db[:count],
        grazed_screen=grazed_screen[:count],
        passes=_summed(ways.passes, copied_line, by_side, scene),
    )


def _summed(
    passes: tuple[IntArray, IntArray, IntArray], copied_line: IntArray, by_side: FloatArray, scene: Scene
) -> Passes:
    """Passes of the copies of lines as those of the lines."""
    copy, side, owner = passes
    obstacles = max(1, len(scene.obstacles))
    key, place = np.unique((copied_line[copy] * len(SIDES) + side) * obstacles + owner, return_inverse=True)
    power = np.bincount(place, weights=by_side[copy, side], minlength=len(key)).astype(np.float64)
    line_side = key // obstacles
    return Passes(line=line_side // len(SIDES), side=line_side % len(SIDES), owner=key % obstacles, power=power)


def _also_from_other_end(
    scene: Scene,
    lines: Lines,
    near_and_air: tuple[Near, IntArray],
    ways: Ways,
    *,
    longest_m: FloatArray,
    opened: BoolArray | None,
) -> Ways:
    """The ways found, but better ones where a string of which an end is hemmed in finds one from its other end."""
    if not len(ways.strings.hemmed_in):
        return ways
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
    open_back = None if opened is None else opened[line]
    back = ways_of(scene, lines.pick(line).back(), back_near, air, longest_m=longest_back_m, opened=open_back)
    power = back.power[:, OTHER_WAY_ROUND]
    better = power > ways.power[line]
    ways.power[line] = np.where(better, power, ways.power[line])
    ways.nu[line] = np.where(better, back.nu[:, OTHER_WAY_ROUND], ways.nu[line])
    turned_deg = back.elevations_deg[::-1][..., OTHER_WAY_ROUND]
    ways.elevations_deg[:, line] = np.where(better, turned_deg, ways.elevations_deg[:, line])
    if opened is None:
        return ways
    beaten = np.zeros(ways.power.shape, dtype=bool)
    beaten[line] = better
    back_side = OTHER_WAY_ROUND[back.passes[1]]
    kept, taken = ~beaten[ways.passes[0], ways.passes[1]], better[back.passes[0], back_side]
    from_back = (line[back.passes[0]], back_side, back.passes[2])
    columns = zip(ways.passes, from_back, strict=True)
    line_of, side_of, owner_of = (np.concatenate([one[kept], two[taken]]) for one, two in columns)
    return replace(ways, passes=(line_of, side_of, owner_of))
