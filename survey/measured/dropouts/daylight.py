"""When it was light enough, told by the log itself: which misses are night, which are low light, which are dropouts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.inputs.logs import DAY_S, Log

BIN_S = 1_800
"""Into which a day is cut to find its night: half an hour. A judgement. [s]"""
QUIET_SHARE = 0.02
"""A half hour in which so little of the most is heard belongs to the night. [-]"""
SEASON_DAYS = 5
"""Days on either side that share a season's light: dawn moves some minutes a day. A judgement."""
MOST_OWN_S = 5_400
"""How much later than the site one inverter may wake, for its roof; set by trials on invented logs. [s]"""
LEAST_ODD_S = 3_600
"""A whole site late by less than this was in the dark, not cut off. [s]"""
FEW_DAYS = 4
"""Fewer show no habit; set by trials on invented logs."""
WEAK = 0.2
"""A link that misses so much while it is awake says little about when light suffices. [-]"""
MOST_LATE_S = 7_200.0
"""A whole site later than this was not in the dark; set by trials on invented logs. [s]"""
DUSK_S, DUSK_SHARE = 9_000.0, 0.25
"""How far from the ends of a day some may lack light: so long, but no more than that share of the day."""
FAINT_POWER = 0.1
"""Power, over that of the brightest tenth of the log, below which some may lack light. [-]"""
LOW_SUN_S, SHORT_S = 36_000.0, 30_600.0
"""Where the best days of a season are shorter than 10 h clouds may darken noon; shorter than 8.5 h, a whole day. [s]"""
DARK_DAY_S = 46_800.0
"""Where a log has days shorter than `SHORT_S` the site is far from the equator: the sun stands low for months, and
clouds may darken days up to 13 h long. Set by trials on invented logs. [s]"""
DARK_SHARE = 0.05
"""A dark day is shorter than the best ones by such a part at both ends, and by three in all. [-]"""
EARLY_SIX = 6
"""Of ten links so many of the earliest show when a day was light: a supply that is off takes the others along."""
EARLY_SPREAD = 8.5
"""Standard deviations of 4.5 by the median distance within the earliest six tenths, for a normal distribution."""
MIN_LATER, LATER_SHARE = 2, 0.4
"""Where so many links that usually wake later answer, and such a share of them, there is light. [-, -]"""
MIN_LIT_POLLS, MIN_LIT_S = 3, 7_200
"""So many polls, and so long, there must be light before a silence is no low light: clouds put a roof that faces the
other way back by an hour or more. [-, s]"""
STRONG_POWER = 4.0
"""Power at the first answer, over the usual one there, that shows that it had been light for long. [-]"""


@dataclass(frozen=True, kw_only=True)
class Daylight:
    """The days of a log.

    Attributes
    ----------
    day : ndarray of bool, shape (links, times)
        Whether it was light enough for the inverter, so that a miss is a dropout.
    low : ndarray of bool, shape (links, times)
        Whether it was light for some days of that season but not yet, or no longer, for this inverter.
    awake : ndarray of bool, shape (links, times)
        Whether the inverter usually answers by then on such a day; part of that may be `low` if it did not answer.
    dusk : ndarray of bool, shape (times,)
        Near the ends of the days of that season, or with so little power that it may have been too dark for some.
    number : ndarray of int, shape (times,)
        Which day of the log each time belongs to.
    first_s, last_s : ndarray of float, shape (days,)
        When the site began and ended to answer, since 1970. [s]
    dim : bool
        Whether the days of some season in it are so short that noons may be dark.
    """

    day: BoolArray
    low: BoolArray
    awake: BoolArray
    dusk: BoolArray
    number: IntArray
    first_s: FloatArray
    last_s: FloatArray
    dim: bool = False


