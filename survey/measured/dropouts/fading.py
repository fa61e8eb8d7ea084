"""Links that fade away: a level or a share of answers that falls from day to day, with its standard error."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.probability import normal_cdf
from survey.measured.dropouts.book import Book
from survey.measured.dropouts.causes import FADING
from survey.measured.dropouts.chances import log_likelihood
from survey.measured.dropouts.daylight import Daylight

MIN_DAYS = 10
"""Fewer days show no slope: docs/dropouts.md."""
SURE = 10.0
"""Log-likelihood by which a slope must beat none. A day more or less of log does not count for that."""
BEATS_STEP = 2.0
"""The same beyond the best step from one date on: that of half a dozen dates tried."""
MIN_ERRORS = 2.5
"""A slope of fewer standard errors than this is none. [-]"""
MIN_RISE = 0.06
"""The share of misses must rise by this much from the first third of the days to the last. [-]"""
MIN_FALL_DB = 3.0
"""The level must fall by this much over the log; set by trials on invented logs. [dB]"""
FLOOR_DB = 0.15
"""Daily means are no surer than this: levels are written in steps. [dB]"""
MIN_WIDTH_DAYS, WIDTHS, MIDDLES = 2.0, 12, 160
"""A margin that falls by `FADING_DB` within less than this many days has dropped, not faded; and how many are tried."""
WORTH_TRYING = 6.0
"""Log-likelihood that the ends of a log must differ by, before slopes are tried; set by trials on invented logs."""
DAYS_OF_WEEK = 7.0
"""Slopes are given per week."""


@dataclass(frozen=True, kw_only=True)
class Slope:
    """A line through days: its slope by day, the standard error, and how much better it is than none or a step."""

    by_day: float
    error: float
    gain: float
    over_step: float
    start: float
    end: float


def fading(book: Book, daylight: Daylight) -> None:
    """Find links whose level or answers fall from day to day, and enter each.

    Parameters
    ----------
    book : Book
        What is open; the cells of what is found are closed.
    daylight : Daylight
        The days.
    """
    days = int(daylight.number[-1]) + 1
    if days < MIN_DAYS:
        return
    begins = np.flatnonzero(np.diff(daylight.number, prepend=-1))
    polls, heard = (
        np.add.reduceat(np.where(book.open, one, 0), begins, axis=1, dtype=np.float64)
        for one in (book.log.polls, book.log.heard)
    )
    level = _levels(book, begins)
    for link in range(len(polls)):
        used = polls[link] > 0
        if used.sum() < MIN_DAYS:
            continue
        at = np.flatnonzero(used).astype(float)
        share = ramp_of(at, (polls - heard)[link, used], polls[link, used])
        fall = None
        if level is not None:
            known = used & np.isfinite(level[link])
            if known.sum() >= MIN_DAYS:
                fall = line_slope(np.flatnonzero(known).astype(float), level[link, known])
        _enter(book, link, share, fall)


def _levels(book: Book, begins: np.ndarray) -> FloatArray | None:
    """Mean level of each link and day, less what all links have in common that day. [dB]"""
    if book.log.level_dbm is None:
        return None
    known = np.isfinite(book.log.level_dbm) & book.open
    answers = np.add.reduceat(known, begins, axis=1, dtype=np.float64)
    total = np.add.reduceat(np.where(known, book.log.level_dbm, 0), begins, axis=1, dtype=np.float64)
    level = np.divide(total, answers, out=np.full(total.shape, np.nan), where=answers > 2)  # noqa: PLR2004  a mean
    some = np.isfinite(level).any(axis=1)
    own = np.full(len(level), np.nan)
    own[some] = np.nanmedian(level[some], axis=1)
    apart = level - own[:, None]
    weather = np.zeros(level.shape[1])
    enough = np.isfinite(apart).sum(axis=0) >= 4  # noqa: PLR2004  a median that one link does not make
    weather[enough] = np.nanmedian(apart[:, enough], axis=0)
    return np.asarray(level - weather)


def ramp_of(day: FloatArray, misses: FloatArray, polls: FloatArray) -> Slope | None:
    """Fit to shares of misses by day what a margin that falls evenly makes of them.

    Returns
    -------
    Slope or None
        The slope is that of a line through the daily shares, weighted by polls, by day; None where nothing rises.

    Notes
    -----
    A margin that falls by `FADING_DB` in `w` days and reaches 0 on day `d` misses `Phi((t - d) / w)` of its polls on
    day t, on top of the usual share. All `w` from `MIN_WIDTH_DAYS` and all `d` are tried; a step is the limit of a
    small w. Counts that vary more from day to day than chance has it shrink the gain (quasi-likelihood: McCullagh and
    Nelder, Generalized Linear Models, 2nd ed. 1989, ch. 9).

    Examples
    --------
    >>> day = np.arange(40.0)
    >>> ramp = ramp_of(day, np.round(60 * normal_cdf((day - 35) / 10)), np.full(40, 60.0))
    >>> ramp.gain > 100, ramp.over_step > 10
    (True, True)
    """
    count = len(day)
    third = max(2, count // 3)
    before, asked = np.cumsum(misses)[:-1], np.cumsum(polls)[:-1]
    step_fit = log_likelihood(before, asked) + log_likelihood(misses.sum() - before, polls.sum() - asked)
    if float(step_fit.max()) - float(log_likelihood(misses.sum(), polls.sum())) < WORTH_TRYING:
        return None
    widths = np.geomspace(MIN_WIDTH_DAYS, 1.2 * (day[-1] - day[0] + 1), WIDTHS)
    middles = np.linspace(day[0], day[-1] + 0.6 * (day[-1] - day[0]), MIDDLES)
    rise = normal_cdf((day - middles[:, None, None]) / widths[:, None])
    best, fit = None, -np.inf
    for first in (max(1, third // 2), third):
        floor = float((misses[:first].sum() + 0.5) / (polls[:first].sum() + 1.0))
        mean = np.clip(floor + (1.0 - floor) * rise, 1e-4, 1.0 - 1e-4)
        likelihood = np.log(mean) @ misses + np.log1p(-mean) @ (polls - misses)
        at = np.unravel_index(int(np.argmax(likelihood)), likelihood.shape)
        if likelihood[at] > fit:
            fit, best = float(likelihood[at]), mean[at]
    if best is None:
        return None
    pearson = (misses - polls * best) ** 2 / (polls * best * (1 - best) + 0.1)
    spread = max(1.0, float(pearson.sum()) / max(count - 3, 1))
    share = misses / polls
    x = day - np.average(day, weights=polls)
    slope = float((polls * x) @ share / ((polls * x) @ x))
    rest = share - np.average(share, weights=polls) - slope * x
    error = float(np.sqrt((polls * rest) @ rest / max(count - 2, 1) / ((polls * x) @ x)))
    return Slope(
        by_day=slope,
        error=error,
        gain=(fit - float(log_likelihood(misses.sum(), polls.sum()))) / spread,
        over_step=(fit - float(step_fit.max())) / spread,
        start=float(misses[:third].sum() / polls[:third].sum()),
        end=float(misses[-third:].sum() / polls[-third:].sum()),
    )


def line_slope(day: FloatArray, level_db: FloatArray) -> Slope:
    """Fit a straight line to levels by day by least squares, and the best step.

    Examples
    --------
    >>> slope = line_slope(np.arange(30.0), -70.0 - 0.5 * np.arange(30.0) + np.tile([0.1, -0.1], 15))
    >>> round(slope.by_day, 2), round(slope.error, 3)
    (-0.5, 0.002)
    """
    x = day - day.mean()
    slope = float((x @ level_db) / (x @ x))
    mean = float(level_db.mean())
    floor = FLOOR_DB**2 * len(day)
    apart = float(((level_db - mean - slope * x) ** 2).sum())
    rest, whole = apart + floor, float(((level_db - mean) ** 2).sum()) + floor
    count = np.arange(1, len(day))
    before = np.cumsum(level_db - mean)[:-1]
    step = whole - float((before**2 * (1.0 / count + 1.0 / (len(day) - count))).max())
    return Slope(
        by_day=slope,
        error=float(np.sqrt(apart / max(len(day) - 2, 1) / (x @ x))),
        gain=0.5 * len(day) * float(np.log(whole / rest)),
        over_step=0.5 * len(day) * float(np.log(max(step, 1e-9) / rest)),
        start=mean + slope * float(x[0]),
        end=mean + slope * float(x[-1]),
    )


def _enter(book: Book, link: int, share: Slope | None, fall: Slope | None) -> None:
    falls = (
        fall is not None
        and fall.gain > SURE
        and fall.over_step > BEATS_STEP
        and fall.start - fall.end >= MIN_FALL_DB
        and -fall.by_day > MIN_ERRORS * fall.error
    )
    rises = (
        share is not None
        and share.gain > SURE
        and share.over_step > BEATS_STEP
        and share.end - share.start >= MIN_RISE
        and share.by_day > MIN_ERRORS * share.error
    )
    missed, polls = (one[link] for one in book.sums())
    usual = share.start if share is not None else 0.0
    excess = max(0.0, float(missed - usual * polls))
    if not (rises or falls):
        return
    words = []
    if falls and fall is not None:
        words.append(
            f"falling level: {-DAYS_OF_WEEK * fall.by_day:.2f} dB a week against the other inverters "
            f"(standard error {DAYS_OF_WEEK * fall.error:.2f} dB)"
        )
    if share is not None:
        words.append(
            f"{100 * share.start:.0f} % of polls missed in the first third of the days, {100 * share.end:.0f} % in the "
            f"last third; slope {100 * DAYS_OF_WEEK * share.by_day:.1f} points a week (standard error "
            f"{100 * DAYS_OF_WEEK * share.error:.1f})"
        )
    if rises:
        words.append("a margin that falls evenly explains this better than any single date")
    own = np.zeros(len(book.names))
    own[link] = excess
    cells = np.flatnonzero(book.open[link])
    first_s, last_s = (float(book.log.time_s[cells[k]]) for k in (0, -1))
    book.close(np.ones((1, book.open.shape[1]), dtype=bool), np.array([link]))
    book.add(FADING, own, first_s=first_s, last_s=last_s, evidence="; ".join(words), to_end=True)
