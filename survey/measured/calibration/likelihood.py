r"""How likely readings are under a model: levels, counts of tries, and what has nothing to do with level.

A level is spread about the predicted one by shadowing, one draw for each pair, whatever the number of repeats. A share
`WILD` of levels has nothing to do with the model (a slip of the pen, a truck in the way), and may lie anywhere: so a
wild reading loses its pull instead of bending the fit.

Of a pair without a level whose tries were counted k of n were heard:

.. math:: s \, [k = 0] + (1 - s) \int \binom{n}{k} p^k (1 - p)^{n - k} \varphi(l) \, dl, \quad
   p = c \, \Phi((l - need) / \tau)

with :math:`\varphi` the normal density of the level l about the predicted one by shadowing, :math:`\tau` the fading in
time, c the ceiling (the share of tries that is heard however strong the level: the rest is lost by collisions and
channel changes) and s the share of pairs that are silent as a whole (a unit without power). A pair that was missed j
times, without a count, lies below what the receiver needs, or was lost: the same without fading,

.. math:: \Phi(z) + (1 - \Phi(z)) (s + (1 - s) f^j), \quad z = (need - level) / \sigma, \quad f = 1 - c
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import FloatArray
from survey.measured.calibration.pairs import Pairs

WILD = 0.001
"""Share of readings that are outliers: an assumption. So small that only what lies beyond some 4 standard deviations is
taken for one: with more, the far ends of what is usual are cut off, and shadowing is found too small."""
WILD_RANGE_DB = 80.0
"""Over which an outlier is equally likely anywhere: about the range of a receiver. An assumption. [dB]"""
LOST_PRIOR, SILENT_PRIOR = (1.2, 5.0), (1.05, 20.0)
"""Beta distributions of the two shares before readings: small, and the data rule."""
NODES = np.linspace(-5.0, 5.0, 61)
"""Levels over which a count is averaged, in standard deviations about the predicted one. A judgement."""
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
    read = pairs.has_level
    off_db = pairs.level_dbm[read] - level_dbm[read]
    log_good = np.log1p(-wild) - HALF_LOG_2PI - np.log(sigma_db) - 0.5 * (off_db / sigma_db) ** 2
    if wild > 0:
        value[read] = np.logaddexp(log_good, np.log(wild / WILD_RANGE_DB))
        good = np.exp(log_good - value[read])
    else:
        value[read], good = log_good, np.ones(len(off_db))
    slope[read] = good * off_db / sigma_db**2
    bend[read] = good / sigma_db**2 - good * (1.0 - good) * off_db**2 / sigma_db**4
    trust[read] = good
    never, rest = pairs.sorts
    if never.any():
        z = (need_dbm[never] - level_dbm[never]) / sigma_db
        silent = np.clip(shares.silent + (1.0 - shares.silent) * shares.lost ** pairs.missed[never], 1e-300, 1.0)
        value[never] = np.logaddexp(log_ndtr(z), log_ndtr(-z) + np.log(silent))
        density = np.exp(np.log1p(-np.minimum(silent, 1.0 - 1e-12)) - HALF_LOG_2PI - 0.5 * z**2 - value[never])
        slope[never] = -density / sigma_db
        bend[never] = density * z / sigma_db**2 + slope[never] ** 2
    if rest.any():
        log_chance, place = _counted(pairs, level_dbm, need_dbm, sigma_db=sigma_db, shares=shares)
        top = log_chance.max(axis=1, keepdims=True)
        chance = np.exp(log_chance - top)
        total = chance.sum(axis=1)
        mean = chance @ NODES / total
        spread = chance @ NODES**2 / total - mean**2
        value[rest] = top[:, 0] + np.log(total) - place
        slope[rest] = mean / sigma_db
        bend[rest] = (1.0 - spread) / sigma_db**2
    return Score(value=value, slope=slope, bend=bend, trust=trust)


def _counted(
    pairs: Pairs, level_dbm: FloatArray, need_dbm: FloatArray, *, sigma_db: float, shares: Shares
) -> tuple[FloatArray, float]:
    """For each pair without a level and each of `NODES`: the logarithm of the likelihood with the level there.

    The second figure is what to take off a logarithm of the sum over the nodes.
    """
    rest = pairs.sorts[1]
    heard, missed = pairs.counted[:, rest]
    at_dbm = level_dbm[rest][:, None] + sigma_db * NODES
    z = (at_dbm - need_dbm[rest][:, None]) / pairs.fade_db
    log_chance = heard[:, None] * _log_heard(z, shares.lost) + missed[:, None] * _log_missed(z, shares.lost)
    never = heard == 0
    log_chance += np.log1p(-min(shares.silent, 1.0 - 1e-12))
    if shares.silent > 0:
        log_chance[never] = np.logaddexp(log_chance[never], np.log(shares.silent))
    return log_chance - 0.5 * NODES**2, float(np.log(np.exp(-0.5 * NODES**2).sum()))


def _log_heard(z: FloatArray, lost: float) -> FloatArray:
    """Logarithm of the chance that a try is heard, z fading widths above what the receiver needs."""
    from scipy.special import log_ndtr  # noqa: PLC0415  start-up time

    return np.asarray(np.log1p(-min(lost, 1.0 - 1e-12)) + log_ndtr(z))


def _log_missed(z: FloatArray, lost: float) -> FloatArray:
    from scipy.special import ndtr  # noqa: PLC0415  start-up time

    return np.asarray(np.log(np.maximum(ndtr(-z) + lost * ndtr(z), 1e-300)))


def other_tries(pairs: Pairs, need_dbm: FloatArray, shares: Shares) -> float:
    """The logarithm of the likelihood of the tries that were missed or heard on pairs with a level."""
    read = pairs.has_level
    heard, missed = pairs.counted[:, read]
    z = (pairs.level_dbm[read] - need_dbm[read]) / pairs.fade_db
    value = np.sum(heard * _log_heard(z, shares.lost)) + np.sum(missed * _log_missed(z, shares.lost))
    return float(value + np.sum(read) * np.log1p(-min(shares.silent, 1.0 - 1e-12)))


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
    read, (never, rest) = pairs.has_level, pairs.sorts
    heard, missed = pairs.counted
    strong = ndtr((pairs.level_dbm[read] - need_dbm[read]) / pairs.fade_db)
    lost = float(np.sum(missed[read] * _free_share(strong, shares.lost)))
    silent = 0.0
    if never.any():
        above = ndtr((level_dbm[never] - need_dbm[never]) / sigma_db)
        by_chance = (1.0 - shares.silent) * shares.lost ** missed[never] * above
        by_silence = shares.silent * above
        total = np.maximum(1.0 - above + by_chance + by_silence, 1e-300)
        lost += float(np.sum(missed[never] * by_chance / total))
        silent += float(np.sum(by_silence / total))
    if rest.any():
        log_chance, _ = _counted(pairs, level_dbm, need_dbm, sigma_db=sigma_db, shares=shares)
        chance = np.exp(log_chance - log_chance.max(axis=1, keepdims=True))
        chance /= chance.sum(axis=1, keepdims=True)
        z = (level_dbm[rest][:, None] + sigma_db * NODES - need_dbm[rest][:, None]) / pairs.fade_db
        working = (1.0 - shares.silent) * np.exp(missed[rest][:, None] * _log_missed(z, shares.lost))
        is_silent = np.where(heard[rest, None] == 0, shares.silent / np.maximum(shares.silent + working, 1e-300), 0.0)
        silent += float(np.sum(chance * is_silent))
        lost += float(np.sum(missed[rest, None] * chance * (1.0 - is_silent) * _free_share(ndtr(z), shares.lost)))
    told_apart = not plain and bool(np.any(pairs.missed[pairs.heard == 0] > 1))  # single tries: the two shares are one
    (a, b), (c, d) = ((1.0, 1.0), (1.0, 1.0)) if plain else (LOST_PRIOR, SILENT_PRIOR)
    tries = float(np.sum(heard)) + lost
    return Shares(
        lost=(lost + a - 1.0) / max(tries + a + b - 2.0, 1e-12),
        silent=(silent + c - 1.0) / (len(pairs) + c + d - 2.0) if told_apart else 0.0,
    )


def _free_share(strong: FloatArray, lost: float) -> FloatArray:
    """Chance that a missed try was strong enough and lost for another reason."""
    return np.asarray(strong * lost / np.maximum(strong * lost + 1.0 - strong, 1e-300))
