"""The most likely parameters: prior knowledge and readings weighed against each other."""

from __future__ import annotations

from dataclasses import dataclass, replace
from dataclasses import field as attribute
from typing import Any

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray
from survey.measured.calibration.field import Field, Shadow, Whitener
from survey.measured.calibration.likelihood import WILD, Score, Shares, better_shares, log_prior, other_tries, score
from survey.measured.calibration.model import OFFSET, Model
from survey.measured.calibration.pairs import Pairs

MOST_STEPS = 60
"""Of the solver at most, so that it ends. A judgement."""
SEARCH_STEPS = 5
"""While shadowing is still looked for: each search begins at the last one's end. A judgement."""
FINE, COARSE = 1e-5, 1e-2
"""A fit has settled where no figure moves by more: in the end, and while shadowing is still looked for."""
LITTLE_KNOWN = 1e-5
"""A pair tells this share of what a level tells, at least: a prior of no width that could be felt."""
SETTLED_SHARE = 1e-4
"""Shares have settled where neither moves by more: a hundredth of a per cent, below what any readings tell."""
SAME = 0.05
"""Where no pair tells more or less than before by a larger share, what makes readings independent is kept."""


@dataclass(frozen=True, kw_only=True)
class Task:
    """What is to be fitted.

    Attributes
    ----------
    pairs, model, field : Pairs, Model, Field
        Readings, the model for them, and how alike their shadowing is.
    plan : Shadow
        Shadowing by the plan.
    plain : bool
        Readings alone: no prior knowledge, no guard against wild ones, each by itself, and a sigma over all (1/N).
    scale : ndarray of float, shape (pairs,)
        Shadowing of each pair's gateway, as a factor of the shadowing of all. [-]
    """

    pairs: Pairs
    model: Model
    field: Field
    plan: Shadow
    plain: bool
    scale: FloatArray
    _last: dict[str, Any] = attribute(default_factory=dict, compare=False)

    @property
    def wild(self) -> float:
        """The share of wild levels."""
        return 0.0 if self.plain else WILD

    def pick(self, chosen: NDArray[np.bool_]) -> Task:
        """The same for some of the pairs."""
        return replace(
            self,
            pairs=self.pairs.pick(chosen),
            model=self.model.pick(chosen),
            field=self.field.pick(chosen),
            scale=self.scale[chosen],
            _last={},
        )

    def score(self, level_dbm: FloatArray, shadow: Shadow, shares: Shares) -> Score:
        """The likelihood of each pair by itself."""
        return score(
            self.pairs,
            level_dbm,
            self.model.need_dbm,
            sigma_db=shadow.sigma_db * self.scale,
            shares=shares,
            wild=self.wild,
        )

    def whitened(self, found: Score, shadow: Shadow) -> tuple[FloatArray, Whitener]:
        """How much each pair tells beside a level, and what makes them independent: the last one if it still fits."""
        told = np.where(self.pairs.has_level, found.trust, found.bend * (shadow.sigma_db * self.scale) ** 2)
        told = np.clip(told, LITTLE_KNOWN, 1.0)
        last, of = self._last, (shadow.alike, shadow.correlation_m)
        if last.get("of") == of and np.all(np.abs(told / last["told"] - 1.0) < SAME):
            return last["told"], last["whitener"]
        whitener = self.field.whitener(told, alike=shadow.alike, correlation_m=shadow.correlation_m)
        last.update(of=of, told=told, whitener=whitener)
        return told, whitener


@dataclass(frozen=True, kw_only=True)
class Solution:
    """What was found.

    Attributes
    ----------
    parameters : ndarray of float, shape (parameters,)
        Offset [dB], exponent [-], changes of losses [dB], deviations of ends [dB].
    shadow : Shadow
        How levels are spread about the model.
    shares : Shares
        What has nothing to do with level.
    value : float
        Logarithm of likelihood and prior.
    curvature : ndarray of float, shape (parameters, parameters)
        Its second derivative in the parameters, with the sign turned.
    told : ndarray of float, shape (pairs,)
        How much each pair tells, beside a level: from 0 to 1. [-]
    whitener : Whitener
        What makes the pairs independent.
    """

    parameters: FloatArray
    shadow: Shadow
    shares: Shares
    value: float
    curvature: FloatArray
    told: FloatArray
    whitener: Whitener

    @property
    def sigma_db(self) -> float:
        """Shadowing. [dB]"""
        return self.shadow.sigma_db


def start_of(task: Task) -> FloatArray:
    """The plan's parameters with the offset at the median of what was heard."""
    start = task.model.mean.copy()
    read = task.pairs.has_level
    if read.any() and task.model.free[OFFSET]:
        start[OFFSET] = float(np.median((task.pairs.level_dbm - task.model.predict(start)[0])[read]))
    return start


def normal_matrix(slopes: Any, whitener: Whitener, residual_db: FloatArray) -> tuple[FloatArray, FloatArray]:  # noqa: ANN401
    """Return what readings say of the parameters: the matrix and the right side of weighted least squares."""
    white = whitener.times(slopes)
    right = white.T @ whitener.times(residual_db)
    return np.asarray(_dense(white.T @ white)), np.asarray(right)


