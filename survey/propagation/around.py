"""The ways around what stands in a line, and what a line loses to edges that it only grazes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.geometry import SIDES, Crossings, Lines, Screens, Strings, lines_between, segment_chords, strings_around
from survey.geometry.hulls import LEAST_NU, MOST_GRAZED
from survey.propagation.diffraction import edges_amplitude, wedge_ratio
from survey.scene import Scene
from survey.units import db_from_ratio, ratio_from_db, wavelength_m

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

LINES_AT_ONCE = 20_000
BOX_WEDGE = 1.5
"""Outer angle of a box's edge in half turns; a sheet's is 2."""
FULL_NU = -0.6
"""An edge grazed this closely counts in full; from `LEAST_NU` up to here by degrees. J(-0.78) = 0 dB lies between."""
DEEP_NU = 0.78
"""Behind an edge by this much, a line is in its shadow, and every other way around counts in full."""
MOST_SLIGHT = 3
"""How many screens that block a line slightly are left out at most."""
CLOSED_BELOW_M = 0.01
"""What comes down to this height stands on the ground. [m]"""
OBLIQUE = 2.0
"""Sheets that a line meets at up to 60 degrees are searched for grazed edges: a miss in the sheet is twice as wide."""


@dataclass(frozen=True, kw_only=True)
class Around:
    """What goes around, for some lines.

    Attributes
    ----------
    over_db, left_db, right_db : ndarray of float, shape (lines,)
        Excess loss of each way over the base loss; NaN where it is not there. [dB]
    grazed_db : ndarray of float, shape (lines,)
        What the straight line loses to edges that it passes closely. [dB]
    grazed_screen : ndarray of int, shape (lines,)
        The nearest of them; -1 where there is none.
    """

    over_db: FloatArray
    left_db: FloatArray
    right_db: FloatArray
    grazed_db: FloatArray
    grazed_screen: IntArray


def reach_m(length_m: float, *, wavelength_m: float) -> float:
    """How far beside a line of some length an edge can lie and still be grazed. [m]"""
    return OBLIQUE * abs(LEAST_NU) * float(np.sqrt(wavelength_m * length_m / 8.0))


def near_lines(
    crossed: Crossings, missed: Crossings, screens: Screens, *, columns: int
) -> tuple[IntArray, tuple[IntArray, IntArray, BoolArray]]:
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


def around(
    scene: Scene, starts_m: FloatArray, ends_m: FloatArray, near: tuple[IntArray, IntArray, BoolArray]
) -> Around:
    """Work out the ways around for some lines.

    Parameters
    ----------
    scene : Scene
        The site.
    starts_m, ends_m : ndarray of float, shape (lines, 3)
        Their ends. [m]
    near : tuple of three ndarrays
        Which line, which screen, and whether it blocks: from `near_lines`.

    Returns
    -------
    Around
    """
    count = len(starts_m)
    parts = []
    order = np.argsort(near[0], kind="stable")
    line, screen, blocks = near[0][order], near[1][order], near[2][order]
    for first in range(0, count, LINES_AT_ONCE):
        last = min(first + LINES_AT_ONCE, count)
        rows = slice(*np.searchsorted(line, [first, last]))
        lines = lines_between(starts_m[first:last], ends_m[first:last])
        parts.append(_around(scene, lines, (line[rows] - first, screen[rows], blocks[rows])))
    return Around(
        over_db=np.concatenate([np.zeros(0), *(part.over_db for part in parts)]),
        left_db=np.concatenate([np.zeros(0), *(part.left_db for part in parts)]),
        right_db=np.concatenate([np.zeros(0), *(part.right_db for part in parts)]),
        grazed_db=np.concatenate([np.zeros(0), *(part.grazed_db for part in parts)]),
        grazed_screen=np.concatenate([np.zeros(0, dtype=np.int64), *(part.grazed_screen for part in parts)]),
    )


def _around(scene: Scene, lines: Lines, near: tuple[IntArray, IntArray, BoolArray]) -> Around:
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
    strings = strings_around(
        every,
        rows,
        screens=scene.screens,
        sheets=scene.sheets,
        wavelength_m=wave_m,
        ignored=np.concatenate(ignored),
    )
    power, detour_nu = string_power(strings, every, scene, wavelength_m=wave_m)
    power = power * ratio_from_db(-_met_db(scene, strings))
    by_side = np.zeros((len(every.length_m), len(SIDES)))
    nu = np.full(by_side.shape, np.inf)
    leading = np.flatnonzero(strings.around)
    by_side[strings.line[leading], strings.side[leading]] = power[leading]
    nu[strings.line[leading], strings.side[leading]] = detour_nu[leading]
    by_side *= _share(nu)
    blocked = np.zeros(len(every.length_m), dtype=bool)
    blocked[rows[0][rows[2]]] = True
    grazed_db, grazed_screen = _grazed(scene, strings, power, blocked)
    whole = np.ones((count, len(SIDES)))
    extra = np.zeros((count, len(SIDES)))
    first = count
    for one in slight:
        sides = PLANES[one.plane]
        without = by_side[first : first + len(one.line), sides]
        first += len(one.line)
        whole[one.line, sides] -= one.weight[:, None]
        extra[one.line, sides] += one.weight[:, None] * without
    by_side = whole * by_side[:count] + extra

    def way_db(*sides: str) -> FloatArray:
        total = np.sum([by_side[:, SIDES.index(side)] for side in sides], axis=0)
        return np.where(total > 0, -db_from_ratio(total), np.nan)

    return Around(
        over_db=way_db("over", "under"),
        left_db=way_db("left"),
        right_db=way_db("right"),
        grazed_db=grazed_db[:count],
        grazed_screen=grazed_screen[:count],
    )


PLANES = (slice(0, 2), slice(2, 4))
"""The sides in the upright plane and in the level one."""


@dataclass(frozen=True, kw_only=True)
class Slight:
    """Lines that something blocks with little more than its edge, seen in one plane.

    Attributes
    ----------
    plane : int
        0 for the upright plane, 1 for the level one.
    line : ndarray of int, shape (lines,)
        Which lines.
    row : ndarray of int, shape (rows,)
        Which pairs of line and screen to leave out.
    weight : ndarray of float, shape (lines,)
        How much the line counts without them. [-]
    """

    plane: int
    line: IntArray
    row: IntArray
    weight: FloatArray


def slight_blockers(
    lines: Lines, near: tuple[IntArray, IntArray, BoolArray], screens: Screens, *, wavelength_m: float
) -> list[Slight]:
    """Lines that several screens block, some of them with little more than their edge.

    Seen in the upright plane, a screen whose end the line only just meets stands there in full or not at all; in
    truth it comes in by degrees. The same holds for the level plane and a top that the line only just meets. So the
    ways in a plane are a mean of those with and without the slight ones, the slightest left out first.

    Parameters
    ----------
    lines : Lines
        The lines.
    near : tuple of three ndarrays
        Which line, which screen, and whether it blocks.
    screens : Screens
        The screens.
    wavelength_m : float
        Wavelength. [m]

    Returns
    -------
    list of Slight
        For each plane, and for one, two ... slight screens left out; one that blocks is always kept.
    """
    line, screen, blocks = near
    row = np.flatnonzero(blocks)
    number = np.bincount(line[row], minlength=len(lines.length_m))
    row = row[number[line[row]] > 1]
    corners_m = screens.corners_m[screen[row]]
    local = np.einsum("kij,kcj->ikc", lines.axes[line[row]], corners_m - lines.starts_m[line[row]][:, None])
    length_m = lines.length_m[line[row]][:, None]
    along_m = np.clip(local[0], 0.02 * length_m, 0.98 * length_m)
    scale = np.sqrt(2.0 * length_m / (wavelength_m * along_m * (length_m - along_m)))
    grounded = corners_m[..., 2].min(axis=1) <= CLOSED_BELOW_M
    found = []
    for plane, axis in enumerate((2, 1)):
        out = local[axis] * scale
        below = np.where(grounded & (axis == 1), np.inf, (-out).max(axis=1))
        depth = np.clip(np.minimum(out.max(axis=1), below) / DEEP_NU, 0.0, 1.0)
        share = np.round(depth**2 * (3.0 - 2.0 * depth), 9)
        order = np.lexsort((share, line[row]))
        sorted_line = line[row][order]
        opens = np.append(True, np.diff(sorted_line) > 0)[: len(order)]
        rank = np.arange(len(order)) - np.maximum.accumulate(np.where(opens, np.arange(len(order)), 0))
        share, row_sorted = share[order], row[order]
        next_share = np.append(share[1:], 1.0)[: len(share)]
        for left_out in range(1, MOST_SLIGHT + 1):
            last = (rank == left_out - 1) & (share < 1.0) & (left_out < number[sorted_line])
            final = (left_out == MOST_SLIGHT) | (number[sorted_line] - 1 == left_out)
            weight = np.where(final, 1.0, next_share) - share
            chosen = np.flatnonzero(last & (weight > 0))
            dropped = np.isin(sorted_line, sorted_line[chosen]) & (rank < left_out)
            found.append(Slight(plane=plane, line=sorted_line[chosen], row=row_sorted[dropped], weight=weight[chosen]))
    return found


def _met_db(scene: Scene, strings: Strings) -> FloatArray:
    """What each string still goes through on its legs, sheets and foliage. [dB]"""
    sheets_db = scene.obstacles.loss_db[scene.sheets.owner[strings.met_sheet]]
    total_db = np.bincount(strings.met_string, weights=sheets_db, minlength=len(strings))
    if len(scene.prisms):
        string, leg = np.nonzero(~np.isnan(strings.legs_m[..., 0, 0]) & strings.around[:, None])
        inside = segment_chords(strings.legs_m[string, leg, 0], strings.legs_m[string, leg, 1], scene.prisms)
        plants_db = scene.obstacles.loss_db[scene.prisms.owner[inside.prism]] * inside.length_m
        total_db += np.bincount(string[inside.start], weights=plants_db, minlength=len(strings))
    return np.asarray(total_db, dtype=np.float64)


def _share(nu: FloatArray) -> FloatArray:
    """How much each way counts: the nearest one in full, the others as far as the line is in the nearest's shadow.

    A line that is only just blocked still goes past the edge that it touches; the ways on the other sides of the
    obstacle come in smoothly from there.
    """
    nearest = np.min(nu, axis=1, keepdims=True)
    depth = np.clip(np.where(np.isfinite(nearest), nearest, 0.0) / DEEP_NU, 0.0, 1.0)
    return np.asarray(np.where(nu <= nearest, 1.0, depth**2 * (3.0 - 2.0 * depth)))


def string_power(strings: Strings, lines: Lines, scene: Scene, *, wavelength_m: float) -> tuple[FloatArray, FloatArray]:
    """Power that arrives along each string, relative to the straight line in free space, and its detour as nu.

    Parameters
    ----------
    strings : Strings
        Strings with their corners and grazed edges.
    lines : Lines
        The lines that they belong to.
    scene : Scene
        Whose radio's polarisation counts.
    wavelength_m : float
        Wavelength. [m]

    Returns
    -------
    tuple of two ndarrays of float, shape (strings,)
        Power ratio, and ``2 sqrt(detour / wavelength)``, the nu of a single edge of that detour. [-]
    """
    length_m = lines.length_m[strings.line]
    paths = strings.paths
    path = paths.with_ends(length_m)
    upright = strings.side < 2  # noqa: PLR2004  over and under: level edges
    hard_share = _hard_share(scene.plan.radio.polarisation, upright)
    weights, rank = _grazing_weights(paths.screen >= 0, paths.nu)
    power = np.zeros(len(strings))
    for more in range(weights.shape[1]):
        # Corners and the so many closest of the grazed edges: as each comes nearer it takes over from the one before.
        part = np.flatnonzero(weights[:, more] > 0)
        kept = rank[part] <= more
        edges = kept.sum(axis=1)
        order = np.argsort(~kept, axis=1, kind="stable")
        for count in np.unique(edges).tolist():
            these = np.flatnonzero(edges == count)
            chosen, columns = part[these], order[these, :count]
            rows = chosen[:, None]
            points = np.concatenate([path[rows, :1][:, 0], path[rows, columns + 1], path[rows, -1:][:, 0]], axis=1)
            step = np.diff(points, axis=1)
            legs_m = np.maximum(np.hypot(step[..., 0], step[..., 1]), 1e-3)
            hard, soft = _arrived(legs_m, step, paths.screen[rows, columns], scene, wavelength_m=wavelength_m)
            arrived = hard_share[chosen] * hard + (1.0 - hard_share[chosen]) * soft
            spread = (length_m[chosen] / legs_m.sum(axis=1)) ** 2
            power[chosen] += weights[chosen, more] * np.minimum(arrived * spread, 1.0)
    turned = path.copy()
    turned[:, 1:-1][rank != 0] = np.nan
    order = np.argsort(np.isnan(turned[..., 0]), axis=1, kind="stable")
    turned = np.take_along_axis(turned, order[..., None], axis=1)
    detour_m = np.nansum(np.hypot(*np.diff(turned, axis=1).transpose(2, 0, 1)), axis=1) - length_m
    return power, 2.0 * np.sqrt(np.maximum(detour_m, 0.0) / wavelength_m)


def _arrived(
    legs_m: FloatArray,
    step_m: FloatArray,
    screen: IntArray,
    scene: Scene,
    *,
    wavelength_m: float,
) -> tuple[FloatArray, FloatArray]:
    """Power, hard and soft, behind all edges of strings with as many each, relative to a free path of their length."""
    if not screen.shape[1]:
        return np.ones(len(screen)), np.ones(len(screen))
    turns_rad = -np.diff(np.arctan2(step_m[..., 1], step_m[..., 0]), axis=1)
    turns_rad = (turns_rad + np.pi) % (2.0 * np.pi) - np.pi
    is_box = scene.screens.is_box[screen]
    along_face = (screen[:, 1:] == screen[:, :-1]) & is_box[:, 1:]
    hard, soft = edges_amplitude(legs_m, turns_rad, wavelength_m=wavelength_m, along_face=along_face)
    wedge = np.prod(wedge_ratio(turns_rad, np.where(is_box, BOX_WEDGE, 2.0)), axis=1)
    return np.abs(hard * wedge) ** 2, np.abs(soft * wedge) ** 2


def _grazing_weights(used: BoolArray, nu: FloatArray) -> tuple[FloatArray, IntArray]:
    """How much a string counts with none, one, two ... of its grazed edges, and the rank of each of its points."""
    reached = np.clip((nu - LEAST_NU) / (FULL_NU - LEAST_NU), 0.0, 1.0)
    weight = np.where(used & np.isfinite(nu), reached**2 * (3.0 - 2.0 * reached), 0.0)
    grazes = weight > 0
    order = np.argsort(-weight, axis=1, kind="stable")
    rank = np.empty(weight.shape, dtype=np.int64)
    np.put_along_axis(rank, order, np.broadcast_to(np.arange(1, weight.shape[1] + 1), weight.shape), axis=1)
    rank = np.where(grazes, rank, np.where(used & ~np.isfinite(nu), 0, weight.shape[1] + MOST_GRAZED + 1))
    falling = np.take_along_axis(weight, order, axis=1)[:, :MOST_GRAZED]
    steps = np.concatenate([np.ones((len(weight), 1)), falling, np.zeros((len(weight), 1))], axis=1)
    return steps[:, :-1] - steps[:, 1:], rank


def _hard_share(polarisation: str, upright: BoolArray) -> FloatArray:
    """How much of the power has its electric field square to the edges of a string's plane.

    Vertical fields are square to level edges (over the top) and along upright ones (past the sides); level fields
    the other way about; where the attitude of the antennas is not known, half and half.
    """
    if polarisation == "unknown":
        return np.full(len(upright), 0.5)
    return np.asarray(upright == (polarisation == "vertical"), dtype=np.float64)


def _grazed(scene: Scene, strings: Strings, power: FloatArray, blocked: BoolArray) -> tuple[FloatArray, IntArray]:
    """What clear lines lose to edges that they graze, and which is the nearest."""
    count = len(blocked)
    straight = np.flatnonzero(~strings.around & (strings.paths.screen[:, 0] >= 0) & ~blocked[strings.line])
    grazes = strings.paths.screen[straight]
    pass_db = np.where(scene.screens.is_box, 2.0, 1.0) * scene.obstacles.loss_db[scene.screens.owner]
    passes_db = np.where(grazes >= 0, pass_db[grazes], -np.inf)
    screen = grazes[np.arange(len(straight)), np.argmax(passes_db, axis=1)]
    # Of a screen that lets something through, that much still arrives.
    loss_db = -db_from_ratio(np.minimum(power[straight] + ratio_from_db(-passes_db.max(axis=1)), 1.0))
    grazed_db = np.asarray(np.bincount(strings.line[straight], weights=loss_db, minlength=count), dtype=np.float64)
    grazed_screen = np.full(count, -1, dtype=np.int64)
    order = np.argsort(loss_db, kind="stable")
    grazed_screen[strings.line[straight][order]] = screen[order]
    return grazed_db, np.where(grazed_db > 0, grazed_screen, -1)
