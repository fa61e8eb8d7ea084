"""The most likely parameters: prior knowledge and readings weighed against each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray
from survey.measured.calibration.likelihood import WILD, Score, Shares, better_shares, log_prior, other_tries, score
from survey.measured.calibration.model import OFFSET, Model
from survey.measured.calibration.pairs import Pairs

MOST_STEPS = 200
"""Of the solver at most, so that it ends. A judgement."""
MANY_PAIRS = 1_000
"""Of more pairs a part of this size shows first where to look."""
FINE, COARSE = 1e-6, 3e-3
"""A fit has settled where no figure moves by more: in the end, and while shadowing is still looked for."""
LEAST_SIGMA_DB, MOST_SIGMA_DB = 0.3, 30.0
"""Limits of shadowing in a fit, wider than any site. A judgement. [dB]"""
SIGMA_PRIOR_SD = 0.4
"""Standard deviation of the logarithm of shadowing about the plan's figure: worth three readings (an assumption)."""
LEAST_PLAN_SIGMA_DB = 2.0
"""Shadowing before readings, where the plan has less: an assumption. [dB]"""
END_SDS_DB = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0)
"""Standard deviations of gateways among each other that are tried: a grid about `END_SD_PRIOR`. [dB]"""
END_SD_PRIOR = (2.0, 0.7)
"""Gateways differ among each other by some 2 dB, within a factor of two (an assumption), before readings decide."""
FIRST_SIGMAS_DB = tuple(20.0 * 0.7**step for step in range(12))
"""From wide to narrow: at a wide spread no reading is wild yet, so none pulls the fit the wrong way."""


@dataclass(frozen=True, kw_only=True)
class Task:
    """What is to be fitted.

    Attributes
    ----------
    pairs, model : Pairs, Model
        Readings and the model for them.
    plan_sigma_db : float
        Shadowing in the plan. [dB]
    plain : bool
        Readings alone: no prior knowledge, no guard against wild ones, and a sigma over all of them (1/N).
    """

    pairs: Pairs
    model: Model
    plan_sigma_db: float
    plain: bool

    @property
    def wild(self) -> float:
        """The share of wild levels."""
        return 0.0 if self.plain else WILD

    def pick(self, chosen: NDArray[np.bool_]) -> Task:
        """The same for some of the pairs."""
        return replace(self, pairs=self.pairs.pick(chosen), model=self.model.pick(chosen))


@dataclass(frozen=True, kw_only=True)
class Solution:
    """What was found.

    Attributes
    ----------
    parameters : ndarray of float, shape (2 + units,)
        Offset [dB], exponent [-], changes of losses [dB].
    sigma_db : float
        Shadowing. [dB]
    shares : Shares
        What has nothing to do with level.
    value : float
        Logarithm of likelihood and prior.
    curvature : ndarray of float, shape (2 + units, 2 + units)
        Its second derivative in the parameters, with the sign turned.
    """

    parameters: FloatArray
    sigma_db: float
    shares: Shares
    value: float
    curvature: FloatArray


def start_of(task: Task) -> FloatArray:
    """The plan's parameters with the offset at the median of what was heard."""
    start = task.model.mean.copy()
    heard = task.pairs.was_heard
    if heard.any() and task.model.free[OFFSET]:
        start[OFFSET] = float(np.median((task.pairs.level_dbm - task.model.predict(start)[0])[heard]))
    return start


