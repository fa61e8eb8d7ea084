"""Recommend spots for gateways: score every spot and existing gateway by its routes, and give the reason."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeVar

import numpy as np

from survey.base.arrays import IntArray
from survey.base.errors import SurveyError
from survey.base.layout import counted
from survey.budget import HOLDS, Progress, links_between
from survey.decisions.placement.ranking import Decider, Reason, Scores, best_of_each_place, reason_for, scores_of
from survey.decisions.simulation import (
    UNSTEADY_SHARE,
    RankingCertainty,
    Served,
    certainty_of_ranking,
    geometries_for,
    served_runs,
    spot_runs,
)
from survey.routing import Hops, Network, SpotCoverage, cover_spots, hops_of, network_between
from survey.scene import Scene
from survey.siting import CoverageMatrix
from survey.siting.choice import Choice
from survey.siting.choosing import choose_each
from survey.siting.fewest import Fewest, fewest

__all__ = [
    "Decider",
    "Moving",
    "Placement",
    "PlacementOptions",
    "Reason",
    "Scores",
    "best_of_each_place",
    "capacity_warning",
    "place",
    "scores_of",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class PlacementOptions:
    """What a recommendation is asked to do, beside the plan's own requirement.

    Attributes
    ----------
    fewest : bool
        As few gateways as serve all inverters that can be served; else as many as the plan allows.
    spare : bool
        With the fewest: every inverter has to hold at two gateways, so that any one of them may fail.
    time_limit_s : float
        For how long a proof may be looked for. [s]
    draws, seed : int
        Number of simulation runs, and the beginning of their random numbers.
    """

    fewest: bool = False
    spare: bool = False
    time_limit_s: float = 60.0
    draws: int = 1_000
    seed: int = 0


A = TypeVar("A", Choice, Fewest)

MIN_MORE_SHARE, MAX_FEWER_SHARE = 0.5, 0.05
"""A gain by moving a gateway is certain where more inverters work in at least half of the simulation runs, and fewer in
at most one of twenty. A judgement."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Moving:
    """What moving an existing gateway to the best new spot brings, run by run.

    Attributes
    ----------
    existing, spot : int
        The best existing gateway, and the best spot: indices into the scores.
    more_share, fewer_share : float
        Share of the simulation runs in which more inverters work at the spot, and fewer. [-]
    covers_more : bool
        Whether more inverters hold at the spot.
    """

    existing: int
    spot: int
    more_share: float
    fewer_share: float
    covers_more: bool

    @property
    def is_certain(self) -> bool:
        """Whether the runs can tell the gain."""
        return self.more_share >= MIN_MORE_SHARE and self.fewer_share <= MAX_FEWER_SHARE

    @property
    def is_advised(self) -> bool:
        """Whether the gateway is to be moved: for more inverters as the plan requires them, or for a certain gain."""
        return self.covers_more or self.is_certain