def daylight_of(log: Log) -> Daylight:
    """Find the days in a log.

    Parameters
    ----------
    log : Log
        Polls by link and time.

    Returns
    -------
    Daylight
        Day and low light by link and time.
    """
    middle_s = _middle_of_night_s(log)
    number = (log.time_s - middle_s) // DAY_S
    days, begins, number = np.unique(number, return_index=True, return_inverse=True)
    ends = np.append(begins[1:], len(number))
    since_s = (log.time_s - middle_s - days[number] * DAY_S).astype(np.float64)
    first_s, last_s = _first_and_last(log, begins, ends, since_s)
    answered = np.isfinite(first_s)
    enough = answered.sum(axis=0) > 0
    site_first = _quantile(first_s, 0.1)
    site_last = _quantile(last_s, 0.9)
    early, late = _season(site_first, days, np.fmin), _season(site_last, days, np.fmax)
    dim = bool(np.nanmin(late - early) < LOW_SUN_S) if np.isfinite(late - early).any() else False
    dark = _dark_days(_quantile(first_s, 0.5), _quantile(last_s, 0.5), days, log.step_s)
    powers = _powers(log, begins, ends, enough)
    site_first, site_last = _mended(log, site_first, site_last, early, late, powers=powers)
    site_first, site_last = np.where(dark, np.nan, site_first), np.where(dark, np.nan, site_last)
    steady = _misses_while_awake(log, begins, ends, since_s, first_s, last_s) < WEAK
    own_first, most_first = _own(first_s - site_first, steady, log.step_s)
    own_last, most_last = _own(site_last - last_s, steady, log.step_s)
    sound = np.where(steady[:, None] | ~steady.any(), 0.0, np.nan)
    site_first, slack_first = _of_the_day(site_first, first_s - own_first[:, None] + sound, most_first)
    before_last, slack_last = _of_the_day(-site_last, -last_s - own_last[:, None] + sound, most_last)
    site_last = -before_last
    day = np.zeros(log.polls.shape, dtype=bool)
    low = np.zeros(log.polls.shape, dtype=bool)
    awake = np.zeros(log.polls.shape, dtype=bool)
    for d, (begin, end) in enumerate(zip(begins.tolist(), ends.tolist(), strict=True)):
        t = since_s[None, begin:end]
        start = np.fmin(first_s[:, d], site_first[d] + own_first + slack_first[d])[:, None]
        stop = np.fmax(last_s[:, d], site_last[d] - own_last - slack_last[d])[:, None]
        if dark[d]:
            low[:, begin:end] = (t >= early[d]) & (t <= late[d])
            continue
        usual = (t >= (site_first[d] + own_first)[:, None]) & (t <= (site_last[d] - own_last)[:, None])
        awake[:, begin:end] = usual
        light = (t >= start) & (t <= stop)
        heard, asked = log.heard[:, begin:end] > 0, log.polls[:, begin:end] > 0
        if not dim:  # where the sun stands low clouds take the light from some and not from others
            light |= _lit_before(heard, asked, own_first, log.step_s) & (t < start)
            light |= _lit_before(heard[:, ::-1], asked[:, ::-1], own_last, log.step_s)[:, ::-1] & (t > stop)
        day[:, begin:end] = light
        low[:, begin:end] = ((t >= early[d]) & (t < start) & ~light) | ((t <= late[d]) & (t > stop) & ~light)
    polled = log.polls > 0
    base_s = middle_s + days * DAY_S
    return Daylight(
        day=day & polled,
        low=low & polled,
        awake=awake & polled,
        dusk=_dusk(log, since_s, early[number], late[number]),
        number=number,
        first_s=base_s + site_first,
        last_s=base_s + site_last,
        dim=dim,
    )


