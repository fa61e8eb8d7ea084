"""How sure fitted figures are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from survey.base.arrays import FloatArray
from survey.measured.calibration.likelihood import log_prior, other_tries
from survey.measured.calibration.search import LEAST_PLAN_SIGMA_DB, SIGMA_PRIOR_SD
from survey.measured.calibration.solve import Solution, Task, gains_of

LEAST_BEND = 1e-2
"""What is known of a logarithm of shadowing or a logit of a share at least: ten of its units. A judgement."""


def covariance_of(task: Task, solution: Solution) -> FloatArray:
    """Covariance of the parameters, from the second derivatives of the logarithm of likelihood and prior.

    Where tries were missed, what levels leave unknown of shadowing and of the shares widens it.

    Returns
    -------
    ndarray of float, shape (parameters, parameters)
        Zero where a parameter is held.
    """
    kept = np.flatnonzero(task.model.free)
    inner = np.ix_(kept, kept)
    covariance = _inverse(solution.curvature[inner])
    assert covariance is not None  # the prior alone makes it positive
    if not np.all(task.pairs.has_level):
        across, bends = _ties(task, solution)
        wider = _inverse(solution.curvature[inner] - (across[kept] / bends) @ across[kept].T)
        covariance = covariance if wider is None else wider
    result = np.zeros(solution.curvature.shape)
    result[inner] = covariance
    return result


def _ties(task: Task, solution: Solution) -> tuple[FloatArray, FloatArray]:
    """How shadowing and the shares are tied to the parameters, shape (parameters, those), and how sure they are."""
    pairs, model, shadow = task.pairs, task.model, solution.shadow
    level_dbm = model.predict(solution.parameters)[0]
    lost, silent = solution.shares.lost, solution.shares.silent
    others = np.array([np.log(shadow.sigma_db), _logit(lost), _logit(silent)])
    moving = [0] if solution.shares.fixed else [0, 1, 2] if silent > 0 else [0, 1]
    center = np.log(max(task.plan.sigma_db, LEAST_PLAN_SIGMA_DB))
    weight = solution.told / (shadow.sigma_db * task.scale) ** 2
    gains = gains_of(task, solution)

    def rated(values: FloatArray) -> tuple[float, FloatArray]:
        shares = replace(solution.shares, lost=_share(values[1]), silent=_share(values[2]) if silent > 0 else silent)
        found = task.score(level_dbm, replace(shadow, sigma_db=float(np.exp(values[0]))), shares)
        value = float(np.sum(found.value)) + other_tries(pairs, model.need_dbm, shares)
        if not task.plain:
            value += log_prior(shares, plain=False) - 0.5 * ((values[0] - center) / SIGMA_PRIOR_SD) ** 2
        return value, gains.T @ (found.slope / weight)

    here = rated(others)[0]
    across = np.zeros((len(solution.parameters), len(moving)))
    bends = np.zeros(len(moving))
    for k, one in enumerate(moving):
        step = np.zeros(3)
        step[one] = 1e-3
        (up, slope_up), (down, slope_down) = rated(others + step), rated(others - step)
        across[:, k] = (slope_up - slope_down) / 2e-3
        bends[k] = max(-(up - 2.0 * here + down) / 1e-6, LEAST_BEND)
    return across, bends


def _inverse(matrix: FloatArray) -> FloatArray | None:
    """The inverse of a positive definite matrix; None where it is not."""
    try:
        np.linalg.cholesky(matrix)
        inverse = np.linalg.inv(matrix)
    except np.linalg.LinAlgError:
        return None
    return np.asarray((inverse + inverse.T) / 2.0)


def _logit(share: float) -> float:
    inside = min(max(share, 1e-6), 1.0 - 1e-6)
    return float(np.log(inside / (1.0 - inside)))


def _share(logit: float) -> float:
    return float(1.0 / (1.0 + np.exp(-logit)))
