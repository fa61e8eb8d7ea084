"""Where the gateway goes: every spot judged by the links it would give, and why the best one wins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.errors import SurveyError
from survey.links import HOLDS, Links, Progress, judged_in_blocks, links_between
from survey.scene import Ends, Scene
from survey.workers import WORKERS

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


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
        Which inverter has the smallest margin.
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


@dataclass(frozen=True, kw_only=True)
class Placement:
    """A recommendation.

    Attributes
    ----------
    scene : Scene
        The site.
    scores : Scores
        Of all spots.
    order : ndarray of int, shape (spots,)
        The ranking: indices into the scores.
    links : Links
        The links of every inverter to the best spot, shape (inverters, 1).
    reason : Reason or None
        Why it is the best; None where it is the only one.
    """

    scene: Scene
    scores: Scores
    order: IntArray
    links: Links
    reason: Reason | None


def scores_of(links: Links) -> Scores:
    """Judge spots by their links."""
    margin_db = links.margin_db
    worst = np.argmin(margin_db, axis=0)
    return Scores(
        spots=links.gateways,
        served=np.sum(links.state == HOLDS, axis=0, dtype=np.int64),
        expected_served=np.sum(links.reliability, axis=0),
        worst_inverter=worst,
        worst_margin_db=margin_db[worst, np.arange(len(worst))],
        median_margin_db=np.median(margin_db, axis=0),
    )


def score_spots(scene: Scene, spots: Ends, *, progress: Progress | None = None, workers: int = WORKERS) -> Scores:
    """Judge many spots, with memory for a few of them at a time.

    Parameters
    ----------
    scene : Scene
        The site.
    spots : Ends
        One spot or more.
    progress : callable, optional
        Told how many spots are done.
    workers : int
        How many threads share the work; the answer is the same with any number.

    Returns
    -------
    Scores
        In the order of the spots.
    """
    judged = judged_in_blocks(scene, scene.inverters, spots, scores_of, progress=progress, workers=workers)
    blocks = [scores for _, scores in judged]

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


def place(scene: Scene, *, progress: Progress | None = None) -> Placement:
    """Recommend a spot for one gateway.

    Parameters
    ----------
    scene : Scene
        A site with one spot or more.
    progress : callable, optional
        Told how many spots are done.

    Returns
    -------
    Placement
        Also where nothing holds anywhere: then the least bad.

    Raises
    ------
    SurveyError
        Where the plan names no place for a gateway.
    """
    if not len(scene.spots):
        message = "has no [[spot]] and no [[search]]; add a place where a gateway could go"
        raise SurveyError(f"{scene.plan.file}: {message}")
    scores = score_spots(scene, scene.spots, progress=progress)
    order = scores.order()
    best = order[:1]
    links = links_between(scene, scene.inverters, scene.spots.pick(best))
    return Placement(scene=scene, scores=scores, order=order, links=links, reason=_reason(scene, scores, order))


def best_of_each_place(scores: Scores, order: IntArray) -> IntArray:
    """The part of a ranking that keeps, of every named spot and every search, the best point only."""
    places = [scores.spots.places[i] for i in order.tolist()]
    _, first = np.unique(np.array(places), return_index=True)
    return order[np.sort(first)]


def _reason(scene: Scene, scores: Scores, order: IntArray) -> Reason | None:
    """Why the first of a ranking comes before the best of another place."""
    if len(order) < 2:  # noqa: PLR2004  there is no rival
        return None
    best = int(order[0])
    places = best_of_each_place(scores, order)
    rival = int(places[1]) if len(places) > 1 else int(order[1])
    links = links_between(scene, scene.inverters, scores.spots.pick([best, rival]))
    holds = links.state == HOLDS
    difference = links.reliability[:, 0] - links.reliability[:, 1]
    figures = ("served", "expected_served", "worst_margin_db")
    differs = (name for name in figures if abs(getattr(scores, name)[best] - getattr(scores, name)[rival]) > 1e-6)  # noqa: PLR2004

    def deciders(indices: IntArray) -> tuple[Decider, ...]:
        return tuple(
            Decider(
                inverter=scene.inverters.names[i],
                margin_db=float(links.margin_db[i, 0]),
                rival_margin_db=float(links.margin_db[i, 1]),
                reliability=float(links.reliability[i, 0]),
                rival_reliability=float(links.reliability[i, 1]),
            )
            for i in indices.tolist()
        )

    largest = np.argsort(-np.abs(difference), kind="stable")
    return Reason(
        rival=scores.spots.names[rival],
        decided_by=next(differs, "order"),
        gained=deciders(np.flatnonzero(holds[:, 0] & ~holds[:, 1])),
        lost=deciders(np.flatnonzero(holds[:, 1] & ~holds[:, 0])),
        nearer=deciders(largest[np.abs(difference[largest]) > 1e-6][:5]),  # noqa: PLR2004
    )
