"""Every set of spots that could be better, gone through one by one where there are few enough."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from time import monotonic

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.siting.assignment import SMALL
from survey.siting.bounds import Bound
from survey.siting.columns import Columns

PAIRS_AT_ONCE = 1_000
"""Rows of a matrix product that are in memory at once; a judgement."""
EXACT_AT_ONCE = 2_000
"""The same where pairs are told apart; a judgement."""


@dataclass(frozen=True, kw_only=True)
class Sets:
    """The sets that might be worth the target or more.

    Attributes
    ----------
    sets : tuple of tuple of int
        Spots of each; without a limit per gateway these are worth the target, with one they may be.
    complete : bool
        Whether there is no other.
    """

    sets: tuple[tuple[int, ...], ...]
    complete: bool


def sets_worth(
    columns: Columns,
    bound: Bound,
    *,
    at_most: int,
    target: float,
    until: float,
    fixed: tuple[int, ...] = (),
    most_sets: int = 20_000,
) -> Sets:
    """Find every set of `at_most` spots that could be worth the target.

    Branches are cut by the prices (the sum above them of the spots taken and of the best that may follow), by what each
    spot would add to those taken (the third gateway never adds more than it would to fewer), and by the inverters: who
    would spoil the sum alone needs one of few spots.

    Parameters
    ----------
    columns : Columns
        What each spot is worth to each inverter.
    bound : Bound
        Of the same columns.
    at_most : int
        Gateways, those at fixed spots included; there are as many spots.
    target : float
        What a set must be worth.
    until : float
        When to stop. [s, of the monotonic clock]
    fixed : tuple of int
        Spots that are always chosen.
    most_sets : int
        Stop when so many are found.

    Returns
    -------
    Sets
    """
    spots = bound.able[~np.isin(bound.able, fixed)]
    spots = spots[np.argsort(-bound.above[spots], kind="stable")]
    taken = columns.dense(fixed).max(axis=1, initial=0.0) if fixed else np.zeros(columns.inverters)
    worth = columns.dense(spots)
    above = bound.above[spots]
    base = float(bound.price.sum() + bound.above[list(fixed)].sum())
    best = np.maximum(taken, worth.max(axis=1, initial=0.0))
    least = best - (float(best.sum()) - target) - SMALL  # whoever gets less than this spoils the sum alone
    tree = _Tree(worth=worth, above=above, least=least, target=target, until=until)
    found: list[tuple[int, ...]] = []
    for leaf in tree.leaves(taken, base, np.arange(len(spots)), at_most - len(fixed)):
        found.extend((*fixed, *spots[list(one)].tolist()) for one in leaf)
        if len(found) > most_sets:
            return Sets(sets=tuple(found), complete=False)
    return Sets(sets=tuple(found), complete=not tree.late)


class _Tree:
    """The sets in order of what their spots bring above the prices."""

    def __init__(self, *, worth: FloatArray, above: FloatArray, least: FloatArray, target: float, until: float) -> None:
        self.worth, self.above, self.least, self.target, self.until = worth, above, least, target, until
        self.late = False

    def leaves(self, had: FloatArray, base: float, spots: IntArray, more: int) -> Iterator[list[tuple[int, ...]]]:
        """Sets of `more` of some spots to add to what the inverters have; in lists that belong together."""
        if more == 0:
            if float(had.sum()) >= self.target:
                yield [()]
            return
        if monotonic() > self.until:
            self.late = True
            return
        above = self.above[spots]
        spots = spots[: _first_too_small(base + above + above[: more - 1].sum(), self.target)]
        if len(spots) < more:
            return
        gained = np.maximum(self.worth[:, spots] - had[:, None], 0.0)
        gains = gained.sum(axis=0)
        total = float(had.sum())
        if more == 1:
            good = np.flatnonzero(total + gains >= self.target)
            if len(good):
                yield [(int(j),) for j in spots[good]]
            return
        able = total + gains + np.sort(gains)[::-1][: more - 1].sum() >= self.target
        spots = spots[able]
        if len(spots) < more:
            return
        first = self.one_of(had, spots)
        if more > 2:  # noqa: PLR2004
            yield from self.branches(had, base, spots, first, more)
        else:
            yield from self.pairs(gained[:, able], self.target - total, self.target - base, spots, first)

    def one_of(self, had: FloatArray, spots: IntArray) -> BoolArray:
        """Spots of which one must be taken: those that give enough to the inverter that has the fewest such."""
        wanting = np.flatnonzero(had < self.least)
        if not len(wanting):
            return np.ones(len(spots), dtype=bool)
        enough = self.worth[np.ix_(wanting, spots)] >= self.least[wanting, None]
        return np.asarray(enough[int(np.argmin(enough.sum(axis=1)))])

    def branches(
        self, had: FloatArray, base: float, spots: IntArray, first: BoolArray, more: int
    ) -> Iterator[list[tuple[int, ...]]]:
        """The same, each of the first ones taken in turn, and not again after that."""
        left = np.ones(len(spots), dtype=bool)
        for k in np.flatnonzero(first).tolist():
            left[k] = False
            j, rest = int(spots[k]), spots[left]
            now = base + float(self.above[j])
            if self.late or len(rest) < more - 1 or now + self.above[rest[: more - 1]].sum() < self.target:
                return
            for leaf in self.leaves(np.maximum(had, self.worth[:, j]), now, rest, more - 1):
                yield [(j, *others) for others in leaf]

    def pairs(
        self, gained: FloatArray, need: float, need_above: float, spots: IntArray, first: BoolArray
    ) -> Iterator[list[tuple[int, ...]]]:
        """The pairs among some spots, one of them a first one, that gain as much as is needed.

        Two spots gain x + y - min(x, y) for an inverter that can gain m at most, and min(x, y) >= x y / m: one product
        of matrices bounds all pairs, and only those that pass are added up.
        """
        rows = gained.max(axis=1) > 0.0
        gained = gained[rows]
        scaled = (gained / np.sqrt(gained.max(axis=1, keepdims=True))).astype(np.float32)
        gains, above = gained.sum(axis=0), self.above[spots]
        need_float32 = need - 1e-5 * max(1.0, float(gains.max()))
        every = np.arange(len(spots))
        ones = np.flatnonzero(first)
        for begin in range(0, len(ones), PAIRS_AT_ONCE):
            part = ones[begin : begin + PAIRS_AT_ONCE]
            most = gains[part, None] + gains - scaled[:, part].T @ scaled
            able = (most >= need_float32) & (above[part, None] + above >= need_above)
            able &= ~first | (every > part[:, None])
            one, other = np.nonzero(able)
            one = part[one]
            for k in range(0, len(one), EXACT_AT_ONCE):
                a, b = one[k : k + EXACT_AT_ONCE], other[k : k + EXACT_AT_ONCE]
                good = np.maximum(gained[:, a], gained[:, b]).sum(axis=0) >= need
                if good.any():
                    yield list(zip(spots[a[good]].tolist(), spots[b[good]].tolist(), strict=True))
                if monotonic() > self.until:
                    self.late = True
                    return


def _first_too_small(falling: FloatArray, target: float) -> int:
    """How many of falling numbers reach the target."""
    return int(np.searchsorted(-falling, -target, side="right"))
