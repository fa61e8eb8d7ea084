"""Score every spot by the inverters that it would cover, rank the spots, and give the reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from survey.base.arrays import FloatArray, IntArray
from survey.scene import Ends
from survey.siting import CoverageMatrix

DECIDED_BY = ("served", "expected_served", "existing", "worst_margin_db", "height_m", "order")
"""What a ranking goes by: inverters that hold; expected working; an existing gateway, which need not be moved; the
better weakest margin; the lower height, which is less work; the order of the plan. A judgement."""
EQUAL_DECIMALS = 1
"""Expected numbers that agree to so many decimals are equal: tables show no more, and no prediction is finer."""


@dataclass(frozen=True, kw_only=True)
class Scores:
    """How well each of some spots would serve all inverters; arrays of shape (spots,).

    Attributes
    ----------
    spots : Ends
        The spots; the first `existing` of them are existing gateways.
    served : ndarray of int
        Inverters that hold.
    expected_served : ndarray of float
        Sum of the reliabilities of all inverters.
    worst_inverter : ndarray of int
        Which inverter has the smallest margin, of those that a gateway there takes.
    worst_margin_db, median_margin_db : ndarray of float
        That margin, and the margin that half of the inverters exceed. [dB]
    existing : int
        How many of them are existing gateways.
    """

    spots: Ends
    served: IntArray
    expected_served: FloatArray
    worst_inverter: IntArray
    worst_margin_db: FloatArray
    median_margin_db: FloatArray
    existing: int = 0

    def order(self) -> IntArray:
        """Return the indices of the spots from best to worst, by `DECIDED_BY`."""
        return np.lexsort(tuple(reversed([*self._keys.values()])))

    def decided_by(self, best: int, rival: int) -> str:
        """Return the first of `DECIDED_BY` in which two spots differ."""
        keys = self._keys.items()
        return next(name for name, key in keys if not np.array_equal(key[best], key[rival], equal_nan=True))

    def is_ahead(self, spot: int, other: int) -> bool:
        """Return whether a spot comes before another by `DECIDED_BY`."""
        key = self._keys[self.decided_by(spot, other)]
        return bool(key[spot] < key[other])

    @property
    def _keys(self) -> dict[str, FloatArray | IntArray]:
        """What the ranking goes by, smaller before greater."""
        number = np.arange(len(self.spots))
        keys = (
            -self.served,
            -np.round(self.expected_served, EQUAL_DECIMALS),
            (number >= self.existing).astype(np.int64),
            -np.round(self.worst_margin_db, 6),
            np.round(self.spots.at_m[:, 2], 6),
            number,
        )
        return dict(zip(DECIDED_BY, keys, strict=True))


def scores_of(spots: Ends, matrix: CoverageMatrix, *, existing: int = 0) -> Scores:
    """Score spots by the routes to them, each as the only gateway; it takes the inverters of the best chances.

    Parameters
    ----------
    spots : Ends
        The spots, shape (spots,).
    matrix : CoverageMatrix
        The routes to them.
    existing : int
        How many of them, the first ones, are existing gateways.
    """
    alone, margin_db = matrix.alone, matrix.margin_db
    worst = np.argmin(np.where(np.isnan(alone.margin_db), np.inf, alone.margin_db), axis=0)
    return Scores(
        spots=spots,
        served=np.sum(alone.holds, axis=0, dtype=np.int64),
        expected_served=np.sum(alone.reliability, axis=0, dtype=np.float64),
        worst_inverter=worst,
        worst_margin_db=margin_db[worst, np.arange(len(worst))],
        median_margin_db=np.median(margin_db, axis=0),
        existing=existing,
    )


def best_of_each_place(scores: Scores, order: IntArray) -> IntArray:
    """Return the part of a ranking that keeps, of every named spot and every search, the best point only."""
    places = [scores.spots.places[i] for i in order.tolist()]
    _, first = np.unique(np.array(places), return_index=True)
    return order[np.sort(first)]


@dataclass(frozen=True, kw_only=True)
class Decider:
    """An inverter by which the best spot beats another: its margin [dB] and reliability at either."""

    inverter: str
    margin_db: float
    rival_margin_db: float
    reliability: float
    rival_reliability: float


@dataclass(frozen=True, kw_only=True)
class Reason:
    """Why the best spot comes before a rival.

    Attributes
    ----------
    rival : str
        The best spot that belongs to another entry of the plan; where there is none, the runner-up.
    decided_by : str
        The first of `DECIDED_BY` in which they differ; from the third on, both are equally good. ``moving`` where the
        rival is ahead of an existing gateway by a gain that is not certain.
    gained, lost : tuple of Decider
        Inverters that hold at the best spot only, and at the rival only.
    nearer : tuple of Decider
        The inverters with the largest differences in chance, where no inverter is gained or lost.
    """

    rival: str
    decided_by: str
    gained: tuple[Decider, ...]
    lost: tuple[Decider, ...]
    nearer: tuple[Decider, ...]


def reason_for(scores: Scores, order: IntArray, matrix: CoverageMatrix, inverters: Sequence[str]) -> Reason | None:
    """Find why the first of a ranking comes before the best of another place; None where there is no other spot.

    Parameters
    ----------
    scores, order, matrix
        Of all spots: their scores, the ranking, and the routes to them.
    inverters : sequence of str
        Names of the inverters.
    """
    if len(order) < 2:  # noqa: PLR2004  there is no rival
        return None
    best = int(order[0])
    places = best_of_each_place(scores, order)
    rival = int(places[1]) if len(places) > 1 else int(order[1])
    alone = matrix.only([best, rival]).alone
    reliability, margin_db, holds = alone.reliability, alone.margin_db, alone.holds
    difference = reliability[:, 0] - reliability[:, 1]

    def deciders(indices: IntArray) -> tuple[Decider, ...]:
        return tuple(
            Decider(
                inverter=inverters[i],
                margin_db=float(margin_db[i, 0]),
                rival_margin_db=float(margin_db[i, 1]),
                reliability=float(reliability[i, 0]),
                rival_reliability=float(reliability[i, 1]),
            )
            for i in indices.tolist()
        )

    decided_by = scores.decided_by(best, rival)
    if best < scores.existing and scores.is_ahead(rival, best):
        decided_by = "moving"
    if alone.limit and decided_by != "served":  # other inverters are taken there: that decides nothing
        holds, difference = np.zeros_like(holds), np.zeros_like(difference)
    largest = np.argsort(-np.abs(difference), kind="stable")
    return Reason(
        rival=scores.spots.names[rival],
        decided_by=decided_by,
        gained=deciders(np.flatnonzero(holds[:, 0] & ~holds[:, 1])),
        lost=deciders(np.flatnonzero(holds[:, 1] & ~holds[:, 0])),
        nearer=deciders(largest[np.abs(difference[largest]) > 1e-6][:5]),  # noqa: PLR2004
    )