def solve_at(task: Task, sigma_db: float, start: FloatArray, shares: Shares, *, settled: float = FINE) -> Solution:
    """The best parameters and shares for a given shadowing.

    Parameters
    ----------
    task : Task
        What is to be fitted.
    sigma_db : float
        Shadowing. [dB]
    start : ndarray of float, shape (2 + units,)
        Where to begin.
    shares : Shares
        Where to begin with these.
    settled : float
        Where to stop: `FINE` or `COARSE`.

    Returns
    -------
    Solution
        By Newton's steps, halved where one does not help, and held at the limits of the parameters.
    """
    model, pairs = task.model, task.pairs
    precision = np.diag(1.0 / model.sd**2)
    parameters = np.clip(start, model.lower, model.upper)

    def rated(values: FloatArray) -> tuple[float, Score, FloatArray]:
        level_dbm, slopes = model.predict(values)
        found = score(pairs, level_dbm, model.need_dbm, sigma_db=sigma_db, shares=shares, wild=task.wild)
        away = (values - model.mean) / model.sd
        return float(np.sum(found.value) - 0.5 * np.sum(away**2)), found, slopes

    value, found, slopes = rated(parameters)
    for _ in range(MOST_STEPS):
        gradient = slopes.T @ found.slope - precision @ (parameters - model.mean)
        sure = np.where(pairs.was_heard, found.trust / sigma_db**2, np.maximum(found.bend, 0.0))
        curvature = (slopes * sure[:, None]).T @ slopes + precision
        held = ((parameters <= model.lower) & (gradient < 0)) | ((parameters >= model.upper) & (gradient > 0))
        moving = np.flatnonzero(model.free & ~held)
        step = np.zeros(len(parameters))
        step[moving] = np.linalg.solve(curvature[np.ix_(moving, moving)], gradient[moving])
        moved = 0.0
        for halving in range(12):
            tried = np.clip(parameters + step * 0.5**halving, model.lower, model.upper)
            better = rated(tried)
            if better[0] >= value:
                moved = float(np.max(np.abs(tried - parameters)))
                parameters, (value, found, slopes) = tried, better
                break
        before = shares
        level_dbm = model.predict(parameters)[0]
        shares = better_shares(pairs, level_dbm, model.need_dbm, sigma_db=sigma_db, shares=shares, plain=task.plain)
        change = abs(shares.lost - before.lost) + abs(shares.silent - before.silent)
        if change > 0:
            value, found, slopes = rated(parameters)
        if moved < settled and change < settled / 10.0:
            break
    value += other_tries(pairs, model.need_dbm, shares) + log_prior(shares, plain=task.plain)
    curvature = (slopes * np.where(pairs.was_heard, found.trust / sigma_db**2, np.maximum(found.bend, 0.0))[:, None]).T
    return Solution(
        parameters=parameters,
        sigma_db=sigma_db,
        shares=shares,
        value=value,
        curvature=curvature @ slopes + precision,
    )


def solve(task: Task, *, shares: Shares | None = None) -> tuple[Task, Solution]:
    """The best parameters, shadowing and shares.

    Shadowing, and how far gateways differ among each other, are those of greatest marginal likelihood: the parameters
    are averaged out (Laplace's way), so that few readings do not make them too small. With `plain`, shadowing is that
    of greatest likelihood, the root of the mean square.

    Parameters
    ----------
    task : Task
        What is to be fitted.
    shares : Shares, optional
        Where to begin, or what is given.

    Returns
    -------
    Task, Solution
        The task with the spread of ends that was found. Never fails for finite readings: without any that tell, prior
        knowledge stays.
    """
    shares = shares or Shares(silent=0.0 if task.plain else Shares().silent)
    many = len(task.pairs) > MANY_PAIRS
    first = task.pick(np.random.default_rng(1).permutation(len(task.pairs)) < MANY_PAIRS) if many else task
    solution = _with_sigma(first, start_of(first), shares, FIRST_SIGMAS_DB)
    if not task.model.ends.shape[1] and not many:
        return task, solution
    tasks = [replace(task, model=task.model.with_end_sd(sd_db)) for sd_db in END_SDS_DB]
    ratings = []
    for one, sd_db in zip(tasks, END_SDS_DB, strict=True):
        found = solve_at(one, solution.sigma_db, solution.parameters, solution.shares, settled=COARSE)
        away = np.log(sd_db / END_SD_PRIOR[0]) / END_SD_PRIOR[1]
        ratings.append(_marginal(one, found) - 0.5 * away**2)
    task = tasks[int(np.argmax(ratings))] if task.model.ends.shape[1] else task
    near_db = tuple(solution.sigma_db * factor for factor in (1.25, 1.0, 0.8))
    return task, _with_sigma(task, solution.parameters, solution.shares, near_db)


def _marginal(task: Task, solution: Solution) -> float:
    """The logarithm of the likelihood with the parameters averaged out, but for a constant."""
    if task.plain:
        return solution.value
    free = np.flatnonzero(task.model.free)
    bends = float(np.linalg.slogdet(solution.curvature[np.ix_(free, free)])[1])
    away = np.log(solution.sigma_db / max(task.plan_sigma_db, LEAST_PLAN_SIGMA_DB)) / SIGMA_PRIOR_SD
    return float(solution.value - 0.5 * bends - np.sum(np.log(task.model.sd[free])) - 0.5 * away**2)


