"""Strings on every side of some lines, and what arrives along them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.base.units import db_from_ratio, elevation_deg, ratio_from_db, wavelength_m
from survey.geometry import SIDES, Lines, Strings, segment_chords, strings_around
from survey.propagation.bending import string_power
from survey.propagation.penetration import chord_losses_db, losses_by_angle
from survey.scene import Scene

Near = tuple[IntArray, IntArray, BoolArray]
"""Pairs of line and screen: which line, which screen, and whether it blocks or only lies close beside."""


@dataclass(frozen=True, kw_only=True)
class Ways:
    """Powers along strings, by string and by line and side, with their detours as nu, and elevations at both ends.

    `passes` is for lines with opened screens: line, side and obstacle, a row for each pass of a string through a sheet.
    """

    strings: Strings
    along_string: FloatArray
    power: FloatArray
    nu: FloatArray
    elevations_deg: FloatArray
    passes: tuple[IntArray, IntArray, IntArray]


def blocked_lines(near: Near, count: int) -> BoolArray:
    """Which of so many lines something blocks."""
    blocked = np.zeros(count, dtype=bool)
    blocked[near[0][near[2]]] = True
    return blocked


def ways_of(
    scene: Scene,
    lines: Lines,
    near: Near,
    ignored: IntArray,
    *,
    longest_m: FloatArray | None = None,
    opened: BoolArray | None = None,
) -> Ways:
    """String lines up on every side and work out what arrives; `longest_m` and `opened` as for `strings_around`."""
    wave_m = float(wavelength_m(scene.plan.radio.frequency_mhz))
    strings = strings_around(
        lines,
        near,
        screens=scene.screens,
        sheets=scene.sheets,
        wavelength_m=wave_m,
        ignored=ignored,
        longest_m=longest_m,
        opened=opened,
    )
    along_string, detour_nu = string_power(strings, lines, scene, wavelength_m=wave_m)
    along_string = along_string * ratio_from_db(-_met_db(scene, strings))
    power = np.zeros((len(lines.length_m), len(SIDES)))
    nu = np.full(power.shape, np.inf)
    elevations_deg = np.full((2, *power.shape), np.nan)
    leading = np.flatnonzero(strings.around)
    place = strings.line[leading], strings.side[leading]
    power[place], nu[place] = along_string[leading], detour_nu[leading]
    elevations_deg[:, place[0], place[1]] = _elevations_deg(strings)[:, leading]
    passing = np.flatnonzero(strings.around[strings.met_string]) if opened is not None else np.zeros(0, dtype=np.int64)
    string = strings.met_string[passing]
    return Ways(
        strings=strings,
        along_string=along_string,
        power=power,
        nu=nu,
        elevations_deg=elevations_deg,
        passes=(strings.line[string], strings.side[string], scene.sheets.owner[strings.met_sheet[passing]]),
    )


def _elevations_deg(strings: Strings) -> FloatArray:
    """Elevation in which each string leaves its start, and from which it comes in at its end, shape (2, strings)."""
    first_leg, last_leg = strings.legs_m[:, 0], strings.legs_m[np.arange(len(strings)), strings.last_leg]
    return elevation_deg(np.stack([first_leg[:, 1] - first_leg[:, 0], last_leg[:, 0] - last_leg[:, 1]]))


def _met_db(scene: Scene, strings: Strings) -> FloatArray:
    """What each string still goes through on its legs, sheets and foliage; opened slabs by the angle. [dB]"""
    owner = scene.sheets.owner[strings.met_sheet]
    sheets_db = scene.obstacles.loss_db[owner]
    opened = np.flatnonzero(~np.isnan(strings.met_cosine))
    if len(opened):
        sheets_db[opened] = losses_by_angle(scene, owner[opened], strings.met_cosine[opened])
    total_db = np.bincount(strings.met_string, weights=sheets_db, minlength=len(strings)).astype(np.float64)
    if len(scene.prisms):
        string, _, starts_m, ends_m = strings.legs_around()
        inside = segment_chords(starts_m, ends_m, scene.prisms)
        plants_db = chord_losses_db(scene, inside)
        total_db += np.bincount(string[inside.start], weights=plants_db, minlength=len(strings))
    return np.asarray(total_db)


def grazed_loss_db(
    scene: Scene, strings: Strings, power: FloatArray, blocked: BoolArray
) -> tuple[FloatArray, IntArray]:
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
