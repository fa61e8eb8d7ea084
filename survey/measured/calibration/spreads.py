"""Shadowing by gateway: some see their inverters through more of what a plan leaves out than others do."""

from __future__ import annotations

import numpy as np

from survey.base.arrays import FloatArray
from survey.measured.calibration.solve import Solution, Task

MIN_LEVELS = 5
"""Levels of a gateway from which its own shadowing is looked at: of fewer its standard error is over a third."""
MIN_GAIN = 2.0
"""By so much the logarithm of the likelihood must rise, or all gateways keep one shadowing: chance alone does that in
2 of 100 sites (half a chi-squared of one degree of freedom)."""
SPREADS = tuple(np.linspace(0.05, 1.0, 20).tolist())
"""Standard deviations of the logarithm of shadowing among gateways that are tried. [-]"""


def spreads_of(task: Task, solution: Solution) -> FloatArray:
    r"""Return the shadowing of each pair's gateway, as a factor of the shadowing of all.

    Parameters
    ----------
    task : Task
        What was fitted, with one shadowing for all gateways.
    solution : Solution
        What was found.

    Returns
    -------
    ndarray of float, shape (pairs,)
        Factors, whose squares have the mean 1 over the pairs; 1 throughout where the readings do not carry it.

    Notes
    -----
    With :math:`q_j` the mean square of a gateway's n residuals, made independent and divided by the shadowing, the
    logarithm of its factor is :math:`\ln(q_j) / 2` with the variance :math:`1 / 2n`. The true ones have a common
    normal distribution, whose width s has the greatest likelihood, and each is drawn towards its middle by the share
    that chance has in it (empirical Bayes).

    References
    ----------
    .. [1] B. Efron and C. Morris, "Stein's estimation rule and its competitors: an empirical Bayes approach", Journal
       of the American Statistical Association 68 (1973), pages 117 to 130 (from memory).
    """
    ones, read = np.ones(len(task.pairs)), task.pairs.has_level
    residual_db = task.pairs.level_dbm - task.model.predict(solution.parameters)[0]
    gateways = [j for j in np.unique(task.pairs.gateway) if np.sum(read & (task.pairs.gateway == j)) >= MIN_LEVELS]
    if len(gateways) < 2 or task.plain:  # noqa: PLR2004  nothing to compare
        return ones
    logs, variances = [], []
    shadow = solution.shadow
    for j in gateways:
        own = read & (task.pairs.gateway == j)
        whitener = task.field.pick(own).whitener(
            solution.told[own], alike=shadow.alike, correlation_m=shadow.correlation_m
        )
        white = whitener.times(residual_db[own] / shadow.sigma_db)
        free = int(own.sum()) - 1  # one goes to the gateway's own deviation
        logs.append(0.5 * np.log(max(float(np.sum(white**2)) / free, 1e-6)))
        variances.append(0.5 / free)
    log_factor, variance = np.array(logs), np.array(variances)
    rated = [(*_rated(log_factor, variance + spread**2), spread) for spread in (0.0, *SPREADS)]
    gain, middle, spread = max(rated, key=lambda one: one[0])
    if gain < rated[0][0] + MIN_GAIN:
        return ones
    factors = np.full(int(task.pairs.gateway.max()) + 1, middle)
    factors[gateways] = middle + (log_factor - middle) * spread**2 / (spread**2 + variance)
    scale = np.exp(factors)[task.pairs.gateway]
    return np.asarray(scale / np.sqrt(np.mean(scale**2)))


def _rated(values: FloatArray, variance: FloatArray) -> tuple[float, float]:
    """Return the logarithm of the likelihood of values with one mean and these variances, and that mean."""
    middle = float(np.sum(values / variance) / np.sum(1.0 / variance))
    return -0.5 * float(np.sum(np.log(variance) + (values - middle) ** 2 / variance)), middle
