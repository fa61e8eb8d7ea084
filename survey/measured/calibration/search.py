"""How levels are spread: shadowing, how alike neighbours are, gateways among each other, and fading in time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from survey.base.arrays import FloatArray
from survey.measured.calibration.field import MAX_EXACT
from survey.measured.calibration.likelihood import Shares
from survey.measured.calibration.solve import COARSE, Solution, Task, solve_at, start_of
from survey.measured.calibration.spreads import spreads_of

LEAST_SIGMA_DB, MOST_SIGMA_DB = 0.3, 30.0
"""Limits of shadowing in a fit, wider than any site. A judgement. [dB]"""
SIGMA_PRIOR_SD = 0.4
"""Standard deviation of the logarithm of shadowing about the plan's figure: worth three readings (an assumption)."""
LEAST_PLAN_SIGMA_DB = 2.0
"""Shadowing before readings, where the plan has less: an assumption. [dB]"""
ALIKE, ALIKE_PRIOR_SD = 0.8, 1.0
"""Share of the variance that neighbours have in common before readings, and the standard deviation of its logit: the
simulation takes all of it (an assumption)."""
CORRELATION_PRIOR_SD = 0.4
"""Standard deviation of the logarithm of the correlation distance about the plan's (an assumption)."""
MOST_ALIKE = 0.97
"""The rest is each link's own at least: levels are whole dB, and no reading is without error (a judgement)."""
END_SDS_DB = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0)
"""Standard deviations of gateways among each other that are tried: a grid about `END_SD_PRIOR`. [dB]"""
END_SD_PRIOR = (2.5, 0.7)
"""Gateways differ among each other by some 2.5 dB, within a factor of two (an assumption), before readings decide."""
FADES_DB = (1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 11.0)
"""Fadings in time that are tried where tries were counted. [dB]"""
FADE_PRIOR = (4.0, 0.6)
"""Fading in time is some 4 dB within a factor of two (an assumption), before counts decide. [dB; -]"""
FIRST_SIGMAS_DB = tuple(20.0 * 0.7**step for step in range(12))
"""From wide to narrow: at a wide spread no reading is wild yet, so none pulls the fit the wrong way."""
MOST_TRIALS = 35
"""Of spreads that are tried in the search for the best. A judgement."""


@dataclass(frozen=True, kw_only=True)
class Found:
    """What a search found.

    Attributes
    ----------
    task, solution : Task, Solution
        The task with the spread of ends and the fading that were found, and its solution.
    end_sd_db : float
        Standard deviation of gateways among each other, its uncertainty with it; 0 where none were compared. [dB]
    """

    task: Task
    solution: Solution
    end_sd_db: float


def solve(
    task: Task, *, shares: Shares | None = None, counted: bool = False, told: Callable[[str], None] | None = None
) -> Found:
    """The best parameters, shadowing and shares.

    The spreads are those of greatest marginal likelihood: the parameters are averaged out (Laplace's way), so that few
    readings do not make them too small. With `plain`, shadowing is that of greatest likelihood, the root of the mean
    square.

    Parameters
    ----------
    task : Task
        What is to be fitted.
    shares : Shares, optional
        Where to begin, or what is given.
    counted : bool
        Tries were counted, so that fading in time can be found.
    told : callable, optional
        Given a line for each step of a long search.

    Returns
    -------
    Found
        Never fails for finite readings: without any that tell, prior knowledge stays.
    """
    shares = shares or Shares(silent=0.0 if task.plain else Shares().silent)
    many = len(task.pairs) > MAX_EXACT
    part = task.pick(task.field.clusters(MAX_EXACT)) if many else task
    tell = told or (lambda _: None)
    if many:
        tell(f"fitting shadowing and its correlation, from {len(part.pairs)} of {len(task.pairs)} links")
    alike = 0.0 if task.plain else min(ALIKE, MOST_ALIKE)
    first = replace(task.plan, alike=alike)
    tried = []
    last = (start_of(part), shares)
    for sigma_db in FIRST_SIGMAS_DB:
        solution = solve_at(part, replace(first, sigma_db=sigma_db), *last, settled=COARSE)
        tried.append((marginal(part, solution), solution))
        last = (solution.parameters, solution.shares)
    best = max(tried, key=lambda one: one[0])[1]
    best = _searched(part, best)
    end_sd_db = 0.0
    if task.model.ends.shape[1]:
        rated = [(*_at(replace(part, model=part.model.with_end_sd(sd_db)), best), sd_db) for sd_db in END_SDS_DB]
        ratings = np.array(
            [one - 0.5 * (np.log(sd_db / END_SD_PRIOR[0]) / END_SD_PRIOR[1]) ** 2 for one, _, sd_db in rated]
        )
        chance = np.exp(ratings - ratings.max())
        end_sd_db = float(np.sqrt(np.average(np.square(END_SDS_DB), weights=chance)))
        sd_db = END_SDS_DB[int(np.argmax(ratings))]
        best = rated[int(np.argmax(ratings))][1]
        part, task = (replace(one, model=one.model.with_end_sd(sd_db), _last={}) for one in (part, task))
    if counted:
        part, task, best = _faded(part, task, best)
    if task.model.ends.shape[1] or counted:
        best = _searched(part, best)
    if many:
        tell(f"fitting all {len(task.pairs)} links")
        best = _scaled(task, best)
    scale = spreads_of(task, best)
    if np.any(scale != 1.0):
        task = replace(task, scale=scale, _last={})
        best = _scaled(task, best)
    return Found(
        task=task,
        solution=solve_at(task, best.shadow, best.parameters, best.shares),
        end_sd_db=end_sd_db,
    )


