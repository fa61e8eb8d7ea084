"""Links that miss more than others all the time: weak ones, and units that are silent by themselves."""

from __future__ import annotations

import math

import numpy as np

from survey.base.arrays import BoolArray, FloatArray
from survey.base.layout import counted
from survey.base.probability import normal_cdf
from survey.measured.dropouts.book import UNIT, UNKNOWN, WEAK, Book, duration
from survey.measured.dropouts.chances import rates, spread_of
from survey.measured.dropouts.outages import Run

FADING_DB = 4.0
"""Standard deviation of a level from poll to poll; common practice for paths without a clear line. [dB]"""
UNIT_CHANCE = 0.02
"""Share of units that are at fault, before anything is known of them: an assumption."""
ALWAYS_SILENT = 0.97
"""Share of misses of a link that is silent but for strays; set by trials on invented logs. [-]"""
LEAST_MORE = 0.05
"""Misses over those of the others that count, at least; set by trials on invented logs. [-]"""
BEYOND_SCATTER = 4.0
"""The same in standard deviations; set by trials on invented logs."""
HEALTHY_DB = 12.0
"""Margin from which a link shows what is usual: three standard deviations of fading. [dB]"""
LEAST_HEALTHY = 3
"""How many such links show it, at least; set by trials on invented logs."""
TELLS = 2.0
"""By how much one reading must be likelier than the other; nearer than that nobody can tell."""
LEAST_MISSED = 8
"""Fewer misses than this blame nobody; set by trials on invented logs."""
IN_RUNS = 0.6
"""Share of the misses beyond the usual, from which those in long silences speak of a unit; set by trials on invented
logs. [-]"""
LEAST_IN_RUNS, LEAST_SILENT_S = 12, 7_200
"""Fewer polls, or less time, in long silences than this is too little to blame a unit."""
RUNS_SPEAK = 0.05
"""What such silences do to the odds of a weak link: an assumption."""
UNIT_CHECK = (
    "the unit itself: its module and connectors, its supply, its entry at the gateway; swap it with a neighbour and "
    "see whether the silence moves along (isolate first; licensed electrician for mains)"
)
WEAK_CHECK = (
    "the link: survey links shows what is in its way; move the gateway or its antenna (survey place), and take "
    "readings there before fixing anything"
)


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


def lone_runs(
    book: Book, runs: list[Run], usual: FloatArray, margin_db: FloatArray, sigma_db: FloatArray
) -> dict[int, FloatArray]:
    """Take long silences of single links out; their missed polls by link, and begin and end by time. [s]"""
    found: dict[int, FloatArray] = {}
    times = book.log.time_s
    polls = np.zeros(len(book.names))
    for one in runs:
        polls[one.link] += one.polls
    for one in runs:
        if polls[one.link] < LEAST_IN_RUNS or polls[one.link] * book.log.step_s < LEAST_SILENT_S:
            continue
        weak = float(odds_of_weak(usual[[one.link]], margin_db[[one.link]], sigma_db[[one.link]])[0])
        if usual[one.link] > 0.2 and weak > 1.0:  # noqa: PLR2004  a weak link has long silences of its own
            continue
        cells = np.zeros((1, book.open.shape[1]), dtype=bool)
        cells[0, one.begin : one.end] = True
        missed = float(book.close(cells, np.array([one.link]))[one.link])
        if not missed:
            continue
        told = found.setdefault(one.link, np.array([0.0, 0.0, times[one.begin], times[one.end - 1]]))
        told[0] += missed
        told[1] += 1
        told[2], told[3] = min(told[2], times[one.begin]), max(told[3], times[one.end - 1])
    return found


