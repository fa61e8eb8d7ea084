"""The shortest strings that lead around what stands in a line: over it, under it, past its left and past its right."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.geometry.crossings import ON_SHEET_M, segment_crossings
from survey.geometry.hulls import Paths, Points, grazed, hemmed_in, sections, wrap
from survey.geometry.screens import Screens, inside_boxes
from survey.geometry.sheets import Sheets

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

SIDES = ("over", "under", "left", "right")
"""The four sides: two in the upright plane through both ends, two in the plane through them that is most level."""
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
    paths : Paths
        Their corners, and the edges close below them.
    around : ndarray of bool, shape (strings,)
        Whether it leads around something; one that does not is the line itself, with edges that it grazes.
    met_string, met_sheet : ndarray of int, shape (met,)
        What the strings themselves still go through: which string, and which sheet.
    legs_m : ndarray of float, shape (strings, legs, 2, 3)
        Start and end of each leg in space, a little outside the corners; NaN beyond the last. [m]
    hemmed_in : ndarray of int, shape (lines,)
        Lines of which an end has something on all sides in a plane: strung from their other end they may go elsewhere.
    """

    line: IntArray
    side: IntArray
    paths: Paths
    around: BoolArray
    met_string: IntArray
    met_sheet: IntArray
    legs_m: FloatArray
    hemmed_in: IntArray

    def __len__(self) -> int:
        return len(self.line)

    @property
    def last_leg(self) -> IntArray:
        """Which leg of each string comes in at the line's end."""
        return np.asarray(np.sum(~np.isnan(self.legs_m[..., 0, 0]), axis=1) - 1)

    def legs_around(self) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
        """Legs of the strings that lead around something: which string, which of its legs, and their ends. [m]"""
        string, leg = np.nonzero(~np.isnan(self.legs_m[..., 0, 0]) & self.around[:, None])
        return string, leg, self.legs_m[string, leg, 0], self.legs_m[string, leg, 1]


@dataclass(frozen=True, kw_only=True)
class Lines:
    """Straight lines with their axes.

    Attributes
    ----------
    starts_m, ends_m : ndarray of float, shape (lines, 3)
        Ends. [m]
    axes : ndarray of float, shape (lines, 3, 3)
        Unit axes as rows: along; square to it and as upright as can be; level, to the left.
    length_m : ndarray of float, shape (lines,)
        Lengths. [m]
    mirror : ndarray of float, shape (lines, 5), optional
        For the unfolded legs of mirror paths: normal and offset of the mirror's plane, with what stands in space, and
        not behind the mirror, on its positive side; and which sheet the mirror is. [-, m, -]
    """

    starts_m: FloatArray
    ends_m: FloatArray
    axes: FloatArray
    length_m: FloatArray
    mirror: FloatArray | None = None

    def is_real(self, line: IntArray, points_m: FloatArray) -> BoolArray:
        """Which points of some lines lie in space, and not behind a mirror."""
        if self.mirror is None:
            return np.ones(len(line), dtype=bool)
        planes = self.mirror[line]
        return np.asarray(np.sum(points_m * planes[:, :3], axis=1) - planes[:, 3] > ON_SHEET_M)

    def is_mirror(self, line: IntArray, sheet: IntArray) -> BoolArray:
        """Which of some sheets are the mirrors of their lines."""
        if self.mirror is None:
            return np.zeros(len(line), dtype=bool)
        return np.asarray(self.mirror[line, 4] == sheet)

    def pick(self, chosen: IntArray) -> Lines:
        """Some of them, also several times."""
        return Lines(
            starts_m=self.starts_m[chosen],
            ends_m=self.ends_m[chosen],
            axes=self.axes[chosen],
            length_m=self.length_m[chosen],
            mirror=None if self.mirror is None else self.mirror[chosen],
        )

    def back(self) -> Lines:
        """The same lines from their other ends."""
        return lines_between(self.ends_m, self.starts_m, self.mirror)

    def in_space(self, line: IntArray, side: IntArray, flat_m: FloatArray) -> FloatArray:
        """Points of strings in space, shape (strings, points, 3), from those in their planes. [m]"""
        own = self.axes[line]
        off = own[np.arange(len(line)), AXIS[side]] * SIGN[side][:, None]
        from_start_m = flat_m[..., :1] * own[:, None, 0] + flat_m[..., 1:] * off[:, None]
        return np.asarray(self.starts_m[line][:, None] + from_start_m)


