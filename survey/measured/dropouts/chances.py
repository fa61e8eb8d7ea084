"""How likely counts of misses are: what the causes share."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from survey.base.arrays import FloatArray


def log_likelihood(misses: ArrayLike, polls: ArrayLike) -> FloatArray:
    """Binomial log-likelihood of counts at their own best rate, without its constant; 0 where there are none.

    Examples
    --------
    >>> float(log_likelihood(5, 10).round(4))  # ten times the logarithm of a half
    -6.9315
    """
    misses, polls = np.asarray(misses, dtype=np.float64), np.asarray(polls, dtype=np.float64)
    hits = polls - misses
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = misses / polls
        value = np.where(misses > 0, misses * np.log(rate), 0.0) + np.where(hits > 0, hits * np.log1p(-rate), 0.0)
    return np.asarray(np.where(polls > 0, value, 0.0))


def log_ratio(misses: ArrayLike, expected: ArrayLike) -> FloatArray:
    """How much better counts fit a higher rate than the expected one (Poisson); 0 where they are not above it.

    Examples
    --------
    >>> log_ratio([10, 1], [2.0, 2.0]).round(2).tolist()
    [8.09, 0.0]
    """
    misses = np.asarray(misses, dtype=np.float64)
    expected = np.maximum(np.asarray(expected, dtype=np.float64), 1e-9)
    safe = np.maximum(misses, 1e-9)
    return np.asarray(np.where(misses > expected, safe * np.log(safe / expected) - (misses - expected), 0.0))


def rates(misses: ArrayLike, polls: ArrayLike, *, prior_rate: float = 0.03, prior_polls: float = 5.0) -> FloatArray:
    """Shares of misses, drawn towards a usual one where polls are few."""
    misses, polls = np.asarray(misses, dtype=np.float64), np.asarray(polls, dtype=np.float64)
    return np.asarray((misses + prior_rate * prior_polls) / (polls + prior_polls))


def spread_of(values: FloatArray) -> float:
    """Standard deviation by the median, which a few wild values do not move."""
    return float(1.4826 * np.median(np.abs(values - np.median(values)))) if len(values) else 0.0


def affected(misses: FloatArray, polls: FloatArray, usual: FloatArray) -> tuple[float, float]:
    """Which share of links has more misses than usual in some hours, and how many more.

    Parameters
    ----------
    misses, polls : ndarray of float, shape (links,)
        Counts in those hours.
    usual : ndarray of float, shape (links,)
        Share of misses of each link at other times.

    Returns
    -------
    tuple of float
        Share of links, and what is added to their chance of a miss; a mixture of two binomials fitted by
        expectation and maximisation.
    """
    some = polls > 0
    misses, polls, usual = misses[some], polls[some], np.clip(usual[some], 0.003, 0.997)
    if not len(misses) or misses.sum() <= 0:
        return 0.0, 0.0
    share, more = 0.5, float(np.clip((misses.sum() - (usual * polls).sum()) / polls.sum(), 0.02, 0.95))
    for _ in range(60):
        raised = np.clip(usual + (1.0 - usual) * more, 1e-6, 1.0 - 1e-6)
        odds = misses * np.log(raised / usual) + (polls - misses) * np.log((1.0 - raised) / (1.0 - usual))
        chance = 1.0 / (1.0 + np.exp(-np.clip(odds + np.log(share / (1.0 - share)), -50.0, 50.0)))
        share = float(np.clip(chance.mean(), 0.01, 0.99))
        total = float((chance * polls * (1.0 - usual)).sum())
        more = float(np.clip((chance * (misses - usual * polls)).sum() / max(total, 1e-9), 0.005, 0.98))
    return share, more
