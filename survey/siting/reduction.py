"""Less to prove: identical inverters as one, and no spot that another one replaces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from survey.base.arrays import BoolArray, IntArray

DOMINATION_WORK = 4e10
"""Multiplications up to which spots are compared with each other: two or three seconds."""


@dataclass(frozen=True, kw_only=True)
class Reduced:
    """What is left.

    Attributes
    ----------
    holds : ndarray of bool, shape (groups, spots left)
        Whether the inverters of each group hold.
    weight : ndarray of int, shape (groups,)
        Inverters in each group.
    spots : ndarray of int
        Which spots are left.
    """

    holds: BoolArray
    weight: IntArray
    spots: IntArray


def reduced(holds: BoolArray, *, keep: Sequence[int] = (), capacity: int = 0) -> Reduced:
    """Drop what does not matter to how many are served.

    Parameters
    ----------
    holds : ndarray of bool, shape (inverters, spots)
        Whether each inverter holds at each spot.
    keep : sequence of int
        Spots that stay in any case.
    capacity : int
        Inverters per gateway. With a limit every inverter is counted for itself, and no spot is dropped but those that
        serve nobody: two gateways side by side take twice as many.

    Returns
    -------
    Reduced

    Notes
    -----
    A spot is dominated where another one serves all that it serves; of identical ones the first stays. Counted all at
    once by one product: spot j is dominated by l where they share as many inverters as j serves.
    """
    spots = np.flatnonzero(holds.any(axis=0) | np.isin(np.arange(holds.shape[1]), keep))
    holds = holds[holds.any(axis=1)][:, spots]
    if capacity:
        return Reduced(holds=holds, weight=np.ones(len(holds), dtype=np.int64), spots=spots)
    holds, weight = _merged(holds)
    _, first = np.unique(np.packbits(holds, axis=0), axis=1, return_index=True)
    stay = np.zeros(len(spots), dtype=bool)
    stay[first] = True
    stay |= np.isin(spots, keep)
    holds, spots = holds[:, stay], spots[stay]
    if len(holds) * len(spots) ** 2 <= DOMINATION_WORK:
        stay = ~_dominated(holds) | np.isin(spots, keep)
        holds, spots = holds[:, stay], spots[stay]
        holds, again = _merged(holds, weight)
        weight = again
    return Reduced(holds=holds, weight=weight, spots=spots)


def _merged(holds: BoolArray, weight: IntArray | None = None) -> tuple[BoolArray, IntArray]:
    """Rows that are the same as one, with the sum of their weights."""
    _, first, group = np.unique(np.packbits(holds, axis=1), axis=0, return_index=True, return_inverse=True)
    sums = np.bincount(group.ravel(), weights=weight, minlength=len(first))
    return holds[first], sums.astype(np.int64)


def _dominated(holds: BoolArray, at_once: int = 500) -> BoolArray:
    """Whether another column has all that each has and more; no two columns are the same."""
    as_float = holds.astype(np.float32)
    counts = as_float.sum(axis=0)
    found = np.zeros(len(counts), dtype=bool)
    for first in range(0, len(counts), at_once):
        part = slice(first, first + at_once)
        shared = as_float[:, part].T @ as_float
        found[part] = ((shared > counts[part, None] - 0.5) & (counts > counts[part, None])).any(axis=1)
    return found
