"""Spans of days in which several links got worse together: every begin and end is tried on the same counts."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.inputs.logs import DAY_S
from survey.measured.dropouts.book import Book
from survey.measured.dropouts.chances import log_likelihood

Halves = NDArray[np.float32]

MAX_UNITS = 192
"""Into how many pieces of time a log is cut at most, for the work; set by trials on invented logs."""
MIN_UNITS = 8
"""Fewer pieces show no date; set by trials on invented logs."""
SURE = 10.0
"""Log-likelihood by which one span must beat none for a link, beyond the number of spans tried."""
JOINS = 3.0
"""Log-likelihood by which a link joins the span of others: 2.4 standard deviations."""
SAME_DATE = 3.0
"""Dates that fit worse than the best by less than this are as likely: about 2.4 standard deviations."""
NEARLY = 0.1
"""The same for a change of weather's making, which makes dates look surer than they are: so much of the whole."""
MIN_RISE = 0.08
"""Rise of the share of misses that counts; set by trials on invented logs. [-]"""
MIN_FALL_DB = 4.0
"""Fall of the level that counts: the standard deviation of fading. [dB]"""
MIN_GROUP = 2
"""One link alone is no group: docs/dropouts.md."""
MIN_LEVELS, CHANGED_DB = 6, 2.5
"""Levels on either side, and a difference of their means, that show a change: weather does less. [-, dB]"""
MAX_GROUPS = 6
"""Spans that are looked for at most; set by trials on invented logs."""
LINKS_AT_ONCE = 40
"""Links that are tried together, for memory. A judgement."""
OWN_BEST = 0.6
"""A link joins a group whose span explains it so well, over its own best one. [-]"""
MAX_GAIN = 200.0
"""A link counts for no more than this, so that one dead unit does not choose the dates of a group."""


@dataclass(frozen=True, kw_only=True)
class Units:
    """Counts of each link in stretches of daylight of about the same length, shape (links, units).

    `begins` are the numbers of the times at which they begin, shape (units + 1,).
    """

    misses: FloatArray
    polls: FloatArray
    level_dbm: FloatArray | None
    begins: IntArray


@dataclass(frozen=True, kw_only=True)
class Span:
    """From when to when some links were worse than before and after.

    Attributes
    ----------
    links : ndarray of int
        The links.
    begin, end : int
        Numbers of its first time, and of the first time after it.
    doubt : tuple of int
        Earliest and latest time that fits the begin nearly as well.
    before, inside : ndarray of float, shape (links,)
        Share of misses outside of it and in it. [-]
    fall_db : ndarray of float, shape (links,)
        Mean level outside of it less that in it; NaN where there are no levels. [dB]
    gain : float
        Log-likelihood by which it explains the counts better than no change. [-]
    from_start, to_end : bool
        Whether it reaches the first or the last time of the log.
    """

    links: IntArray
    begin: int
    end: int
    doubt: tuple[int, int]
    before: FloatArray
    inside: FloatArray
    fall_db: FloatArray
    gain: float
    from_start: bool
    to_end: bool

    def of(self, part: NDArray[np.bool_]) -> Span:
        """Return the same for some of its links."""
        own = {name: getattr(self, name)[part] for name in ("links", "before", "inside", "fall_db")}
        return replace(self, **own)

    def cells(self, book: Book) -> BoolArray:
        """Return its cells, shape (links of the group, times)."""
        found = np.zeros((len(self.links), len(book.log.time_s)), dtype=bool)
        found[:, self.begin : self.end] = True
        return found

    def length_days(self, book: Book) -> float:
        """Return how long it lasts. [days]"""
        return float(book.log.time_s[self.end - 1] - book.log.time_s[self.begin]) / DAY_S

    def core(self, book: Book) -> BoolArray:
        """Return its cells without the first and the last time at which any is open."""
        found = self.cells(book)
        times = np.flatnonzero((found & book.open[self.links]).any(axis=0))
        found[:, times[:1]] = found[:, times[-1:]] = False
        return found