AXIS = np.array([1, 1, 2, 2])
SIGN = np.array([1.0, -1.0, 1.0, -1.0])


def lines_between(starts_m: FloatArray, ends_m: FloatArray, mirror: FloatArray | None = None) -> Lines:
    """Lines from starts to ends, one by one.

    Parameters
    ----------
    starts_m, ends_m : ndarray of float, shape (lines, 3)
        Ends. [m]
    mirror : ndarray of float, shape (lines, 5), optional
        As in `Lines`.
    """
    difference_m = ends_m - starts_m
    length_m = np.linalg.norm(difference_m, axis=1)
    along = np.divide(
        difference_m, length_m[:, None], out=np.zeros_like(difference_m), where=length_m[:, None] > TINY_M
    )
    along[length_m <= TINY_M, 0] = 1.0
    level = np.hypot(along[:, 0], along[:, 1])
    upright = level <= TINY_M
    left = np.zeros_like(along)
    left[:, 0] = np.where(upright, 0.0, -along[:, 1] / np.where(upright, 1.0, level))
    left[:, 1] = np.where(upright, 1.0, along[:, 0] / np.where(upright, 1.0, level))
    axes = np.stack([along, np.cross(along, left), left], axis=1)
    return Lines(starts_m=starts_m, ends_m=ends_m, axes=axes, length_m=length_m, mirror=mirror)


