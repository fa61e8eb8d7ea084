"""Which points stand inside something closed: how much of the sky around them the sheets of a building shut out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from survey.geometry.crossings import on_sheet
from survey.geometry.legs import footprints_of, leg_crossings
from survey.geometry.screens import Screens
from survey.geometry.sheets import Sheets

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

DIRECTIONS = 3072
"""In so many directions from level to straight up a point looks out."""
FIRST_LOOK = 64
WORTH_A_LOOK = (0.3, 0.95)
"""With one in so many of the directions a first look is taken; a second where it shows a share between these."""
FEWEST_SHEETS = 3
"""Sheets that shut anything in."""
NEIGHBOUR_M = 0.3
"""Sheets whose corners lie this close to one another belong to one building."""
UPRIGHT = 0.9
"""A sheet whose normal is this level stands upright."""


def buildings_of(screens: Screens, sheets: Sheets, chosen: BoolArray) -> IntArray:
    """Put screens that touch into buildings.

    Parameters
    ----------
    screens : Screens
        Screens.
    sheets : Sheets
        All sheets of the site.
    chosen : ndarray of bool, shape (screens,)
        Those that buildings are made of.

    Returns
    -------
    ndarray of int, shape (screens,)
        Number of the building that each belongs to; -1 for what is none, as for a building of fewer than three sheets.
    """
    count = len(screens)
    building = np.where(chosen, np.arange(count), -1)
    of_sheet = screens.of_sheet
    used = np.flatnonzero((of_sheet >= 0) & np.append(chosen, False)[of_sheet])
    if not len(used):
        return building
    corner, sheet = np.nonzero(on_sheet(screens.corners_m.reshape(-1, 3), sheets, within_m=NEIGHBOUR_M)[:, used])
    one, other = corner // screens.corners_m.shape[1], of_sheet[used[sheet]]
    one, other = one[chosen[one]], other[chosen[one]]
    settled = False
    while not settled:  # each takes the lowest number of all that it touches
        lowest = building.copy()
        np.minimum.at(lowest, one, building[other])
        np.minimum.at(lowest, other, building[one])
        settled = bool(np.array_equal(lowest, building))
        building = lowest
    number_of_sheets = np.bincount(building[of_sheet[used]], minlength=count)
    building = np.where(chosen & (number_of_sheets[building] >= FEWEST_SHEETS), building, -1)
    numbers, place = np.unique(building, return_inverse=True)
    return np.asarray(place - int(np.any(numbers < 0)))


def shut_out(points_m: FloatArray, screens: Screens, sheets: Sheets, building: IntArray) -> FloatArray:
    """How much of the sky around points each building shuts out.

    Parameters
    ----------
    points_m : ndarray of float, shape (points, 3)
        Points. [m]
    screens : Screens
        Screens.
    sheets : Sheets
        All sheets of the site.
    building : ndarray of int, shape (screens,)
        Which building each belongs to, from `buildings_of`.

    Returns
    -------
    ndarray of float, shape (points, buildings)
        Share of the directions from level upward in which one of its sheets stands, from 0 to 1; 1 for a point on one
        of its sheets. What lies below is taken as shut by the ground. [-]
    """
    count = int(building.max(initial=-1)) + 1
    share = np.zeros((len(points_m), count))
    of_sheet = np.append(building, -1)[screens.of_sheet]
    used = np.flatnonzero(of_sheet >= 0)
    if not len(used) or not len(points_m):
        return share
    corners_m = sheets.corners_m[used]
    low_m, high_m = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
    np.minimum.at(low_m, of_sheet[used], corners_m.min(axis=1))
    np.maximum.at(high_m, of_sheet[used], corners_m.max(axis=1))
    at_m = points_m[:, None]
    near = np.flatnonzero(np.any(np.all((at_m > low_m - 1e-3) & (at_m < high_m + 1e-3), axis=2), axis=1))
    if not len(near):
        return share
    some = Sheets(
        normal=sheets.normal[used],
        offset_m=sheets.offset_m[used],
        edge_normal=sheets.edge_normal[used],
        edge_offset_m=sheets.edge_offset_m[used],
        corners_m=corners_m,
        corner_growth=sheets.corner_growth[used],
        owner=sheets.owner[used],
    )
    reach_m = 2.0 * float(np.linalg.norm(high_m.max(axis=0) - low_m.min(axis=0)))
    footprints, rays_m = footprints_of(some), reach_m * _directions(some)
    point, sheet = np.nonzero(on_sheet(points_m[near], some))
    on = near[point], of_sheet[used[sheet]]
    for looks_m in (
        rays_m.reshape(-1, 2, 3)[::FIRST_LOOK].reshape(-1, 3),
        rays_m,
    ):  # a first look spares most points the second
        starts_m = np.repeat(points_m[near], len(looks_m), axis=0)
        met, _ = leg_crossings(starts_m, starts_m + np.tile(looks_m, (len(near), 1)), some, footprints=footprints)
        seen = np.zeros((len(starts_m), count), dtype=bool)
        seen[met.leg, of_sheet[used[met.sheet]]] = True
        share[near] = seen.reshape(len(near), len(looks_m), count).mean(axis=1)
        near = near[np.any((share[near] > WORTH_A_LOOK[0]) & (share[near] < WORTH_A_LOOK[1]), axis=1)]
    share[on] = 1.0
    return share


def _directions(sheets: Sheets) -> FloatArray:
    """Directions spread evenly from level to straight up, shape (rays, 3). [-]

    They turn with the site, by the first upright sheet; as that has two faces, each direction has one opposite in plan.
    """
    number = np.arange(DIRECTIONS // 2)
    rise = (number + 0.5) / len(number)
    level = np.hypot(sheets.normal[:, 0], sheets.normal[:, 1])
    first = int(np.argmax(level > UPRIGHT))
    turned_rad = np.arctan2(sheets.normal[first, 1], sheets.normal[first, 0])
    azimuth_rad = np.pi * (3.0 - np.sqrt(5.0)) * number + turned_rad  # the golden angle
    flat = np.sqrt(1.0 - rise**2)
    half = np.column_stack([flat * np.cos(azimuth_rad), flat * np.sin(azimuth_rad), rise])
    return np.stack([half, half * np.array([-1.0, -1.0, 1.0])], axis=1).reshape(-1, 3)
