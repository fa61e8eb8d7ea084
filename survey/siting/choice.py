"""A choice of gateways: who talks to whom, what it serves, and what is proven about it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray, IntArray
from survey.siting.assignment import assign

EQUAL = 1e-6
"""Expected numbers served and margins [dB] that differ by less count as equal."""


@dataclass(frozen=True, kw_only=True)
class Choice:
    """Some spots with a gateway each.

    Attributes
    ----------
    chosen : tuple of int
        The spots, the one whose loss would cost most first.
    gateway_of : ndarray of int, shape (inverters,)
        The spot that each inverter talks to; -1 where no chosen spot has a route to it or room for it.
    served : int
        Inverters that hold at their gateway.
    expected_served : float
        Sum of the reliabilities of all inverters at their gateways.
    worst_margin_db : float
        The smallest margin of an inverter at its gateway; -inf where one has no gateway. [dB]
    bound_served : int
        No choice of so many gateways serves more; the proof may not have got down to what is true.
    bound_expected : float
        None that serves `served` inverters has a greater expected number served.
    proven_worst : bool
        Whether none that equals this one in both has a better worst margin.
    seconds : float
        How long it took. [s]
    """

    chosen: tuple[int, ...]
    gateway_of: IntArray
    served: int
    expected_served: float
    worst_margin_db: float
    bound_served: int
    bound_expected: float
    proven_worst: bool
    seconds: float

    @property
    def proven_served(self) -> bool:
        """Whether no choice of so many gateways serves more."""
        return self.served >= self.bound_served

    @property
    def proven_expected(self) -> bool:
        """Whether, besides, none that serves as many has a greater expected number, but for rounding."""
        return self.proven_served and self.expected_served >= self.bound_expected - PROVEN

    @property
    def proven(self) -> bool:
        """Whether both numbers are proven the best."""
        return self.proven_expected

    @property
    def gap(self) -> int:
        """How many inverters more another choice might serve, at most."""
        return max(0, self.bound_served - self.served)

    @property
    def key(self) -> tuple[int, float, float]:
        """What choices are ranked by."""
        return (self.served, round(self.expected_served, 6), round(self.worst_margin_db, 6))


PROVEN = 1e-4
"""How near to its bound an expected number must be to count as proven: solvers work to 1e-6 for each inverter."""


@dataclass(frozen=True, kw_only=True)
class Standing:
    """What a set of spots gives: the figures of a choice before anything is proven."""

    spots: tuple[int, ...]
    gateway_of: IntArray
    served: int
    expected_served: float
    worst_margin_db: float

    @property
    def key(self) -> tuple[int, float, float]:
        """What sets are ranked by."""
        return (self.served, round(self.expected_served, 6), round(self.worst_margin_db, 6))


@dataclass(frozen=True, kw_only=True)
class Site:
    """The arrays that a choice is made from, shape (inverters, spots), and the room at a gateway; 0 for no limit."""

    holds: BoolArray
    reliability: NDArray[np.floating]
    margin_db: NDArray[np.floating]
    capacity: int

    def standing(self, spots: tuple[int, ...]) -> Standing:
        """Work out who talks to whom: those that hold first, then by reliability, then by margin."""
        columns = list(spots)
        holds = self.holds[:, columns]
        chance = self.reliability[:, columns].astype(np.float64)
        margin_db = self.margin_db[:, columns].astype(np.float64)
        margin_db = np.where(np.isnan(margin_db), -np.inf, margin_db)
        possible = (margin_db > -np.inf) | holds | (chance > 0.0)
        everyone = np.arange(len(holds))
        if self.capacity:
            worth = np.where(possible, chance + (len(holds) + 1.0) * holds, -np.inf)
            at, _ = assign(worth, self.capacity)
        else:
            at = np.lexsort((margin_db, chance, holds, possible), axis=1)[:, -1]
            at = np.where(possible[everyone, at], at, -1)
        has = at >= 0
        worst_db = float(margin_db[everyone, at].min(initial=np.inf)) if has.all() else -np.inf
        return Standing(
            spots=spots,
            gateway_of=np.where(has, np.asarray(columns, dtype=np.int64)[at], -1),
            served=int(np.count_nonzero(holds[everyone, at] & has)),
            expected_served=float(chance[everyone, at][has].sum()),
            worst_margin_db=worst_db,
        )
