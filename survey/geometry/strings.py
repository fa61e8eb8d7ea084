"""The shortest strings that lead around what stands in a line: over it, under it, past its left and past its right."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.geometry.hulls import Paths, Points, grazed, hemmed_in, wrap
from survey.geometry.legs import leg_crossings
from survey.geometry.lines import TINY_M, Lines
from survey.geometry.screens import Screens, inside_boxes
from survey.geometry.sections import Sections
from survey.geometry.sheets import Sheets

SIDES = ("over", "under", "left", "right")
"""The four sides: two in the upright plane through both ends, two in the plane through them that is most level."""
ROUNDS = 4
"""How often a string may meet something new and be led around that too."""
CLEAR_M = 0.01
"""How far outside its corners a string is laid when it is asked what it meets: a seam between two things is closed."""


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
    met_cosine : ndarray of float, shape (met,)
        Cosine of the angle at which they meet it, 1 where square; NaN where its screen was not opened. [-]
    legs_m : ndarray of float, shape (strings, legs, 2, 3)
        Start and end of each leg in space, a little outside the corners; NaN beyond the last. [m]
    hemmed_in : ndarray of int, shape (hemmed in,)
        Strings with something on all sides of an end: strung from their other end they may go elsewhere. As line times
        the number of sides plus side, sorted.
    """

    line: IntArray
    side: IntArray
    paths: Paths
    around: BoolArray
    met_string: IntArray
    met_sheet: IntArray
    met_cosine: FloatArray
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


