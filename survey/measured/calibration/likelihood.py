r"""How likely readings are under a model: levels, misses that level explains, and misses that it does not.

A level is spread about the predicted one by shadowing, one draw for each pair, whatever the number of repeats. A share
`WILD` of levels has nothing to do with the model (a slip of the pen, a truck in the way), and may lie anywhere: so a
wild reading loses its pull instead of bending the fit.

A pair that was never heard in j tries either lies below what the receiver needs, or was silent for another reason:

.. math:: \Phi(z) + (1 - \Phi(z)) (s + (1 - s) f^j), \quad z = (need - level) / \sigma

with f the share of tries that are lost whatever the level (collisions, channel changes), and s the share of pairs that
are silent as a whole (a unit without power). For one try and s = 0 this is f + (1 - f) Phi(z).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import FloatArray
from survey.measured.calibration.pairs import Pairs

WILD = 0.02
"""Share of readings that are outliers: an assumption; tests/measured/calibration/test_fit.py plants them."""
WILD_RANGE_DB = 80.0
"""Over which an outlier is equally likely anywhere: about the range of a receiver. An assumption. [dB]"""
LOST_PRIOR, SILENT_PRIOR = (1.2, 5.0), (1.05, 20.0)
"""Beta distributions of the two shares before readings: small, and the data rule."""
HALF_LOG_2PI = 0.5 * np.log(2.0 * np.pi)
"""Of the normal density, by definition."""


@dataclass(frozen=True, kw_only=True)
class Shares:
    """The shares of what has nothing to do with level.

    Attributes
    ----------
    lost : float
        Of single tries.
    silent : float
        Of whole pairs.
    fixed : bool
        Whether they are given instead of estimated.
    """

    lost: float = 0.05
    silent: float = 0.005
    fixed: bool = False


@dataclass(frozen=True, kw_only=True)
class Score:
    """The logarithm of the likelihood of pairs and how it changes with their predicted levels; shape (pairs,).

    Attributes
    ----------
    value : ndarray of float
        Logarithm of the likelihood. [-]
    slope : ndarray of float
        Its slope. [1/dB]
    bend : ndarray of float
        Its second derivative with the sign turned. [1/dB^2]
    trust : ndarray of float
        Chance that a level is no wild one; 1 for a miss. [-]
    """

    value: FloatArray
    slope: FloatArray
    bend: FloatArray
    trust: FloatArray


def score(
    pairs: Pairs, level_dbm: FloatArray, need_dbm: FloatArray, *, sigma_db: float, shares: Shares, wild: float
) -> Score:
    """The likelihood of each pair, tries lost beside heard ones not counted.

    Parameters
    ----------
    pairs : Pairs
        What was read.
    level_dbm, need_dbm : ndarray of float, shape (pairs,)
        Predicted level, and what the receiver needs. [dBm]
    sigma_db : float
        Shadowing. [dB]
    shares : Shares
        What has nothing to do with level.
    wild : float
        Share of wild levels.

    Returns
    -------
    Score
        Of each pair.
    """
    from scipy.special import log_ndtr  # noqa: PLC0415  start-up time

    value, slope, bend, trust = (np.zeros(len(pairs)) for _ in range(4))
    trust[:] = 1.0
    heard = pairs.was_heard
    off_db = pairs.level_dbm[heard] - level_dbm[heard]
    log_good = np.log1p(-wild) - HALF_LOG_2PI - np.log(sigma_db) - 0.5 * (off_db / sigma_db) ** 2
    if wild > 0:
        value[heard] = np.logaddexp(log_good, np.log(wild / WILD_RANGE_DB))
        good = np.exp(log_good - value[heard])
    else:
        value[heard], good = log_good, np.ones(len(off_db))
    slope[heard] = good * off_db / sigma_db**2
    bend[heard] = good / sigma_db**2 - good * (1.0 - good) * off_db**2 / sigma_db**4
    trust[heard] = good
    never = ~heard
    if never.any():
        z = (need_dbm[never] - level_dbm[never]) / sigma_db
        silent = np.clip(shares.silent + (1.0 - shares.silent) * shares.lost ** pairs.missed[never], 1e-300, 1.0)
        log_below, log_above = log_ndtr(z), log_ndtr(-z)
        value[never] = np.logaddexp(log_below, log_above + np.log(silent))
        density = np.exp(np.log1p(-np.minimum(silent, 1.0 - 1e-12)) - HALF_LOG_2PI - 0.5 * z**2 - value[never])
        slope[never] = -density / sigma_db
        bend[never] = density * z / sigma_db**2 + slope[never] ** 2
    return Score(value=value, slope=slope, bend=bend, trust=trust)


def other_tries(pairs: Pairs, need_dbm: FloatArray, shares: Shares) -> float:
    """The logarithm of the likelihood of tries that were missed or heard on pairs that were heard at all."""
    heard = pairs.was_heard
    below = _below_by_fading(pairs, need_dbm)
    lost = np.log(np.maximum(shares.lost + (1.0 - shares.lost) * below, 1e-300))
    value = np.sum(pairs.missed[heard] * lost) + np.sum(pairs.heard) * np.log1p(-min(shares.lost, 1.0 - 1e-12))
    return float(value + np.sum(heard) * np.log1p(-min(shares.silent, 1.0 - 1e-12)))


def log_prior(shares: Shares, *, plain: bool) -> float:
    """The logarithm of how likely the shares are before readings."""
    if plain or shares.fixed:
        return 0.0
    total = 0.0
    for share, (a, b) in ((shares.lost, LOST_PRIOR), (shares.silent, SILENT_PRIOR)):
        if share == 0.0:
            continue
        inside = min(max(share, 1e-12), 1.0 - 1e-12)
        total += (a - 1.0) * float(np.log(inside)) + (b - 1.0) * float(np.log1p(-inside))
    return total


def better_shares(
    pairs: Pairs, level_dbm: FloatArray, need_dbm: FloatArray, *, sigma_db: float, shares: Shares, plain: bool
) -> Shares:
    """One step of expectation and maximisation for the shares."""
    from scipy.special import ndtr  # noqa: PLC0415  start-up time

    if shares.fixed:
        return shares
    heard = pairs.was_heard
    below = _below_by_fading(pairs, need_dbm)
    free = (1.0 - below) * shares.lost
    lost = float(np.sum(pairs.missed[heard] * free / np.maximum(free + below, 1e-300)))
    tries = float(np.sum(pairs.heard)) + lost
    below = ndtr((need_dbm[~heard] - level_dbm[~heard]) / sigma_db)
    by_chance = (1.0 - shares.silent) * shares.lost ** pairs.missed[~heard] * (1.0 - below)
    by_silence = shares.silent * (1.0 - below)
    total = np.maximum(below + by_chance + by_silence, 1e-300)
    all_lost = float(np.sum(pairs.missed[~heard] * by_chance / total))
    silent = float(np.sum(by_silence / total))
    above = float(np.sum(heard)) + silent + float(np.sum(by_chance / total))
    told_apart = not plain and bool(np.any(pairs.missed[~heard] > 1))  # by single tries the two shares are one
    (a, b), (c, d) = ((1.0, 1.0), (1.0, 1.0)) if plain else (LOST_PRIOR, SILENT_PRIOR)
    return Shares(
        lost=(lost + all_lost + a - 1.0) / max(tries + all_lost + a + b - 2.0, 1e-12),
        silent=(silent + c - 1.0) / (above + c + d - 2.0) if told_apart else 0.0,
    )


def _below_by_fading(pairs: Pairs, need_dbm: FloatArray) -> FloatArray:
    """Chance that a try on a pair that was heard fell below what the receiver needs, about the level heard."""
    from scipy.special import ndtr  # noqa: PLC0415  start-up time

    heard = pairs.was_heard
    return np.asarray(ndtr((need_dbm[heard] - pairs.level_dbm[heard]) / pairs.fade_db))
