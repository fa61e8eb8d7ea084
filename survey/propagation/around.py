"""The ways around what stands in a line, and what a line loses to edges that it only grazes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.geometry import SIDES, Crossings, Lines, Screens, Strings, lines_between, segment_chords, strings_around
from survey.geometry.hulls import LEAST_NU
from survey.propagation.diffraction import edges_amplitude, wedge_ratio
from survey.scene import Scene
from survey.units import db_from_ratio, ratio_from_db, wavelength_m

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

LINES_AT_ONCE = 20_000
BOX_WEDGE = 1.5
"""Outer angle of a box's edge in half turns; a sheet's is 2."""
DEEP_NU = 0.78
"""Behind an edge by this much, a line is in its shadow, and every other way around counts in full."""
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
    strings = strings_around(lines, near, screens=scene.screens, sheets=scene.sheets, wavelength_m=wave_m)
    power, detour_nu = string_power(strings, lines, scene, wavelength_m=wave_m)
    power = power * ratio_from_db(-_met_db(scene, strings))
    count = len(lines.length_m)
    by_side = np.zeros((count, len(SIDES)))
    nu = np.full((count, len(SIDES)), np.inf)
    leading = np.flatnonzero(strings.around)
    by_side[strings.line[leading], strings.side[leading]] = power[leading]
    nu[strings.line[leading], strings.side[leading]] = detour_nu[leading]
    by_side *= _share(nu)
    blocked = np.zeros(count, dtype=bool)
    blocked[near[0][near[2]]] = True
    grazed_db, grazed_screen = _grazed(scene, strings, power, blocked)

    def way_db(*sides: str) -> FloatArray:
        total = sum(by_side[:, SIDES.index(side)] for side in sides)
        return np.where(np.asarray(total) > 0, -db_from_ratio(total), np.nan)

    return Around(
        over_db=way_db("over", "under"),
        left_db=way_db("left"),
        right_db=way_db("right"),
        grazed_db=grazed_db,
        grazed_screen=grazed_screen,
    )


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
    path = strings.paths.with_ends(length_m)
    used = strings.paths.screen >= 0
    edges = used.sum(axis=1)
    power = np.ones(len(strings))
    detour_m = np.zeros(len(strings))
    upright = strings.side < 2  # noqa: PLR2004  over and under: level edges
    for count in np.unique(edges[edges > 0]).tolist():
        chosen = np.flatnonzero(edges == count)
        points = np.concatenate([path[chosen, : count + 1], path[chosen, -1:]], axis=1)
        step = np.diff(points, axis=1)
        legs_m = np.maximum(np.hypot(step[..., 0], step[..., 1]), 1e-3)
        heading = np.arctan2(step[..., 1], step[..., 0])
        turns_rad = np.angle(np.exp(-1j * np.diff(heading, axis=1)))
        screen = strings.paths.screen[chosen, :count]
        is_box = scene.screens.is_box[screen]
        along_face = (screen[:, 1:] == screen[:, :-1]) & is_box[:, 1:]
        hard, soft = edges_amplitude(legs_m, turns_rad, wavelength_m=wavelength_m, along_face=along_face)
        wedge = np.prod(wedge_ratio(turns_rad, np.where(is_box, BOX_WEDGE, 2.0)), axis=1)
        total_m = legs_m.sum(axis=1)
        spread = (wedge * length_m[chosen] / total_m) ** 2
        hard_share = _hard_share(scene.plan.radio.polarisation, upright[chosen])
        mixed = hard_share * np.abs(hard) ** 2 + (1.0 - hard_share) * np.abs(soft) ** 2
        power[chosen] = np.minimum(mixed * spread, 1.0)
        detour_m[chosen] = np.maximum(total_m - length_m[chosen], 0.0)
    return power, 2.0 * np.sqrt(detour_m / wavelength_m)


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