def _with_sigma(task: Task, start: FloatArray, shares: Shares, sigmas_db: Sequence[float]) -> Solution:
    """The best shadowing, looked for among some figures from wide to narrow and then between the best of them."""
    from scipy.optimize import minimize_scalar  # noqa: PLC0415  start-up time

    tried: list[tuple[float, Solution]] = []

    def rating(log_sigma: float) -> float:
        last = tried[-1][1] if tried else None
        begin = (last.parameters, last.shares) if last else (start, shares)
        solution = solve_at(task, float(np.exp(log_sigma)), *begin, settled=COARSE)
        tried.append((_marginal(task, solution), solution))
        return -tried[-1][0]

    grid = np.log(sigmas_db)
    lowest = int(np.argmin([rating(one) for one in grid.tolist()]))
    tried.append(tried[lowest])
    limits = (
        max(np.log(LEAST_SIGMA_DB), grid[min(lowest + 1, len(grid) - 1)] - 0.1),
        min(np.log(MOST_SIGMA_DB), grid[max(lowest - 1, 0)] + 0.1),
    )
    minimize_scalar(rating, bounds=limits, method="bounded", options={"xatol": 2e-3})
    best = max(tried, key=lambda one: one[0])[1]
    return solve_at(task, best.sigma_db, best.parameters, best.shares)


def covariance_of(task: Task, solution: Solution) -> FloatArray:
    """Covariance of the parameters, from the second derivatives of the logarithm of likelihood and prior.

    What levels leave unknown of shadowing and of the shares widens it where misses tie them together.

    Returns
    -------
    ndarray of float, shape (2 + units, 2 + units)
        Zero where a parameter is held.
    """
    model, pairs, count = task.model, task.pairs, len(solution.parameters)
    level_dbm, slopes = model.predict(solution.parameters)
    lost, silent = solution.shares.lost, solution.shares.silent
    others = np.array([np.log(solution.sigma_db), _logit(lost), _logit(silent)])
    moving = [0] if solution.shares.fixed else [0, 1, 2] if silent > 0 else [0, 1]
    center = np.log(max(task.plan_sigma_db, LEAST_PLAN_SIGMA_DB))

    def rated(values: FloatArray) -> tuple[float, FloatArray]:
        shares = replace(solution.shares, lost=_share(values[1]), silent=_share(values[2]) if silent > 0 else silent)
        sigma_db = float(np.exp(values[0]))
        found = score(pairs, level_dbm, model.need_dbm, sigma_db=sigma_db, shares=shares, wild=task.wild)
        value = float(np.sum(found.value)) + other_tries(pairs, model.need_dbm, shares)
        if not task.plain:
            value += log_prior(shares, plain=False) - 0.5 * ((values[0] - center) / SIGMA_PRIOR_SD) ** 2
        return value, slopes.T @ found.slope

    here = score(pairs, level_dbm, model.need_dbm, sigma_db=solution.sigma_db, shares=solution.shares, wild=task.wild)
    whole = np.zeros((count + len(moving), count + len(moving)))
    whole[:count, :count] = (slopes * here.bend[:, None]).T @ slopes + np.diag(1.0 / model.sd**2)
    for k, one in enumerate(moving):
        step = np.zeros(3)
        step[one] = 1e-3
        (up, slope_up), (down, slope_down) = rated(others + step), rated(others - step)
        whole[:count, count + k] = whole[count + k, :count] = -(slope_up - slope_down) / 2e-3
        bend = -(up - 2.0 * rated(others)[0] + down) / 1e-6
        whole[count + k, count + k] = max(bend, 1e-2)
    kept = np.flatnonzero(model.free)
    inner = np.concatenate([kept, np.arange(count, len(whole))])
    covariance = _inverse(whole[np.ix_(inner, inner)])
    if covariance is None:
        covariance = _inverse(solution.curvature[np.ix_(kept, kept)])
    assert covariance is not None  # the prior alone makes it positive
    result = np.zeros((count, count))
    result[np.ix_(kept, kept)] = covariance[: len(kept), : len(kept)]
    return result


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


def refit(task: Task, solution: Solution) -> FloatArray:
    """The parameters for other readings, with shadowing and shares as found."""
    shares = replace(solution.shares, fixed=True)
    return solve_at(task, solution.sigma_db, solution.parameters, shares).parameters
