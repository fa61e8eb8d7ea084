"""How well a fit predicts what it has not seen: readings left out in turn."""

from __future__ import annotations

import numpy as np

from survey.base.arrays import FloatArray
from survey.measured.calibration.solve import Solution, Task, covariance_of, refit

ONE_BY_ONE = 60
"""Up to so many pairs are left out one at a time; more of them in `FOLDS` groups of whole inverters."""
FOLDS = 10
"""Groups that are left out in turn: common practice of cross-validation."""
INTERVAL = 1.6449
"""Standard deviations on either side that hold 90 of 100."""


def cross_validated(task: Task, solution: Solution) -> tuple[FloatArray, float | None, int]:
    """Leave readings out in turn, fit the others, and see how far off these lie.

    Parameters
    ----------
    task : Task
        What is to be fitted.
    solution : Solution
        The fit of all, from which each of the others begins.

    Returns
    -------
    tuple of ndarray of float, shape (pairs,), float or None, and int
        Levels less what a fit without them predicts [dB], NaN where nothing was heard or nothing was left to fit; the
        share of levels within the 90 % interval, where there are any; and the number of groups.
    """
    pairs, model = task.pairs, task.model
    count = len(pairs)
    result = np.full(count, np.nan)
    if count <= ONE_BY_ONE:
        group = np.arange(count)
    else:
        inverters, group = np.unique(pairs.inverter, return_inverse=True)
        if len(inverters) < FOLDS:
            group = np.arange(count)
        shuffled = np.random.default_rng(1).permutation(int(group.max()) + 1)
        group = shuffled[group] % FOLDS
    groups = np.unique(group)
    if len(groups) < 2:  # noqa: PLR2004  nothing is left to fit
        return result, None, 0
    spread_db = np.full(count, np.nan)
    for one in groups.tolist():
        out = group == one
        rest = task.pick(~out)
        parameters = refit(rest, solution)
        level_dbm, slopes = model.pick(out).predict(parameters)
        result[out] = pairs.level_dbm[out] - level_dbm
        found = Solution(
            parameters=parameters,
            sigma_db=solution.sigma_db,
            shares=solution.shares,
            value=0.0,
            curvature=solution.curvature,
        )
        covariance = covariance_of(rest, found)
        unknown_db2 = np.einsum("li,ij,lj->l", slopes, covariance, slopes, optimize=True)
        spread_db[out] = np.sqrt(solution.sigma_db**2 + np.maximum(unknown_db2, 0.0))
    heard = pairs.was_heard
    within = np.abs(result[heard]) <= INTERVAL * spread_db[heard]
    return result, float(np.mean(within)) if heard.any() else None, len(groups)