def _lit_before(heard: BoolArray, asked: BoolArray, own_s: FloatArray, step_s: int) -> BoolArray:
    """Times before a link's first answer of a day at which there was light for it: links that wake later answered.

    Parameters
    ----------
    heard, asked : ndarray of bool, shape (links, times)
        Answers and polls of one day, or of one day backwards for the times after the last answer.
    own_s : ndarray of float, shape (links,)
        How much later than the site each link usually wakes. [s]
    step_s : int
        Time between two polls. [s]
    """
    order = np.argsort(-own_s, kind="stable")
    as_late = np.searchsorted(-own_s[order], -own_s, side="right") - 1  # the last that wakes as late, or later
    answers, polls = (np.cumsum(one[order], axis=0)[as_late] for one in (heard, asked))
    lit = (answers >= MIN_LATER) & (answers >= LATER_SHARE * polls)
    lit &= asked & (np.cumsum(heard, axis=1) == 0)
    enough = max(MIN_LIT_POLLS, -(-MIN_LIT_S // step_s))
    found: BoolArray = lit & (lit.sum(axis=1) >= enough)[:, None]
    return found


def _dark_days(first: FloatArray, last: FloatArray, days: IntArray, step_s: int) -> BoolArray:
    """Days of a dark season that were too dark for most of their length: short at both ends, or without an answer.

    Where the days are short the sun stands so low that clouds take the light away at noon as well, now for some and now
    for others; nothing on such a day shows a fault. `first` and `last` are those of the middle inverter.
    """
    early, late = _season(first, days, np.fmin), _season(last, days, np.fmax)
    with np.errstate(invalid="ignore"):
        late_by, short_by, length = first - early, late - last, late - early
        least = np.maximum(2 * step_s, DARK_SHARE * length)
        short = (late_by >= least) & (short_by >= least) & (late_by + short_by >= 3 * least)
        far = np.isfinite(length).any() and np.nanmin(length) < SHORT_S
        below_s = DARK_DAY_S if far else LOW_SUN_S
        return np.asarray(((length < below_s) & short) | ((length < SHORT_S) & ~np.isfinite(first)))


def _of_the_day(site_s: FloatArray, own_s: FloatArray, slack_s: float) -> tuple[FloatArray, FloatArray]:
    """How late each day was for most links, and by how much some may still be later: dark days are so for all. [s]"""
    late, slack = site_s.copy(), np.full(len(site_s), slack_s)
    for d in np.flatnonzero(np.isfinite(site_s)).tolist():
        known = own_s[np.isfinite(own_s[:, d]), d]
        usual = np.sort(known)[: max(FEW_DAYS, -(-len(known) * EARLY_SIX // 10))]  # the rest may be off, not dark
        middle = float(np.median(usual)) if len(known) else np.nan
        if len(known) >= FEW_DAYS and abs(middle - site_s[d]) < MOST_LATE_S:
            late[d] = max(site_s[d], middle)
            slack[d] = min(max(slack_s, EARLY_SPREAD * float(np.median(np.abs(usual - middle)))), MOST_LATE_S)
    return late, slack


def _dusk(log: Log, since_s: FloatArray, early_s: FloatArray, late_s: FloatArray) -> BoolArray:
    """Times at which some may have lacked light."""
    near_s = np.minimum(DUSK_S, DUSK_SHARE * (late_s - early_s))
    dusk = (since_s < early_s + near_s) | (since_s > late_s - near_s)
    if log.power_w is not None:
        known = np.isfinite(log.power_w)
        count = known.sum(axis=0)
        total = np.where(known, log.power_w, 0).sum(axis=0, dtype=np.float64)
        power = np.divide(total, count, out=np.full(len(count), np.nan), where=count > 0)
        if np.isfinite(power).any():
            dusk |= power < FAINT_POWER * np.nanquantile(power, 0.9)
    return np.asarray(dusk)


def _middle_of_night_s(log: Log) -> int:
    """The time of day farthest from all answers. [s]"""
    bins = DAY_S // BIN_S
    at = log.time_s % DAY_S // BIN_S
    heard = np.bincount(at, weights=log.heard.sum(axis=0, dtype=np.int64), minlength=bins)
    quiet = heard <= QUIET_SHARE * heard.max(initial=0)
    if not quiet.any():
        return int(np.argmin(heard)) * BIN_S + BIN_S // 2
    if quiet.all():
        return 0
    first = int(np.flatnonzero(~quiet)[0])
    turned = np.roll(quiet, -first)
    edges = np.diff(np.concatenate([[0], turned.astype(int), [0]]))
    begins, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    longest = int(np.argmax(ends - begins))
    return int(((begins[longest] + ends[longest]) / 2 + first) * BIN_S) % DAY_S


def _first_and_last(log: Log, begins: IntArray, ends: IntArray, since_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """First and last answer of each link in each day, shape (links, days). [s]"""
    first = np.full((len(log.polls), len(begins)), np.nan)
    last = first.copy()
    for d, (begin, end) in enumerate(zip(begins.tolist(), ends.tolist(), strict=True)):
        heard = log.heard[:, begin:end] > 0
        some = heard.any(axis=1)
        times = since_s[begin:end]
        first[some, d] = times[np.argmax(heard[some], axis=1)]
        last[some, d] = times[end - begin - 1 - np.argmax(heard[some, ::-1], axis=1)]
    return first, last


def _quantile(values: FloatArray, share: float) -> FloatArray:
    """Of the links that answered on each day; NaN where none did."""
    found = np.full(values.shape[1], np.nan)
    some = np.isfinite(values).any(axis=0)
    if some.any():
        found[some] = np.nanquantile(values[:, some], share, axis=0, method="nearest")
    return found


def _season(values: FloatArray, days: IntArray, extreme: np.ufunc) -> FloatArray:
    """Extreme of the days around each day; over all days where none of those has a value."""
    found = np.array(
        [extreme.reduce(values[np.abs(days - one) <= SEASON_DAYS], initial=np.nan) for one in days.tolist()]
    )
    return np.where(np.isfinite(found), found, extreme.reduce(values, initial=np.nan))


def _powers(log: Log, begins: IntArray, ends: IntArray, enough: BoolArray) -> tuple[FloatArray, FloatArray] | None:
    """Median power at the first and at the last answers of each day. [W]"""
    if log.power_w is None:
        return None
    found = np.full((2, len(begins)), np.nan)
    for d in np.flatnonzero(enough).tolist():
        power = log.power_w[:, begins[d] : ends[d]].astype(np.float64)
        some = np.flatnonzero(np.isfinite(power).sum(axis=0) >= max(1, 0.1 * len(power)))
        if len(some):
            found[:, d] = np.nanmedian(power[:, some[0]]), np.nanmedian(power[:, some[-1]])
    return found[0], found[1]


def _mended(
    log: Log,
    first: FloatArray,
    last: FloatArray,
    early: FloatArray,
    late: FloatArray,
    *,
    powers: tuple[FloatArray, FloatArray] | None,
) -> tuple[FloatArray, FloatArray]:
    """Begin and end of days, put right where all were silent for another reason than the dark.

    A dark day is short at both its ends. Where the site answered late but no less long in the evening, or with full
    power at once, it was not the dark.
    """
    late_by, short_by = first - early, late - last
    least_s = max(LEAST_ODD_S, 4 * log.step_s)
    usual = [float(np.nanmedian(one)) if np.isfinite(one).any() else 0.0 for one in (late_by, short_by)]
    mended = []
    for k, (own, other) in enumerate(((late_by, short_by), (short_by, late_by))):
        odd = (own > least_s) & (own > least_s + 2.0 * other)
        if powers is not None and np.isfinite(powers[k]).any():
            strong = powers[k] > STRONG_POWER * np.nanmedian(powers[k])
            odd = (own > least_s / 2.0) & strong & np.isfinite(powers[k])
        odd |= ~np.isfinite(own)
        mended.append(np.where(odd, early + usual[0] if k == 0 else late - usual[1], (first, last)[k]))
    return mended[0], mended[1]


def _misses_while_awake(  # noqa: PLR0917  the days as found
    log: Log, begins: IntArray, ends: IntArray, since_s: FloatArray, first_s: FloatArray, last_s: FloatArray
) -> FloatArray:
    """Share of misses of each link between its first and its last answer of a day; such a miss is no low light."""
    polls, heard = np.zeros(len(first_s)), np.zeros(len(first_s))
    for d, (begin, end) in enumerate(zip(begins.tolist(), ends.tolist(), strict=True)):
        with np.errstate(invalid="ignore"):
            awake = (since_s[begin:end] >= first_s[:, [d]]) & (since_s[begin:end] <= last_s[:, [d]])
        polls += np.where(awake, log.polls[:, begin:end], 0).sum(axis=1)
        heard += np.where(awake, log.heard[:, begin:end], 0).sum(axis=1)
    return np.asarray(np.where(polls > 0, 1.0 - heard / np.maximum(polls, 1.0), 1.0))


def _own(delay_s: FloatArray, steady: BoolArray, step_s: int) -> tuple[FloatArray, float]:
    """By how much each link is later than the site, and how much later still it may be on some days. [s]"""
    known = np.isfinite(delay_s)
    if not known.any():
        return np.zeros(len(delay_s)), 2.0 * step_s
    own = np.zeros(len(delay_s))
    some = (known.sum(axis=1) >= FEW_DAYS) & steady  # a weak link begins late because it misses its first polls
    if some.any():
        own[some] = np.nanquantile(delay_s[some], 0.25, axis=1)
    usual = max(0.0, float(np.nanmedian(own[some] if some.any() else delay_s)))
    own = np.clip(np.where(some, own, usual), 0.0, MOST_OWN_S)
    beyond = (delay_s - own[:, None])[known & (steady[:, None] if steady.any() else True)]
    if not len(beyond):
        return own, 2.0 * step_s
    return own, float(np.clip(np.quantile(beyond, 0.9), 2.0 * step_s, max(3_600.0, 2.0 * step_s)))