def alone(
    book: Book, runs: dict[int, FloatArray], margin_db: FloatArray, sigma_db: FloatArray, *, measured: BoolArray
) -> None:
    """Sort the links that miss more than the others into weak ones and single units.

    Parameters
    ----------
    book : Book
        What is open.
    runs : dict of int to ndarray
        Long silences that were taken out, from `lone_runs`.
    margin_db, sigma_db : ndarray of float, shape (links,)
        Margin and its standard deviation. [dB]
    measured : ndarray of bool, shape (links,)
        Whether the margin rests on levels in the log.
    """
    missed, polls = book.sums()
    rate = missed / np.maximum(polls, 1.0)
    usual, scatter = _usual(rate, polls, margin_db)
    noise = np.sqrt(np.maximum(usual, 0.005) / np.maximum(polls, 1.0))
    beyond = np.maximum(LEAST_MORE, BEYOND_SCATTER * np.hypot(scatter, noise))
    poor = (rate > usual + beyond) & (missed >= LEAST_MISSED)
    more = np.clip((rate - usual) / (1.0 - usual), 0.0, 1.0)
    odds = odds_of_weak(more, margin_db, sigma_db)
    for link, (in_runs, *_) in runs.items():
        if in_runs > IN_RUNS * (in_runs + max(0.0, missed[link] - usual * polls[link])):
            odds[link] *= RUNS_SPEAK
    excess = np.where(poor, np.maximum(0.0, missed - usual * polls), 0.0)
    times = book.log.time_s
    weak = poor & (odds > TELLS)
    unclear = poor & ~weak & (odds >= 1.0 / TELLS)
    if weak.any():
        _enter_weak(book, np.where(weak, excess, 0.0), rate, margin_db, usual, measured=measured)
    struck = np.flatnonzero(poor & ~weak & ~unclear)
    for link in sorted({*struck.tolist(), *runs}):
        count, pieces, first_s, last_s = runs.get(link, np.array([0.0, 0.0, np.inf, -np.inf])).tolist()
        own = np.zeros(len(rate))
        own[link] = count
        words = []
        if pieces:
            length = duration(count * book.log.step_s, in_days=False)
            words.append(f"silent by itself {counted(round(pieces), 'time')}, {length} of daylight in all")
        if link in struck:
            own[link] += excess[link]
            silent = np.flatnonzero(book.missing[link])
            first_s, last_s = min(first_s, times[silent[0]]), max(last_s, times[silent[-1]])
            words.append(f"{100 * rate[link]:.0f} % of polls missed, {100 * usual:.1f} % is usual here")
        of = "measured" if measured[link] else "predicted"
        words.append(f"{of} margin {margin_db[link]:.1f} dB, others heard meanwhile")
        book.add(UNIT, own, first_s=first_s, last_s=last_s, evidence="; ".join(words), check=UNIT_CHECK)
    if unclear.any():
        silent = np.flatnonzero(book.missing[unclear].any(axis=0))
        fits = f"{100 * float(rate[unclear].mean()):.0f} % of polls missed; margins of "
        fits += f"{margin_db[unclear].min():.1f} to {margin_db[unclear].max():.1f} dB fit a weak link "
        fits += "and a faulty unit alike"
        check = "read the level on site: near what the receiver needs, it is the link; well above, it is the unit"
        book.add(
            UNKNOWN,
            np.where(unclear, excess, 0.0),
            first_s=times[silent[0]],
            last_s=times[silent[-1]],
            evidence=fits,
            check=check,
        )


def _usual(rate: FloatArray, polls: FloatArray, margin_db: FloatArray) -> tuple[float, float]:
    """Share of misses that is usual for a sound link of this site, and its scatter from link to link."""
    used = polls > 0
    sound = used & (margin_db > HEALTHY_DB)
    if sound.sum() < LEAST_HEALTHY:
        sound = used & (rate <= np.median(rate[used])) if used.any() else used
    if not sound.any():
        return 0.0, 0.0
    return float(np.median(rate[sound])), spread_of(rate[sound])


def _enter_weak(
    book: Book, excess: FloatArray, rate: FloatArray, margin_db: FloatArray, usual: float, *, measured: BoolArray
) -> None:
    weak = excess > 0
    silent = np.flatnonzero(book.missing[weak].any(axis=0))
    times = book.log.time_s
    others = ~weak & (book.open.any(axis=1))
    of = "measured" if measured[weak].all() else "predicted"
    words = f"{of} margins of {margin_db[weak].min():.1f} to {margin_db[weak].max():.1f} dB"
    if others.any():
        words += f", {np.median(margin_db[others]):.1f} dB with the others"
    words += f"; {100 * rate[weak].min():.0f} to {100 * rate[weak].max():.0f} % of polls missed, "
    words += f"{100 * usual:.1f} % is usual here"
    book.add(WEAK, excess, first_s=times[silent[0]], last_s=times[silent[-1]], evidence=words, check=WEAK_CHECK)


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
