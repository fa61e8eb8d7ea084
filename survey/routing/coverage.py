"""Routes to many spots as one matrix: what a gateway at each would do for every inverter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import BoolArray, FloatArray
from survey.base.limits import MAX_PAIRS
from survey.base.workers import WORKERS
from survey.budget import Links, Progress, check_count, map_in_blocks
from survey.routing.hops import Hops
from survey.routing.routes import relayed
from survey.scene import Ends, Scene
from survey.siting import CoverageMatrix

MAX_DOUBLE = 20_000_000
"""Above so many pairs of inverter and spot their figures are kept in single precision: an assumption on memory."""


@dataclass(frozen=True, kw_only=True)
class SpotCoverage:
    """All spots of a site, each as if it had a gateway.

    Attributes
    ----------
    matrix : CoverageMatrix
        The routes of all inverters to all spots.
    crossed : ndarray of bool, shape (obstacles,)
        Which obstacles any direct line to a spot goes through.
    links : Links or None
        The links to all spots, where they were worked out in one go; None where there are too many to keep.
    """

    matrix: CoverageMatrix
    crossed: BoolArray
    links: Links | None


def matrix_of(scene: Scene, reliability: FloatArray, margin_db: FloatArray) -> CoverageMatrix:
    """Routes of some reliability and margin, shape (inverters, gateways), with what the plan requires of them."""
    required = scene.plan.requirement.reliability
    return CoverageMatrix(reliability=reliability, margin_db=margin_db, required=required, capacity=scene.capacity)


def coverage_matrix(links: Links, hops: Hops | None = None) -> CoverageMatrix:
    """Every inverter's most reliable route to each gateway, over as many relays as the plan allows.

    Parameters
    ----------
    links : Links
        Of the inverters to the gateways.
    hops : Hops, optional
        The links between inverters; without them none passes a message on.

    Returns
    -------
    CoverageMatrix
    """
    max_relays = links.scene.plan.requirement.max_relays
    routes = links.reliability, links.margin_db
    if hops is not None and max_relays:
        routes = relayed(hops, *routes, max_relays=max_relays)
    return matrix_of(links.scene, *routes)


def cover_spots(
    scene: Scene,
    *,
    ends: Ends | None = None,
    hops: Hops | None = None,
    progress: Progress | None = None,
    workers: int = WORKERS,
) -> SpotCoverage:
    """Work out the routes to every spot, the links of a few spots at a time.

    Parameters
    ----------
    scene : Scene
        The site.
    ends : Ends, optional
        Other candidates than all its spots.
    hops : Hops, optional
        The links between inverters, where messages may go over relays.
    progress : callable, optional
        Called with how many spots are done, and how many there are.
    workers : int
        How many threads share the work; the answer is the same with any number.

    Returns
    -------
    SpotCoverage
        In memory 16 bytes for each inverter at each spot, 8 on a very large site. A small site's links are kept.

    Raises
    ------
    SurveyError
        Where the pairs are more than `MAX_PAIRS`.
    """
    ends = scene.spots if ends is None else ends
    shape = len(scene.inverters), len(ends)
    check_count(scene, *shape, most=MAX_PAIRS)
    dtype = np.float64 if shape[0] * shape[1] <= MAX_DOUBLE else np.float32
    reliability, margin_db = np.empty(shape, dtype), np.empty(shape, dtype)
    crossed, whole = np.zeros(len(scene.obstacles), dtype=bool), None

    def judge(links: Links) -> tuple[CoverageMatrix, BoolArray, Links | None]:
        return coverage_matrix(links, hops), links.crossed_obstacles, links if links.shape == shape else None

    blocks = map_in_blocks(scene, scene.inverters, ends, judge, progress=progress, workers=workers)
    for block, (part, part_crossed, whole) in blocks:  # noqa: B007  the links of the only block are all links
        reliability[:, block], margin_db[:, block] = part.reliability, part.margin_db
        crossed |= part_crossed
    return SpotCoverage(matrix=matrix_of(scene, reliability, margin_db), crossed=crossed, links=whole)
