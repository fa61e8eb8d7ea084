"""How many inverters one gateway or several serve in each draw, by other inverters too."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.budget import Links
from survey.decisions.simulation.geometries import Geometries, clustered_error
from survey.decisions.simulation.margins import drawn_works
from survey.decisions.simulation.measure_again import GeometryRecord
from survey.decisions.simulation.shadowing import Shadowing
from survey.routing import Hops

LOW, HIGH = 0.05, 0.95
"""The shares of draws between which an interval lies."""
MOST_CORRELATED = 500
"""With more inverters than this, links between them are shadowed each by itself: the rest would take too long. That
flatters relays; P. Agrawal and N. Patwari, "Correlated link shadow fading in multi-hop wireless networks",
arXiv:0804.2708 (2008), found route failures underestimated so by a factor of two or more."""
MOST_GATEWAYS_EXACT = 8
"""With more gateways than this, a limit of inverters for each is kept for all of them together only."""


@dataclass(frozen=True, kw_only=True)
class Served:
    """How many inverters a choice of gateways serves over what the plan does not know.

    Attributes
    ----------
    counts : ndarray of int, shape (draws,)
        In each draw.
    inverters : int
        Of how many.
    seed : int
        Beginning of the random numbers.
    record : GeometryRecord or None
        What was kept of the geometries; None where everything stands as the plan has it.
    """

    counts: IntArray
    inverters: int
    seed: int
    record: GeometryRecord | None = None

    @property
    def draws(self) -> int:
        """How many draws."""
        return len(self.counts)

    @property
    def mean(self) -> float:
        """Average over the draws. [-]"""
        return float(self.counts.mean())

    @property
    def mean_error(self) -> float:
        """Standard error of the average; the draws of one geometry are not independent of each other. [-]"""
        return mean_error(self.counts, self.record.geometries if self.record else None)

    @property
    def interval(self) -> tuple[int, int]:
        """Between these two lies the number in 90 of 100 draws; in 5 it is below the first, in 5 above the other."""
        return interval_of(self.counts)


def mean_error(values: FloatArray | IntArray, geometries: Geometries | None) -> float:
    """Return the standard error of the average of a value of each draw, clustered by their geometries. [-]"""
    if geometries is None:
        return float(clustered_error(np.asarray(values, dtype=np.float64), np.ones(len(values))))
    sums = np.bincount(geometries.of_run, np.asarray(values, dtype=np.float64), minlength=len(geometries))
    return float(clustered_error(np.asarray(sums, dtype=np.float64), np.array(geometries.sizes, dtype=np.float64)))


def interval_of(counts: IntArray) -> tuple[int, int]:
    """The middle nine tenths of some draws: counts that did occur.

    Examples
    --------
    >>> interval_of(np.arange(1, 101))
    (5, 95)
    """
    low, high = np.quantile(counts, [LOW, HIGH], method="inverted_cdf")
    return int(low), int(high)


def served_runs(
    links: Links, hops: Hops | None = None, *, draws: int, seed: int, geometries: Geometries | None = None
) -> Served:
    """Draw how many inverters a choice of gateways serves, within their capacity.

    Parameters
    ----------
    links : Links
        Of all inverters to the gateways chosen, one or more.
    hops : Hops, optional
        The links between inverters; without them, every inverter talks to a gateway itself.
    draws, seed : int
        How many draws, and the beginning of their random numbers.
    geometries : Geometries, optional
        Where everything stands in which of the draws; else as the plan has it in all of them.

    Returns
    -------
    Served
        An inverter is served where a way to any of the gateways works in the draw.

    Notes
    -----
    Links from inverter to inverter are drawn by their reliability, alike both ways, and correlated by both their ends;
    apart from the draws of the links to gateways. How many fit, with a limit, is the greatest flow, by the theorem of
    the smallest cut over all sets of gateways; with more than `MOST_GATEWAYS_EXACT` it is at most that.
    """
    record = GeometryRecord(geometries) if geometries else None
    watch = record.add if record else None
    blocks = drawn_reach(links, hops, draws=draws, seed=seed, geometries=geometries, watch=watch)
    counts = [fitting(reached, links.scene.capacity) for reached in blocks]
    return Served(counts=np.concatenate(counts), inverters=links.shape[0], seed=seed, record=record)


def drawn_reach(
    links: Links,
    hops: Hops | None,
    *,
    draws: int,
    seed: int,
    geometries: Geometries | None = None,
    watch: Callable[[Links], None] | None = None,
) -> Iterator[BoolArray]:
    """Which inverters reach which gateways, block by block of draws, shape (draws, inverters, gateways) each."""
    drawn = drawn_hops(links, hops, seed=seed)
    for works in drawn_works(links, draws=draws, seed=seed, geometries=geometries, watch=watch):
        yield works if drawn is None else drawn.reached(works)


def drawn_hops(links: Links, hops: Hops | None, *, seed: int) -> DrawnHops | None:
    """The links between inverters, to be drawn; None where no message could go over relays."""
    if not hops or not links.scene.plan.requirement.max_relays:
        return None
    return DrawnHops(links, hops, seed=seed)


class DrawnHops:
    """Links between inverters, drawn block by block.

    A draw for all pairs is L Z L^T and its mirror image, added and scaled to a standard deviation of 1: alike both
    ways, and correlated by both ends as `Shadowing` is.

    Parameters
    ----------
    links : Links
        Of the inverters to the gateways.
    hops : Hops
        The links between them.
    seed : int
        Beginning of the random numbers.
    """

    def __init__(self, links: Links, hops: Hops, *, seed: int) -> None:
        from statistics import NormalDist  # noqa: PLC0415  only where there are relays

        once = hops.start < hops.to  # a pair works alike both ways
        self.start, self.to = hops.start[once], hops.to[once]
        self._max_relays = links.scene.plan.requirement.max_relays
        self._count = links.shape[0]
        sure = NormalDist()
        chances = np.clip(hops.reliability[once], 1e-16, 1.0 - 1e-16).tolist()
        self._needed = np.array([-sure.inv_cdf(chance) for chance in chances])
        self._random = np.random.default_rng([seed, 3])
        at_m, correlation_m = links.inverters.at_m, links.scene.plan.environment.correlation_m
        self._shadowing: Shadowing | None = None
        if len(at_m) <= MOST_CORRELATED:
            self._shadowing = Shadowing(at_m, at_m, correlation_m=correlation_m, seed=seed, stream=2)
            apart_m = np.linalg.norm(at_m[self.start] - at_m[self.to], axis=1)
            scale = np.sqrt(2.0 * (1.0 + np.exp(-2.0 * apart_m / correlation_m)))
            # From which sum of a draw and its mirror image on two inverters hear each other; never without a hop.
            self._hears = np.full((self._count, self._count), np.inf)
            needed = self._needed * scale
            self._hears[self.start, self.to] = self._hears[self.to, self.start] = needed

    def works(self, draws: int) -> BoolArray:
        """Which of the links between inverters work in the next draws, shape (draws, hops)."""
        if self._shadowing is None:
            return self._random.standard_normal((draws, len(self.to))) >= self._needed
        every = np.arange(self._count)
        return np.array([self._hear(self._shadowing, every)[self.start, self.to] for _ in range(draws)])

    def _hear(self, shadowing: Shadowing, rows: IntArray) -> BoolArray:
        """Whom some inverters hear in the next draw, shape (rows, inverters)."""
        return np.asarray(shadowing.next_mirrored(rows) >= self._hears[rows])

    def reached(self, direct: BoolArray) -> BoolArray:
        """Which inverters reach which gateways, shape (draws, inverters, gateways)."""
        reached = direct.copy()
        if self._shadowing is None:
            works = self.works(len(direct))
            for k, up in enumerate(works):
                self._relay(reached[k], self.start[up], self.to[up])
            return reached
        for here in reached:  # a matrix of all pairs at a time, for those who need others
            without = np.flatnonzero(~here.all(axis=1))
            near = self._hear(self._shadowing, without).astype(np.float32)
            for _ in range(self._max_relays):
                before = here[without]
                here[without] = before | (near @ here.astype(np.float32) > 0.0)
                if np.array_equal(before, here[without]):
                    break
        return reached

    def _relay(self, reached: BoolArray, start: IntArray, to: IntArray) -> None:
        """Put in which inverters reach gateways over relays, along links one by one: all pairs would be too many."""
        for _ in range(self._max_relays):
            before = reached.copy()
            for j in range(reached.shape[1]):
                reached[start[before[to, j]], j] = True
                reached[to[before[start, j]], j] = True
            if np.array_equal(before, reached):
                break


def fitting(reached: BoolArray, capacity: int) -> IntArray:
    """How many inverters find a gateway that takes them, by the cut theorem for flows.

    Parameters
    ----------
    reached : ndarray of bool, shape (draws, inverters, gateways)
        Which inverters reach which gateways.
    capacity : int
        How many inverters a gateway takes; 0 for no limit.

    Returns
    -------
    ndarray of int, shape (draws,)
        The most that fit; with more than `MOST_GATEWAYS_EXACT` gateways an upper bound of it.
    """
    total = reached.any(axis=2).sum(axis=1)
    if not capacity:
        return np.asarray(total, dtype=np.int64)
    gateways = reached.shape[2]
    total = np.minimum(total, gateways * capacity)
    sizes: Sequence[int] = range(1, gateways) if gateways <= MOST_GATEWAYS_EXACT else ()
    for full in _subsets(gateways, sizes):  # these gateways are full, and who reaches another one is counted there
        others = [j for j in range(gateways) if j not in full]
        elsewhere = reached[:, :, others].any(axis=2).sum(axis=1)
        total = np.minimum(total, len(full) * capacity + elsewhere)
    return np.asarray(total, dtype=np.int64)


def _subsets(count: int, sizes: Sequence[int]) -> Iterator[tuple[int, ...]]:
    for size in sizes:
        yield from combinations(range(count), size)
