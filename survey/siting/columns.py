"""What each spot is worth to each inverter, kept by spot and without what is worth nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray, FloatArray, IntArray

AT_ONCE = 2_000_000
"""How many entries are worked on in one go, so that memory does not grow with the matrix."""
KEPT_WHOLE = 4_000_000
"""Up to so many pairs of inverter and spot every one is kept; beyond it, those of at least SMALLEST."""
SMALLEST = 1e-3
"""The least reliability that counts in the search on a very large site; the answer itself is added up in full. [-]"""


@dataclass(frozen=True, kw_only=True)
class Columns:
    """A sparse matrix of worths, never negative, column by column; what is not there is worth 0.

    Attributes
    ----------
    rows : ndarray of int32, shape (entries,)
        The inverter of each entry.
    worth : ndarray of float, shape (entries,)
        Its worth at the spot.
    start : ndarray of int, shape (spots + 1,)
        Where the entries of each spot begin and end.
    inverters : int
        How many rows there are.
    """

    rows: NDArray[np.int32]
    worth: FloatArray
    start: IntArray
    inverters: int

    def __len__(self) -> int:
        return len(self.start) - 1

    def dense(self, spots: Sequence[int] | IntArray) -> FloatArray:
        """The columns of some spots in full, shape (inverters, len(spots))."""
        full = np.zeros((self.inverters, len(spots)))
        for k, j in enumerate(np.asarray(spots, dtype=np.int64).tolist()):
            part = slice(self.start[j], self.start[j + 1])
            full[self.rows[part], k] = self.worth[part]
        return full

    def gains(self, had: FloatArray, capacity: int = 0) -> FloatArray:
        """What one more gateway at each spot would add where every inverter has so much already.

        Parameters
        ----------
        had : ndarray of float, shape (inverters,)
            What each inverter has.
        capacity : int
            At most so many inverters gain, those with the most; 0 for no limit.

        Returns
        -------
        ndarray of float, shape (spots,)
        """
        found = np.zeros(len(self))
        first = 0
        while first < len(self):
            last = int(np.searchsorted(self.start, self.start[first] + AT_ONCE, side="right")) - 1
            last = min(max(last, first + 1), len(self))
            part = slice(self.start[first], self.start[last])
            more = self.worth[part] - had[self.rows[part]]
            np.maximum(more, 0.0, out=more)
            start = self.start[first : last + 1] - self.start[first]
            if capacity:
                found[first:last] = _sums_of_most(more, start, capacity)
            else:
                found[first:last] = _sums(more, start)
            first = last
        return found


def columns_of(holds: BoolArray, reliability: NDArray[np.floating], bonus: float) -> tuple[Columns, float]:
    """Worth = reliability, and `bonus` on top where the inverter holds.

    Parameters
    ----------
    holds, reliability : ndarray, shape (inverters, spots)
        Whether each inverter holds at each spot, and its chance. [-]
    bonus : float
        What holding is worth on top.

    Returns
    -------
    columns : Columns
    left_out : float
        By how much an inverter's worth may be greater than what the columns say: 0 unless the site is very large. [-]
    """
    inverters, spots = reliability.shape
    smallest = SMALLEST if reliability.size > KEPT_WHOLE else 0.0
    rows: list[NDArray[np.int32]] = []
    worth: list[FloatArray] = []
    counts: list[IntArray] = []
    step = max(1, AT_ONCE // max(1, inverters))
    for first in range(0, spots, step):
        chance = reliability[:, first : first + step].T
        held = holds[:, first : first + step].T
        kept = held | (chance > smallest)
        rows.append(np.nonzero(kept)[1].astype(np.int32))
        worth.append(chance[kept].astype(np.float64) + bonus * held[kept])
        counts.append(np.count_nonzero(kept, axis=1))
    start = np.concatenate([[0], np.cumsum(np.concatenate(counts))]).astype(np.int64)
    columns = Columns(rows=np.concatenate(rows), worth=np.concatenate(worth), start=start, inverters=inverters)
    return columns, smallest


def only_entries(columns: Columns, kept: BoolArray) -> Columns:
    """Some of the entries, each worth 1."""
    start = np.concatenate([[0], np.cumsum(kept)])[columns.start]
    rows = columns.rows[kept]
    return Columns(rows=rows, worth=np.ones(len(rows)), start=start, inverters=columns.inverters)


def _sums(more: FloatArray, start: IntArray) -> FloatArray:
    """Sums of the stretches between one start and the next."""
    sums = np.zeros(len(start) - 1)
    filled = start[1:] > start[:-1]
    if filled.any():
        sums[filled] = np.add.reduceat(more, start[:-1][filled])
    return sums


def _sums_of_most(more: FloatArray, start: IntArray, most: int) -> FloatArray:
    """The same of the `most` greatest of each stretch."""
    above = np.flatnonzero(more > 0.0)
    start = np.searchsorted(above, start)
    more = more[above]
    sums = _sums(more, start)
    long = np.flatnonzero(np.diff(start) > most)
    if len(long):
        lengths = np.diff(start)[long]
        place = np.arange(lengths.max())
        table = np.zeros((len(long), len(place)))
        inside = place < lengths[:, None]
        table[inside] = more[(start[long][:, None] + place)[inside]]
        sums[long] = np.partition(table, len(place) - most, axis=1)[:, len(place) - most :].sum(axis=1)
    return sums
