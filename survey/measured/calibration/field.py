r"""The shadowing of readings: alike on links whose ends lie close together, as the simulation draws it.

Of the variance :math:`\sigma^2` of a level about the model a share w is a field, and the rest is each link's own:

.. math:: \operatorname{cov}(i, j) / \sigma^2 = w \, e^{-(|\Delta_1| + |\Delta_2|) / d} + (1 - w) \, [i = j]

with :math:`\Delta_1, \Delta_2` the distances between their starts and between their ends, and d `correlation_m`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray, IntArray

MAX_EXACT = 400
"""Up to so many links the covariance is exact; with more, each link is given its nearest ones (a judgement)."""
NEIGHBOURS = 15
"""Of the earlier links, on which each is then conditioned. A judgement: tests/measured/calibration/test_field.py."""
FAR_M = 1e9
"""A distance at which nothing is alike: for places in a table that are not used. [m]"""


@dataclass(frozen=True, kw_only=True)
class Shadow:
    """How levels are spread about the model.

    Attributes
    ----------
    sigma_db : float
        Standard deviation. [dB]
    alike : float
        Share of the variance that close links have in common: w above. [-]
    correlation_m : float
        Over this distance it falls to 1/e. [m]
    """

    sigma_db: float
    alike: float
    correlation_m: float


@dataclass(frozen=True, kw_only=True)
class Whitener:
    """A matrix W whose product :math:`W^T W` is the inverse of a covariance.

    Attributes
    ----------
    times : callable
        W times columns.
    back : callable
        Its transpose times columns.
    log_determinant : float
        Of the covariance.
    reach : ndarray of int or None
        For each row of W the links that enter it; None where all may.
    """

    times: Callable[[Any], Any]
    back: Callable[[Any], Any]
    log_determinant: float
    reach: IntArray | None = None


class Field:
    """Where links begin and end, and with it how alike their shadowing is.

    Parameters
    ----------
    starts_m, ends_m : ndarray of float, shape (links, 3)
        Their ends. [m]

    References
    ----------
    .. [1] A. V. Vecchia, "Estimation and model identification for continuous spatial processes", Journal of the Royal
       Statistical Society B 50 (1988), pages 297 to 312: each value given a few of the earlier ones.
    """

    def __init__(self, starts_m: FloatArray, ends_m: FloatArray) -> None:
        self.starts_m, self.ends_m = starts_m, ends_m
        self.near: IntArray | None = None
        self._together: tuple[tuple[float, float], FloatArray] = ((np.nan, np.nan), np.zeros((0, 0)))
        if len(self) <= MAX_EXACT:
            every = np.arange(len(self))
            self._apart_m = self.apart_m(every[:, None], every[None])
        else:
            self.near = self._nearest()
            own = np.arange(len(self))[:, None]
            unused = self.near == own
            self._from_m = np.where(unused, FAR_M, self.apart_m(own, self.near))
            self._apart_m = self.apart_m(self.near[:, :, None], self.near[:, None])
            self._apart_m[unused[:, :, None] | unused[:, None]] = FAR_M
            diagonal = np.arange(NEIGHBOURS)
            self._apart_m[:, diagonal, diagonal] = 0.0

    def __len__(self) -> int:
        return len(self.starts_m)

    def pick(self, chosen: NDArray[Any]) -> Field:
        """The same for some of the links."""
        return Field(self.starts_m[chosen], self.ends_m[chosen])

    def apart_m(self, one: IntArray, other: IntArray) -> FloatArray:
        """Return how far both ends of links are apart, added up. [m]"""
        found: FloatArray = np.zeros(np.broadcast_shapes(one.shape, other.shape))
        for points_m in (self.starts_m, self.ends_m):
            square = sum((points_m[one, axis] - points_m[other, axis]) ** 2 for axis in range(3))
            found += np.sqrt(square)
        return found

    def clusters(self, count: int) -> NDArray[np.bool_]:
        """Return some `count` links in groups of neighbours, so that close ones and far ones are among them."""
        from scipy.spatial import cKDTree  # noqa: PLC0415  start-up time

        both = np.hstack([self.starts_m, self.ends_m])
        chosen = np.zeros(len(self), dtype=bool)
        seeds = np.random.default_rng(1).permutation(len(self))[: count // 4]
        chosen[np.unique(cKDTree(both).query(both[seeds], k=4)[1])] = True
        return chosen

    def _nearest(self) -> IntArray:
        """For each link its nearest among those before it in a random order; itself where there are too few."""
        from scipy.spatial import cKDTree  # noqa: PLC0415  start-up time

        count = len(self)
        order = np.random.default_rng(0).permutation(count)
        both = np.hstack([self.starts_m, self.ends_m])[order]
        near = np.tile(np.arange(count)[:, None], NEIGHBOURS)
        first = 1
        while first < count:
            last = min(2 * first, count)
            rows = np.arange(first, last)
            tried = [
                np.atleast_2d(cKDTree(both[:upto]).query(both[first:last], k=range(1, most + 1))[1])
                for upto, most in ((first, min(NEIGHBOURS, first)), (last, min(2 * NEIGHBOURS, last)))
            ]
            found = np.concatenate(tried, axis=1)
            found[found >= rows[:, None]] = -1
            found = np.sort(found, axis=1)
            found[:, 1:][found[:, 1:] == found[:, :-1]] = -1
            far_m = self.apart_m(order[rows][:, None], order[np.maximum(found, 0)])
            far_m[found < 0] = np.inf
            best = np.argsort(far_m, axis=1, kind="stable")[:, :NEIGHBOURS]
            kept = np.take_along_axis(found, best, axis=1)
            near[first:last, : kept.shape[1]] = np.where(kept < 0, rows[:, None], kept)
            first = last
        result = np.empty_like(near)
        result[order] = order[near]
        return result

    def whitener(self, known: FloatArray, *, alike: float, correlation_m: float) -> Whitener:
        r"""Return what makes readings of these links independent and of the same weight.

        Parameters
        ----------
        known : ndarray of float, shape (links,)
            How much each tells, 1 for a level, less for what was only heard or missed: its variance is
            :math:`\sigma^2` over this. [-]
        alike, correlation_m : float
            Of the field.

        Returns
        -------
        Whitener
            For the covariance over :math:`\sigma^2`.
        """
        own = 1.0 / known - alike
        if not alike:
            scale = np.sqrt(known)
            return Whitener(
                times=lambda columns: _scaled(columns, scale),
                back=lambda columns: _scaled(columns, scale),
                log_determinant=-float(np.sum(np.log(known))),
                reach=np.arange(len(self))[:, None],
            )
        if self.near is None:
            return self._exact(own, alike, correlation_m)
        return self._by_neighbours(own, alike, correlation_m)

    def _exact(self, own: FloatArray, alike: float, correlation_m: float) -> Whitener:
        from scipy.linalg.lapack import dpotrf, dtrtrs  # noqa: PLC0415  start-up time

        if self._together[0] != (alike, correlation_m):  # many fits in a row ask for the same
            self._together = (alike, correlation_m), alike * np.exp(-self._apart_m / correlation_m)
        covariance = self._together[1].T.copy(order="F")
        covariance[np.diag_indices(len(self))] += own
        factor, wrong = dpotrf(covariance, lower=1, clean=0, overwrite_a=1)
        if wrong:
            raise np.linalg.LinAlgError("the covariance of readings is not positive definite")
        return Whitener(
            times=lambda columns: np.asarray(dtrtrs(factor, columns, lower=1)[0]),
            back=lambda columns: np.asarray(dtrtrs(factor, columns, lower=1, trans=1)[0]),
            log_determinant=2.0 * float(np.sum(np.log(np.diag(factor)))),
        )

    def _by_neighbours(self, own: FloatArray, alike: float, correlation_m: float) -> Whitener:
        from scipy.sparse import csr_array  # noqa: PLC0415  start-up time

        near = self.near
        assert near is not None
        among = alike * np.exp(-self._apart_m / correlation_m)
        diagonal = np.arange(NEIGHBOURS)
        among[:, diagonal, diagonal] += own[near]
        across = alike * np.exp(-self._from_m / correlation_m)
        weights = np.linalg.solve(among, across[:, :, None])[:, :, 0]
        left = alike + own - np.sum(weights * across, axis=1)
        scale = 1.0 / np.sqrt(left)
        count = len(self)
        values = np.column_stack([scale, -scale[:, None] * weights])
        columns = np.column_stack([np.arange(count), near])
        starts = np.arange(0, values.size + 1, values.shape[1])
        matrix = csr_array((values.ravel(), columns.ravel(), starts), shape=(count, count))
        back = matrix.T.tocsr()
        return Whitener(
            times=lambda rows: matrix @ rows,
            back=lambda rows: back @ rows,
            log_determinant=float(np.sum(np.log(left))),
            reach=columns,
        )


def _scaled(columns: FloatArray, scale: FloatArray) -> FloatArray:
    return np.asarray(columns * (scale if columns.ndim == 1 else scale[:, None]))
