"""How well a spot would serve all inverters, and which spot comes first."""

from __future__ import annotations

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
