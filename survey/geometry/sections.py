"""Where screens cut the upright and the level plane of a line: worked out once for all strings of that line."""

from __future__ import annotations

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.geometry.hulls import Points
from survey.geometry.lines import AXIS, SIGN, Lines
from survey.geometry.screens import Screens

OUT_OF_PLANE = (2, 1)
"""Which axis of a line stands out of its upright plane, and out of its level one."""


class Sections:
    """Sections of screens in the planes of lines, each pair of line and screen worked out when it is first asked for.

    Parameters
    ----------
    lines : Lines
        The lines.
    screens : Screens
        All screens of the site.
    """

    def __init__(self, lines: Lines, screens: Screens) -> None:
        self._lines, self._screens = lines, screens
        self._pair = np.zeros(0, dtype=np.int64)  # line times the number of screens plus screen, sorted
        self._first = np.zeros((2, 0), dtype=np.int64)
        self._number = np.zeros((2, 0), dtype=np.int64)
        self._flat_m = np.zeros((0, 2))

    def points(
        self, string: IntArray, screen: IntArray, *, line: IntArray, side: IntArray, forced: BoolArray
    ) -> Points:
        """Points of the sections of some screens in the planes of some strings.

        Parameters
        ----------
        string, screen : ndarray of int, shape (rows,)
            Which string, sorted, and which screen it may have to go around.
        line, side : ndarray of int, shape (strings,)
            Which line each string belongs to, and its side.
        forced : ndarray of bool, shape (rows,)
            Whether it must go around it.
        """
        pair = line[string] * len(self._screens) + screen
        plane = AXIS[side] - 1
        self._learn(pair)
        place = np.searchsorted(self._pair, pair)
        number = self._number[plane[string], place]
        row = np.repeat(np.arange(len(string)), number)
        ends = np.cumsum(number)
        at = np.repeat(self._first[plane[string], place] - ends + number, number) + np.arange(len(row))
        return Points(
            along_m=self._flat_m[at, 0],
            off_m=self._flat_m[at, 1] * SIGN[side[string[row]]],
            string=string[row],
            row=row,
            screen=screen[row],
            forced=forced[row],
        )

    def _learn(self, pair: IntArray) -> None:
        """Work out the sections of those pairs that are new."""
        new = np.sort(pair)
        new = new[np.append(True, np.diff(new) > 0)[: len(new)]]
        if len(self._pair):
            new = new[self._pair[np.minimum(np.searchsorted(self._pair, new), len(self._pair) - 1)] != new]
        if not len(new):
            return
        first, number = np.zeros((2, len(new)), dtype=np.int64), np.zeros((2, len(new)), dtype=np.int64)
        screen = new % len(self._screens)
        parts, begins = [self._flat_m], len(self._flat_m)
        for group, corners, most_edges in self._groups(screen):
            line = new[group] // len(self._screens)
            bodies_m = self._screens.corners_m[screen[group], :corners]
            local = np.einsum("kij,kcj->ikc", self._lines.axes[line], bodies_m - self._lines.starts_m[line][:, None])
            edges = self._screens.edges[screen[group], :most_edges]
            for plane, out in enumerate(OUT_OF_PLANE):
                body, flat_m = sections(local[0], local[3 - out], local[out], edges)
                number[plane, group] = np.bincount(body, minlength=len(line))
                first[plane, group] = begins + np.cumsum(number[plane, group]) - number[plane, group]
                parts.append(flat_m)
                begins += len(flat_m)
        order = np.argsort(np.concatenate([self._pair, new]), kind="stable")
        self._pair = np.concatenate([self._pair, new])[order]
        self._first = np.concatenate([self._first, first], axis=1)[:, order]
        self._number = np.concatenate([self._number, number], axis=1)[:, order]
        self._flat_m = np.concatenate(parts)

    def _groups(self, screen: IntArray) -> list[tuple[IntArray, int, int]]:
        """Plane sheets and boxes apart: which, how many corners they have at most, and how many edges."""
        is_box, flat = self._screens.is_box[screen], self._screens.most_corners
        return [(np.flatnonzero(~is_box), flat, flat), (np.flatnonzero(is_box), 8, 12)]


def sections(along_m: FloatArray, off_m: FloatArray, out_m: FloatArray, edges: IntArray) -> tuple[IntArray, FloatArray]:
    """Where the edges of bodies go through a plane.

    Parameters
    ----------
    along_m, off_m, out_m : ndarray of float, shape (bodies, corners)
        Corners of each body: two coordinates in the plane, and the distance out of it. [m]
    edges : ndarray of int, shape (bodies, edges, 2)
        Which corners an edge joins.

    Returns
    -------
    tuple of ndarray, shapes (points,) and (points, 2)
        Which body, and where in the plane. [m]
    """
    width = along_m.shape[1]
    out_flat = out_m.ravel()
    at = edges + (np.arange(len(edges)) * width)[:, None, None]
    out_1, out_2 = out_flat[at[..., 0]], out_flat[at[..., 1]]
    row, edge = np.nonzero(((out_1 > 0) != (out_2 > 0)) | (out_1 == 0))
    one, other = at[row, edge, 0], at[row, edge, 1]
    out_1, out_2 = out_flat[one], out_flat[other]
    share = np.divide(out_1, out_1 - out_2, out=np.zeros(len(row)), where=out_1 != out_2)
    flat_m = np.empty((len(row), 2))
    for axis, values in enumerate((along_m.ravel(), off_m.ravel())):
        first = values[one]
        flat_m[:, axis] = first + share * (values[other] - first)
    return row, flat_m
