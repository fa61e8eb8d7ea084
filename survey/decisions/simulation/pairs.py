"""Named spots draw by draw: how often one serves more inverters than another, and by how many."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from survey.budget import Links
from survey.decisions.simulation.choices import Served, drawn_reach, mean_error
from survey.decisions.simulation.geometries import Geometries
from survey.decisions.simulation.measure_again import GeometryRecord
from survey.routing import Hops

CountArray = NDArray[np.int32]


@dataclass(frozen=True, kw_only=True, slots=True)
class Pair:
    """Two spots draw by draw.

    Attributes
    ----------
    one, other : int
        Which two.
    one_more, equal, other_more : float
        Share of the draws in which the one serves more inverters, both as many, or the other more. [-]
    one_by, other_by : float
        How many more, on average over the draws in which it does; 0 where it never does. [-]
    error : float
        Standard error of the greater of the shares `one_more` and `other_more`. [-]
    """

    one: int
    other: int
    one_more: float
    equal: float
    other_more: float
    one_by: float
    other_by: float
    error: float = float("nan")


def pair_of(
    one_counts: CountArray, other_counts: CountArray, *, one: int, other: int, geometries: Geometries | None = None
) -> Pair:
    """Count in how many draws which of two serves more.

    Examples
    --------
    >>> pair = pair_of(np.array([9, 7, 5, 5]), np.array([5, 6, 5, 6]), one=0, other=1)
    >>> pair.one_more, pair.one_by, pair.equal, pair.other_more, pair.other_by
    (0.5, 2.5, 0.25, 0.25, 1.0)
    """
    more = one_counts - other_counts
    draws, up, down = len(more), more > 0, more < 0
    return Pair(
        one=one,
        other=other,
        one_more=int(up.sum()) / draws,
        equal=int((more == 0).sum()) / draws,
        other_more=int(down.sum()) / draws,
        one_by=float(more[up].mean()) if up.any() else 0.0,
        other_by=float(-more[down].mean()) if down.any() else 0.0,
        error=mean_error((up if up.sum() >= down.sum() else down).astype(np.float64), geometries),
    )


@dataclass(frozen=True, kw_only=True)
class SpotRuns:
    """How many inverters each of some spots serves in each draw.

    Attributes
    ----------
    counts : ndarray of int, shape (draws, spots)
        Inverters that work; the same draws for all spots.
    inverters : int
        Of how many.
    seed : int
        Beginning of the random numbers.
    record : GeometryRecord or None
        What was kept of the geometries; None where everything stands as the plan has it.
    """

    counts: CountArray
    inverters: int
    seed: int
    record: GeometryRecord | None = None

    @property
    def draws(self) -> int:
        """How many draws."""
        return len(self.counts)

    def served(self, spot: int) -> Served:
        """One spot's."""
        counts = self.counts[:, spot].astype(np.int64)
        return Served(counts=counts, inverters=self.inverters, seed=self.seed, record=self.record)

    def pairs(self) -> Iterator[Pair]:
        """Every two spots."""
        for one, other in combinations(range(self.counts.shape[1]), 2):
            geometries = self.record.geometries if self.record else None
            yield pair_of(self.counts[:, one], self.counts[:, other], one=one, other=other, geometries=geometries)


def spot_runs(
    links: Links, hops: Hops | None = None, *, draws: int, seed: int, geometries: Geometries | None = None
) -> SpotRuns:
    """Draw how many inverters each of some spots serves, were it the only one with a gateway.

    Parameters
    ----------
    links : Links
        Of all inverters to the spots.
    hops : Hops, optional
        The links between inverters, where messages may go over relays.
    draws, seed : int
        How many draws, and the beginning of their random numbers.
    geometries : Geometries, optional
        Where everything stands in which of the draws; else as the plan has it in all of them.

    Returns
    -------
    SpotRuns
        For spots one by one; for a choice of several gateways there is `survey.decisions.simulation.served_runs`.
    """
    record = GeometryRecord(geometries) if geometries else None
    watch = record.add if record else None
    blocks = drawn_reach(links, hops, draws=draws, seed=seed, geometries=geometries, watch=watch)
    counts = np.concatenate([reached.sum(axis=1, dtype=np.int32) for reached in blocks])
    inverters = links.shape[0]
    counts = np.minimum(counts, links.scene.capacity or inverters)
    return SpotRuns(counts=counts, inverters=inverters, seed=seed, record=record)
