"""Named spots side by side, link by link."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from survey.links import Links, links_between
from survey.placement import Scores, scores_of
from survey.scene import Scene


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Some spots side by side: their links, shape (inverters, spots), and how each would serve."""

    links: Links
    scores: Scores


def compare(scene: Scene, names: Sequence[str]) -> Comparison:
    """Put named spots or gateways side by side.

    Parameters
    ----------
    scene : Scene
        The site.
    names : sequence of str
        Spots, points of a search, or gateways that stand today.

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
    return Comparison(links=links, scores=scores_of(links))
