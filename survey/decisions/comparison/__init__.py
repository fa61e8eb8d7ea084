"""Named spots side by side, link by link and draw by draw; and spots between two plans."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.budget import Links, Progress, links_between
from survey.decisions.comparison.plans import BetweenPlans, Change, compare_plans
from survey.decisions.placement import Scores, scores_of
from survey.decisions.simulation import SpotRuns, geometries_for, spot_runs
from survey.routing import Network, coverage_matrix, hops_of, network_between
from survey.scene import Scene
from survey.siting import CoverageMatrix

__all__ = ["BetweenPlans", "Change", "Comparison", "compare", "compare_plans"]


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Some spots side by side.

    Attributes
    ----------
    links : Links
        Their links, shape (inverters, spots).
    networks : tuple of Network
        The routes of all inverters to each spot, were it the only one with a gateway.
    together : Network
        The routes with a gateway at every one of the spots.
    matrix : CoverageMatrix
        What the routes to each spot are worth.
    scores : Scores
        How each would serve alone.
    drawn : SpotRuns
        How each serves in draws over what the plan does not know.
    """

    links: Links
    networks: tuple[Network, ...]
    together: Network
    matrix: CoverageMatrix
    scores: Scores
    drawn: SpotRuns

    @property
    def best(self) -> NDArray[np.int64]:
        """The spot at which each inverter does best, were it the only one; shape (inverters,)."""
        return self.matrix.alone.best_spots


def compare(
    scene: Scene, names: Sequence[str], *, draws: int, seed: int, progress: Progress | None = None
) -> Comparison:
    """Put named spots or gateways side by side.

    Parameters
    ----------
    scene : Scene
        The site.
    names : sequence of str
        Spots, points of a search, or gateways that stand today.
    draws, seed : int
        How many draws, and the beginning of their random numbers.
    progress : callable, optional
        Told how many inverters are done, where the links between them have to be worked out.

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
    hops = hops_of(scene, progress=progress) if scene.plan.requirement.max_relays else None
    alone = (links.to([j]) for j in range(len(chosen)))
    matrix = coverage_matrix(links, hops)
    return Comparison(
        links=links,
        networks=tuple(network_between(scene, one.gateways, hops=hops, links=one) for one in alone),
        together=network_between(scene, chosen, hops=hops, links=links),
        matrix=matrix,
        scores=scores_of(chosen, matrix),
        drawn=spot_runs(links, hops, draws=draws, seed=seed, geometries=geometries_for(links, draws, seed)),
    )