def strings_around(
    lines: Lines,
    near: tuple[IntArray, IntArray, BoolArray],
    *,
    screens: Screens,
    sheets: Sheets,
    wavelength_m: float,
    ignored: IntArray | None = None,
    longest_m: FloatArray | None = None,
    opened: BoolArray | None = None,
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
    longest_m : ndarray of float, shape (lines, sides), optional
        How long a string may be; what comes out longer is left out, and what is negative not even begun. [m]
    opened : ndarray of bool, shape (lines, screens), optional
        Screens that the strings of a line go through, wherever they meet them, and not around.

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
    keep = ~_shut_in(lines, screens, opened)[line]
    # A string is numbered by its line and its side; a row is a string and a screen, numbered alike.
    string = (line[keep][:, None] * len(SIDES) + np.arange(len(SIDES))).ravel()
    row, forced = string * len(screens) + np.repeat(screen[keep], len(SIDES)), np.repeat(blocks[keep], len(SIDES))
    if longest_m is not None:
        asked = longest_m[string // len(SIDES), string % len(SIDES)] >= 0
        row, forced = row[asked], forced[asked]
    row, forced = _rows(row, forced)
    draw = _Drawing(lines, screens, wavelength_m=wavelength_m)
    done: list[Strings] = []
    for turn in range(ROUNDS):
        found = draw.strings(row, forced, longest_m)
        met_string, met_sheet, met_cosine, misses = _met(found, lines, sheets, screens)
        met_screen = screens.of_sheet[met_sheet]
        names = found.line * len(SIDES) + found.side
        met_row = names[met_string] * len(screens) + met_screen
        is_screen = met_screen >= 0
        if ignored is not None:
            counted = ~(is_screen & np.isin(found.line[met_string] * len(screens) + met_screen, ignored))
            met_string, met_sheet, met_cosine = met_string[counted], met_sheet[counted], met_cosine[counted]
            met_row, is_screen, met_screen = met_row[counted], is_screen[counted], met_screen[counted]
        if opened is None:
            met_cosine = np.full(len(met_string), np.nan)
        else:
            is_open = is_screen & opened[found.line[met_string], met_screen]
            is_screen &= ~is_open
            met_cosine = np.where(is_open, met_cosine, np.nan)
        fresh = is_screen & ~_among(met_row, row[forced])
        again = np.zeros(len(found), dtype=bool)
        again[met_string[fresh]] = turn < ROUNDS - 1
        # What a string must go around it may still go through: an end in a corner from which no side leads out. The
        # line itself, which only touches an edge, does not.
        bends = np.asarray(np.any(found.paths.corners, axis=1))
        counts = ~again[met_string] & (~is_screen | fresh | bends[met_string]) & ~misses[met_string]
        met = (met_string[counts], met_sheet[counts], met_cosine[counts])
        finished = _part(found, ~again & ~misses, met)
        done.append(draw.with_grazed(finished, row, forced))
        again &= ~misses
        if not again.any():
            break
        carried = _among(row // len(screens), names[again])
        fresh &= again[met_string]
        row, forced = _rows(
            np.concatenate([row[carried], met_row[fresh]]),
            np.concatenate([forced[carried], np.ones(int(fresh.sum()), dtype=bool)]),
        )
    return _joined(done)


def _among(values: IntArray, ordered: IntArray) -> BoolArray:
    """Which values are among some that are in order."""
    if not len(ordered):
        return np.zeros(len(values), dtype=bool)
    place = np.minimum(np.searchsorted(ordered, values), len(ordered) - 1)
    return np.asarray(ordered[place] == values)


def _rows(row: IntArray, forced: BoolArray) -> tuple[IntArray, BoolArray]:
    """Each row once, sorted; forced where it was forced once."""
    marked = np.sort(row * 2 + ~forced)
    opens = np.append(True, np.diff(marked // 2) > 0)[: len(marked)]
    return marked[opens] // 2, marked[opens] % 2 == 0


def _shut_in(lines: Lines, screens: Screens, opened: BoolArray | None) -> BoolArray:
    """Which lines have one end inside a closed box and the other outside it, but for boxes that are opened."""
    boxes_m = screens.corners_m[screens.is_box]
    if not len(boxes_m):
        return np.zeros(len(lines.length_m), dtype=bool)
    every = np.arange(len(lines.length_m))
    inside = [
        inside_boxes(points_m, boxes_m) & lines.is_real(every, points_m)[:, None]
        for points_m in (lines.starts_m, lines.ends_m)
    ]
    shut = inside[0] != inside[1]
    return np.asarray(np.any(shut if opened is None else shut & ~opened[:, screens.is_box], axis=1))


class _Drawing:
    """Draws strings, with the sections of what they go around kept from one turn to the next."""

    def __init__(self, lines: Lines, screens: Screens, *, wavelength_m: float) -> None:
        self._lines, self._screens, self._wavelength_m = lines, screens, wavelength_m
        self._sections = Sections(lines, screens)

    def _points(self, row: IntArray, forced: BoolArray, names: IntArray) -> Points:
        """Sections for sorted rows of the strings of some numbers."""
        string = np.searchsorted(names, row // len(self._screens))
        line, side = names // len(SIDES), names % len(SIDES)
        return self._sections.points(string, row % len(self._screens), line=line, side=side, forced=forced)

    def strings(self, row: IntArray, forced: BoolArray, longest_m: FloatArray | None) -> Strings:
        """Those strings for rows that could be strung, without grazed edges and without what they meet."""
        count, lines = max(1, len(self._screens)), self._lines
        opens = np.append(True, np.diff(row // count) > 0)[: len(row)]
        names = row[opens] // count
        line, side = names // len(SIDES), names % len(SIDES)
        points = self._points(row[forced], forced[forced], names)
        length_m = lines.length_m[line]
        corners = wrap(points, length_m)
        bends = corners.screen[:, 0] >= 0
        path_m = corners.with_ends(length_m)
        at_m = lines.in_space(line, side, path_m[:, 1:-1])
        low = np.any((at_m[..., 2] <= TINY_M) & (corners.screen >= 0), axis=1)
        drawn = corners.sound & ~(low & (side == SIDES.index("under")))
        if lines.mirror is not None:  # a leg that would leave through its own mirror is none
            string_of, corner = np.nonzero(corners.screen >= 0)
            drawn[string_of[~lines.is_real(line[string_of], at_m[string_of, corner])]] = False
        if longest_m is not None:
            string_m = np.hypot(*np.diff(path_m, axis=1).transpose(2, 0, 1)).sum(axis=1)
            drawn &= string_m <= longest_m[line, side]
        has_forced = np.zeros(len(names), dtype=bool)
        has_forced[np.searchsorted(names, row[forced] // count)] = True
        # A string that must go around something and is straight all the same touches its very edge.
        touching = np.flatnonzero(drawn & has_forced & ~bends)
        if len(touching):
            near = np.flatnonzero(_among(row // count, names[touching]))
            near_points = self._points(row[near], forced[near], names[touching])
            straight = grazed(near_points, corners.pick(touching), length_m[touching], wavelength_m=self._wavelength_m)
            drawn[touching] = straight.screen[:, 0] >= 0
        kept = np.flatnonzero(drawn)
        nothing = np.zeros(0, dtype=np.int64)
        return Strings(
            line=line[kept],
            side=side[kept],
            paths=corners.pick(kept),
            around=has_forced[kept],
            met_string=nothing,
            met_sheet=nothing,
            met_cosine=np.zeros(0),
            legs_m=_legs(lines, line[kept], side[kept], corners.pick(kept)),
            hemmed_in=names[hemmed_in(points, length_m)],
        )

    def with_grazed(self, strings: Strings, row: IntArray, forced: BoolArray) -> Strings:
        """Finished strings with the edges that lie close below them put in."""
        names = strings.line * len(SIDES) + strings.side
        used = np.flatnonzero(_among(row // max(1, len(self._screens)), names))
        points = self._points(row[used], forced[used], names)
        length_m = self._lines.length_m[strings.line]
        return replace(strings, paths=grazed(points, strings.paths, length_m, wavelength_m=self._wavelength_m))


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


def _met(
    strings: Strings, lines: Lines, sheets: Sheets, screens: Screens
) -> tuple[IntArray, IntArray, FloatArray, BoolArray]:
    """What strings that lead around something go through: which string, which sheet, at which cosine, a row each time.

    And which strings of mirror paths miss their mirror.
    """
    string, leg, starts_m, ends_m = strings.legs_around()
    stands = (leg == 0, leg == strings.last_leg[string])
    met, _ = leg_crossings(starts_m, ends_m, sheets, footprints=screens.footprints, stands=stands)
    misses = strings.around & (lines.mirror is not None)
    if lines.mirror is not None:
        at_m = starts_m[met.leg] + met.fraction[:, None] * (ends_m[met.leg] - starts_m[met.leg])
        line = strings.line[string[met.leg]]
        meets = lines.is_mirror(line, met.sheet) & (met.inside_m > 2.0 * CLEAR_M)  # not just over its edge
        misses[string[met.leg[meets]]] = False
        met = met.pick(lines.is_real(line, at_m))
    along_m = ends_m[met.leg] - starts_m[met.leg]
    square_m = np.abs(np.sum(along_m * sheets.normal[met.sheet], axis=1))
    cosine = square_m / np.maximum(np.linalg.norm(along_m, axis=1), TINY_M)
    return string[met.leg], met.sheet, cosine, misses


def _part(strings: Strings, chosen: BoolArray, met: tuple[IntArray, IntArray, FloatArray]) -> Strings:
    """Some of the strings, with what they meet: which string, which sheet, at which cosine."""
    number = np.cumsum(chosen) - 1
    kept = np.flatnonzero(chosen)
    return Strings(
        line=strings.line[kept],
        side=strings.side[kept],
        paths=strings.paths.pick(kept),
        around=strings.around[kept],
        met_string=number[met[0]],
        met_sheet=met[1],
        met_cosine=met[2],
        legs_m=strings.legs_m[kept],
        hemmed_in=strings.hemmed_in,
    )


def _joined(parts: list[Strings]) -> Strings:
    """Several groups of strings as one."""
    first = np.cumsum([0, *(len(part) for part in parts)])
    most = max(part.paths.screen.shape[1] for part in parts)
    legs = max(part.legs_m.shape[1] for part in parts)

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
        met_cosine=np.concatenate([part.met_cosine for part in parts]),
        legs_m=np.concatenate(
            [
                np.pad(part.legs_m, ((0, 0), (0, legs - part.legs_m.shape[1]), (0, 0), (0, 0)), constant_values=np.nan)
                for part in parts
            ]
        ),
        hemmed_in=np.unique(np.concatenate([part.hemmed_in for part in parts])),
    )
