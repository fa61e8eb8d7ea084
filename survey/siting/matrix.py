"""What a gateway at each spot would do for every inverter: one matrix for rankings, choices of several, remedies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.siting.assignment import assign
from survey.siting.choice import Assignment

SAME_DECIMALS = 9
"""Chances that agree to so many decimals are told apart by margin: closer than any figure is known."""


@dataclass(frozen=True, kw_only=True)
class CoverageMatrix:
    """What every inverter's best route to each spot is worth, and what is required of it.

    Attributes
    ----------
    reliability, margin_db : ndarray of float, shape (inverters, spots)
        Chance that the route works, and margin of its weakest link; 0, and -inf or NaN, where there is none. [-; dB]
    required : float
        The chance from which on an inverter holds. [-]
    capacity : int
        Inverters that a gateway takes; 0 for no limit.

    Raises
    ------
    ValueError
        Where the arrays do not fit each other, or the capacity is below 0.
    """

    reliability: FloatArray
    margin_db: FloatArray
    required: float
    capacity: int = 0

    def __post_init__(self) -> None:
        shapes = {np.shape(self.reliability), np.shape(self.margin_db)}
        if len(shapes) > 1 or len(next(iter(shapes))) != 2:  # noqa: PLR2004  inverters by spots
            raise ValueError(f"reliability and margin_db have the shapes {sorted(shapes)}; write (inverters, spots)")
        if self.capacity < 0:
            raise ValueError(f"capacity is {self.capacity}; write 0 for no limit, or 1 or more")

    @property
    def shape(self) -> tuple[int, int]:
        """Number of inverters and of spots."""
        inverters, spots = self.reliability.shape
        return inverters, spots

    @cached_property
    def holds(self) -> BoolArray:
        """Whether each inverter holds by its route to each spot, shape (inverters, spots)."""
        return np.asarray(self.reliability >= self.required)

    @property
    def limit(self) -> int:
        """The capacity where it leaves an inverter out; 0 where a gateway takes them all."""
        return self.capacity if self.capacity < len(self.reliability) else 0

    def only(self, spots: Sequence[int]) -> CoverageMatrix:
        """Those spots, in that order."""
        chosen = list(spots)
        return replace(self, reliability=self.reliability[:, chosen], margin_db=self.margin_db[:, chosen])

    def beside(self, other: CoverageMatrix) -> CoverageMatrix:
        """The spots of both, those of the other behind."""
        return replace(
            self,
            reliability=np.concatenate([self.reliability, other.reliability], axis=1),
            margin_db=np.concatenate([self.margin_db, other.margin_db], axis=1),
        )

    @cached_property
    def within_capacity(self) -> BoolArray:
        """Which inverters the gateway at each spot takes, were it the only one: those that it hears best.

        Shape (inverters, spots).
        """
        if not self.limit:
            return np.ones(self.shape, dtype=bool)
        heard_db = np.where(np.isnan(self.margin_db), -np.inf, self.margin_db)
        best = np.lexsort((-heard_db, -self.reliability), axis=0)[: self.limit]
        within = np.zeros(self.shape, dtype=bool)
        np.put_along_axis(within, best, values=True, axis=0)
        return within

    @cached_property
    def alone(self) -> CoverageMatrix:
        """The same were each spot the only one with a gateway: 0 and NaN for inverters above its capacity."""
        if not self.limit:
            return self
        within = self.within_capacity
        return replace(
            self,
            reliability=np.where(within, self.reliability, 0.0),
            margin_db=np.where(within, self.margin_db, np.nan),
        )

    @property
    def best_spots(self) -> IntArray:
        """The spot of every inverter's most reliable route; of equals, the one of greater margin; shape (inverters,).

        Examples
        --------
        >>> reliability, margin_db = np.array([[0.9, 0.9], [0.9, 0.5]]), np.array([[4.0, 5.0], [4.0, 9.0]])
        >>> CoverageMatrix(reliability=reliability, margin_db=margin_db, required=0.95).best_spots.tolist()
        [1, 0]
        """
        value = np.round(self.reliability, SAME_DECIMALS)
        equal = (value == value.max(axis=1, keepdims=True)) & ~np.isnan(self.margin_db)
        return np.asarray(np.argmax(np.where(equal, self.margin_db, -np.inf), axis=1))

    @property
    def gateway_of(self) -> IntArray:
        """The spot that every inverter reports to where all have a gateway, shape (inverters,).

        Without a limit that of the most reliable route. With one, so that the most inverters hold, and of such choices
        the one with the greatest sum of chances; -1 for inverters that no gateway takes.

        Examples
        --------
        >>> chance = np.array([[0.99, 0.96], [0.98, 0.5]])
        >>> matrix = CoverageMatrix(reliability=chance, margin_db=10.0 * chance, required=0.95, capacity=1)
        >>> matrix.gateway_of.tolist()
        [1, 0]
        """
        if not self.limit:
            return self.best_spots
        if self.shape[1] == 1:
            return np.where(self.within_capacity[:, 0], 0, -1)
        return self.assigned(tuple(range(self.shape[1]))).gateway_of

    def assigned(self, spots: tuple[int, ...]) -> Assignment:
        """Work out which inverter reports where: those that hold first, then by reliability, then by margin.

        Parameters
        ----------
        spots : tuple of int
            The spots with a gateway, one or more.

        Returns
        -------
        Assignment
        """
        columns = list(spots)
        holds = self.holds[:, columns]
        chance = self.reliability[:, columns].astype(np.float64)
        margin_db = self.margin_db[:, columns].astype(np.float64)
        margin_db = np.where(np.isnan(margin_db), -np.inf, margin_db)
        possible = (margin_db > -np.inf) | holds | (chance > 0.0)
        rows = np.arange(len(holds))
        if self.limit:
            worth = np.where(possible, chance + (len(holds) + 1.0) * holds, -np.inf)
            at, _ = assign(worth, self.limit)
        else:
            at = np.lexsort((margin_db, chance, holds, possible), axis=1)[:, -1]
            at = np.where(possible[rows, at], at, -1)
        has = at >= 0
        worst_db = float(margin_db[rows, at].min(initial=np.inf)) if has.all() else -np.inf
        return Assignment(
            spots=spots,
            gateway_of=np.where(has, np.asarray(columns, dtype=np.int64)[at], -1),
            served=int(np.count_nonzero(holds[rows, at] & has)),
            expected_served=float(chance[rows, at][has].sum()),
            worst_margin_db=worst_db,
        )
