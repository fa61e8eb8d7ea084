"""Straight lines with axes of their own, in which strings around what stands there are drawn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.geometry.plain import ON_SHEET_M

TINY_M = 1e-9


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
