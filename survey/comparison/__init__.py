"""Named spots side by side, link by link and draw by draw; and spots between two plans."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from survey.comparison.plans import BetweenPlans, Change, compare_plans
from survey.draws import SpotDraws, spot_draws
from survey.links import Links, links_between
from survey.network import hops_of
from survey.placement import Scores, scores_of
from survey.scene import Scene

__all__ = ["BetweenPlans", "Change", "Comparison", "compare", "compare_plans"]


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Some spots side by side.

    Attributes
    ----------
    links : Links
        Their links, shape (inverters, spots).
    scores : Scores
        How each would serve.
    drawn : SpotDraws
        How each serves in draws over what the plan does not know.
    """

    links: Links
    scores: Scores
    drawn: SpotDraws


def compare(scene: Scene, names: Sequence[str], *, draws: int, seed: int) -> Comparison:
    """Put named spots or gateways side by side.

    Parameters
    ----------
    scene : Scene
        The site.
    names : sequence of str
        Spots, points of a search, or gateways that stand today.
    draws, seed : int
        How many draws, and the beginning of their random numbers.

    Returns
    -------
    Comparison
        In the order of the names.

    Raises
    ------
    UnknownNameError
        Naming every name that is none of them.
    """
    chosen = scene.gateways_and_spots.named(names, file=scene.plan.file, what="gateway or spot")
    links = links_between(scene, scene.inverters, chosen)
    drawn = spot_draws(links, draws=draws, seed=seed)
    hops = hops_of(scene) if scene.plan.requirement.max_relays else None
    return Comparison(links=links, scores=scores_of(links, hops), drawn=drawn)