@dataclass(frozen=True, kw_only=True)
class Placement:
    """A recommendation, and what it was made from; certainty and reason are worked out when first asked for.

    Attributes
    ----------
    scene : Scene
        The site.
    options : PlacementOptions
        What was asked for.
    hops : Hops or None
        The links between inverters; None where the plan allows no relays.
    coverage : SpotCoverage
        The routes of all inverters to all candidates: the existing gateways, then the spots.
    scores : Scores
        Of all candidates, each with one gateway alone.
    order : ndarray of int, shape (spots,)
        The ranking: indices into the scores. An existing gateway comes first where moving it brings nothing certain.
    choices : tuple of Choice
        Where several gateways may be used: the best for one of them, for two, and so on.
    fewest : Fewest or None
        Where that was asked for: the fewest gateways that do.
    chosen : tuple of int
        The candidates recommended: indices into the scores.
    network : Network
        The routes of every inverter to the gateways there.
    moving : Moving or None
        For a single gateway where one exists and a spot scores better: what moving it there brings.
    """

    scene: Scene
    options: PlacementOptions
    hops: Hops | None
    coverage: SpotCoverage
    scores: Scores
    order: IntArray
    choices: tuple[Choice, ...]
    fewest: Fewest | None
    chosen: tuple[int, ...]
    network: Network
    moving: Moving | None = None

    @property
    def served(self) -> int:
        """How many inverters hold."""
        return int(np.sum(self.network.state == HOLDS))

    @property
    def expected_served(self) -> float:
        """Sum of the reliabilities of all inverters."""
        return float(self.network.reliability.sum())

    @property
    def worst_inverter(self) -> int:
        """Which inverter's route has the weakest link, of those that a gateway takes."""
        margin_db = self.network.weakest_margin_db
        return int(np.argmin(np.where(np.isnan(margin_db), np.inf, margin_db)))

    @property
    def spots_matrix(self) -> CoverageMatrix:
        """The routes to the spots alone, without the existing gateways."""
        matrix, existing = self.coverage.matrix, self.scores.existing
        return matrix.only(range(existing, matrix.shape[1])) if existing else matrix

    def is_existing(self, candidate: int) -> bool:
        """Return whether a candidate is an existing gateway."""
        return candidate < self.scores.existing

    @cached_property
    def certainty(self) -> RankingCertainty:
        """How certain it is that the first of the ranking is the best single spot.

        Without a critical figure for an existing gateway that another spot equals: any small error puts that one first.
        """
        certainty = certainty_of_ranking(
            self.scene,
            spots=self.scores.spots,
            order=self.order,
            expected_served=self.scores.expected_served,
            draws=self.options.draws,
            seed=self.options.seed,
            links=self.coverage.links,
            hops=self.hops,
        )
        stays = self.reason is not None and self.reason.decided_by in {"existing", "moving"}
        return replace(certainty, search=None) if stays else certainty

    @property
    def unsteady(self) -> tuple[int, ...]:
        """Inverters whose link has another state in many geometries of the site; none where there are relays."""
        if self.hops:
            return ()
        single = not self.choices and not self.fewest
        record, links = (
            (self.certainty.record, self.certainty.links) if single else (self.runs.record, self.network.links)
        )
        if record is None:
            return ()
        share = record.unsteady_share(links)
        mine = share[np.arange(len(share)), np.maximum(self.network.gateway_of, 0)]
        return tuple(np.flatnonzero(mine > UNSTEADY_SHARE).tolist())

    @cached_property
    def runs(self) -> Served:
        """How many inverters the recommendation serves in simulation runs over what the plan does not know."""
        links, draws, seed = self.network.links, self.options.draws, self.options.seed
        return served_runs(links, self.hops, draws=draws, seed=seed, geometries=geometries_for(links, draws, seed))

    @cached_property
    def reason(self) -> Reason | None:
        """Why the best spot is the best; None where it is the only one."""
        return reason_for(self.scores, self.order, self.coverage.matrix, self.scene.inverters.names)


