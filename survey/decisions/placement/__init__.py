"""Where the gateway goes, or the gateways: every spot judged by the routes it would give, and why the best one wins."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from survey.base.arrays import FloatArray, IntArray
from survey.base.errors import SurveyError
from survey.budget import HOLDS, Links, Progress, links_between
from survey.decisions.placement.reasons import Decider, Reason, reason_for
from survey.decisions.placement.scores import Keep, Scores, best_of_each_place, score_spots, scores_from, scores_of
from survey.decisions.placement.several import Reached, Wanted, choose_several, fewest_of, short_of_room
from survey.decisions.simulation import Relaying, Served, Sure, served_draws, sure_of_ranking
from survey.routing import Hops, Network, hops_of, network_between, reached, room_of
from survey.scene import Scene
from survey.siting import Choice, Fewest

__all__ = [
    "Decider",
    "Placement",
    "Reason",
    "Scores",
    "Wanted",
    "best_of_each_place",
    "place",
    "relaying_of",
    "score_spots",
    "scores_from",
    "scores_of",
    "short_of_room",
]


PAIRS_KEPT = 200_000
"""With so many pairs of inverter and spot or fewer, all links are kept, and not worked out again for the draws."""


@dataclass(frozen=True, kw_only=True)
class Placement:
    """A recommendation.

    Attributes
    ----------
    scene : Scene
        The site.
    scores : Scores
        Of all spots, each with one gateway alone.
    order : ndarray of int, shape (spots,)
        The ranking: indices into the scores.
    chosen : tuple of int
        The spots recommended: indices into the scores.
    network : Network
        The routes of every inverter to the gateways there.
    choices : tuple of Choice
        Where several gateways may be used: the best for one of them, for two, and so on.
    fewest : Fewest or None
        Where that was asked for: the fewest gateways that do.
    sure : Sure
        How sure it is that the first of the ranking is the best single spot.
    drawn : Served
        How many inverters the recommendation serves in draws over what the plan does not know.
    wanted : Wanted
        What was asked for.
    reason : Reason or None
        Why the best spot is the best; None where it is the only one.
    """

    scene: Scene
    scores: Scores
    order: IntArray
    chosen: tuple[int, ...]
    network: Network
    choices: tuple[Choice, ...]
    fewest: Fewest | None
    sure: Sure
    drawn: Served
    wanted: Wanted
    reason: Reason | None

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
        """Whose route has the weakest link, of those that a gateway has room for."""
        margin_db = self.network.weakest_margin_db
        return int(np.argmin(np.where(np.isnan(margin_db), np.inf, margin_db)))

    @property
    def without_room(self) -> int:
        """How many inverters no gateway has room for."""
        return self.network.without_room


def place(
    scene: Scene,
    *,
    wanted: Wanted | None = None,
    look: Callable[[Links], None] | None = None,
    keep: Keep | None = None,
    progress: Progress | None = None,
) -> Placement:
    """Recommend spots for as many gateways as the plan allows, or for the fewest that serve all.

    Parameters
    ----------
    scene : Scene
        A site with one spot or more.
    wanted : Wanted, optional
        Whether the most inverters or the fewest gateways; by default the most inverters.
    look : callable, optional
        Handed the links to some of the spots after the other, for who needs more of them than is kept; perhaps by
        several threads at once.
    keep : callable, optional
        Handed which spots were done, and the reliability and margin of every inverter's route to them.
    progress : callable, optional
        Told how much is done.

    Returns
    -------
    Placement
        Also where nothing holds anywhere: then the least bad.

    Raises
    ------
    SurveyError
        Where the plan names no place for a gateway, or fewer than it wants gateways.
    """
    wanted = wanted or Wanted()
    plan, count, spots = scene.plan, len(scene.inverters), _spots(scene)
    before = count if plan.requirement.max_relays else 0

    def stage(done_before: int) -> Progress | None:
        return progress and (lambda done, _: progress(done_before + done, before + spots))

    hops = hops_of(scene, progress=stage(0)) if plan.requirement.max_relays else None
    several = None
    if plan.requirement.gateways > 1 or wanted.fewest:
        several = Reached.room_for(count, spots, reliability=plan.requirement.reliability)

    def put(block: slice, reliability: FloatArray, margin_db: FloatArray) -> None:
        if several:
            several.put(block, reliability, margin_db)
        if keep:
            keep(block, reliability, margin_db)

    links = None
    if count * spots <= PAIRS_KEPT:
        links = links_between(scene, scene.inverters, scene.spots)
        routes = reached(links, hops)
        scores = scores_from(scene, scene.spots, *routes)
        if look:
            look(links)
        put(slice(0, spots), *routes)
    else:
        kept = put if several or keep else None
        scores = score_spots(scene, scene.spots, hops=hops, keep=kept, look=look, progress=stage(before))
    order = scores.order()
    choices = choose_several(scene, several, wanted) if several and not wanted.fewest else ()
    few = fewest_of(scene, several, wanted) if several and wanted.fewest else None
    answer = few or (choices[-1] if choices else None)
    if answer and not answer.chosen:  # nobody can be served: then the least bad of the single spots
        answer = None
    chosen = answer.chosen if answer else (int(order[0]),)
    network = network_between(scene, scene.spots.pick(list(chosen)), hops=hops, links=links and links.to(list(chosen)))
    relaying, room = relaying_of(scene, hops), room_of(scene)
    drawn = served_draws(
        network.links, draws=wanted.draws, seed=wanted.seed, relaying=relaying, inverters_per_gateway=room
    )
    sure = sure_of_ranking(
        scene,
        scene.spots,
        order=order,
        expected_served=scores.expected_served,
        draws=wanted.draws,
        seed=wanted.seed,
        links=links,
        relaying=relaying,
        inverters_per_gateway=room,
    )
    return Placement(
        scene=scene,
        scores=scores,
        order=order,
        chosen=chosen,
        network=network,
        choices=choices,
        fewest=few,
        sure=sure,
        drawn=drawn,
        wanted=wanted,
        reason=reason_for(scores, order, links=links, hops=hops, scene=scene),
    )


def _spots(scene: Scene) -> int:
    """How many spots there are: enough of them for the gateways wanted."""
    plan, spots = scene.plan, len(scene.spots)
    if not spots:
        raise SurveyError(f"{plan.file}: has no [[spot]] and no [[search]]; add a place where a gateway could go")
    if plan.requirement.gateways > spots:
        have = "is only 1 spot" if spots == 1 else f"are only {spots} spots"
        raise SurveyError(
            f"{plan.file}: [requirement]: gateways: {plan.requirement.gateways} gateways are more than there are "
            f"places: there {have}"
        )
    return spots


def relaying_of(scene: Scene, hops: Hops | None) -> Relaying | None:
    """The links between inverters, each pair once, as the draws take them; None where the plan allows no relays."""
    max_relays = scene.plan.requirement.max_relays
    if hops is None or not max_relays:
        return None
    once = hops.start < hops.to
    return Relaying(start=hops.start[once], to=hops.to[once], reliability=hops.reliability[once], max_relays=max_relays)
