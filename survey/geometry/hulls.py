"""In a plane through both ends of a line: sections of bodies, the string around them, and the edges close below it."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray

MOST_CORNERS = 8
"""A string that needs more corners than this is given up."""
MOST_GRAZED = 4
"""So many edges close below a string count at most, those nearest to it."""
SAME_CORNER_M = 0.02
"""Points of sections nearer together than this are one edge."""
LEAST_NU = -1.2
"""Edges deeper below a string than this are not looked for: the ripple there is a gain, and not counted."""
TINY_M = 1e-9


@dataclass(frozen=True, kw_only=True)
class Points:
    """Points of sections in the planes of their strings, sorted by string.

    Attributes
    ----------
    along_m, off_m : ndarray of float, shape (points,)
        Along the line from its start, and off it to the string's side. [m]
    string, row, screen : ndarray of int, shape (points,)
        Which string, which pair of string and screen, and which screen.
    forced : ndarray of bool, shape (points,)
        Of a screen that the string must go around.
    """

    along_m: FloatArray
    off_m: FloatArray
    string: IntArray
    row: IntArray
    screen: IntArray
    forced: BoolArray

    def pick(self, chosen: IntArray | BoolArray) -> Points:
        """Some of them."""
        return Points(**{one.name: getattr(self, one.name)[chosen] for one in fields(self)})

    def __len__(self) -> int:
        return len(self.string)


@dataclass(frozen=True, kw_only=True)
class Paths:
    """Strings as points in order, padded.

    Attributes
    ----------
    along_m, off_m : ndarray of float, shape (strings, points)
        Where their points are. [m]
    screen : ndarray of int, shape (strings, points)
        Which screen each belongs to; -1 beyond the last.
    nu : ndarray of float, shape (strings, points)
        How close below the string a grazed edge lies, as its Fresnel-Kirchhoff parameter; infinite for corners. [-]
    sound : ndarray of bool, shape (strings,)
        Could be strung.
    """

    along_m: FloatArray
    off_m: FloatArray
    screen: IntArray
    nu: FloatArray
    sound: BoolArray

    @property
    def corners(self) -> BoolArray:
        """Which points are corners, and neither grazed edges nor padding, shape (strings, points)."""
        return np.asarray((self.screen >= 0) & np.isinf(self.nu))

    def pick(self, chosen: IntArray) -> Paths:
        """Some of them."""
        return Paths(**{one.name: getattr(self, one.name)[chosen] for one in fields(self)})

    def with_ends(self, length_m: FloatArray) -> FloatArray:
        """Both ends and all points between, shape (strings, points + 2, 2), the last repeated as padding. [m]"""
        count, most = self.screen.shape
        path = np.zeros((count, most + 2, 2))
        path[:, 1:-1, 0] = np.where(self.screen >= 0, self.along_m, length_m[:, None])
        path[:, 1:-1, 1] = np.where(self.screen >= 0, self.off_m, 0.0)
        path[:, -1, 0] = length_m
        return path


def wrap(points: Points, length_m: FloatArray) -> Paths:
    """String all strings at once by gift wrapping: from the start, always the next point that is farthest to the left.

    Parameters
    ----------
    points : Points
        What the strings must go around, sorted by string.
    length_m : ndarray of float, shape (strings,)
        Where the line ends. [m]

    Returns
    -------
    Paths
        Their corners; a string with no points is straight.
    """
    count = len(length_m)
    corner_along, corner_off = np.zeros((count, MOST_CORNERS)), np.zeros((count, MOST_CORNERS))
    screen = np.full((count, MOST_CORNERS), -1, dtype=np.int64)
    sound = np.ones(count, dtype=bool)
    at_along, at_off = np.zeros(count), np.zeros(count)
    # Points still to be had, and the strings that still turn: `owner`, and how many points each has.
    live, along_m, off_m = np.arange(len(points)), points.along_m, points.off_m
    owner, first, number = _runs(points.string)
    for step in range(MOST_CORNERS + 1):
        if not len(owner):
            break
        goal_along, goal_off = length_m[owner] - at_along[owner], -at_off[owner]
        to_along = along_m - np.repeat(at_along[owner], number)
        to_off = off_m - np.repeat(at_off[owner], number)
        goal_along, goal_off = np.repeat(goal_along, number), np.repeat(goal_off, number)
        angle = np.arctan2(goal_along * to_off - goal_off * to_along, goal_along * to_along + goal_off * to_off)
        near_m = np.hypot(to_along, to_off)
        angle[near_m <= SAME_CORNER_M / 20.0] = -np.inf
        best = np.maximum.reduceat(angle, first)
        turns = best > TINY_M
        if step == MOST_CORNERS:
            sound[owner[turns]] = False
            break
        ties = np.flatnonzero(angle >= np.repeat(np.where(turns, best, np.inf) - 1e-12, number))
        string = points.string[live[ties]]
        order = ties[np.lexsort((near_m[ties], string))]
        chosen = order[np.append(True, np.diff(points.string[live[order]]) > 0)[: len(order)]]
        where = points.string[live[chosen]]
        at_along[where], at_off[where] = along_m[chosen], off_m[chosen]
        corner_along[where, step], corner_off[where, step] = along_m[chosen], off_m[chosen]
        screen[where, step] = points.screen[live[chosen]]
        stays = np.repeat(turns, number)
        stays[chosen] = False
        live, along_m, off_m = live[stays], along_m[stays], off_m[stays]
        owner, first, number = _runs(points.string[live])
    used = slice(0, max(1, int(np.sum(np.any(screen >= 0, axis=0)))))
    return Paths(
        along_m=corner_along[:, used],
        off_m=corner_off[:, used],
        screen=screen[:, used],
        nu=np.full(screen[:, used].shape, np.inf),
        sound=sound,
    )


def _runs(string: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """Strings of sorted points, where the points of each begin, and how many it has."""
    first = np.flatnonzero(np.append(True, np.diff(string) > 0))[: len(string)]
    return string[first], first, np.diff(np.append(first, len(string)))


def hemmed_in(points: Points, length_m: FloatArray) -> BoolArray:
    """Strings of which an end has points on all sides, and so is no corner of the hull.

    Parameters
    ----------
    points : Points
        What the strings must go around, sorted by string.
    length_m : ndarray of float, shape (strings,)
        Where the line ends. [m]

    Returns
    -------
    ndarray of bool, shape (strings,)
    """
    result = np.zeros(len(length_m), dtype=bool)
    first = np.flatnonzero(np.append(True, np.diff(points.string) > 0))[: len(points)]
    if not len(first):
        return result
    owner = points.string[first]
    for along_m in (points.along_m, length_m[points.string] - points.along_m):
        angle = np.where(np.hypot(along_m, points.off_m) > TINY_M, np.arctan2(points.off_m, along_m), 0.0)
        spread = np.maximum.reduceat(angle, first) - np.minimum.reduceat(angle, first)
        result[owner] |= spread >= np.pi - 1e-9
    return result


def grazed(points: Points, corners: Paths, length_m: FloatArray, *, wavelength_m: float) -> Paths:
    """Strings with the edges that lie close below them put in.

    Parameters
    ----------
    points : Points
        All points of sections near the strings.
    corners : Paths
        The strings' corners.
    length_m : ndarray of float, shape (strings,)
        Where the line ends. [m]
    wavelength_m : float
        Wavelength. [m]

    Returns
    -------
    Paths
        Corners and grazed edges in order. A screen of which any part lies above its string is left out: the string
        passes on its other side.
    """
    path = corners.with_ends(length_m)
    here = np.column_stack([points.along_m, points.off_m])
    best_nu = np.full(len(points), -np.inf)
    best_leg = np.zeros(len(points), dtype=np.int64)
    best_x = np.zeros(len(points))
    above = np.zeros(len(points), dtype=bool)
    beside_corner = np.zeros(len(points), dtype=bool)
    legs = np.sum(corners.screen >= 0, axis=1) + 1
    for leg in range(int(legs.max(initial=0))):
        these = np.flatnonzero(legs[points.string] > leg)
        string = points.string[these]
        step = path[string, leg + 1] - path[string, leg]
        offset = here[these] - path[string, leg]
        size = np.maximum(np.hypot(step[:, 0], step[:, 1]), TINY_M)
        x = (step[:, 0] * offset[:, 0] + step[:, 1] * offset[:, 1]) / size
        height = (step[:, 0] * offset[:, 1] - step[:, 1] * offset[:, 0]) / size
        beside_corner[these[np.abs(offset).sum(axis=1) < SAME_CORNER_M]] = True
        within = np.flatnonzero((x > SAME_CORNER_M) & (x < size - SAME_CORNER_M))
        x, height, size, these = x[within], height[within], size[within], these[within]
        nu = height * np.sqrt(2.0 * size / (wavelength_m * x * (size - x)))
        above[these[height > TINY_M * 10.0]] = True
        better = nu > best_nu[these]
        these = these[better]
        best_nu[these], best_x[these], best_leg[these] = nu[better], x[better], leg
    bad_row = np.zeros(int(points.row.max()) + 1 if len(points) else 0, dtype=bool)
    bad_row[points.row[above]] = True
    close = (best_nu > LEAST_NU) & ~beside_corner & ~bad_row[points.row]
    return _inserted(points.pick(close), corners, nu=best_nu[close], leg=best_leg[close], x_m=best_x[close])


def _inserted(points: Points, corners: Paths, *, nu: FloatArray, leg: IntArray, x_m: FloatArray) -> Paths:
    """Put grazed edges between the corners of their strings: those nearest the string, each place once."""
    close = np.lexsort((-nu, x_m, leg, points.string))

    def near_next(within_m: float) -> BoolArray:
        """Whether the next one lies on the same leg and no farther off."""
        same_leg = (np.diff(points.string[close]) == 0) & (np.diff(leg[close]) == 0)
        return np.append(same_leg & (np.diff(x_m[close]) < within_m), False)[: len(close)]

    same_depth = np.append(np.abs(np.diff(nu[close])) < 1e-6, False)[: len(close)]  # noqa: PLR2004  rounding
    close = close[~np.roll(near_next(1e-6) & same_depth, 1)]  # corners that bodies share
    twins = near_next(SAME_CORNER_M)
    higher_next = np.append(nu[close[1:]] > nu[close[:-1]], False)[: len(close)]
    close = close[~((twins & higher_next) | np.roll(twins & ~higher_next, 1))]  # of two the higher stays
    by_nu = close[np.lexsort((-nu[close], points.string[close]))]
    string = points.string[by_nu]
    opens = np.append(True, np.diff(string) > 0)[: len(string)]
    rank = np.arange(len(string)) - np.maximum.accumulate(np.where(opens, np.arange(len(string)), 0))
    by_nu = by_nu[rank < MOST_GRAZED]
    count, most = corners.screen.shape
    place = np.where(corners.screen >= 0, np.arange(most) + 1.0, np.inf)
    all_place = np.concatenate([place, np.full((count, MOST_GRAZED), np.inf)], axis=1)
    along_m, off_m = (np.pad(one, ((0, 0), (0, MOST_GRAZED))) for one in (corners.along_m, corners.off_m))
    screen = np.pad(corners.screen, ((0, 0), (0, MOST_GRAZED)), constant_values=-1)
    depth = np.full(screen.shape, np.inf)
    slot = most + rank[rank < MOST_GRAZED]
    string = points.string[by_nu]
    all_place[string, slot] = leg[by_nu] + 0.5 + 0.4 * x_m[by_nu] / (1.0 + x_m[by_nu])
    along_m[string, slot], off_m[string, slot] = points.along_m[by_nu], points.off_m[by_nu]
    screen[string, slot], depth[string, slot] = points.screen[by_nu], nu[by_nu]
    order = np.argsort(all_place, axis=1, kind="stable")
    rows = np.arange(count)[:, None]
    used = int((screen >= 0).sum(axis=1).max(initial=0))
    order = order[:, : max(1, used)]
    return Paths(
        along_m=along_m[rows, order],
        off_m=off_m[rows, order],
        screen=screen[rows, order],
        nu=depth[rows, order],
        sound=corners.sound,
    )
