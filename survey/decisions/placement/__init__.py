"""Where the gateway goes, or the gateways: every spot judged by the routes it would give, and why the best one wins."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from survey.base.arrays import IntArray
from survey.base.errors import SurveyError
from survey.budget import HOLDS, Progress
from survey.decisions.placement.ranking import Decider, Reason, Scores, best_of_each_place, reason_for, scores_of
from survey.decisions.simulation import (
    UNSTEADY_SHARE,
    RankingCertainty,
    Served,
    certainty_of_ranking,
    geometries_for,
    served_runs,
)
from survey.routing import Hops, Network, SpotCoverage, cover_spots, hops_of, network_between
from survey.scene import Scene
from survey.siting.choice import Choice
from survey.siting.choosing import choose_each
from survey.siting.fewest import Fewest, fewest

__all__ = [
    "Decider",
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
        The routes of all inverters to all spots.
    scores : Scores
        Of all spots, each with one gateway alone.
    order : ndarray of int, shape (spots,)
        The ranking: indices into the scores.
    choices : tuple of Choice
        Where several gateways may be used: the best for one of them, for two, and so on.
    fewest : Fewest or None
        Where that was asked for: the fewest gateways that do.
    chosen : tuple of int
        The spots recommended: indices into the scores.
    network : Network
        The routes of every inverter to the gateways there.
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

    @cached_property
    def certainty(self) -> RankingCertainty:
        """How certain it is that the first of the ranking is the best single spot."""
        return certainty_of_ranking(
            self.scene,
            order=self.order,
            expected_served=self.scores.expected_served,
            draws=self.options.draws,
            seed=self.options.seed,
            links=self.coverage.links,
            hops=self.hops,
        )

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
        Where the plan names no place for a gateway, or fewer than it wants gateways.
    """
    options, requirement = options or PlacementOptions(), scene.plan.requirement
    _check_spots(scene)
    before = len(scene.inverters) if requirement.max_relays else 0

    def stage(done_before: int) -> Progress | None:
        return progress and (lambda done, _: progress(done_before + done, before + len(scene.spots)))

    hops = hops_of(scene, progress=stage(0)) if requirement.max_relays else None
    coverage = cover_spots(scene, hops=hops, progress=stage(before))
    scores = scores_of(scene.spots, coverage.matrix)
    order = scores.order()
    few: Fewest | None = None
    choices: tuple[Choice, ...] = ()
    time_limit_s = options.time_limit_s
    if options.fewest:
        few = fewest(coverage.matrix, times=2 if options.spare else 1, time_limit_s=time_limit_s)
    elif requirement.gateways > 1:
        choices = tuple(choose_each(coverage.matrix, at_most=requirement.gateways, time_limit_s=time_limit_s))
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
        network=network_between(scene, scene.spots.pick(list(chosen)), hops=hops, links=links),
    )


def _check_spots(scene: Scene) -> None:
    """Refuse a site with fewer spots than gateways wanted."""
    plan, spots = scene.plan, len(scene.spots)
    if not spots:
        raise SurveyError(f"{plan.file}: has no [[spot]] and no [[search]]; add a place where a gateway could go")
    if plan.requirement.gateways > spots:
        have = "is only 1 spot" if spots == 1 else f"are only {spots} spots"
        raise SurveyError(
            f"{plan.file}: [requirement]: gateways: {plan.requirement.gateways} gateways are more than there are "
            f"places: there {have}"
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