def place(scene: Scene, *, options: PlacementOptions | None = None, progress: Progress | None = None) -> Placement:
    """Recommend spots for as many gateways as the plan allows, or for the fewest that serve all.

    Existing gateways take part like spots, so that none is moved where it is as good as every spot.

    Parameters
    ----------
    scene : Scene
        A site with one spot or more.
    options : PlacementOptions, optional
        Whether the most inverters or the fewest gateways; by default the most inverters.
    progress : callable, optional
        Called with how much is done, and how much there is.

    Returns
    -------
    Placement
        Also where nothing holds anywhere: then the least bad.

    Raises
    ------
    SurveyError
        Where the plan has no spot, or fewer spots and existing gateways than it asks for gateways.
    """
    options, requirement = options or PlacementOptions(), scene.plan.requirement
    _check_spots(scene)
    candidates = scene.gateways_and_spots
    before = len(scene.inverters) if requirement.max_relays else 0

    def stage(done_before: int) -> Progress | None:
        return progress and (lambda done, _: progress(done_before + done, before + len(candidates)))

    hops = hops_of(scene, progress=stage(0)) if requirement.max_relays else None
    coverage = cover_spots(scene, ends=candidates, hops=hops, progress=stage(before))
    scores = scores_of(candidates, coverage.matrix, existing=len(scene.gateways))
    order = scores.order()
    moving = None
    if requirement.gateways == 1 and not options.fewest:
        moving = _moving(scene, scores, order, hops=hops, options=options)
    if moving and not moving.is_advised:
        order = np.concatenate([[moving.existing], order[order != moving.existing]])
    few: Fewest | None = None
    choices: tuple[Choice, ...] = ()
    time_limit_s = options.time_limit_s
    if options.fewest:
        few = fewest(coverage.matrix, times=2 if options.spare else 1, time_limit_s=time_limit_s)
        few = _as_ranked(few, coverage.matrix, int(order[0]))
    elif requirement.gateways > 1:
        found = choose_each(coverage.matrix, at_most=requirement.gateways, time_limit_s=time_limit_s)
        choices = tuple(_as_ranked(choice, coverage.matrix, int(order[0])) for choice in found)
    answer = few or (choices[-1] if choices else None)
    # Where no inverter can be served it is the least bad of the single spots.
    chosen = answer.chosen if answer and answer.chosen else (int(order[0]),)
    links = coverage.links and coverage.links.to(chosen)
    return Placement(
        scene=scene,
        options=options,
        hops=hops,
        coverage=coverage,
        scores=scores,
        order=order,
        choices=choices,
        fewest=few,
        chosen=chosen,
        network=network_between(scene, candidates.pick(list(chosen)), hops=hops, links=links),
        moving=moving,
    )


def _as_ranked(answer: A, matrix: CoverageMatrix, best: int) -> A:
    """Return a choice of a single spot as the ranking decides between spots that cover as many inverters."""
    if len(answer.chosen) != 1:
        return answer
    ranked = matrix.assigned((best,))
    if ranked.served != answer.served:
        return answer
    return replace(
        answer,
        chosen=(best,),
        gateway_of=ranked.gateway_of,
        expected_served=ranked.expected_served,
        worst_margin_db=ranked.worst_margin_db,
    )


def _moving(
    scene: Scene, scores: Scores, order: IntArray, *, hops: Hops | None, options: PlacementOptions
) -> Moving | None:
    """Compare the best existing gateway with the best spot, run by run; None where no spot scores better."""
    spot = int(order[0])
    if spot < scores.existing or not scores.existing:
        return None
    existing = next(i for i in order.tolist() if i < scores.existing)
    links = links_between(scene, scene.inverters, scores.spots.pick([spot, existing]))
    draws, seed = options.draws, options.seed
    runs = spot_runs(links, hops, draws=draws, seed=seed, geometries=geometries_for(links, draws, seed))
    (pair,) = runs.pairs()
    return Moving(
        existing=existing,
        spot=spot,
        more_share=pair.one_more,
        fewer_share=pair.other_more,
        covers_more=bool(scores.served[spot] > scores.served[existing]),
    )


def _check_spots(scene: Scene) -> None:
    """Refuse a site with fewer candidates than requested gateways."""
    plan, spots, existing = scene.plan, len(scene.spots), len(scene.gateways)
    if not spots:
        raise SurveyError(f"{plan.file}: has no [[spot]] and no [[search]]; add a spot where a gateway could go")
    if plan.requirement.gateways > spots + existing:
        have = counted(spots, "spot") + (f" and {counted(existing, 'existing gateway')}" if existing else "")
        raise SurveyError(
            f"{plan.file}: [requirement]: gateways: {plan.requirement.gateways} gateways are requested, but the plan "
            f"has only {have}"
        )


def capacity_warning(scene: Scene) -> str:
    """Return a warning where the gateways that the plan allows cannot take all inverters; else nothing."""
    requirement, count = scene.plan.requirement, len(scene.inverters)
    capacity = requirement.gateways * requirement.inverters_per_gateway
    if not capacity or capacity >= count:
        return ""
    gateways = "1 gateway takes" if requirement.gateways == 1 else f"{requirement.gateways} gateways take"
    return (
        f"{gateways} {capacity} of {count} inverters at most: raise gateways or inverters_per_gateway in "
        "[requirement], or some of them have nowhere to report"
    )
