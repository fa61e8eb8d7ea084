"""Every inverter served so many times within capacity: good answers, and proof that fewer gateways cannot."""

from __future__ import annotations

from dataclasses import dataclass
from time import monotonic

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray, IntArray
from survey.siting.assignment import assign, competing
from survey.siting.covering import Demand, fewest_by_prices, fewest_cover, greedy_cover


@dataclass(frozen=True, kw_only=True)
class Shortage:
    """Inverters that the gateways in their reach cannot all take, and how many of them are left over."""

    inverters: IntArray
    missing: int


@dataclass(frozen=True, kw_only=True)
class Task:
    """Who is to be served, by how many gateways, and of what capacity.

    Attributes
    ----------
    able : ndarray of bool, shape (inverters, spots)
        Who holds where; everyone at `times` spots or more.
    times : int
        1, or 2 where any one gateway may fail.
    capacity : int
        Inverters per gateway; 0 for no limit.
    fixed : tuple of int
        Spots that are taken in any case.
    """

    able: BoolArray
    times: int
    capacity: int
    fixed: tuple[int, ...]

    def serves(self, spots: tuple[int, ...]) -> bool:
        """Whether gateways at these spots are enough."""
        reached = self.able[:, list(spots)].sum(axis=1) >= self.times
        return bool(reached.all()) and self.shortage(spots) is None

    def shortage(self, spots: tuple[int, ...]) -> Shortage | None:
        """What gateways at these spots cannot take, whichever of them fails where one may; None where they take all."""
        if not self.capacity:
            return None
        if self.times == 1:
            return self._shortage_at(spots)
        trials = (self._shortage_at(tuple(other for other in spots if other != spot)) for spot in spots)
        return next((shortage for shortage in trials if shortage is not None), None)

    def _shortage_at(self, spots: tuple[int, ...]) -> Shortage | None:
        able = self.able[:, list(spots)]
        at, _ = assign(np.where(able, 1.0, -np.inf), self.capacity)
        unserved = np.flatnonzero(at < 0)
        if not len(unserved):
            return None
        return Shortage(inverters=competing(able, at, unserved), missing=len(unserved))

    def greedy_set(self) -> tuple[int, ...] | Shortage:
        """A good set, or the shortage that stays with a gateway at every spot."""
        spots = greedy_cover(self.able, times=self.times, fixed=self.fixed)
        while (shortage := self.shortage(spots)) is not None:
            share = np.minimum(self.able[shortage.inverters].sum(axis=0), self.capacity)
            share[list(spots)] = 0
            if not share.any():
                return shortage
            spots = (*spots, int(np.argmax(share)))
        for spot in spots[len(self.fixed) :]:
            rest = tuple(other for other in spots if other != spot)
            if self.serves(rest):
                spots = rest
        return spots

    def proven(self, spots: tuple[int, ...], *, until: float) -> tuple[tuple[int, ...], int]:
        """A set of the fewest spots and how few there must be; equal where the time sufficed.

        Parameters
        ----------
        spots : tuple of int
            A set that serves.
        until : float
            When to stop. [s, of the monotonic clock]
        """
        places = -(-len(self.able) // self.capacity) if self.capacity else 1
        bound = max(len(self.fixed), places + self.times - 1)
        bound = max(bound, fewest_by_prices(self.able, times=self.times, known=len(spots)))
        demands = [Demand(share=np.ones(self.able.shape[1]), need=float(bound))] if self.capacity else []
        while bound < len(spots) and monotonic() < until:
            found = fewest_cover(
                self.able,
                times=self.times,
                at_most=len(spots) - 1,
                fixed=self.fixed,
                demands=demands,
                time_limit_s=until - monotonic(),
            )
            bound = max(bound, min(found.bound, len(spots)))
            if found.spots is None:
                break
            shortage = self.shortage(found.spots)
            if shortage is None:
                spots = found.spots
                if found.bound < len(spots):  # the time was up before it was proven
                    break
            else:
                demands += self._demands(shortage)
        return spots, bound

    def _demands(self, shortage: Shortage) -> list[Demand]:
        """What a group of inverters needs: so many gateways, and of the places at each, those that it could take."""
        share = self.able[shortage.inverters].sum(axis=0)
        gateways = -(-len(shortage.inverters) // self.capacity) + self.times - 1
        counted = [Demand(share=(share > 0).astype(np.float64), need=float(gateways))]
        if self.times == 1:
            taken = np.minimum(share, self.capacity).astype(np.float64)
            counted.append(Demand(share=taken, need=float(len(shortage.inverters))))
        return counted

    def improve_expected(
        self, spots: tuple[int, ...], reliability: NDArray[np.floating], *, until: float
    ) -> tuple[int, ...]:
        """Exchange spots for others that serve as well and have the greater expected number served.

        Parameters
        ----------
        spots : tuple of int
            A set that serves.
        reliability : ndarray, shape (inverters, spots)
            Chances of all inverters, those who cannot be served too. [-]
        until : float
            When to stop. [s, of the monotonic clock]
        """
        unchanged = 0
        free = [spot for spot in spots if spot not in self.fixed]
        while unchanged < len(free) and monotonic() < until:
            out = free.pop(0)
            rest = [*self.fixed, *free]
            missing = self.able[:, rest].sum(axis=1) < self.times
            others = np.flatnonzero(self.able[missing].all(axis=0))
            had = reliability[:, rest].max(axis=1, initial=0.0)
            gains = np.zeros(len(others))
            for first in range(0, len(others), 500):
                part = slice(first, first + 500)
                gains[part] = np.maximum(reliability[:, others[part]] - had[:, None], 0.0).sum(axis=0)
            gains[np.isin(others, rest)] = -1.0
            least = gains[others == out].max()
            into = out
            for k in np.argsort(-gains, kind="stable")[:5].tolist():
                if gains[k] <= least + 1e-9:
                    break
                if self.shortage((*rest, int(others[k]))) is None:
                    into = int(others[k])
                    break
            unchanged = 0 if into != out else unchanged + 1
            free.append(into)
        return (*self.fixed, *free)
