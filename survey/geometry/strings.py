"""The shortest strings that lead around what stands in a line: over it, under it, past its left and past its right."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.geometry.crossings import segment_crossings
from survey.geometry.screens import Screens
from survey.geometry.sheets import Sheets

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

SIDES = ("over", "under", "left", "right")
"""The four sides: two in the upright plane through both ends, two in the plane through them that is most level."""
MOST_CORNERS = 10
"""A string that needs more corners than this is given up."""
ROUNDS = 4
"""How often a string may meet something new and be led around that too."""
CLEAR_M = 0.01
"""How far outside its corners a string is laid when it is asked what it meets: a seam between two things is closed."""
TINY_M = 1e-9


@dataclass(frozen=True, kw_only=True)
class Strings:
    """Strings around what stands between the ends of some lines; each lies in a plane through both ends.

    Attributes
    ----------
    line : ndarray of int, shape (strings,)
        Which line a string belongs to.
    side : ndarray of int, shape (strings,)
        Index into `SIDES`.
    along_m, off_m : ndarray of float, shape (strings, corners)
        Where its corners are: along the line from its start, and off it to the string's own side. [m]
    screen : ndarray of int, shape (strings, corners)
        Which screen each corner belongs to; -1 beyond the last corner.
    length_m : ndarray of float, shape (strings,)
        Length of the straight line. [m]
    leg_string, leg_sheet : ndarray of int, shape (met,)
        What the strings themselves still go through: which string, and which sheet.
    legs_m : ndarray of float, shape (strings, corners + 1, 2, 3)
        Start and end of each leg in space, `CLEAR_M` outside the corners; NaN beyond the last. [m]
    """

    line: IntArray
    side: IntArray
    along_m: FloatArray
    off_m: FloatArray
    screen: IntArray
    length_m: FloatArray
    leg_string: IntArray
    leg_sheet: IntArray
    legs_m: FloatArray

    def __len__(self) -> int:
        return len(self.line)


@dataclass(frozen=True, kw_only=True)
class _Lines:
    """Lines with their ends, axes (along, up, left) and lengths."""

    starts_m: FloatArray
    ends_m: FloatArray
    axes: FloatArray
    length_m: FloatArray

    def in_space(self, line: IntArray, side: IntArray, along_m: FloatArray, off_m: FloatArray) -> FloatArray:
        """Points of strings in space, shape (strings, points, 3). [m]"""
        axis, sign = _axis_of(side)
        own = self.axes[line]
        off = own[np.arange(len(line)), axis] * sign[:, None]
        from_start_m = along_m[..., None] * own[:, None, 0] + off_m[..., None] * off[:, None]
        return np.asarray(self.starts_m[line][:, None] + from_start_m)


@dataclass(frozen=True, kw_only=True)
class _Corners:
    """Corners of strings, padded to `MOST_CORNERS`, and whether each string could be strung."""

    along_m: FloatArray
    off_m: FloatArray
    screen: IntArray
    sound: BoolArray

    def pick(self, chosen: IntArray) -> _Corners:
        return _Corners(
            along_m=self.along_m[chosen], off_m=self.off_m[chosen], screen=self.screen[chosen], sound=self.sound[chosen]
        )


def triads(starts_m: FloatArray, ends_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Axes of each line: along it, up, and to its left; and its length.

    Parameters
    ----------
    starts_m, ends_m : ndarray of float, shape (lines, 3)
        Ends. [m]

    Returns
    -------
    tuple of ndarray, shapes (lines, 3, 3) and (lines,)
        Unit axes as rows: along; square to it and as upright as can be; level, to the left. And lengths. [m]
    """
    difference_m = ends_m - starts_m
    length_m = np.linalg.norm(difference_m, axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        along = difference_m / length_m[:, None]
    along[length_m <= TINY_M] = [1.0, 0.0, 0.0]
    level = np.hypot(along[:, 0], along[:, 1])
    upright = level <= TINY_M
    left = np.zeros_like(along)
    left[:, 0] = np.where(upright, 0.0, -along[:, 1] / np.where(upright, 1.0, level))
    left[:, 1] = np.where(upright, 1.0, along[:, 0] / np.where(upright, 1.0, level))
    up = np.cross(along, left)
    return np.stack([along, up, left], axis=1), length_m


def strings_around(
    starts_m: FloatArray, ends_m: FloatArray, line: IntArray, screen: IntArray, *, screens: Screens, sheets: Sheets
) -> Strings:
    """Lead strings around what stands in some lines.

    Parameters
    ----------
    starts_m, ends_m : ndarray of float, shape (lines, 3)
        Ends of the lines. [m]
    line, screen : ndarray of int, shape (blockers,)
        What stands in them: which line, and which screen.
    screens : Screens
        All screens of the site.
    sheets : Sheets
        All sheets of the site: what a string may still meet.

    Returns
    -------
    Strings
        Those that there are. A side is left out where it leads into the ground, or cannot be strung because one end
        is closed in.

    Notes
    -----
    In its plane a string is the part of the convex hull of both ends and of the sections of all its screens that
    lies on its side, found by gift wrapping from the start. If it meets another screen on its way, that one is added
    and the string drawn anew.
    """
    axes, length_m = triads(starts_m, ends_m)
    all_lines = _Lines(starts_m=starts_m, ends_m=ends_m, axes=axes, length_m=length_m)
    shut_in = np.any(_inside(starts_m, screens) != _inside(ends_m, screens), axis=1)
    keep = ~shut_in[line]
    # A string is numbered by its line and its side; rows tell which screens it goes around.
    string = (line[keep][:, None] * len(SIDES) + np.arange(len(SIDES))).ravel()
    around = np.repeat(screen[keep], len(SIDES))
    done: list[Strings] = []
    for turn in range(ROUNDS):
        rows = np.unique(string * len(screens) + around)
        string, around = rows // max(1, len(screens)), rows % max(1, len(screens))
        names, strung = np.unique(string, return_inverse=True)
        lines, sides = names // len(SIDES), names % len(SIDES)
        corners = _hulls(all_lines, lines, sides, strung, screens.corners_m[around], screens.edges[around], around)
        at_m = all_lines.in_space(lines, sides, corners.along_m, corners.off_m)
        in_ground = np.any((at_m[..., 2] <= TINY_M) & (corners.screen >= 0), axis=1)
        kept = np.flatnonzero(corners.sound & ~(in_ground & (sides == SIDES.index("under"))))
        found = _strings(all_lines, lines[kept], sides[kept], corners.pick(kept))
        met_string, met_sheet = _met(found, sheets)
        met_screen = screens.of_sheet[met_sheet]
        blocks = met_screen >= 0
        known = np.isin(names[kept][met_string] * len(screens) + met_screen, rows)
        fresh = np.flatnonzero(blocks & ~known)
        again = np.unique(met_string[fresh])
        last = turn == ROUNDS - 1
        finished = np.ones(len(found), dtype=bool) if last else ~np.isin(np.arange(len(found)), again)
        counted = finished[met_string] & ~(blocks & known)
        renumbered = np.cumsum(finished) - 1
        done.append(
            Strings(
                line=found.line[finished],
                side=found.side[finished],
                along_m=found.along_m[finished],
                off_m=found.off_m[finished],
                screen=found.screen[finished],
                length_m=found.length_m[finished],
                leg_string=renumbered[met_string[counted]],
                leg_sheet=met_sheet[counted],
                legs_m=found.legs_m[finished],
            )
        )
        if last or not len(again):
            break
        more = names[kept][again]
        carried = np.isin(string, more)
        string = np.concatenate([string[carried], names[kept][met_string[fresh]]])
        around = np.concatenate([around[carried], met_screen[fresh]])
    return _joined(done)


def _joined(parts: list[Strings]) -> Strings:
    offsets = np.cumsum([0, *(len(part) for part in parts)])
    return Strings(
        line=np.concatenate([part.line for part in parts]),
        side=np.concatenate([part.side for part in parts]),
        along_m=np.concatenate([part.along_m for part in parts]),
        off_m=np.concatenate([part.off_m for part in parts]),
        screen=np.concatenate([part.screen for part in parts]),
        length_m=np.concatenate([part.length_m for part in parts]),
        leg_string=np.concatenate([part.leg_string + first for part, first in zip(parts, offsets, strict=False)]),
        leg_sheet=np.concatenate([part.leg_sheet for part in parts]),
        legs_m=np.concatenate([part.legs_m for part in parts]),
    )


def _inside(points_m: FloatArray, screens: Screens) -> BoolArray:
    """Which points lie inside which boxes, shape (points, screens)."""
    corner = screens.corners_m[:, 0]
    inside = np.tile(screens.is_box, (len(points_m), 1))
    for other in (1, 3, 4):
        edge = screens.corners_m[:, other] - corner
        square = np.maximum(np.sum(edge**2, axis=1), TINY_M)
        share = (points_m @ edge.T - np.sum(corner * edge, axis=1)) / square
        inside &= (share > 1e-6) & (share < 1.0 - 1e-6)  # noqa: PLR2004  on a face is not inside
    return inside


def _axis_of(sides: IntArray) -> tuple[IntArray, FloatArray]:
    """Which axis of the triad a side lies along, 1 up or 2 left, and with which sign."""
    return np.where(sides < 2, 1, 2), np.where(sides % 2 == 0, 1.0, -1.0)  # noqa: PLR2004  see SIDES


def _hulls(
    all_lines: _Lines,
    lines: IntArray,
    sides: IntArray,
    strung: IntArray,
    bodies_m: FloatArray,
    edges: IntArray,
    around: IntArray,
) -> _Corners:
    """Corners of every string around the bodies of its rows."""
    axis, sign = _axis_of(sides)
    row_line = lines[strung]
    local = np.einsum("kij,kcj->kci", all_lines.axes[row_line], bodies_m - all_lines.starts_m[row_line][:, None])
    index = np.arange(len(strung))
    off = np.take_along_axis(local, axis[strung][:, None, None], axis=2)[..., 0] * sign[strung][:, None]
    out = np.take_along_axis(local, (3 - axis)[strung][:, None, None], axis=2)[..., 0]
    along = local[..., 0]
    one, other = edges[..., 0], edges[..., 1]
    rows = index[:, None]
    out_1, out_2 = out[rows, one], out[rows, other]
    cut = ((out_1 > 0) != (out_2 > 0)) | (out_1 == 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(out_1 == out_2, 0.0, out_1 / (out_1 - out_2))
    point_along = along[rows, one] + share * (along[rows, other] - along[rows, one])
    point_off = off[rows, one] + share * (off[rows, other] - off[rows, one])
    row, _ = np.nonzero(cut)
    order = np.argsort(strung[row], kind="stable")
    row = row[order]
    points_m = np.column_stack([point_along[cut], point_off[cut]])[order]
    return _wrapped(points_m, strung[row], around[row], all_lines.length_m[lines])


def _wrapped(points_m: FloatArray, string: IntArray, screen: IntArray, length_m: FloatArray) -> _Corners:
    """Gift wrapping of all strings at once: from the start, always the next point that is farthest to the left."""
    count, (along_m, off_m) = len(length_m), points_m.T
    corner_along = np.zeros((count, MOST_CORNERS))
    corner_off = np.zeros((count, MOST_CORNERS))
    corner_screen = np.full((count, MOST_CORNERS), -1, dtype=np.int64)
    sound = np.ones(count, dtype=bool)
    at_along, at_off = np.zeros(count), np.zeros(count)
    first = np.flatnonzero(np.append(True, np.diff(string) > 0)) if len(string) else np.zeros(0, dtype=np.int64)
    owner = string[first]
    active = np.zeros(count, dtype=bool)
    active[owner] = True
    free = np.ones(len(string), dtype=bool)
    for step in range(MOST_CORNERS + 1):
        to_along, to_off = along_m - at_along[string], off_m - at_off[string]
        goal_along, goal_off = (length_m - at_along)[string], -at_off[string]
        angle = np.arctan2(goal_along * to_off - goal_off * to_along, goal_along * to_along + goal_off * to_off)
        near = np.hypot(to_along, to_off)
        angle = np.where(free & active[string] & (near > CLEAR_M / 10), angle, -np.inf)
        best = np.full(count, -np.inf)
        best[owner] = np.maximum.reduceat(angle, first) if len(first) else best[owner]
        if step == 0:  # an end with points all round it is no corner of the hull: it is closed in
            lowest = np.full(count, np.inf)
            seen = np.where(np.isfinite(angle), angle, np.inf)
            lowest[owner] = np.minimum.reduceat(seen, first) if len(first) else lowest[owner]
            sound &= ~((best - lowest >= np.pi) & np.isfinite(best))
        active &= best > TINY_M
        if not active.any():
            break
        if step == MOST_CORNERS:
            sound &= ~active
            break
        ties = np.flatnonzero(active[string] & (angle >= best[string] - 1e-12))
        order = ties[np.lexsort((near[ties], string[ties]))]
        chosen = order[np.append(True, np.diff(string[order]) > 0)]
        where = string[chosen]
        corner_along[where, step], corner_off[where, step] = along_m[chosen], off_m[chosen]
        corner_screen[where, step] = screen[chosen]
        at_along[where], at_off[where] = along_m[chosen], off_m[chosen]
        free[chosen] = False
    return _Corners(along_m=corner_along, off_m=corner_off, screen=corner_screen, sound=sound)


def _strings(all_lines: _Lines, lines: IntArray, sides: IntArray, corners: _Corners) -> Strings:
    """Strings with their legs laid a little outside their corners."""
    count, most = corners.screen.shape
    used, length_m = corners.screen >= 0, all_lines.length_m[lines]
    path = np.zeros((count, most + 2, 2))
    path[:, 1:-1, 0] = np.where(used, corners.along_m, length_m[:, None])
    path[:, 1:-1, 1] = np.where(used, corners.off_m, 0.0)
    path[:, -1, 0] = length_m
    step = np.diff(path, axis=1)
    size = np.linalg.norm(step, axis=2, keepdims=True)
    heading = step / np.maximum(size, TINY_M)
    bisector = heading[:, :-1] + heading[:, 1:]
    bisector /= np.maximum(np.linalg.norm(bisector, axis=2, keepdims=True), TINY_M)
    outward = np.stack([-bisector[..., 1], bisector[..., 0]], axis=2)
    path[:, 1:-1] += np.where(used[..., None], CLEAR_M * outward, 0.0)
    at_m = all_lines.in_space(lines, sides, path[..., 0], path[..., 1])
    at_m[:, -1] = all_lines.ends_m[lines]
    legs_m = np.stack([at_m[:, :-1], at_m[:, 1:]], axis=2)
    legs_m[:, 1:][~used] = np.nan
    legs_m[np.arange(count), used.sum(axis=1), 1] = all_lines.ends_m[lines]
    nothing = np.zeros(0, dtype=np.int64)
    return Strings(
        line=lines,
        side=sides,
        along_m=corners.along_m,
        off_m=corners.off_m,
        screen=corners.screen,
        length_m=length_m,
        leg_string=nothing,
        leg_sheet=nothing,
        legs_m=legs_m,
    )


def _met(strings: Strings, sheets: Sheets) -> tuple[IntArray, IntArray]:
    """What strings go through: which string, and which sheet, a row for each time."""
    string, leg = np.nonzero(~np.isnan(strings.legs_m[..., 0, 0]))
    met = segment_crossings(strings.legs_m[string, leg, 0], strings.legs_m[string, leg, 1], sheets)
    return string[met.start], met.sheet
