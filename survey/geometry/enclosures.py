"""Which points stand inside something closed: how much of the sky around them the sheets of a building shut out."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.geometry.crossings import on_sheet
from survey.geometry.plain import EDGE_M
from survey.geometry.screens import Screens
from survey.geometry.sheets import Sheets

DIRECTIONS = 3072
"""In so many directions from level to straight up a point looks out."""
LOOKS = ((192, (0.1, 1.1)), (64, (0.3, 0.95)), (1, (1.0, 0.0)))
"""Looks in one of so many directions, and between which shares another follows, so that few points need them all."""
SEEING = 16
"""What a point sees first is looked at in one of so many directions."""
RAYS_AT_ONCE = 50_000
"""So many rays are worked out together: few enough to stay in a processor's cache."""
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
    some = sheets.pick(used)
    rays = _directions(some)
    point, sheet = np.nonzero(on_sheet(points_m[near], some))
    on = near[point], of_sheet[used[sheet]]
    for every, (least, most) in LOOKS:
        looks = rays[::every].reshape(-1, 3)
        share[near] = _seen_shut(points_m[near], looks, some, of_sheet[used], count)
        near = near[np.any((share[near] > least) & (share[near] < most), axis=1)]
    share[on] = 1.0
    return share


def seen_first(points_m: FloatArray, screens: Screens, sheets: Sheets, building: IntArray) -> BoolArray:
    """Which screens of buildings are the first thing of any building that points see in some direction.

    Parameters
    ----------
    points_m, screens, sheets, building
        As for `shut_out`.

    Returns
    -------
    ndarray of bool, shape (points, screens)
        With those that the points stand on.
    """
    seen = np.zeros((len(points_m), len(screens) + 1), dtype=bool)
    used = np.flatnonzero(np.append(building, -1)[screens.of_sheet] >= 0)
    if not len(used) or not len(points_m):
        return seen[:, :-1]
    some, screen = sheets.pick(used), screens.of_sheet[used]
    rays = _Rays(_directions(some)[::SEEING].reshape(-1, 3), some)
    for block in rays.blocks(len(points_m)):
        nearest_m = np.full((len(points_m[block]), rays.count), np.inf)
        nearest = np.full(nearest_m.shape, len(screens))
        for one, far_m in zip(screen.tolist(), rays.far_m(points_m[block]), strict=True):
            nearest = np.where(far_m < nearest_m, one, nearest)
            nearest_m = np.minimum(far_m, nearest_m)
        np.put_along_axis(seen[block], nearest, values=True, axis=1)
    point, on = np.nonzero(on_sheet(points_m, some))
    seen[point, screen[on]] = True
    return seen[:, :-1]


def _seen_shut(
    points_m: FloatArray, directions: FloatArray, sheets: Sheets, building: IntArray, buildings: int
) -> FloatArray:
    """Share of some directions in which each point sees a sheet of each building, shape (points, buildings). [-]"""
    share, rays = np.empty((len(points_m), buildings)), _Rays(directions, sheets)
    for block in rays.blocks(len(points_m)):
        seen = np.zeros((buildings, len(points_m[block]), rays.count), dtype=bool)
        for of, far_m in zip(building.tolist(), rays.far_m(points_m[block]), strict=True):
            seen[of] |= np.isfinite(far_m)
        share[block] = seen.mean(axis=2).T
    return share


class _Rays:
    """Rays in some directions, the same from every point, ready to meet some sheets."""

    def __init__(self, directions: FloatArray, sheets: Sheets) -> None:
        self.count = len(directions)
        self._sheets = sheets
        self._along, self._inward = _products(sheets.normal, directions), _products(sheets.edge_normal, directions)

    def blocks(self, points: int) -> list[slice]:
        """Points that are looked from together."""
        step = max(1, RAYS_AT_ONCE // self.count)
        return [slice(first, first + step) for first in range(0, points, step)]

    def far_m(self, points_m: FloatArray) -> Iterator[FloatArray]:
        """How far the rays of some points go to each sheet in turn, shape (points, rays); infinite past it. [m]"""
        sheets = self._sheets
        off_m = sheets.offset_m[:, None] - _products(sheets.normal, points_m)
        inside_m = _products(sheets.edge_normal, points_m) - sheets.edge_offset_m[:, :, None]
        for sheet in range(len(sheets)):
            with np.errstate(divide="ignore", invalid="ignore"):  # a ray along a sheet never meets it
                far_m = off_m[sheet][:, None] / self._along[sheet]
                meets = far_m > 0
                for edge in range(self._inward.shape[1]):
                    meets &= far_m * self._inward[sheet, edge] >= -EDGE_M - inside_m[sheet, edge][:, None]
            yield np.where(meets, far_m, np.inf)


def _products(one: FloatArray, other: FloatArray) -> FloatArray:
    """Products of all vectors with all others, always added in the same order, however many there are."""
    return np.asarray(sum(one[..., axis, None] * other[:, axis] for axis in range(3)))


def _directions(sheets: Sheets) -> FloatArray:
    """Directions spread evenly from level to straight up, two and two opposite in plan, shape (pairs, 2, 3). [-]

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
    return np.stack([half, half * np.array([-1.0, -1.0, 1.0])], axis=1)
