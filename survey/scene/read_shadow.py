"""What readings have shown of the shadowing of links near those that were read."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray

NEAREST = 12
"""Read links that a prediction uses; those behind them say nothing more. A judgement."""
REACH = 4.0
"""Beyond so many correlation distances a read link says nothing: e^-4 of its shadowing. A judgement."""


@dataclass(frozen=True, kw_only=True)
class ReadShadow:
    r"""Links that were read, and how far they lay off the fitted model.

    Attributes
    ----------
    starts_m, ends_m : ndarray of float, shape (read, 3)
        Where they begin and end. [m]
    off_db : ndarray of float, shape (read,)
        Level less the model's, over the factor that the shadowing at its gateway has (`Correction.spreads`). [dB]
    told : ndarray of float, shape (read,)
        How much each tells, 1 for a level: from 0 to 1. [-]
    alike : float
        Share of the variance that close links have in common. [-]
    correlation_m : float
        Over this distance, of both ends added up, it falls to 1/e. [m]
    """

    starts_m: FloatArray
    ends_m: FloatArray
    off_db: FloatArray
    told: FloatArray
    alike: float
    correlation_m: float

    def both_ways(self, turned: NDArray[np.bool_]) -> ReadShadow:
        """Return these with some links a second time, the other way round: between inverters both ways are alike."""
        return replace(
            self,
            starts_m=np.concatenate([self.starts_m, self.ends_m[turned]]),
            ends_m=np.concatenate([self.ends_m, self.starts_m[turned]]),
            off_db=np.append(self.off_db, self.off_db[turned]),
            told=np.append(self.told, self.told[turned]),
        )

    def near(self, starts_m: FloatArray, ends_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        r"""Return what is to be expected of links between these places.

        Parameters
        ----------
        starts_m, ends_m : ndarray of float, shapes (starts, 3) and (ends, 3)
            Ends of the links. [m]

        Returns
        -------
        tuple of ndarrays of float, shape (starts, ends)
            By how much their levels are higher than the model's [dB], and which share of the variance of shadowing is
            left [-]: 0 and 1 far from all that was read.

        Notes
        -----
        The conditional mean and variance of a normal field given its nearest readings (simple kriging),
        :math:`k^T S^{-1} r` and :math:`1 - k^T S^{-1} k`.
        """
        from scipy.spatial import cKDTree  # noqa: PLC0415  start-up time

        shape = (len(starts_m), len(ends_m))
        mean_db, left = np.zeros(shape).ravel(), np.ones(shape).ravel()
        count = min(NEAREST, len(self.off_db))
        reach_m = REACH * self.correlation_m
        if not count or not self.alike or not len(left):
            return mean_db.reshape(shape), left.reshape(shape)
        close_starts = np.asarray(cKDTree(self.starts_m).query(starts_m)[0]) < reach_m
        close_ends = np.asarray(cKDTree(self.ends_m).query(ends_m)[0]) < reach_m
        close = np.flatnonzero((close_starts[:, None] & close_ends[None]).ravel())
        if not len(close):
            return mean_db.reshape(shape), left.reshape(shape)
        start, end = starts_m[close // shape[1]], ends_m[close % shape[1]]
        tree = cKDTree(np.hstack([self.starts_m, self.ends_m]))
        near = tree.query(np.hstack([start, end]), k=range(1, count + 1))[1]
        near_starts, near_ends = self.starts_m[near], self.ends_m[near]
        across = self._common(near_starts - start[:, None], near_ends - end[:, None])
        among = self._common(near_starts[:, :, None] - near_starts[:, None], near_ends[:, :, None] - near_ends[:, None])
        diagonal = np.arange(count)
        among[:, diagonal, diagonal] = 1.0 / self.told[near]
        weights = np.linalg.solve(among, across[:, :, None])[:, :, 0]
        mean_db[close] = np.sum(weights * self.off_db[near], axis=1)
        left[close] = np.clip(1.0 - np.sum(weights * across, axis=1), 1.0 - self.alike, 1.0)
        return mean_db.reshape(shape), left.reshape(shape)

    def _common(self, starts_m: FloatArray, ends_m: FloatArray) -> FloatArray:
        """How alike links are whose ends are apart by these vectors."""
        apart_m = np.linalg.norm(starts_m, axis=-1) + np.linalg.norm(ends_m, axis=-1)
        return np.asarray(self.alike * np.exp(-apart_m / self.correlation_m))
