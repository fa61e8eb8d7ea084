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
REACH = 8.0
"""So many standard deviations of shadowing beyond the outermost predicted level a count is averaged: what lies farther
out has a share of 1e-15."""
HALF_LOG_2PI = 0.5 * np.log(2.0 * np.pi)
"""Of the normal density, by definition."""

Spread = float | FloatArray


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
    pairs: Pairs, level_dbm: FloatArray, need_dbm: FloatArray, *, sigma_db: Spread, shares: Shares, wild: float
) -> Score:
    """The likelihood of each pair, tries lost beside heard ones not counted.

    Parameters
    ----------
    pairs : Pairs
        What was read.
    level_dbm, need_dbm : ndarray of float, shape (pairs,)
        Predicted level, and what the receiver needs. [dBm]
    sigma_db : float, or ndarray of float, shape (pairs,)
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
    every_db, read = np.broadcast_to(sigma_db, value.shape), pairs.has_level
    sigma_db = every_db[read]
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
        sigma_db = every_db[never]
        z = (need_dbm[never] - level_dbm[never]) / sigma_db
        silent = np.clip(shares.silent + (1.0 - shares.silent) * shares.lost ** pairs.missed[never], 1e-300, 1.0)
        value[never] = np.logaddexp(log_ndtr(z), log_ndtr(-z) + np.log(silent))
        density = np.exp(np.log1p(-np.minimum(silent, 1.0 - 1e-12)) - HALF_LOG_2PI - 0.5 * z**2 - value[never])
        slope[never] = -density / sigma_db
        bend[never] = density * z / sigma_db**2 + slope[never] ** 2
    if rest.any():
        sigma_db = every_db[rest]
        counted = _counted(pairs, level_dbm, need_dbm, sigma_db=sigma_db, shares=shares)
        away = counted.away
        mean = np.sum(counted.chance * away, axis=1)
        spread = np.sum(counted.chance * (away - mean[:, None]) ** 2, axis=1)
        value[rest] = counted.value
        slope[rest] = mean / sigma_db
        bend[rest] = (1.0 - spread) / sigma_db**2
    return Score(value=value, slope=slope, bend=bend, trust=trust)


@dataclass(frozen=True, kw_only=True)
class _Counted:
    """Pairs without a level whose tries were counted, their level averaged out.

    Attributes
    ----------
    z : ndarray of float, shape (nodes,)
        Levels over which it is averaged, in fading widths above what the receiver needs.
    away : ndarray of float, shape (pairs, nodes)
        The same in standard deviations of shadowing above the predicted level.
    chance : ndarray of float, shape (pairs, nodes)
        How likely each level is after the count; rows sum to 1.
    value : ndarray of float, shape (pairs,)
        Logarithm of the likelihood.
    """

    z: FloatArray
    away: FloatArray
    chance: FloatArray
    value: FloatArray


def _counted(
    pairs: Pairs, level_dbm: FloatArray, need_dbm: FloatArray, *, sigma_db: FloatArray, shares: Shares
) -> _Counted:
    """Average over the level by the trapezoidal rule, exact for a bell but for 2 exp(-2 (pi width / step)^2) < 1e-8.

    The nodes stay where they are, counted from what the receiver needs, while the predicted level moves. So slope and
    bend are the derivatives of this very sum, and the likelihood of a count is worked out once for all pairs that have
    it. The step is the least width that level and count together can have: a try tells at most what a level with a
    standard deviation of the fading does (the second derivative of the logarithm of a normal chance is at most 1).
    """
    rest = pairs.sorts[1]
    counts, same = np.unique(pairs.counted[:, rest], axis=1, return_inverse=True)
    heard, missed = counts[:, :, None]
    above_db = level_dbm[rest] - need_dbm[rest]
    tries = float(counts.sum(axis=0).max())
    step_db = float(1.0 / np.sqrt(1.0 / sigma_db.min() ** 2 + tries / pairs.fade_db**2))
    first = np.floor((min(above_db.min(), 0.0) - REACH * sigma_db.max()) / step_db)
    last = np.ceil((max(above_db.max(), 0.0) + REACH * sigma_db.max()) / step_db)
    nodes_db = step_db * np.arange(first, last + 1.0)
    z = nodes_db / pairs.fade_db
    by_count = heard * _log_heard(z, shares.lost) + missed * _log_missed(z, shares.lost)
    by_count += np.log1p(-min(shares.silent, 1.0 - 1e-12))
    if shares.silent > 0:
        never = counts[0] == 0
        by_count[never] = np.logaddexp(by_count[never], np.log(shares.silent))
    away = (nodes_db - above_db[:, None]) / sigma_db[:, None]
    chance = by_count[same.ravel()] - 0.5 * away**2
    top = chance.max(axis=1, keepdims=True)
    np.exp(chance - top, out=chance)
    total = chance.sum(axis=1, keepdims=True)
    chance /= total
    value = (top + np.log(total))[:, 0] + np.log(step_db / sigma_db) - HALF_LOG_2PI
    return _Counted(z=z, away=away, chance=chance, value=value)


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
    pairs: Pairs, level_dbm: FloatArray, need_dbm: FloatArray, *, sigma_db: Spread, shares: Shares, plain: bool
) -> Shares:
    """One step of expectation and maximisation for the shares."""
    from scipy.special import ndtr  # noqa: PLC0415  start-up time

    if shares.fixed:
        return shares
    read, (never, rest) = pairs.has_level, pairs.sorts
    every_db = np.broadcast_to(sigma_db, level_dbm.shape)
    heard, missed = pairs.counted
    strong = ndtr((pairs.level_dbm[read] - need_dbm[read]) / pairs.fade_db)
    lost = float(np.sum(missed[read] * _free_share(strong, shares.lost)))
    silent = 0.0
    if never.any():
        above = ndtr((level_dbm[never] - need_dbm[never]) / every_db[never])
        by_chance = (1.0 - shares.silent) * shares.lost ** missed[never] * above
        by_silence = shares.silent * above
        total = np.maximum(1.0 - above + by_chance + by_silence, 1e-300)
        lost += float(np.sum(missed[never] * by_chance / total))
        silent += float(np.sum(by_silence / total))
    if rest.any():
        counted = _counted(pairs, level_dbm, need_dbm, sigma_db=every_db[rest], shares=shares)
        log_missed, free = _log_missed(counted.z, shares.lost), _free_share(ndtr(counted.z), shares.lost)
        working = np.where(heard[rest, None] > 0, counted.chance, 0.0)
        unheard = heard[rest] == 0
        by_work = (1.0 - shares.silent) * np.exp(missed[rest][unheard, None] * log_missed)
        is_silent = shares.silent / np.maximum(shares.silent + by_work, 1e-300)
        working[unheard] = counted.chance[unheard] * (1.0 - is_silent)
        silent += float(np.sum(counted.chance[unheard] * is_silent))
        lost += float(missed[rest] @ working @ free)
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
