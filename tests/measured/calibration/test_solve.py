"""Where nothing is wild, a fit is a linear model with a normal prior: its answer stands in textbooks of statistics.

C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for Machine Learning (2006), section 2.7: with levels y about
A p, covariance C, and p normal about m with covariance S, p given y has the inverse covariance A'C^-1 A + S^-1, and y
by itself is normal about A m with the covariance C + A S A'.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from survey.measured.calibration.field import Field, Shadow
from survey.measured.calibration.likelihood import Shares, log_prior, other_tries
from survey.measured.calibration.model import Model
from survey.measured.calibration.pairs import Pairs
from survey.measured.calibration.search import (
    ALIKE,
    ALIKE_PRIOR_SD,
    CORRELATION_PRIOR_SD,
    SIGMA_PRIOR_SD,
    _scaled,
    marginal,
)
from survey.measured.calibration.solve import Task, gains_of, solve_at, start_of
from survey.measured.calibration.uncertainty import covariance_of

COUNT = 12
SHARES = Shares(lost=0.0, silent=0.0, fixed=True)
SHADOWS = [
    Shadow(sigma_db=4.0, alike=0.0, correlation_m=15.0),
    Shadow(sigma_db=4.0, alike=0.5, correlation_m=15.0),
    Shadow(sigma_db=7.0, alike=0.7, correlation_m=8.0),
]

SCALES = [None, np.tile([0.7, 1.3], COUNT // 2)]
"""Shadowing of every pair as a factor of that of all: none, or of two gateways."""


class WithoutOutliers(Task):
    wild = 0.0


def task(scale=None):
    rng = np.random.default_rng(3)
    starts_m = np.column_stack([rng.uniform(5.0, 60.0, (COUNT, 2)), np.full(COUNT, 3.0)])
    decades = np.log10(np.linalg.norm(starts_m, axis=1))
    none = np.zeros((COUNT, 0))
    model = Model(
        level_dbm=-60.0 - 20.0 * decades,
        decades=decades,
        straight_db=np.zeros(COUNT),
        around=np.zeros(COUNT),
        passes=none,
        leaked=none,
        leaking=np.zeros((COUNT, 0, 0)),
        ends=none,
        need_dbm=np.full(COUNT, -300.0),
        mean=np.array([1.0, 2.0]),
        sd=np.array([6.0, 0.3]),
        lower=np.array([-np.inf, 0.5]),
        upper=np.array([np.inf, 8.0]),
        free=np.array([True, True]),
    )
    index = np.arange(COUNT)
    pairs = Pairs(
        inverter=index,
        gateway=np.zeros(COUNT, dtype=np.int64),
        level_dbm=model.level_dbm + 7.0 - 4.0 * decades + rng.normal(0.0, 3.0, COUNT),
        heard=np.ones(COUNT, dtype=np.int64),
        missed=np.zeros(COUNT, dtype=np.int64),
        starts_m=starts_m,
        ends_m=np.zeros((COUNT, 3)),
        fade_db=3.0,
    )
    plan = Shadow(sigma_db=5.0, alike=ALIKE, correlation_m=12.0)
    field = Field(starts_m, np.zeros((COUNT, 3)))
    return WithoutOutliers(
        pairs=pairs, model=model, field=field, plan=plan, plain=False, scale=np.ones(COUNT) if scale is None else scale
    )


def by_the_textbook(one, shadow):
    """Slopes, levels less those without any parameter, covariance of the levels, precision of the prior."""
    slopes = np.column_stack([np.ones(COUNT), -10.0 * one.model.decades])
    levels_db = one.pairs.level_dbm - one.model.level_dbm - 10.0 * one.model.mean[1] * one.model.decades
    apart_m = np.linalg.norm(one.pairs.starts_m[:, None] - one.pairs.starts_m[None], axis=2)
    alike = shadow.alike * np.exp(-apart_m / shadow.correlation_m) + (1.0 - shadow.alike) * np.eye(COUNT)
    alike = alike * one.scale[:, None] * one.scale
    return slopes, levels_db, shadow.sigma_db**2 * alike, np.diag(one.model.sd**-2)


@pytest.mark.parametrize("scale", SCALES)
@pytest.mark.parametrize("shadow", SHADOWS)
def test_parameters_and_their_curvature_are_those_of_the_linear_model(shadow, scale):
    one = task(scale)
    slopes, levels_db, covariance, precision = by_the_textbook(one, shadow)
    curvature = slopes.T @ np.linalg.solve(covariance, slopes) + precision
    right = slopes.T @ np.linalg.solve(covariance, levels_db) + precision @ one.model.mean
    found = solve_at(one, shadow, start_of(one), SHARES)
    assert found.parameters == pytest.approx(np.linalg.solve(curvature, right), rel=1e-9)
    assert found.curvature == pytest.approx(curvature, rel=1e-9)
    assert gains_of(one, found) == pytest.approx(np.linalg.solve(covariance, slopes), rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("scale", SCALES)
@pytest.mark.parametrize("shadow", SHADOWS)
def test_the_rating_of_a_shadowing_is_its_evidence_and_its_prior(shadow, scale):
    one = task(scale)
    slopes, levels_db, covariance, precision = by_the_textbook(one, shadow)
    whole = covariance + slopes @ np.linalg.inv(precision) @ slopes.T
    evidence = multivariate_normal.logpdf(levels_db, slopes @ one.model.mean, whole)
    away = [np.log(shadow.sigma_db / 5.0) / SIGMA_PRIOR_SD, np.log(shadow.correlation_m / 12.0) / CORRELATION_PRIOR_SD]
    if shadow.alike:
        away.append((np.log(shadow.alike / (1.0 - shadow.alike)) - np.log(ALIKE / (1.0 - ALIKE))) / ALIKE_PRIOR_SD)
    tries = other_tries(one.pairs, one.model.need_dbm, SHARES)
    found = marginal(one, solve_at(one, shadow, start_of(one), SHARES))
    assert found == pytest.approx(evidence + tries - 0.5 * np.sum(np.square(away)), abs=1e-6)


def test_a_parameter_that_is_held_stays_and_the_others_are_fitted_beside_it():
    one = task()
    one.model.free[1] = False
    slopes, levels_db, covariance, precision = by_the_textbook(one, SHADOWS[1])
    weights = np.linalg.solve(covariance, slopes[:, 0])
    rest_db = levels_db - slopes[:, 1] * one.model.mean[1]
    offset_db = (weights @ rest_db + precision[0, 0] * one.model.mean[0]) / (weights.sum() + precision[0, 0])
    found = solve_at(one, SHADOWS[1], start_of(one), SHARES)
    assert found.parameters == pytest.approx([offset_db, 2.0], rel=1e-9)


@pytest.mark.parametrize("silent", [0.0, 0.1])
def test_with_missed_tries_the_covariance_is_that_of_everything_together(silent):
    """The second derivatives of the logarithm of likelihood and prior in all unknowns, by differences; what is left of
    the parameters' part once the others, taken as independent of each other, are averaged out (Schur's complement).
    """
    full = task()
    missed = np.arange(COUNT) % 3 == 0
    pairs = replace(
        full.pairs,
        level_dbm=np.where(missed, np.nan, full.pairs.level_dbm),
        heard=np.where(missed, 0, 1),
        missed=np.where(missed, 2, 1),
    )
    model = replace(full.model, need_dbm=np.full(COUNT, float(np.nanmedian(pairs.level_dbm))))
    one = replace(full, pairs=pairs, model=model, scale=np.ones(COUNT), _last={})
    shadow = SHADOWS[0]
    shares = Shares(lost=0.2, silent=silent)
    found = replace(solve_at(one, shadow, start_of(one), replace(shares, fixed=True)), shares=shares)

    def total(values):
        logits = 1.0 / (1.0 + np.exp(-values[3:]))
        changed = Shares(lost=logits[0], silent=logits[1] if silent else 0.0)
        spread = replace(shadow, sigma_db=np.exp(values[2]))
        score = one.score(model.predict(values[:2])[0], spread, changed)
        away = [(values[:2] - model.mean) / model.sd, (values[2] - np.log(one.plan.sigma_db)) / SIGMA_PRIOR_SD]
        prior = log_prior(changed, plain=False) - 0.5 * np.sum(np.square(np.hstack(away)))
        return np.sum(score.value) + other_tries(pairs, model.need_dbm, changed) + prior

    at = np.array([*found.parameters, np.log(4.0), np.log(0.2 / 0.8), np.log(0.1 / 0.9)])[: 5 if silent else 4]
    steps = np.eye(len(at)) * 1e-3
    bends = np.array(
        [
            [(total(at + a + b) - total(at + a - b) - total(at - a + b) + total(at - a - b)) / 4e-6 for b in steps]
            for a in steps
        ]
    )
    own, across, others = -bends[:2, :2], -bends[:2, 2:], -np.diag(bends)[2:]
    assert found.curvature == pytest.approx(own, rel=0.1), "weights within 5 % are kept"
    found = replace(found, curvature=own)
    wanted = np.linalg.inv(own - (across / others) @ across.T)
    assert covariance_of(one, found) == pytest.approx(wanted, rel=1e-3)


@pytest.mark.parametrize("factor", [0.8, 1.25])
def test_with_very_many_links_shadowing_is_looked_for_above_and_below(factor):
    """From 20 % off the best shadowing on either side, the one of most evidence within reach is found."""
    one = task()
    ratings = {}
    for sigma_db in np.geomspace(1.5, 12.0, 120):
        shadow = replace(SHADOWS[1], sigma_db=float(sigma_db))
        ratings[float(sigma_db)] = marginal(one, solve_at(one, shadow, start_of(one), SHARES))
    best_db = max(ratings, key=ratings.__getitem__)
    near = solve_at(one, replace(SHADOWS[1], sigma_db=best_db * factor), start_of(one), SHARES)
    assert _scaled(one, near).sigma_db == pytest.approx(best_db, rel=0.03)