def marginal(task: Task, solution: Solution) -> float:
    """The logarithm of likelihood and prior with the parameters averaged out, but for a constant."""
    if task.plain:
        return solution.value
    free, shadow = np.flatnonzero(task.model.free), solution.shadow
    bends = float(np.linalg.slogdet(solution.curvature[np.ix_(free, free)])[1])
    away = (
        np.log(shadow.sigma_db / max(task.plan.sigma_db, LEAST_PLAN_SIGMA_DB)) / SIGMA_PRIOR_SD,
        (_logit(shadow.alike) - _logit(ALIKE)) / ALIKE_PRIOR_SD if shadow.alike else 0.0,
        np.log(shadow.correlation_m / task.plan.correlation_m) / CORRELATION_PRIOR_SD,
    )
    return float(solution.value - 0.5 * bends - np.sum(np.log(task.model.sd[free])) - 0.5 * np.sum(np.square(away)))


def _at(task: Task, near: Solution) -> tuple[float, Solution]:
    found = solve_at(task, near.shadow, near.parameters, near.shares, settled=COARSE)
    return marginal(task, found), found


def _searched(task: Task, start: Solution) -> Solution:
    """The best spread near one, by the simplex of Nelder and Mead."""
    from scipy.optimize import minimize, minimize_scalar  # noqa: PLC0415  start-up time

    best = [(marginal(task, start), start)]

    def rating(values: FloatArray) -> float:
        sigma_db = float(np.clip(np.exp(values[0]), LEAST_SIGMA_DB, MOST_SIGMA_DB))
        shadow = replace(start.shadow, sigma_db=sigma_db)
        if len(values) > 1:
            alike = float(min(1.0 / (1.0 + np.exp(-values[1])), MOST_ALIKE))
            shadow = replace(shadow, alike=alike, correlation_m=float(np.exp(np.clip(values[2], -5.0, 8.0))))
        found = solve_at(task, shadow, best[-1][1].parameters, best[-1][1].shares, settled=COARSE)
        value = marginal(task, found)
        if value > best[-1][0]:
            best.append((value, found))
        return -value

    log_sigma = np.log(start.sigma_db)
    if not start.shadow.alike:
        minimize_scalar(
            lambda one: rating(np.array([one])), bounds=(log_sigma - 0.5, log_sigma + 0.5), method="bounded",
            options={"xatol": 2e-3},
        )  # fmt: skip
    else:
        begin = np.array([log_sigma, _logit(start.shadow.alike), np.log(start.shadow.correlation_m)])
        simplex = begin + np.vstack([np.zeros(3), np.diag([0.15, 0.6, 0.3])])
        options: Any = {"initial_simplex": simplex, "maxfev": MOST_TRIALS, "xatol": 0.01, "fatol": 0.01}
        minimize(rating, begin, method="Nelder-Mead", options=options)
    return best[-1][1]


def _faded(part: Task, task: Task, near: Solution) -> tuple[Task, Task, Solution]:
    """The best fading in time."""
    rated = []
    trials = [(fade_db, near.sigma_db * scale) for fade_db in FADES_DB for scale in (1.0, fade_db / part.pairs.fade_db)]
    for fade_db, sigma_db in trials:  # counts tell the ratio of the two best, so both are tried together too
        one = replace(part, pairs=replace(part.pairs, fade_db=fade_db), _last={})
        value, solution = _at(one, replace(near, shadow=replace(near.shadow, sigma_db=sigma_db)))
        away = np.log(fade_db / FADE_PRIOR[0]) / FADE_PRIOR[1]
        rated.append((value - 0.5 * away**2, fade_db, solution))
    _, fade_db, solution = max(rated, key=lambda one: one[0])
    part, task = (replace(one, pairs=replace(one.pairs, fade_db=fade_db), _last={}) for one in (part, task))
    return part, task, solution


def _scaled(task: Task, near: Solution) -> Solution:
    """The best shadowing for all links, its correlation as it was found from a part of them."""
    from scipy.optimize import minimize_scalar  # noqa: PLC0415  start-up time

    tried = [_at(task, near)]

    def rating(log_sigma: float) -> float:
        begin = max(tried, key=lambda one: one[0])[1]
        tried.append(_at(task, replace(begin, shadow=replace(begin.shadow, sigma_db=float(np.exp(log_sigma))))))
        return -tried[-1][0]

    middle = np.log(near.sigma_db)
    minimize_scalar(
        rating, bounds=(middle - 0.3, middle + 0.3), method="bounded", options={"xatol": 5e-3, "maxiter": 8}
    )
    return max(tried, key=lambda one: one[0])[1]


def _logit(share: float) -> float:
    inside = min(max(share, 1e-6), 1.0 - 1e-6)
    return float(np.log(inside / (1.0 - inside)))