def units_of(book: Book) -> Units:
    """Add up a log over stretches of daylight of about the same length."""
    active = np.flatnonzero(book.open.any(axis=0))
    count = int(np.clip(len(active) // 3, 1, MAX_UNITS))
    edges = np.linspace(0, len(active), count + 1).astype(int)[:-1]
    begins = active[edges] if len(active) else np.zeros(0, dtype=int)
    cells = book.open

    def added(values: NDArray[np.generic]) -> FloatArray:
        return np.add.reduceat(np.where(cells, values, 0), begins, axis=1, dtype=np.float64)

    polls, heard = added(book.log.polls), added(book.log.heard)
    level = None
    if book.log.level_dbm is not None:
        known = np.isfinite(book.log.level_dbm) & cells
        answers = np.add.reduceat(known, begins, axis=1, dtype=np.float64)
        total = np.add.reduceat(np.where(known, book.log.level_dbm, 0), begins, axis=1, dtype=np.float64)
        level = np.divide(total, answers, out=np.full(total.shape, np.nan), where=answers > 0)
    return Units(misses=polls - heard, polls=polls, level_dbm=level, begins=np.append(begins, len(book.log.time_s)))


def _summed(values: FloatArray) -> FloatArray:
    """Sums up to each unit, the first of them of none."""
    return np.concatenate([np.zeros((len(values), 1)), np.cumsum(values, axis=1)], axis=1)


@dataclass(frozen=True, kw_only=True)
class Gains:
    """How much better each span explains each link, shape (links, spans); and what it claims."""

    begin: IntArray
    end: IntArray
    gain: Halves
    before: Halves
    inside: Halves
    fall_db: Halves


def gains_of(units: Units) -> Gains:
    """Try every span of every link; some links at a time, since there are many spans."""
    count = units.polls.shape[1]
    begin, end = np.triu_indices(count + 1, 1)
    some = end - begin < count
    begin, end = begin[some], end[some]
    weather = None
    if units.level_dbm is not None:
        known = np.isfinite(units.level_dbm)
        weather = units.level_dbm - _weather(units.level_dbm, known)
    parts = [
        _gains(units, weather, begin, end, slice(low, low + LINKS_AT_ONCE))
        for low in range(0, len(units.polls), LINKS_AT_ONCE)
    ]
    gain, before, inside, fall = (np.concatenate(one).astype(np.float32) for one in zip(*parts, strict=True))
    lone = (end - begin == 1) & ((begin == 0) | (end == count))
    gain[:, lone] *= 0.5
    return Gains(begin=begin, end=end, gain=gain, before=before, inside=inside, fall_db=fall)


def _gains(
    units: Units, weather: FloatArray | None, begin: IntArray, end: IntArray, part: slice
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    x, n = _summed(units.misses[part]), _summed(units.polls[part])
    in_x, in_n = x[:, end] - x[:, begin], n[:, end] - n[:, begin]
    out_x, out_n = x[:, -1:] - in_x, n[:, -1:] - in_n
    gain = log_likelihood(in_x, in_n) + log_likelihood(out_x, out_n) - log_likelihood(x[:, -1:], n[:, -1:])
    before, inside = out_x / np.maximum(out_n, 1.0), in_x / np.maximum(in_n, 1.0)
    good = (in_n > 0) & (out_n > 0) & (inside - before >= MIN_RISE)
    gain = np.where(good, gain, 0.0)
    gain /= _dispersion(units.misses[part], units.polls[part], gain, before, inside, begin, end)[:, None]
    fall = np.full(gain.shape, np.nan)
    if weather is not None:
        fall, sure = _level_fall(weather[part], begin, end)
        gain = gain + np.where(fall >= MIN_FALL_DB, sure, 0.0)
    return gain, before, inside, fall


def _dispersion(  # noqa: PLR0917  what _gains has found
    misses: FloatArray,
    polls: FloatArray,
    gain: FloatArray,
    before: FloatArray,
    inside: FloatArray,
    begin: IntArray,
    end: IntArray,
) -> FloatArray:
    """By how much counts vary more from unit to unit than chance has it, with each link's best span allowed for."""
    best, row = np.argmax(gain, axis=1), np.arange(len(gain))
    unit = np.arange(polls.shape[1])[None]
    within = (unit >= begin[best][:, None]) & (unit < end[best][:, None])
    rate = np.where(within, inside[row, best][:, None], before[row, best][:, None])
    none = gain[row, best] <= 0
    own = misses.sum(axis=1) / np.maximum(polls.sum(axis=1), 1.0)
    rate = np.clip(np.where(none[:, None], own[:, None], rate), 0.005, 0.995)
    pearson = (misses - rate * polls) ** 2 / np.maximum(rate * (1.0 - rate) * polls, 1e-9)
    used = polls > 0
    excess = np.where(used, pearson, 0.0).sum(axis=1) / np.maximum(used.sum(axis=1) - 3, 1)
    return np.asarray(np.maximum(1.0, excess))


def _level_fall(level: FloatArray, begin: IntArray, end: IntArray) -> tuple[FloatArray, FloatArray]:
    """Fall of the mean level in each span, and how much better it explains each link. [dB, -]"""
    known = np.isfinite(level)
    level = np.where(known, level, 0.0)
    n, total = _summed(known.astype(np.float64)), _summed(level)
    squares = (level**2).sum(axis=1, keepdims=True)
    n1, s1 = n[:, end] - n[:, begin], total[:, end] - total[:, begin]
    n2, s2 = n[:, -1:] - n1, total[:, -1:] - s1
    enough = (n1 >= 2) & (n2 >= 2)  # noqa: PLR2004  a mean and a spread
    m1, m2 = s1 / np.maximum(n1, 1), s2 / np.maximum(n2, 1)
    within = np.maximum(squares - n1 * m1**2 - n2 * m2**2, 0.05 * (n1 + n2))
    whole = squares - (s1 + s2) ** 2 / np.maximum(n1 + n2, 1)
    gain = 0.5 * (n1 + n2) * np.log(np.maximum(whole / np.maximum(within, 1e-9), 1.0))
    return np.where(enough, m2 - m1, np.nan), np.where(enough, gain, 0.0)


def _weather(level_dbm: FloatArray, known: BoolArray) -> FloatArray:
    """By how much most links are stronger or weaker than usual in each unit, shape (units,). [dB]"""
    own = np.where(known, level_dbm, 0.0).sum(axis=1) / np.maximum(known.sum(axis=1), 1)
    apart = np.where(known, level_dbm - own[:, None], np.nan)
    some = known.sum(axis=0) >= MIN_UNITS
    found = np.zeros(level_dbm.shape[1])
    found[some] = np.nanmedian(apart[:, some], axis=0)
    return found


def spans_of(book: Book) -> list[Span]:
    """Return the spans in which two links or more got worse together, the best explained first."""
    units = units_of(book)
    count = units.polls.shape[1]
    if count < MIN_UNITS:
        return []
    gains = gains_of(units)
    best = gains.gain.max(axis=1)
    free = best > JOINS
    need = SURE + np.log(len(gains.begin))
    found: list[Span] = []
    for _ in range(MAX_GROUPS):
        if free.sum() < MIN_GROUP:
            break
        slack = np.maximum(SAME_DATE, NEARLY * best)
        near = (gains.gain >= (best - 2 * slack)[:, None]) & (gains.gain > JOINS)
        counts = np.where(near & free[:, None], np.minimum(gains.gain, MAX_GAIN) - JOINS, 0.0)
        score = counts.sum(axis=0) * ((counts > 0).sum(axis=0) >= MIN_GROUP)
        at = int(np.argmax(score))
        if score[at] < need:
            break
        links = np.flatnonzero(counts[:, at] > 0)
        joint = gains.gain[links].sum(axis=0)
        joins = (gains.gain[:, at] > JOINS) & (gains.gain[:, at] >= OWN_BEST * best) & free
        links = np.union1d(links, np.flatnonzero(joins))
        free[links] = False
        if (gains.gain[links, at] > SURE).sum() >= MIN_GROUP:
            found.append(_span(book, units, gains, links, at, joint))
    return found


def _span(  # noqa: PLR0917  what spans_of has found
    book: Book, units: Units, gains: Gains, links: IntArray, at: int, joint: FloatArray
) -> Span:
    count = units.polls.shape[1]
    to_end = np.flatnonzero((gains.begin == gains.begin[at]) & (gains.end == count))
    if len(to_end) and joint[to_end[0]] >= joint[at] - max(2.0 * SAME_DATE, 0.02 * joint[at]):
        at = int(to_end[0])  # nothing says that it ended
    first, last = int(gains.begin[at]), int(gains.end[at])
    likely = gains.begin[(joint >= joint[at] - SAME_DATE) & (gains.end == last)]
    begins = units.begins
    return Span(
        links=links,
        begin=_edge(book, links, begins, first, rising=True) if first else 0,
        end=_edge(book, links, begins, last, rising=False) if last < count else len(book.log.time_s),
        doubt=(int(begins[likely.min()]), int(begins[min(likely.max() + 1, count)])),
        before=gains.before[links, at].astype(np.float64),
        inside=gains.inside[links, at].astype(np.float64),
        fall_db=gains.fall_db[links, at].astype(np.float64),
        gain=float(joint[at]),
        from_start=first == 0,
        to_end=last == count,
    )


def _edge(book: Book, links: IntArray, begins: IntArray, at: int, *, rising: bool) -> int:
    """The time at which a group's misses rose or fell, within a unit of the one given."""
    low, high = int(begins[max(0, at - 1)]), int(begins[min(at + 1, len(begins) - 1)])
    cells = book.open[links, low:high]
    polls = np.where(cells, book.log.polls[links, low:high], 0).sum(axis=0, dtype=np.int64).astype(float)
    misses = polls - np.where(cells, book.log.heard[links, low:high], 0).sum(axis=0, dtype=np.int64)
    x, n = np.cumsum(misses), np.cumsum(polls)
    if not len(n) or not n[-1]:
        return int(begins[at])
    gain = log_likelihood(x, n) + log_likelihood(x[-1] - x, n[-1] - n)
    right = (x * n[-1] < x[-1] * n) if rising else (x * n[-1] > x[-1] * n)
    gain = np.where(right & (n < n[-1]), gain, -np.inf)
    best = int(np.argmax(gain))
    if gain[best] - float(log_likelihood(x[-1], n[-1])) < SAME_DATE:
        return int(begins[at])
    later = np.flatnonzero(polls[best + 1 :])
    return low + best + 1 + (int(later[0]) if len(later) else 0)


def level_changes(book: Book, span: Span, among: IntArray) -> float:
    """Part of some links whose mean level is another in a span than outside of it; NaN where that is not known."""
    level = book.log.level_dbm
    if level is None:
        return float("nan")
    inside = np.zeros(level.shape[1], dtype=bool)
    inside[span.begin : span.end] = True
    means = []
    for cells in (inside, ~inside):
        known = np.isfinite(level[among]) & book.open[among] & cells
        count = known.sum(axis=1)
        total = np.where(known, level[among], 0).sum(axis=1, dtype=np.float64)
        means.append(np.divide(total, count, out=np.full(len(among), np.nan), where=count >= MIN_LEVELS))
    shift = means[0] - means[1]
    known = np.isfinite(shift)
    return float((np.abs(shift[known]) >= CHANGED_DB).mean()) if 2 * known.sum() >= len(among) else float("nan")
