"""Where the gateway goes, or the gateways: every spot judged by the routes it would give, and why the best one wins."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.draws import Relaying, Served, Sure, served_draws, sure_of_ranking
from survey.errors import SurveyError
from survey.links import HOLDS, Links, Progress, links_between
from survey.network import Hops, Network, hops_of, network_between
from survey.placement.reasons import Decider, Reason, reason_for
from survey.placement.scores import Scores, best_of_each_place, reached, score_spots, scores_from, scores_of
from survey.placement.several import Reached, Wanted, choose_several, fewest_of, short_of_room
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
    "score_spots",
    "scores_of",
    "short_of_room",
]

IntArray = NDArray[np.int64]

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
        return sum(route.gateway < 0 for route in self.network.routes)


def place(
    scene: Scene,
    *,
    wanted: Wanted | None = None,
    look: Callable[[Links], None] | None = None,
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
    plan, count, spots = scene.plan, len(scene.inverters), len(scene.spots)
    if not spots:
        raise SurveyError(f"{plan.file}: has no [[spot]] and no [[search]]; add a place where a gateway could go")
    if plan.requirement.gateways > spots:
        have = "is only 1 spot" if spots == 1 else f"are only {spots} spots"
        raise SurveyError(
            f"{plan.file}: [requirement]: gateways: {plan.requirement.gateways} gateways are more than there are "
            f"places: there {have}"
        )
    before = count if plan.requirement.max_relays else 0

    def stage(done_before: int) -> Progress | None:
        return progress and (lambda done, _: progress(done_before + done, before + spots))

    hops = hops_of(scene, progress=stage(0)) if plan.requirement.max_relays else None
    several = None
    if plan.requirement.gateways > 1 or wanted.fewest:
        several = Reached.room_for(count, spots, reliability=plan.requirement.reliability)
    links = None
    if count * spots <= PAIRS_KEPT:
        links = links_between(scene, scene.inverters, scene.spots)
        routes = reached(links, hops)
        scores = scores_from(scene, scene.spots, *routes)
        if look:
            look(links)
        if several:
            several.put(slice(0, spots), *routes)
    else:
        put = several.put if several else None
        scores = score_spots(scene, scene.spots, hops=hops, keep=put, look=look, progress=stage(before))
    order = scores.order()
    choices = choose_several(scene, several, wanted) if several and not wanted.fewest else ()
    few = fewest_of(scene, several, wanted) if several and wanted.fewest else None
    answer = few or (choices[-1] if choices else None)
    if answer and not answer.chosen:  # nobody can be served: then the least bad of the single spots
        answer = None
    chosen = answer.chosen if answer else (int(order[0]),)
    network = network_between(scene, scene.spots.pick(list(chosen)), hops=hops, links=links and links.to(list(chosen)))
    room = plan.requirement.inverters_per_gateway
    if room:
        belongs = _with_room(network, room) if answer is None else _column(answer.gateway_of, np.array(chosen))
        network = network.bound_to(belongs)
    relaying = _relaying(hops, plan.requirement.max_relays) if hops else None
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


def _with_room(network: Network, room: int) -> IntArray:
    """The single gateway for those inverters that it hears best, as many as it has room for."""
    best = np.argsort(-network.reliability, kind="stable")[:room]
    at = np.full(len(network.routes), -1)
    at[best] = 0
    return at


def _column(spot: IntArray, chosen: IntArray) -> IntArray:
    """Which of the chosen gateways stands at a spot, for every inverter; -1 for none."""
    place = {one: k for k, one in enumerate(chosen.tolist())}
    return np.array([place.get(one, -1) for one in spot.tolist()], dtype=np.int64)


def _relaying(hops: Hops, max_relays: int) -> Relaying:
    """The links between inverters, each pair once, as the draws take them."""
    once = hops.start < hops.to
    return Relaying(start=hops.start[once], to=hops.to[once], reliability=hops.reliability[once], max_relays=max_relays)