def scaled(slopes: FloatArray, scale: FloatArray) -> FloatArray:
    """Return slopes of levels in units of each pair's own shadowing."""
    return np.asarray(slopes / scale[:, None])


def _dense(matrix: Any) -> FloatArray:  # noqa: ANN401  an array, or a sparse one
    return np.asarray(matrix.toarray() if hasattr(matrix, "toarray") else matrix)


def solve_at(task: Task, shadow: Shadow, start: FloatArray, shares: Shares, *, settled: float = FINE) -> Solution:
    r"""The best parameters and shares for a given shadowing.

    Parameters
    ----------
    task : Task
        What is to be fitted.
    shadow : Shadow
        How levels are spread.
    start : ndarray of float, shape (parameters,)
        Where to begin.
    shares : Shares
        Where to begin with these.
    settled : float
        Where to stop: `FINE` or `COARSE`.

    Returns
    -------
    Solution
        By Newton's steps, halved where one does not help, and held at the limits of the parameters.

    Notes
    -----
    With g the slope of a pair's own likelihood and h its bend, the pair acts as a level g / h above the predicted one
    with the variance 1 / h: this is exact for a level. These are weighed by the covariance of the field, whose
    diagonal is 1 / h (iterated reweighted least squares; a normal copula of the pairs' own likelihoods).
    """
    model = task.model
    precision = 1.0 / model.sd**2
    parameters = np.clip(start, model.lower, model.upper)
    level_dbm, slopes = model.predict(parameters)
    found = task.score(level_dbm, shadow, shares)
    for _ in range(MOST_STEPS if settled <= FINE else SEARCH_STEPS):
        told, whitener = task.whitened(found, shadow)
        weight = told / (shadow.sigma_db * task.scale) ** 2
        matrix, right = normal_matrix(scaled(slopes, task.scale), whitener, found.slope / weight / task.scale)
        gradient = right / shadow.sigma_db**2 - precision * (parameters - model.mean)
        curvature = matrix / shadow.sigma_db**2 + np.diag(precision)
        held = ((parameters <= model.lower) & (gradient < 0)) | ((parameters >= model.upper) & (gradient > 0))
        moving = np.flatnonzero(model.free & ~held)
        step = np.zeros(len(parameters))
        step[moving] = np.linalg.solve(curvature[np.ix_(moving, moving)], gradient[moving])
        value = _value(task, parameters, found, weight, whitener, shadow)
        moved = 0.0
        for halving in range(10):
            tried = np.clip(parameters + step * 0.5**halving, model.lower, model.upper)
            level_dbm, tried_slopes = model.predict(tried)
            scored = task.score(level_dbm, shadow, shares)
            if _value(task, tried, scored, weight, whitener, shadow) >= value - 1e-9:
                moved = float(np.max(np.abs(tried - parameters)))
                parameters, slopes, found = tried, tried_slopes, scored
                break
        level_dbm = model.predict(parameters)[0] if not moved else level_dbm
        before = shares
        shares = better_shares(
            task.pairs,
            level_dbm,
            model.need_dbm,
            sigma_db=shadow.sigma_db * task.scale,
            shares=shares,
            plain=task.plain,
        )
        change = abs(shares.lost - before.lost) + abs(shares.silent - before.silent)
        if change > 0:
            found = task.score(level_dbm, shadow, shares)
        if moved < settled and change < SETTLED_SHARE:
            break
    told, whitener = task.whitened(found, shadow)
    weight = told / (shadow.sigma_db * task.scale) ** 2
    matrix, _ = normal_matrix(scaled(slopes, task.scale), whitener, found.slope)
    value = _value(task, parameters, found, weight, whitener, shadow)
    value += other_tries(task.pairs, model.need_dbm, shares) + log_prior(shares, plain=task.plain)
    return Solution(
        parameters=parameters,
        shadow=shadow,
        shares=shares,
        value=value - 0.5 * whitener.log_determinant - 0.5 * float(np.sum(np.log(told))),
        curvature=matrix / shadow.sigma_db**2 + np.diag(precision),
        told=told,
        whitener=whitener,
    )


def _value(  # noqa: PLR0917  all are arrays or of a type of their own
    task: Task, parameters: FloatArray, found: Score, weight: FloatArray, whitener: Whitener, shadow: Shadow
) -> float:
    """The logarithm of likelihood and prior as the parameters change it, at given weights of the pairs."""
    away = (parameters - task.model.mean) / task.model.sd
    value = float(np.sum(found.value) - 0.5 * np.sum(away**2))
    if shadow.alike:
        residual_db = found.slope / weight
        together = float(np.sum(whitener.times(residual_db / task.scale) ** 2)) / shadow.sigma_db**2
        value += 0.5 * float(np.sum(weight * residual_db**2)) - 0.5 * together
    return value


def gains_of(task: Task, solution: Solution) -> FloatArray:
    """How the parameters weigh each pair in the right side of least squares, shape (pairs, parameters). [1/dB^2]"""
    slopes = scaled(task.model.predict(solution.parameters)[1], task.scale)
    white = _dense(solution.whitener.back(solution.whitener.times(slopes)))
    return white / task.scale[:, None] / solution.shadow.sigma_db**2
