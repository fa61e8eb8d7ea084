"""How certain a recommendation is: how often each spot comes first, and what would overturn it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from survey.base.arrays import FloatArray, IntArray
from survey.budget import Links, crossing_counts, links_between
from survey.decisions.simulation.choices import Served, drawn_hops
from survey.decisions.simulation.geometries import Geometries, clustered_error, geometries_of, within_time
from survey.decisions.simulation.margins import drawn_margins_db
from survey.decisions.simulation.measure_again import CriticalPosition, GeometryRecord
from survey.decisions.simulation.turning import Search, search_of
from survey.routing import Hops
from survey.scene import Ends, Scene

LINKS_DRAWN = 12_000
"""How many links are drawn at most: with more, only the spots that lead are."""
SPOTS_DRAWN = 1_000
"""How many spots are drawn at most, for memory and time: a judgement; those left out are counted in the answer."""


@dataclass(frozen=True, kw_only=True)
class RankingCertainty:
    """How certain it is that the first of some spots is the best.

    Attributes
    ----------
    links : Links
        Of all inverters to the spots drawn; the first of them is the recommended one.
    draws, seed : int
        How many draws, and the beginning of their random numbers.
    best_share : ndarray of float, shape (spots,)
        Share of the draws in which a spot comes first: most inverters work; of those the one whose weakest link is
        better; spots equal in both share the draw. Where messages go by way of others, the number alone counts. They
        add up to 1. [-]
    unbeaten_share : float
        Share of the draws in which no other spot serves more inverters than the recommended one. [-]
    mean_served : ndarray of float, shape (spots,)
        Inverters that work, on average over the draws.
    served : Served
        Those of the recommended spot, draw by draw.
    search : Search or None
        Which single unknown would overturn the recommendation; not looked for where messages go by way of others, or
        where a gateway takes only some of the inverters.
    left_out : int
        Spots that were not drawn, since they fall short: their share is taken as 0.
    shortfall : float
        The least number of inverters by which they are expected to serve fewer than the recommended one; NaN where
        all were drawn.
    best_runs : ndarray of float, shape (geometries, spots), or None
        In how many runs of each geometry a spot comes first; None where everything stands as the plan has it.
    record : GeometryRecord or None
        What else was kept of the geometries.
    """

    links: Links
    draws: int
    seed: int
    best_share: FloatArray
    unbeaten_share: float
    mean_served: FloatArray
    served: Served
    search: Search | None
    left_out: int = 0
    shortfall: float = float("nan")
    best_runs: FloatArray | None = None
    record: GeometryRecord | None = None

    def place_share(self, place: str) -> float:
        """Share of the draws that any point of a named spot or of a search wins. [-]"""
        chosen = [one == place for one in self.links.gateways.places]
        return float(self.best_share[np.array(chosen)].sum())

    def place_error(self, place: str) -> float:
        """Standard error of that share: runs that have their geometry in common count as a cluster. [-]"""
        if self.best_runs is None or self.record is None:
            share = min(1.0, self.place_share(place))
            return float(np.sqrt(share * (1.0 - share) / self.draws))
        chosen = np.array([one == place for one in self.links.gateways.places])
        sizes = np.array(self.record.geometries.sizes, dtype=np.float64)
        return float(clustered_error(self.best_runs[:, chosen].sum(axis=1), sizes))

    @cached_property
    def measure_again(self) -> tuple[CriticalPosition, ...]:
        """The positions and heights whose error moves most: the lead of the first spot, or what works there."""
        return self.record.critical_spot(self.links) if self.record else ()


def contenders(order: IntArray, expected_served: FloatArray, *, inverters: int) -> IntArray:
    """The spots worth drawing: all, or where there are very many those that expect to serve most.

    Parameters
    ----------
    order : ndarray of int, shape (spots,)
        The ranking: indices of spots, the recommended one first.
    expected_served : ndarray of float, shape (spots,)
        Sum of the reliabilities of all inverters, by spot.
    inverters : int
        How many inverters there are.

    Returns
    -------
    ndarray of int
        A part of `order`, still in that order; its first is always there.
    """
    most = min(SPOTS_DRAWN, max(2, LINKS_DRAWN // max(1, inverters)))
    if len(order) <= most:
        return order
    rivals = np.argsort(-expected_served[order[1:]], kind="stable")[: most - 1] + 1
    return np.asarray(order[np.concatenate([[0], np.sort(rivals)])], dtype=np.int64)


def certainty_of_ranking(
    scene: Scene,
    *,
    spots: Ends,
    order: IntArray,
    expected_served: FloatArray,
    draws: int,
    seed: int,
    links: Links | None = None,
    hops: Hops | None = None,
) -> RankingCertainty:
    """Draw how certain a ranking's first spot is, against all others that come near it.

    Parameters
    ----------
    scene : Scene
        The site.
    spots : Ends
        Its spots, and the existing gateways that take part.
    order : ndarray of int, shape (spots,)
        The ranking of them: indices, the recommended one first.
    expected_served : ndarray of float, shape (spots,)
        Sum of the reliabilities of all inverters, by spot.
    draws, seed : int
        How many draws, and the beginning of their random numbers.
    links : Links, optional
        Of all inverters to all spots, where that is at hand; else they are worked out anew.
    hops : Hops, optional
        The links between inverters, where messages may go over relays.

    Returns
    -------
    RankingCertainty
        Its spots are in the order of the ranking.
    """
    chosen = contenders(order, expected_served, inverters=len(scene.inverters))
    left_out = np.setdiff1d(order, chosen)
    shortfall = float(expected_served[order[0]] - expected_served[left_out].max()) if len(left_out) else float("nan")
    near = links.to(chosen) if links is not None else links_between(scene, scene.inverters, spots.pick(chosen))
    geometries = geometries_of(scene, draws=draws, seed=seed)
    searched = near
    if geometries is not None:
        kept = within_time(near, _places_first(near, expected_served[chosen]))
        left_out = np.setdiff1d(order, chosen[kept])
        if len(left_out):
            shortfall = float(expected_served[order[0]] - expected_served[left_out].max())
        if len(kept) < len(chosen):
            near = near.to(kept)
        count = int(crossing_counts(scene, near.inverters, near.gateways).sum())
        geometries = geometries_of(scene, draws=draws, seed=seed, crossed=count)
    return certainty_of(
        near,
        hops,
        draws=draws,
        seed=seed,
        left_out=len(left_out),
        shortfall=shortfall,
        geometries=geometries,
        searched=searched,
    )


def _places_first(links: Links, expected_served: FloatArray) -> IntArray:
    """The recommended spot, the best of every other location, then all others; each by what they expect to serve."""
    by_worth = np.concatenate([[0], np.argsort(-expected_served[1:], kind="stable") + 1])
    _, firsts = np.unique(np.array(links.gateways.places)[by_worth], return_index=True)
    firsts = np.sort(firsts)
    return np.asarray(by_worth[np.concatenate([firsts, np.setdiff1d(np.arange(len(by_worth)), firsts)])])


def certainty_of(
    links: Links,
    hops: Hops | None = None,
    *,
    draws: int,
    seed: int,
    left_out: int = 0,
    shortfall: float = float("nan"),
    geometries: Geometries | None = None,
    searched: Links | None = None,
) -> RankingCertainty:
    """Draw how certain it is that the first of some spots is the best.

    Parameters
    ----------
    links : Links
        Of all inverters to the spots that could be the best, in the order of the ranking.
    hops : Hops, optional
        The links between inverters, where messages may go over relays.
    draws, seed : int
        How many draws, and the beginning of their random numbers: the same seed gives the same answer.
    left_out, shortfall
        As in `RankingCertainty`: what is known of spots that are not among them.
    geometries : Geometries, optional
        Where everything stands in which of the draws; else as the plan has it in all of them.
    searched : Links, optional
        Links to more spots, the same first, among which the critical figure is looked for.

    Returns
    -------
    RankingCertainty
        The same draws for every spot, so that spots are told apart by what differs between them.
    """
    fade_margin_db = links.scene.plan.requirement.fade_margin_db
    inverters, spots = links.shape
    capacity = links.scene.capacity or inverters
    won, total, unbeaten = np.zeros(spots), np.zeros(spots), 0
    counts: list[IntArray] = []
    relays = drawn_hops(links, hops, seed=seed)
    record = GeometryRecord(geometries) if geometries else None
    best_runs = np.zeros((len(geometries), spots)) if geometries else None
    done = 0
    watch = record.add if record else None
    blocks = drawn_margins_db(links, draws=draws, seed=seed, geometries=geometries, watch=watch)
    for margin_db in blocks:
        works = margin_db >= fade_margin_db
        served = np.count_nonzero(relays.reached(works) if relays else works, axis=1)
        known_db = np.where(np.isnan(margin_db), np.inf, margin_db)  # lost beyond the ceiling: at every spot alike
        weakest_db = np.zeros(served.shape) if relays else known_db.min(axis=1)
        if capacity < inverters:
            served = np.minimum(served, capacity)
            if not relays:  # the weakest of those that the gateway takes
                weakest_db = np.partition(known_db, inverters - capacity, axis=1)[:, inverters - capacity]
        most = served == served.max(axis=1, keepdims=True)
        weakest_db[~most] = -np.inf
        first = most & (weakest_db == weakest_db.max(axis=1, keepdims=True))
        here = (first / first.sum(axis=1, keepdims=True)).sum(axis=0)
        won += here
        if geometries is not None and best_runs is not None:
            best_runs[geometries.of_run[done]] += here
        done += len(margin_db)
        total += served.sum(axis=0)
        unbeaten += int(most[:, 0].sum())
        counts.append(served[:, 0])
    return RankingCertainty(
        links=links,
        draws=draws,
        seed=seed,
        best_share=won / draws,
        unbeaten_share=unbeaten / draws,
        mean_served=total / draws,
        served=Served(counts=np.concatenate(counts), inverters=inverters, seed=seed, record=record),
        search=None if relays or capacity < inverters else search_of(searched or links),
        left_out=left_out,
        shortfall=shortfall,
        best_runs=best_runs,
        record=record,
    )
