"""A good answer at once: the best gateway added one at a time, then swaps, and for two gateways every pair."""

from __future__ import annotations

from dataclasses import dataclass
from time import monotonic

import numpy as np

from survey.base.arrays import FloatArray, IntArray
from survey.siting.assignment import SMALL, assign
from survey.siting.columns import Columns
from survey.siting.matrix import CoverageMatrix

PAIRS_WORK = 2e10
"""Multiplications up to which all pairs are counted: a second or two."""
PAIRS_AT_ONCE = 500
"""Rows of a matrix product that are in memory at once; a judgement."""
STARTS = 12
"""Of a search by swaps; a judgement, what is proven does not depend on it."""
STARTS_WORK = 5e8
"""Entries looked at in searches from other starts: a second or two."""
TIED_PAIRS = 20_000
"""Of pairs that serve equally many, so many are told apart by what is to be expected."""


@dataclass(frozen=True, kw_only=True)
class Search:
    """A search among spots by worth.

    Attributes
    ----------
    columns : Columns
        What each spot is worth to each inverter.
    capacity : int
        Inverters per gateway; 0 for no limit.
    fixed : tuple of int
        Spots that are always among the chosen.
    """

    columns: Columns
    capacity: int = 0
    fixed: tuple[int, ...] = ()

    def had(self, spots: tuple[int, ...]) -> tuple[float, FloatArray]:
        """The worth of a set, and what each inverter has of it after paying for its place."""
        if not spots:
            return 0.0, np.zeros(self.columns.inverters)
        worth = self.columns.dense(spots)
        if not self.capacity:
            best = worth.max(axis=1)
            return float(best.sum()), best
        worth[worth == 0.0] = -np.inf
        at, price = assign(worth, self.capacity)
        has = np.flatnonzero(at >= 0)
        return float(worth[has, at[has]].sum()), np.maximum((worth - price).max(axis=1), 0.0)

    def grown(self, spots: tuple[int, ...], at_most: int) -> tuple[int, ...]:
        """Add the spot that brings most until there are so many or none brings anything."""
        while len(spots) < at_most:
            _, had = self.had(spots)
            gains = self.columns.gains(had, self.capacity)
            gains[list(spots)] = -1.0
            best = int(np.argmax(gains))
            if spots and gains[best] <= SMALL:
                break
            spots = (*spots, best)
        return spots

    def random_starts(self, number: int) -> list[tuple[int, ...]]:
        """Other beginnings, the same at every run, out of the better half of the spots; few on large sites."""
        free = np.setdiff1d(np.arange(len(self.columns)), self.fixed)
        more = number - len(self.fixed)
        starts = min(
            STARTS // 4 if self.capacity else STARTS, int(STARTS_WORK / (len(self.columns.worth) * number**2 + 1))
        )
        worth = self.columns.gains(np.zeros(self.columns.inverters), self.capacity)[free]
        better = free[np.argsort(-worth, kind="stable")[: max(more, len(free) // 2)]]
        rng = np.random.default_rng(number)
        return [(*self.fixed, *rng.choice(better, more, replace=False).tolist()) for _ in range(starts)]

    def swapped(self, spots: tuple[int, ...], *, until: float) -> tuple[int, ...]:
        """Exchange one spot for another as long as that brings anything and there is time.

        With a limit per gateway the worth of an exchange is estimated by the prices of places, never too low, and the
        most promising few are worked out.
        """
        total, _ = self.had(spots)
        free = [spot for spot in spots if spot not in self.fixed]
        unchanged = 0
        while unchanged < len(free) and monotonic() < until:
            out = free.pop(0)
            rest = (*self.fixed, *free)
            without, had = self.had(rest)
            gains = self.columns.gains(had, self.capacity)
            gains[list(rest)] = -1.0
            into, reached = out, total
            for candidate in np.argsort(-gains, kind="stable")[: 5 if self.capacity else 1].tolist():
                if without + gains[candidate] <= reached + SMALL * max(1.0, reached):
                    break
                worth = self.had((*rest, candidate))[0] if self.capacity else without + gains[candidate]
                if worth > reached + SMALL * max(1.0, reached):
                    into, reached = candidate, float(worth)
            unchanged = 0 if into != out else unchanged + 1
            total = reached
            free.append(into)
        return (*self.fixed, *free)


def best_pair(matrix: CoverageMatrix) -> tuple[tuple[int, int], int] | None:
    """The pair of spots that serves most, of all pairs, and how many it serves; None where that is too much work.

    All pairs at once by one product: a pair serves what either serves less what both serve. Of pairs that serve as
    many, the one with the greatest expected number served, among the most likely ones.
    """
    inverters, spots = matrix.holds.shape
    if spots < 2 or matrix.limit or inverters * spots**2 > PAIRS_WORK:  # noqa: PLR2004  a pair is two
        return None
    holds = matrix.holds.astype(np.float32)
    counts = holds.sum(axis=0)
    expected = matrix.reliability.sum(axis=0)
    most = -1
    tied: list[IntArray] = []
    for first in range(0, spots, PAIRS_AT_ONCE):
        part = slice(first, first + PAIRS_AT_ONCE)
        served = counts[part, None] + counts - holds[:, part].T @ holds
        served[np.arange(len(served))[:, None] + first >= np.arange(spots)] = -1.0
        here = int(served.max())
        if here > most:
            most, tied = here, []
        if here == most:
            tied.append(np.argwhere(served > most - 0.5) + np.array([first, 0]))
    pairs = np.concatenate(tied)
    likely = np.argsort(-(expected[pairs[:, 0]] + expected[pairs[:, 1]]), kind="stable")[:TIED_PAIRS]
    pairs = pairs[likely]
    step = max(1, 2_000_000 // max(1, inverters))
    sums = np.concatenate(
        [
            np.maximum(matrix.reliability[:, block[:, 0]], matrix.reliability[:, block[:, 1]]).sum(axis=0)
            for block in (pairs[k : k + step] for k in range(0, len(pairs), step))
        ]
    )
    a, b = pairs[int(np.argmax(sums))].tolist()
    return (a, b), most
