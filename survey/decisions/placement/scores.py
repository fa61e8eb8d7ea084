"""How well a spot would serve: every inverter's link to it, or its route over others."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray, IntArray
from survey.base.workers import WORKERS
from survey.budget import Links, Progress, judged_in_blocks
from survey.routing import Hops, alone, reached
from survey.scene import Ends, Scene

Keep = Callable[[slice, FloatArray, FloatArray], None]
"""Handed which spots were done, and the reliability and margin of every inverter's route to them."""


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
        Which inverter has the smallest margin, of those that a gateway there has room for.
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


def scores_of(links: Links, hops: Hops | None = None) -> Scores:
    """Judge spots by their links, and by routes over other inverters where `hops` gives the links between them."""
    return scores_from(links.scene, links.gateways, *reached(links, hops))


def scores_from(scene: Scene, spots: Ends, reliability: FloatArray, margin_db: FloatArray) -> Scores:
    """Scores of routes of some reliability and margin, shape (inverters, spots); a gateway takes whom it hears best."""
    counted, kept_db = alone(scene, reliability, margin_db)
    worst = np.argmin(np.where(np.isnan(kept_db), np.inf, kept_db), axis=0)
    return Scores(
        spots=spots,
        served=np.sum(counted >= scene.plan.requirement.reliability, axis=0, dtype=np.int64),
        expected_served=np.sum(counted, axis=0),
        worst_inverter=worst,
        worst_margin_db=margin_db[worst, np.arange(len(worst))],
        median_margin_db=np.median(margin_db, axis=0),
    )


def score_spots(
    scene: Scene,
    spots: Ends,
    *,
    hops: Hops | None = None,
    keep: Keep | None = None,
    look: Callable[[Links], None] | None = None,
    progress: Progress | None = None,
    workers: int = WORKERS,
) -> Scores:
    """Judge many spots, with memory for a few of them at a time.

    Parameters
    ----------
    scene : Scene
        The site.
    spots : Ends
        One spot or more.
    hops : Hops, optional
        The links between inverters, where messages may go by way of others.
    keep : callable, optional
        Handed which spots were done, and the reliability and margin of every inverter's route to them.
    look : callable, optional
        Handed the links to some of the spots after the other; by several threads at once where several share the work.
    progress : callable, optional
        Told how many spots are done.
    workers : int
        How many threads share the work; the answer is the same with any number.

    Returns
    -------
    Scores
        In the order of the spots.
    """

    def judge(links: Links) -> tuple[Scores, tuple[FloatArray, FloatArray] | None]:
        if look:
            look(links)
        routes = reached(links, hops)
        return scores_from(scene, links.gateways, *routes), routes if keep else None

    blocks = []
    for block, (scores, routes) in judged_in_blocks(
        scene, scene.inverters, spots, judge, progress=progress, workers=workers
    ):
        blocks.append(scores)
        if keep and routes:
            keep(block, *routes)

    def joined(field: str) -> NDArray[np.float64]:
        return np.concatenate([getattr(block, field) for block in blocks])

    return Scores(
        spots=spots,
        served=joined("served").astype(np.int64),
        expected_served=joined("expected_served"),
        worst_inverter=joined("worst_inverter").astype(np.int64),
        worst_margin_db=joined("worst_margin_db"),
        median_margin_db=joined("median_margin_db"),
    )


def best_of_each_place(scores: Scores, order: IntArray) -> IntArray:
    """The part of a ranking that keeps, of every named spot and every search, the best point only."""
    places = [scores.spots.places[i] for i in order.tolist()]
    _, first = np.unique(np.array(places), return_index=True)
    return order[np.sort(first)]
