"""How well a fit predicts what it has not seen: places and gateways left out in turn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import FloatArray, IntArray
from survey.measured.calibration.solve import Solution, Task, scaled

FOLDS = 10
"""Groups that are left out in turn: common practice of cross-validation."""
INTERVAL = 1.6449
"""Standard deviations on either side that hold 90 of 100."""


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """Levels beside what a fit without their neighbours, or without their gateway, predicts.

    Attributes
    ----------
    off_db : ndarray of float, shape (pairs,)
        What was read less what was predicted; NaN where no level was read, or nothing was left to fit. [dB]
    inside : float or None
        Share of levels within the 90 % interval.
    groups : int
        How many groups were left out in turn.
    """

    off_db: FloatArray
    inside: float | None
    groups: int

    @property
    def rmse_db(self) -> float | None:
        """Root of the mean square. [dB]"""
        there = self.off_db[~np.isnan(self.off_db)]
        return float(np.sqrt(np.mean(there**2))) if len(there) else None


def neighbourhoods(points_m: FloatArray, count: int) -> IntArray:
    """Sort points into so many groups of neighbours: halved again and again across the longest axis of the largest."""
    places_m, place = np.unique(np.round(points_m, 3), axis=0, return_inverse=True)
    group = np.zeros(len(places_m), dtype=np.int64)
    for new in range(1, min(count, len(places_m))):
        largest = np.flatnonzero(group == np.argmax(np.bincount(group)))
        axis = int(np.argmax(np.ptp(places_m[largest], axis=0)))
        order = largest[np.argsort(places_m[largest, axis], kind="stable")]
        group[order[len(order) // 2 :]] = new
    return np.asarray(group[place.reshape(-1)])


def leave_out(task: Task, solution: Solution, group: IntArray) -> LeftOut:
    """Leave groups of pairs out in turn, fit the others, and see how far off these lie.

    Parameters
    ----------
    task : Task
        What was fitted.
    solution : Solution
        The fit of all; about it the model is taken as linear, and its spreads as known.
    group : ndarray of int, shape (pairs,)
        Which group each pair belongs to.

    Returns
    -------
    LeftOut
        Of all groups.
    """
    groups = np.unique(group)
    model, variance_db2, scale = task.model, solution.sigma_db**2, task.scale
    off_db = np.full(len(group), np.nan)
    if len(groups) < 2:  # noqa: PLR2004  nothing is left to fit
        return LeftOut(off_db=off_db, inside=None, groups=0)
    level_dbm, slopes = model.predict(solution.parameters)
    found = task.score(level_dbm, solution.shadow, solution.shares)
    level_above_db = found.slope * variance_db2 * scale**2 / solution.told
    level_above_db += slopes @ (solution.parameters - model.mean)
    own = scaled(slopes, scale)
    free = np.flatnonzero(model.free)
    precision = np.diag(1.0 / model.sd[free] ** 2)
    sd_db = np.full(len(group), np.nan)
    read = task.pairs.has_level
    reach = solution.whitener.reach
    white = solution.whitener.times(own[:, free]) if reach is not None else None
    white_above = solution.whitener.times(level_above_db / scale) if reach is not None else None
    for one in groups.tolist():
        out = group == one
        if white is not None and white_above is not None:
            kept = ~out[reach].any(axis=1)
            here, above = white[kept], white_above[kept]
        else:
            whitener = task.field.pick(~out).whitener(
                solution.told[~out], alike=solution.shadow.alike, correlation_m=solution.shadow.correlation_m
            )
            here, above = whitener.times(own[np.ix_(~out, free)]), whitener.times((level_above_db / scale)[~out])
        covariance = np.linalg.inv(here.T @ here / variance_db2 + precision)
        parameters = model.mean.copy()
        parameters[free] += covariance @ (here.T @ above) / variance_db2
        parameters = np.clip(parameters, model.lower, model.upper)
        off_db[out] = task.pairs.level_dbm[out] - model.pick(out).predict(parameters)[0]
        unknown_db2 = np.einsum("li,ij,lj->l", slopes[np.ix_(out, free)], covariance, slopes[np.ix_(out, free)])
        sd_db[out] = np.sqrt(variance_db2 * scale[out] ** 2 + np.maximum(unknown_db2, 0.0))
    within = np.abs(off_db[read]) <= INTERVAL * sd_db[read]
    return LeftOut(off_db=off_db, inside=float(np.mean(within)) if read.any() else None, groups=len(groups))
