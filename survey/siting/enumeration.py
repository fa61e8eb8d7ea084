"""Every set of spots that could be better, gone through one by one where there are few enough."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from time import monotonic

import numpy as np
from numpy.typing import NDArray

from survey.siting.bounds import Bound
from survey.siting.columns import Columns

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


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

    Branches are cut by the prices (the sum above them of the spots taken and of the best that may follow), and by what
    each spot would add to those taken: the second or third gateway never adds more than it would to fewer.

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
    tree = _Tree(worth=worth, above=above, target=target, until=until)
    found: list[tuple[int, ...]] = []
    for leaf in tree.leaves(taken, base, np.arange(len(spots)), at_most - len(fixed)):
        found.extend((*fixed, *spots[list(one)].tolist()) for one in leaf)
        if len(found) > most_sets:
            return Sets(sets=tuple(found), complete=False)
    return Sets(sets=tuple(found), complete=not tree.late)


class _Tree:
    """The sets in order of what their spots bring above the prices."""

    def __init__(self, *, worth: FloatArray, above: FloatArray, target: float, until: float) -> None:
        self.worth, self.above, self.target, self.until = worth, above, target, until
        self.late = False

    def leaves(self, had: FloatArray, base: float, after: IntArray, more: int) -> Iterator[list[tuple[int, ...]]]:
        """Sets of `more` spots out of `after` to add to what the inverters have; in lists that belong together."""
        if more == 0:
            if float(had.sum()) >= self.target:
                yield [()]
            return
        if monotonic() > self.until:
            self.late = True
            return
        above = self.above[after]
        after = after[: _first_too_small(base + above + above[: more - 1].sum(), self.target)]
        if len(after) < more:
            return
        gains = np.maximum(self.worth[:, after] - had[:, None], 0.0).sum(axis=0)
        total = float(had.sum())
        if more == 1:
            good = np.flatnonzero(total + gains >= self.target)
            if len(good):
                yield [(int(j),) for j in after[good]]
            return
        most = np.sort(gains)[::-1][: more - 1].sum()
        yield from self.branches(had, base, after[total + gains + most >= self.target], more)

    def branches(self, had: FloatArray, base: float, after: IntArray, more: int) -> Iterator[list[tuple[int, ...]]]:
        """The same, each of `after` taken in turn and followed by those behind it."""
        above = self.above[after]
        for k, j in enumerate(after.tolist()):
            follow = above[k + 1 : k + more]
            if self.late or len(follow) < more - 1 or base + above[k] + follow.sum() < self.target:
                return
            for leaf in self.leaves(np.maximum(had, self.worth[:, j]), base + above[k], after[k + 1 :], more - 1):
                yield [(j, *rest) for rest in leaf]


def _first_too_small(falling: FloatArray, target: float) -> int:
    """How many of falling numbers reach the target."""
    return int(np.searchsorted(-falling, -target, side="right"))
