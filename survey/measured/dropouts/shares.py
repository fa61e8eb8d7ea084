"""Shares of missed polls: what a link misses usually, and how likely a weak link misses so many."""

from __future__ import annotations

import math

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.probability import normal_cdf
from survey.measured.dropouts.book import Book
from survey.measured.dropouts.chances import rates, spread_of

FADING_DB = 4.0
"""Standard deviation of a level from poll to poll; common practice for paths without a clear line. [dB]"""
UNIT_CHANCE = 0.02
"""Share of units that are at fault, before anything is known of them: an assumption."""
ALWAYS_SILENT = 0.97
"""Share of misses of a link that is silent but for strays; set by trials on invented logs. [-]"""
HEALTHY_DB = 12.0
"""Margin from which a link shows what is usual: three standard deviations of fading. [dB]"""
MIN_HEALTHY = 3
"""How many such links show it, at least; set by trials on invented logs."""


def odds_of_weak(rate: FloatArray, margin_db: FloatArray, sigma_db: FloatArray) -> FloatArray:
    """How much likelier a weak link is than a faulty unit, for a share of misses.

    Parameters
    ----------
    rate : ndarray of float
        Share of misses, without the usual stray ones. [-]
    margin_db, sigma_db : ndarray of float
        Predicted or measured margin, and its standard deviation. [dB]

    Returns
    -------
    ndarray of float
        Odds: a link of true margin m misses `Phi(-m / FADING_DB)`; m is normal about `margin_db`. A faulty unit misses
        any share alike, half of them all.
    """
    inner = np.clip(rate, 0.01, 0.99)
    z = _quantile(inner)
    true_db = -FADING_DB * z
    slope = FADING_DB * math.sqrt(2.0 * math.pi) * np.exp(0.5 * z**2)
    density = np.exp(-0.5 * ((true_db - margin_db) / sigma_db) ** 2) / (sigma_db * math.sqrt(2.0 * math.pi))
    silent = normal_cdf((-FADING_DB * _quantile(np.array(ALWAYS_SILENT)) - margin_db) / sigma_db)
    total = rate >= ALWAYS_SILENT
    return np.asarray(np.where(total, silent, density * slope) / (0.5 * UNIT_CHANCE))


def _quantile(share: FloatArray) -> FloatArray:
    """Inverse of the normal distribution, by the standard library."""
    from statistics import NormalDist  # noqa: PLC0415  small

    normal = NormalDist()
    return np.asarray([normal.inv_cdf(float(one)) for one in np.ravel(share)]).reshape(np.shape(share))


def usual_of_site(rate: FloatArray, polls: FloatArray, margin_db: FloatArray) -> tuple[float, float]:
    """Share of misses that is usual for a sound link of this site, and its scatter from link to link."""
    used = polls > 0
    sound = used & (margin_db > HEALTHY_DB)
    if sound.sum() < MIN_HEALTHY:
        sound = used & (rate <= np.median(rate[used])) if used.any() else used
    if not sound.any():
        return 0.0, 0.0
    return float(np.median(rate[sound])), spread_of(rate[sound])


def usual_of(book: Book) -> FloatArray:
    """Share of misses of each link, by the median over pieces of the log, so that one long silence does not count."""
    pieces = max(1, min(60, book.open.shape[1] // 12))
    begins = np.arange(pieces) * book.open.shape[1] // pieces
    polls = np.add.reduceat(np.where(book.open, book.log.polls, 0), begins, axis=1, dtype=np.float64)
    heard = np.add.reduceat(np.where(book.open, book.log.heard, 0), begins, axis=1, dtype=np.float64)
    known = polls > 0
    some = known.any(axis=1)
    found = np.full(len(polls), 0.03)
    share = np.where(known, rates(polls - heard, polls, prior_polls=1.0), np.nan)
    found[some] = np.nanmedian(share[some], axis=1)
    return found
