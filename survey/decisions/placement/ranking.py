"""How well each spot would serve all inverters, which comes first, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from survey.base.arrays import FloatArray, IntArray
from survey.scene import Ends
from survey.siting import CoverageMatrix


@dataclass(frozen=True, kw_only=True)
class Scores:
    """How well each of some spots would serve all inverters; arrays of shape (spots,).

    Attributes
    ----------
    spots : Ends
        The spots.
    served : ndarray of int
        Inverters that hold.
    expected_served : ndarray of float
        Sum of the reliabilities of all inverters.
    worst_inverter : ndarray of int
        Which inverter has the smallest margin, of those that a gateway there takes.
    worst_margin_db, median_margin_db : ndarray of float
        That margin, and the margin that half of the inverters exceed. [dB]
    """

    spots: Ends
    served: IntArray
    expected_served: FloatArray
    worst_inverter: IntArray
    worst_margin_db: FloatArray
    median_margin_db: FloatArray

    def order(self) -> IntArray:
        """Indices of the spots from best to worst.

        Most inverters that hold; then the greatest expected number served; then the best worst margin; then as the
        plan has them. What rounding alone tells apart counts as equal.
        """
        by_plan = np.arange(len(self.spots))
        keys = (by_plan, -np.round(self.worst_margin_db, 6), -np.round(self.expected_served, 6), -self.served)
        return np.lexsort(keys)


def scores_of(spots: Ends, matrix: CoverageMatrix) -> Scores:
    """Judge spots by the routes to them, each as the only gateway; it takes the inverters that it hears best."""
    alone, margin_db = matrix.alone, matrix.margin_db
    worst = np.argmin(np.where(np.isnan(alone.margin_db), np.inf, alone.margin_db), axis=0)
    return Scores(
        spots=spots,
        served=np.sum(alone.holds, axis=0, dtype=np.int64),
        expected_served=np.sum(alone.reliability, axis=0, dtype=np.float64),
        worst_inverter=worst,
        worst_margin_db=margin_db[worst, np.arange(len(worst))],
        median_margin_db=np.median(margin_db, axis=0),
    )


def best_of_each_place(scores: Scores, order: IntArray) -> IntArray:
    """The part of a ranking that keeps, of every named spot and every search, the best point only."""
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
        The first figure in which they differ: ``served``, ``expected_served``, ``worst_margin_db``, or ``order`` in
        the plan where they do not.
    gained, lost : tuple of Decider
        Inverters that hold at the best spot and not at the rival, and the other way about.
    nearer : tuple of Decider
        The inverters that make up most of the difference in reliability, where no other decides.
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
    figures = ("served", "expected_served", "worst_margin_db")
    differs = (name for name in figures if abs(getattr(scores, name)[best] - getattr(scores, name)[rival]) > 1e-6)  # noqa: PLR2004

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

    decided_by = next(differs, "order")
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
