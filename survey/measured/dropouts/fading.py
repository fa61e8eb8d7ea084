"""Links that fade away: a level or a share of answers that falls from day to day, with its standard error."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import FloatArray
from survey.measured.dropouts.book import Book
from survey.measured.dropouts.causes import FADING
from survey.measured.dropouts.chances import log_likelihood
from survey.measured.dropouts.daylight import Daylight

MIN_DAYS = 10
SURE = 10.0
"""Log-likelihood by which a slope must beat none. A day more or less of log does not count for that."""
BEATS_STEP = 2.0
"""The same beyond the best step from one date on: that of half a dozen dates tried."""
MIN_ERRORS = 4.0
"""A slope of fewer standard errors than this is none. [-]"""
MIN_RISE = 0.15
"""The share of misses must rise by this much over the log. [-]"""
MIN_FALL_DB = 3.0
ROUNDS = 30
DAYS_OF_WEEK = 7.0


@dataclass(frozen=True, kw_only=True)
class Slope:
    """A straight line through days: its slope by day, the standard error, and how much better it is than none or a step."""

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
        share = logistic_slope(at, (polls - heard)[link, used], polls[link, used])
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


def logistic_slope(day: FloatArray, misses: FloatArray, polls: FloatArray) -> Slope | None:
    """Fit a logistic line to shares of misses by day (McCullagh and Nelder, Generalized Linear Models, 2nd ed., ch. 4).

    Counts that vary more from day to day than chance has it widen the standard error and shrink the gain alike
    (quasi-likelihood, ibid., ch. 9).

    Examples
    --------
    >>> day = np.arange(20.0)
    >>> rising = logistic_slope(day, np.round(50 / (1 + np.exp(2 - 0.2 * day))), np.full(20, 50.0))
    >>> round(rising.by_day, 2), rising.error < 0.02
    (0.2, True)
    """
    middle = day.mean()
    x = np.column_stack([np.ones(len(day)), day - middle])
    share = np.clip((misses + 0.5) / (polls + 1.0), 0.01, 0.99)
    weights = np.array([np.log(share.mean() / (1 - share.mean())), 0.0])
    info = np.eye(2)
    for _ in range(ROUNDS):
        mean = 1.0 / (1.0 + np.exp(-np.clip(x @ weights, -15, 15)))
        info = x.T @ (x * (polls * mean * (1 - mean))[:, None]) + 1e-6 * np.eye(2)
        step = np.linalg.solve(info, x.T @ (misses - polls * mean))
        weights = weights + np.clip(step, -3.0, 3.0)
        if np.abs(step).max() < 1e-6:  # noqa: PLR2004  converged
            break
    mean = np.clip(1.0 / (1.0 + np.exp(-np.clip(x @ weights, -15, 15))), 1e-6, 1 - 1e-6)
    pearson = (misses - polls * mean) ** 2 / (polls * mean * (1 - mean) + 0.1)
    spread = max(1.0, float(pearson.sum()) / max(len(day) - 2, 1))
    fit = float((misses * np.log(mean) + (polls - misses) * np.log1p(-mean)).sum())
    none = float(log_likelihood(misses.sum(), polls.sum()))
    before, asked = np.cumsum(misses)[:-1], np.cumsum(polls)[:-1]
    step_fit = log_likelihood(before, asked) + log_likelihood(misses.sum() - before, polls.sum() - asked)
    error = float(np.sqrt(spread * np.linalg.inv(info)[1, 1]))
    return Slope(
        by_day=float(weights[1]),
        error=error,
        gain=(fit - none) / spread,
        over_step=(fit - float(step_fit.max())) / spread,
        start=float(mean[0]),
        end=float(mean[-1]),
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
    rest = float(((level_db - mean - slope * x) ** 2).sum()) + 0.02 * len(day)
    whole = float(((level_db - mean) ** 2).sum()) + 0.02 * len(day)
    count = np.arange(1, len(day))
    before = np.cumsum(level_db - mean)[:-1]
    step = whole - float((before**2 * (1.0 / count + 1.0 / (len(day) - count))).max())
    return Slope(
        by_day=slope,
        error=float(np.sqrt(rest / max(len(day) - 2, 1) / (x @ x))),
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
    usual = min(share.start, share.end) if share is not None else 0.0
    excess = max(0.0, float(missed - usual * polls))
    if not (rises or (falls and excess >= max(8.0, 0.05 * polls))):
        return
    words = []
    if falls and fall is not None:
        words.append(
            f"level falls by {-DAYS_OF_WEEK * fall.by_day:.2f} dB a week (standard error "
            f"{DAYS_OF_WEEK * fall.error:.2f} dB), against the other inverters"
        )
    if share is not None and share.end > share.start:
        words.append(f"share of missed polls rises from {100 * share.start:.0f} % to {100 * share.end:.0f} % over the log")
        if rises:
            words.append(
                f"its log odds rise by {DAYS_OF_WEEK * share.by_day:.2f} a week (standard error "
                f"{DAYS_OF_WEEK * share.error:.2f}), better explained so than by any single date"
            )
    own = np.zeros(len(book.names))
    own[link] = excess
    cells = np.flatnonzero(book.open[link])
    first_s, last_s = (float(book.log.time_s[cells[k]]) for k in (0, -1))
    book.close(np.ones((1, book.open.shape[1]), dtype=bool), np.array([link]))
    book.add(FADING, own, first_s=first_s, last_s=last_s, evidence="; ".join(words), to_end=True)
