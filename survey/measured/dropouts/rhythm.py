"""Hours of the day in which some links are worse on most days: every beginning and end of them is tried."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray, FloatArray, IntArray, runs_of
from survey.inputs.logs import DAY_S
from survey.measured.dropouts.book import Book
from survey.measured.dropouts.chances import log_likelihood
from survey.measured.dropouts.daylight import Daylight

BIN_S = 1_800
"""Into which a day is cut: half an hour. A judgement. [s]"""
SURE, JOINS = 12.0, 4.0
"""Log-likelihood by which hours must beat none for a link, beyond the number tried, and by which others join; set by
trials on invented logs."""
MIN_RISE, CONTRAST = 0.1, 0.5
"""What is so at other hours half as much is no matter of hours. [-]"""
MIN_DAYS = 3
"""Hours that return must be seen on so many days; set by trials on invented logs."""
MIN_SHARE_OF_DAYS = 0.35
"""On so many of the days at least it must show: working days, not one bad one. [-]"""
MAX_LENGTH = 0.75
"""What takes longer than this part of the daylight is no matter of hours. [-]"""
MIN_GROUP = 2
"""One link alone is no group: docs/dropouts.md."""
ONE_SPAN = 0.8
"""Days of which this part follow one another are a span of dates. [-]"""
SLACK = 0.35
"""Hours that explain a link worse than its own best ones by less than this part are as good. [-]"""
LINKS_AT_ONCE = 100
"""Links that are tried together, for memory. A judgement."""


@dataclass(frozen=True, kw_only=True)
class Rhythm:
    """Hours in which some links are worse.

    Attributes
    ----------
    links : ndarray of int
        The links.
    times : ndarray of bool, shape (times,)
        Times in those hours.
    from_s, to_s : int
        Time of the day at which they begin and end, by the log's clock. [s]
    before, inside : ndarray of float, shape (links,)
        Share of misses at other hours, and in these. [-]
    gain : float
        Log-likelihood by which it explains the counts better than no such hours. [-]
    struck : ndarray of bool, shape (times,)
        Times of the days that were struck.
    number : ndarray of int, shape (times,)
        Which day each time belongs to.
    """

    links: IntArray
    times: BoolArray
    from_s: int
    to_s: int
    before: FloatArray
    inside: FloatArray
    gain: float
    struck: BoolArray
    number: IntArray

    @property
    def fall_db(self) -> FloatArray:
        """Levels are not looked at hour by hour."""
        return np.full(len(self.links), np.nan)

    def of(self, part: NDArray[np.bool_]) -> Rhythm:
        """Return the same for some of its links."""
        own = {name: getattr(self, name)[part] for name in ("links", "before", "inside")}
        return replace(self, **own)

    def cells(self, book: Book) -> BoolArray:
        """Return its cells, shape (links of the group, times)."""
        return np.broadcast_to(self.times, (len(self.links), len(book.log.time_s)))

    def by_day(self, book: Book) -> FloatArray:
        """Return the share of missed polls in these hours of each day on which there were any. [-]"""
        cells = book.open[self.links] & self.times
        polls = np.where(cells, book.log.polls[self.links], 0).sum(axis=0, dtype=np.int64)
        heard = np.where(cells, book.log.heard[self.links], 0).sum(axis=0, dtype=np.int64)
        asked, missed = (np.bincount(self.number, weights=one) for one in (polls, polls - heard))
        return np.asarray(missed[asked > 0] / asked[asked > 0])

    def length_days(self, book: Book) -> float:
        """Return how long it lasts each day, whatever is open. [days]"""
        assert book.open.shape[1] == len(self.times)
        return (self.to_s - self.from_s) / DAY_S

    def core(self, book: Book) -> BoolArray:
        """Return its cells on the days that were struck, without the first and the last time of each day."""
        inner = self.times & self.struck
        inner[1:] &= self.times[:-1]
        inner[:-1] &= self.times[1:]
        return np.broadcast_to(inner, (len(self.links), len(book.log.time_s)))


def rhythm_of(book: Book, daylight: Daylight, among: IntArray) -> Rhythm | None:
    """Return the hours that explain the links of a gateway best, if they are no accident."""
    days = int(daylight.number[-1]) + 1
    if days < MIN_DAYS or len(among) < MIN_GROUP:
        return None
    width_s = max(BIN_S, -(-book.log.step_s // 300) * 300)
    bins = DAY_S // width_s
    at = np.minimum(book.log.time_s % DAY_S // width_s, bins - 1)
    where = daylight.number * bins + at
    order = np.argsort(where, kind="stable")
    begins = np.flatnonzero(np.diff(where[order], prepend=-1))
    cell = where[order][begins]
    x, n = (np.zeros((len(among), days * bins)) for _ in range(2))
    for low in range(0, len(among), LINKS_AT_ONCE):
        part = among[low : low + LINKS_AT_ONCE]
        polls = np.where(book.open[part], book.log.polls[part], 0)[:, order]
        heard = np.where(book.open[part], book.log.heard[part], 0)[:, order]
        n[low : low + len(part), cell] = np.add.reduceat(polls, begins, axis=1, dtype=np.int64)
        x[low : low + len(part), cell] = n[low : low + len(part), cell] - np.add.reduceat(
            heard, begins, axis=1, dtype=np.int64
        )
    by_day = [one.reshape(-1, days, bins) for one in (x, n)]
    seen = (by_day[1].sum(axis=0) > 0).sum(axis=0)
    used = np.flatnonzero(seen >= max(MIN_DAYS, 0.5 * seen.max()))
    if len(used) < 4:  # noqa: PLR2004  hours and others beside them
        return None
    bright = np.bincount(at, weights=~daylight.dusk, minlength=bins) > 0.5 * seen
    hours = slice(int(used[0]), int(used[-1]) + 1)
    found = _best(by_day[0][:, :, hours], by_day[1][:, :, hours], bright[hours])
    if found is None:
        return None
    links, begin, end, gain, before, inside = found
    begin, end = begin + int(used[0]), end + int(used[0])
    in_x, in_n = (one[links, :, begin:end].sum(axis=(0, 2)) for one in by_day)
    polled = in_n > 0
    middle = 0.5 * (float(before.mean()) + float(inside.mean()))
    struck = polled & (in_x > middle * in_n)
    if struck.sum() < max(MIN_DAYS, MIN_SHARE_OF_DAYS * polled.sum()) or _is_one_span(struck[polled]):
        return None
    return Rhythm(
        links=among[links],
        times=(at >= begin) & (at < end),
        from_s=begin * width_s,
        to_s=end * width_s,
        before=before,
        inside=inside,
        gain=gain,
        struck=struck[daylight.number],
        number=daylight.number,
    )


def _is_one_span(struck: BoolArray) -> bool:
    """Whether the struck days are one stretch of several: a matter of dates, not of hours."""
    begins, ends = runs_of(struck)
    longest = int((ends - begins).max(initial=0))
    return not struck.all() and longest > ONE_SPAN * struck.sum() and longest < ONE_SPAN * len(struck)


def _best(
    x: FloatArray, n: FloatArray, bright: BoolArray
) -> tuple[IntArray, int, int, float, FloatArray, FloatArray] | None:
    """The group and the hours of most gain: links, begin, end, gain, and shares of misses outside and inside."""
    count = x.shape[2]
    sums = [np.concatenate([np.zeros((len(x), 1)), np.cumsum(one.sum(axis=1), axis=1)], axis=1) for one in (x, n)]
    begin, end = np.triu_indices(count + 1, 1)
    lit = np.concatenate([[0], np.cumsum(bright)])
    some = (end - begin <= MAX_LENGTH * count) & (lit[end] > lit[begin])
    begin, end = begin[some], end[some]
    (in_x, in_n), (all_x, all_n) = ([one[:, end] - one[:, begin] for one in sums], [one[:, -1:] for one in sums])
    out_x, out_n = all_x - in_x, all_n - in_n
    before, inside = out_x / np.maximum(out_n, 1.0), in_x / np.maximum(in_n, 1.0)
    gain = log_likelihood(in_x, in_n) + log_likelihood(out_x, out_n) - log_likelihood(all_x, all_n)
    gain = np.where((in_n > 0) & (out_n > 0) & (inside - before >= MIN_RISE) & (before <= CONTRAST * inside), gain, 0.0)
    gain /= _dispersion(x, n)[:, None]
    best = gain.max(axis=1)
    counts = np.where(gain >= np.maximum(JOINS, (1.0 - SLACK) * best[:, None]), gain - JOINS, 0.0)
    score = counts.sum(axis=0) * ((counts > 0).sum(axis=0) >= MIN_GROUP)
    if not len(score) or score.max() < SURE + np.log(len(score)):
        return None
    at = int(np.argmax(score))
    links = np.flatnonzero(counts[:, at] > 0)
    if (gain[links, at] > SURE).sum() < MIN_GROUP:
        return None
    return links, int(begin[at]), int(end[at]), float(score[at]), before[links, at], inside[links, at]


def _dispersion(x: FloatArray, n: FloatArray) -> FloatArray:
    """By how much the counts of each link vary more from day to day, in the same hours, than chance has it."""
    by_hour = x.sum(axis=1) / np.maximum(n.sum(axis=1), 1.0)
    rate = np.clip(by_hour, 0.01, 0.99)[:, None]
    pearson = (x - rate * n) ** 2 / np.maximum(rate * (1.0 - rate) * n, 1e-9)
    used = n > 0
    return np.asarray(
        np.maximum(1.0, np.where(used, pearson, 0.0).sum(axis=(1, 2)) / np.maximum(used.sum(axis=(1, 2)), 1))
    )