def strings_around(
    lines: Lines,
    near: tuple[IntArray, IntArray, BoolArray],
    *,
    screens: Screens,
    sheets: Sheets,
    wavelength_m: float,
    ignored: IntArray | None = None,
) -> Strings:
    """Lead strings around what stands in some lines, or close beside them.

    Parameters
    ----------
    lines : Lines
        The lines.
    near : tuple of three ndarrays, shape (pairs,)
        Which line, which screen, and whether it blocks the line or only lies close beside it.
    screens : Screens
        All screens of the site.
    sheets : Sheets
        All sheets of the site: what a string may still meet.
    wavelength_m : float
        Wavelength: how close is close. [m]
    ignored : ndarray of int, optional
        Screens that are as air for one line: line times the number of screens plus screen.

    Returns
    -------
    Strings
        Those that there are. A side is left out where it leads into the ground, or one end is inside a closed box.

    Notes
    -----
    In its plane a string is the part of the convex hull of both ends and of the sections of all its screens that
    lies on its side. If it meets another screen on its way, that one is added and the string drawn anew.
    """
    line, screen, blocks = near
    keep = ~_shut_in(lines, screens)[line]
    # A string is numbered by its line and its side; a row is a string and a screen, numbered alike.
    string = (line[keep][:, None] * len(SIDES) + np.arange(len(SIDES))).ravel()
    row, forced = _rows(
        string * len(screens) + np.repeat(screen[keep], len(SIDES)), np.repeat(blocks[keep], len(SIDES))
    )
    done: list[Strings] = []
    for turn in range(ROUNDS):
        names, found = _strung(lines, row, forced, screens=screens, wavelength_m=wavelength_m)
        met_string, met_sheet, misses = _met(found, lines, sheets)
        met_screen = screens.of_sheet[met_sheet]
        met_row = names[met_string] * len(screens) + met_screen
        is_screen = met_screen >= 0
        if ignored is not None:
            counted = ~(is_screen & np.isin(names[met_string] // len(SIDES) * len(screens) + met_screen, ignored))
            met_string, met_sheet, met_screen = met_string[counted], met_sheet[counted], met_screen[counted]
            met_row, is_screen = met_row[counted], is_screen[counted]
        fresh = is_screen & ~np.isin(met_row, row[forced])
        again = np.zeros(len(found), dtype=bool)
        again[met_string[fresh]] = turn < ROUNDS - 1
        # What a string must go around it may still go through: an end in a corner from which no side leads out. The
        # line itself, which only touches an edge, does not.
        bends = np.asarray(np.any(found.paths.corners, axis=1))
        counts = ~again[met_string] & (~is_screen | fresh | bends[met_string])
        counts &= ~misses[met_string]
        done.append(_part(found, ~again & ~misses, met_string[counts], met_sheet[counts]))
        again &= ~misses
        if not again.any():
            break
        carried = np.isin(row // len(screens), names[again])
        fresh &= again[met_string]
        row, forced = _rows(
            np.concatenate([row[carried], met_row[fresh]]),
            np.concatenate([forced[carried], np.ones(int(fresh.sum()), dtype=bool)]),
        )
    return _joined(done)


def _rows(row: IntArray, forced: BoolArray) -> tuple[IntArray, BoolArray]:
    """Each row once, sorted; forced where it was forced once."""
    once, inverse = np.unique(row, return_inverse=True)
    any_forced = np.zeros(len(once), dtype=bool)
    any_forced[inverse[forced]] = True
    return once, any_forced


def _shut_in(lines: Lines, screens: Screens) -> BoolArray:
    """Which lines have one end inside a closed box and the other outside it."""
    inside = []
    for points_m in (lines.starts_m, lines.ends_m):
        distinct_m, inverse = np.unique(points_m, axis=0, return_inverse=True)
        real = lines.is_real(np.arange(len(points_m)), points_m)
        inside.append((inside_boxes(distinct_m, screens.corners_m) & screens.is_box)[inverse.ravel()] & real[:, None])
    return np.asarray(np.any(inside[0] != inside[1], axis=1))


def _strung(
    lines: Lines, row: IntArray, forced: BoolArray, *, screens: Screens, wavelength_m: float
) -> tuple[IntArray, Strings]:
    """Strings for rows, those that could be strung: their numbers, and the strings without what they meet."""
    count = max(1, len(screens))
    names, string = np.unique(row // count, return_inverse=True)
    line, side = names // len(SIDES), names % len(SIDES)
    body, flat_m = _sections(
        lines, line[string], side[string], screens.corners_m[row % count], screens.edges[row % count]
    )
    points = Points(
        along_m=flat_m[:, 0],
        off_m=flat_m[:, 1],
        string=string[body],
        row=body,
        screen=(row % count)[body],
        forced=forced[body],
    )
    length_m = lines.length_m[line]
    around_these = points.pick(points.forced)
    corners = wrap(around_these, length_m)
    flat_m = np.stack([corners.along_m, corners.off_m], axis=2)
    at_m = lines.in_space(line, side, flat_m)
    low = np.any((at_m[..., 2] <= TINY_M) & (corners.screen >= 0), axis=1)
    behind = np.zeros(len(line), dtype=bool)
    if lines.mirror is not None:  # a leg that would leave through its own mirror is none
        string_of, corner = np.nonzero(corners.screen >= 0)
        behind[string_of[~lines.is_real(line[string_of], at_m[string_of, corner])]] = True
    paths = grazed(points, corners, length_m, wavelength_m=wavelength_m)
    has_forced = np.zeros(len(names), dtype=bool)
    has_forced[string[forced]] = True
    # A string that must go around something and is straight all the same touches its very edge.
    around = has_forced & (paths.screen[:, 0] >= 0)
    kept = np.flatnonzero(corners.sound & ~behind & ~(low & (side == SIDES.index("under"))) & (around | ~has_forced))
    nothing = np.zeros(0, dtype=np.int64)
    strings = Strings(
        line=line[kept],
        side=side[kept],
        paths=paths.pick(kept),
        around=around[kept],
        met_string=nothing,
        met_sheet=nothing,
        legs_m=_legs(lines, line[kept], side[kept], corners.pick(kept)),
        hemmed_in=np.unique(line[hemmed_in(around_these, length_m)]),
    )
    return names[kept], strings


def _sections(
    lines: Lines, line: IntArray, side: IntArray, bodies_m: FloatArray, edges: IntArray
) -> tuple[IntArray, FloatArray]:
    """Sections of bodies in the planes of their strings: which body, and where in its plane. [m]"""
    local = np.einsum("kij,kcj->ikc", lines.axes[line], bodies_m - lines.starts_m[line][:, None])
    upright = (AXIS[side] == 1)[:, None]
    off_m = np.where(upright, local[1], local[2]) * SIGN[side][:, None]
    return sections(local[0], off_m, np.where(upright, local[2], local[1]), edges)


def _legs(lines: Lines, line: IntArray, side: IntArray, corners: Paths) -> FloatArray:
    """Legs of strings in space, a little outside their corners, shape (strings, legs, 2, 3). [m]"""
    used, length_m = corners.screen >= 0, lines.length_m[line]
    path = corners.with_ends(length_m)
    step = np.diff(path, axis=1)
    heading = step / np.maximum(np.linalg.norm(step, axis=2, keepdims=True), TINY_M)
    bisector = heading[:, :-1] + heading[:, 1:]
    bisector /= np.maximum(np.linalg.norm(bisector, axis=2, keepdims=True), TINY_M)
    outward = np.stack([-bisector[..., 1], bisector[..., 0]], axis=2)
    path[:, 1:-1] += np.where(used[..., None], CLEAR_M * outward, 0.0)
    at_m = lines.in_space(line, side, path)
    at_m[:, -1] = lines.ends_m[line]
    legs_m = np.stack([at_m[:, :-1], at_m[:, 1:]], axis=2)
    legs_m[:, 1:][~used] = np.nan
    legs_m[np.arange(len(line)), used.sum(axis=1), 1] = lines.ends_m[line]
    return legs_m


def _met(strings: Strings, lines: Lines, sheets: Sheets) -> tuple[IntArray, IntArray, BoolArray]:
    """What strings that lead around something go through: which string, and which sheet, a row for each time.

    And which strings of mirror paths miss their mirror.
    """
    string, leg, starts_m, ends_m = strings.legs_around()
    met = segment_crossings(starts_m, ends_m, sheets, stands=(leg == 0, leg == strings.last_leg[string]))
    at_m = starts_m[met.start] + met.fraction[:, None] * (ends_m[met.start] - starts_m[met.start])
    line = strings.line[string[met.start]]
    misses = strings.around & (lines.mirror is not None)
    meets = lines.is_mirror(line, met.sheet) & (met.inside_m > 2.0 * CLEAR_M)  # not just over its edge
    misses[string[met.start[meets]]] = False
    met = met.pick(lines.is_real(line, at_m))
    return string[met.start], met.sheet, misses


def _part(strings: Strings, chosen: BoolArray, met_string: IntArray, met_sheet: IntArray) -> Strings:
    """Some of the strings, with what they meet."""
    number = np.cumsum(chosen) - 1
    kept = np.flatnonzero(chosen)
    return Strings(
        line=strings.line[kept],
        side=strings.side[kept],
        paths=strings.paths.pick(kept),
        around=strings.around[kept],
        met_string=number[met_string],
        met_sheet=met_sheet,
        legs_m=strings.legs_m[kept],
        hemmed_in=strings.hemmed_in,
    )


def _joined(parts: list[Strings]) -> Strings:
    """Several groups of strings as one."""
    first = np.cumsum([0, *(len(part) for part in parts)])
    most = max(part.paths.screen.shape[1] for part in parts)

    def padded(name: str, fill: float) -> NDArray[np.float64]:
        arrays = [getattr(part.paths, name) for part in parts]
        return np.concatenate([np.pad(one, ((0, 0), (0, most - one.shape[1])), constant_values=fill) for one in arrays])

    return Strings(
        line=np.concatenate([part.line for part in parts]),
        side=np.concatenate([part.side for part in parts]),
        paths=Paths(
            along_m=padded("along_m", 0.0),
            off_m=padded("off_m", 0.0),
            screen=padded("screen", -1).astype(np.int64),
            nu=padded("nu", np.inf),
            sound=np.concatenate([part.paths.sound for part in parts]),
        ),
        around=np.concatenate([part.around for part in parts]),
        met_string=np.concatenate([part.met_string + at for part, at in zip(parts, first, strict=False)]),
        met_sheet=np.concatenate([part.met_sheet for part in parts]),
        legs_m=np.concatenate([part.legs_m for part in parts]),
        hemmed_in=np.unique(np.concatenate([part.hemmed_in for part in parts])),
    )
