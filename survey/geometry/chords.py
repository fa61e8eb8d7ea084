"""How many metres of a straight line run inside something solid, such as a hedge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from survey.base import polygon
from survey.base.arrays import FloatArray, IntArray


@dataclass(frozen=True, kw_only=True)
class Prisms:
    """Upright prisms with convex footprints.

    Attributes
    ----------
    inward : ndarray of float, shape (prisms, sides, 3)
        Unit normals of the sides, bottom and top, pointing inward; prisms of fewer sides repeat one. [-]
    offset_m : ndarray of float, shape (prisms, sides)
        ``inward @ p - offset_m`` is how far inside that side a point lies. [m]
    owner : ndarray of int, shape (prisms,)
        Which obstacle a prism belongs to.
    """

    inward: FloatArray
    offset_m: FloatArray
    owner: IntArray

    def __len__(self) -> int:
        return len(self.owner)


@dataclass(frozen=True)
class Chords:
    """What each line has inside each prism, a row for each.

    Attributes
    ----------
    start, end : ndarray of int, shape (chords,)
        Which start and which end the line joins.
    prism : ndarray of int, shape (chords,)
        Which prism it goes through.
    length_m : ndarray of float, shape (chords,)
        Length inside. [m]
    fraction : ndarray of float, shape (chords,)
        Where along the line it enters, from 0 to 1. [-]
    """

    start: IntArray
    end: IntArray
    prism: IntArray
    length_m: FloatArray
    fraction: FloatArray

    def __len__(self) -> int:
        return len(self.prism)


_EMPTY = np.zeros(0, dtype=np.int64)
"""No number."""
_NOTHING = (_EMPTY, _EMPTY, _EMPTY, np.zeros(0), np.zeros(0))
"""Columns of no chord."""


def prisms_of(
    footprints_m: Sequence[FloatArray], bases_m: Sequence[float], tops_m: Sequence[float], owners: Sequence[int]
) -> Prisms:
    """Prisms over footprints; one that is not convex becomes several prisms of its owner.

    Parameters
    ----------
    footprints_m : sequence of ndarray of float, each of shape (corners, 2)
        Corners of each footprint in order. [m]
    bases_m, tops_m : sequence of float
        Height of bottom and top. [m]
    owners : sequence of int
        Which obstacle each footprint belongs to.
    """
    sides: list[tuple[FloatArray, FloatArray, int]] = []
    for footprint_m, base_m, top_m, owner in zip(footprints_m, bases_m, tops_m, owners, strict=True):
        for part in polygon.convex_parts(footprint_m):
            along = np.roll(part, -1, axis=0) - part
            inward = np.column_stack([-along[:, 1], along[:, 0], np.zeros(len(part))])
            inward /= np.linalg.norm(inward, axis=1, keepdims=True)
            offset_m = np.sum(inward[:, :2] * part, axis=1)
            upright = np.array([[0.0, 0.0, 1.0], [0.0, 0.0, -1.0]])
            sides.append((np.vstack([upright, inward]), np.concatenate([[base_m, -top_m], offset_m]), owner))
    most = max((len(inward) for inward, _, _ in sides), default=5)
    padded = [np.arange(most) % len(inward) for inward, _, _ in sides]
    return Prisms(
        inward=np.array([inward[rows] for (inward, _, _), rows in zip(sides, padded, strict=True)]).reshape(
            -1, most, 3
        ),
        offset_m=np.array([offset[rows] for (_, offset, _), rows in zip(sides, padded, strict=True)]).reshape(-1, most),
        owner=np.array([owner for _, _, owner in sides], dtype=np.int64),
    )


def chords(starts_m: FloatArray, ends_m: FloatArray, prisms: Prisms) -> Chords:
    """How much of every line from every start to every end lies inside each prism.

    Parameters
    ----------
    starts_m : ndarray of float, shape (starts, 3)
        One end of the lines. [m]
    ends_m : ndarray of float, shape (ends, 3)
        Their other end. [m]
    prisms : Prisms
        What may be in the way.

    Returns
    -------
    Chords
        Those longer than nothing.

    References
    ----------
    .. [1] M. Cyrus and J. Beck, "Generalized two- and three-dimensional clipping", Computers and Graphics 3 (1978)
       23-28.
    """
    found: list[tuple[IntArray, IntArray, IntArray, FloatArray, FloatArray]] = [_NOTHING]
    for k in range(len(prisms)):
        inside_1 = starts_m @ prisms.inward[k].T - prisms.offset_m[k]
        inside_2 = ends_m @ prisms.inward[k].T - prisms.offset_m[k]
        enter, leave = _clipped(inside_1[:, None], inside_2[None])
        row, column = np.nonzero(leave > enter)
        share = leave[row, column] - enter[row, column]
        length_m = share * np.linalg.norm(ends_m[column] - starts_m[row], axis=1)
        found.append((row, column, np.full(len(row), k), length_m, enter[row, column]))
    return Chords(*(np.concatenate(column) for column in zip(*found, strict=True)))


def _clipped(inside_1: FloatArray, inside_2: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Where lines enter and leave a prism, as fractions; they leave before they enter where they miss it.

    The last axis of both arguments runs over its sides: how far inside each side the two ends lie.
    """
    shape = np.broadcast_shapes(inside_1.shape, inside_2.shape)[:-1]
    enter, leave = np.zeros(shape), np.ones(shape)
    for side in range(inside_1.shape[-1]):
        one, other = inside_1[..., side], inside_2[..., side]
        with np.errstate(divide="ignore", invalid="ignore"):
            reached = one / (one - other)
        np.maximum(enter, np.where((one < 0) & (other >= 0), reached, 0.0), out=enter)
        np.minimum(leave, np.where((one >= 0) & (other < 0), reached, 1.0), out=leave)
        leave[(one < 0) & (other < 0)] = -1.0
    return enter, leave
