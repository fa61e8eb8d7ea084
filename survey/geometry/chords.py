"""How many metres of a straight line run inside something solid, such as a hedge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey import polygon

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


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


@dataclass(frozen=True, kw_only=True)
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
    found: list[tuple[IntArray, IntArray, IntArray, FloatArray, FloatArray]] = []
    for k in range(len(prisms)):
        inside_1 = starts_m @ prisms.inward[k].T - prisms.offset_m[k]
        inside_2 = ends_m @ prisms.inward[k].T - prisms.offset_m[k]
        shape = (len(starts_m), len(ends_m))
        enter, leave = np.zeros(shape), np.ones(shape)
        for side in range(prisms.inward.shape[1]):
            one, other = inside_1[:, side, None], inside_2[None, :, side]
            with np.errstate(divide="ignore", invalid="ignore"):
                reached = one / (one - other)
            np.maximum(enter, np.where((one < 0) & (other >= 0), reached, 0.0), out=enter)
            np.minimum(leave, np.where((one >= 0) & (other < 0), reached, 1.0), out=leave)
            leave[(one < 0) & (other < 0)] = -1.0
        row, column = np.nonzero(leave > enter)
        share = leave[row, column] - enter[row, column]
        length_m = share * np.linalg.norm(ends_m[column] - starts_m[row], axis=1)
        found.append((row, column, np.full(len(row), k), length_m, enter[row, column]))
    if not found:
        nothing = np.zeros(0, dtype=np.int64)
        return Chords(start=nothing, end=nothing, prism=nothing, length_m=np.zeros(0), fraction=np.zeros(0))
    start, end, prism, length_m, fraction = (np.concatenate(column) for column in zip(*found, strict=True))
    return Chords(start=start, end=end, prism=prism, length_m=length_m, fraction=fraction)
