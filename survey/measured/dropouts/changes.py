"""A date at which a group got worse: something new in the way, if they share a direction or an obstacle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.measured.dropouts.book import Book
from survey.measured.dropouts.chances import log_likelihood

MOST_UNITS = 160
"""Into how many pieces of time a log is cut at most, for the work; set by trials on invented logs."""
LEAST_UNITS = 8
"""Fewer pieces show no date; set by trials on invented logs."""
SURE = 10.0
"""Log-likelihood by which one date must beat none for a link, beyond the number of dates tried."""
JOINS = 3.0
"""Log-likelihood by which a link joins the date of others: 2.4 standard deviations."""
SAME_DATE = 3.0
"""Dates that fit worse than the best by less than this are as likely: about 2.4 standard deviations."""
NEARLY = 0.1
"""The same for a change of weather's making, which makes dates look surer than they are: so much of the whole."""
LEAST_RISE = 0.08
"""Rise of the share of misses that counts; set by trials on invented logs. [-]"""
LEAST_FALL_DB = 4.0
"""Fall of the level that counts: the standard deviation of fading. [dB]"""
DRAWS = 2_000
"""How often directions are drawn: a chance of 5 % then stands to half a percentage point."""
RARE = 0.05
"""Chance below which a common direction is none: the usual level of a test. [-]"""
LEAST_GROUP = 2
"""One link alone is never called a new obstacle: docs/dropouts.md."""
MOST_GROUPS = 5
"""Dates that are looked for at most; set by trials on invented logs."""


@dataclass(frozen=True, kw_only=True)
class Units:
    """Counts of each link in some dozens of stretches of daylight, shape (links, units).

    `begins` are the numbers of the times at which they begin, shape (units + 1,).
    """

    misses: FloatArray
    polls: FloatArray
    level_dbm: FloatArray | None
    answers: FloatArray
    begins: IntArray


@dataclass(frozen=True, kw_only=True)
class Change:
    """A date at which some links got worse.

    `time` is its number, `earliest` and `latest` are those of its uncertainty; `rise` and `fall_db` by link, NaN where
    there is no level.
    """

    links: IntArray
    time: int
    earliest: int
    latest: int
    before: FloatArray
    rise: FloatArray
    fall_db: FloatArray


def units_of(book: Book) -> Units:
    """Add up a log over stretches of daylight of about the same length."""
    active = np.flatnonzero(book.open.any(axis=0))
    count = int(np.clip(len(active) // 3, 1, MOST_UNITS))
    edges = np.linspace(0, len(active), count + 1).astype(int)[:-1]
    begins = active[edges] if len(active) else np.zeros(0, dtype=int)
    cells = book.open

    def added(values: NDArray[np.generic]) -> FloatArray:
        return np.add.reduceat(np.where(cells, values, 0), begins, axis=1, dtype=np.float64)

    polls, heard = added(book.log.polls), added(book.log.heard)
    level = None
    answers = np.zeros_like(polls)
    if book.log.level_dbm is not None:
        known = np.isfinite(book.log.level_dbm) & cells
        answers = np.add.reduceat(known, begins, axis=1, dtype=np.float64)
        total = np.add.reduceat(np.where(known, book.log.level_dbm, 0), begins, axis=1, dtype=np.float64)
        level = np.divide(total, answers, out=np.full(total.shape, np.nan), where=answers > 0)
    return Units(
        misses=polls - heard,
        polls=polls,
        level_dbm=level,
        answers=answers,
        begins=np.append(begins, len(book.log.time_s)),
    )


def _split_gain(units: Units) -> tuple[FloatArray, FloatArray, FloatArray]:
    """How much better a rise at each unit explains a link; the rise; the fall of the level. [links, units-1]"""
    x, n = np.cumsum(units.misses, axis=1), np.cumsum(units.polls, axis=1)
    total_x, total_n = x[:, -1:], n[:, -1:]
    before_x, before_n = x[:, :-1], n[:, :-1]
    after_x, after_n = total_x - before_x, total_n - before_n
    both = log_likelihood(before_x, before_n) + log_likelihood(after_x, after_n)
    gain = both - log_likelihood(total_x, total_n)
    before, after = before_x / np.maximum(before_n, 1.0), after_x / np.maximum(after_n, 1.0)
    enough = (before_n > 0) & (after_n > 0)
    rise = np.where(enough, after - before, 0.0)
    gain = np.where(enough & (rise > 0), gain, 0.0) / _dispersion(units, before, after, gain)[:, None]
    gain[:, [0, -1]] *= 0.5
    fall, sure = _level_fall(units)
    return np.where(rise >= LEAST_RISE, gain, 0.0) + np.where(fall >= LEAST_FALL_DB, sure, 0.0), rise, fall


def _dispersion(units: Units, before: FloatArray, after: FloatArray, gain: FloatArray) -> FloatArray:
    """By how much counts vary more from unit to unit than chance has it, with the best date allowed for."""
    best = np.argmax(gain, axis=1)
    row = np.arange(len(best))
    late = np.arange(units.polls.shape[1])[None] > best[:, None]
    rate = np.clip(np.where(late, after[row, best][:, None], before[row, best][:, None]), 0.005, 0.995)
    pearson = (units.misses - rate * units.polls) ** 2 / np.maximum(rate * (1.0 - rate) * units.polls, 1e-9)
    used = units.polls > 0
    excess = np.where(used, pearson, 0.0).sum(axis=1) / np.maximum(used.sum(axis=1) - 2, 1)
    return np.asarray(np.maximum(1.0, excess))


def _level_fall(units: Units) -> tuple[FloatArray, FloatArray]:
    """Fall of the mean level at each unit, and how much better it explains each link. [dB, -]"""
    shape = len(units.polls), units.polls.shape[1] - 1
    if units.level_dbm is None:
        return np.full(shape, np.nan), np.zeros(shape)
    known = np.isfinite(units.level_dbm)
    level = np.where(known, units.level_dbm - _weather(units.level_dbm, known), 0.0)
    n, total = np.cumsum(known, axis=1), np.cumsum(level, axis=1)
    squares = (level**2).sum(axis=1, keepdims=True)
    n1, n2 = n[:, :-1], n[:, -1:] - n[:, :-1]
    s1, s2 = total[:, :-1], total[:, -1:] - total[:, :-1]
    enough = (n1 >= 2) & (n2 >= 2)  # noqa: PLR2004  a mean and a spread
    m1, m2 = s1 / np.maximum(n1, 1), s2 / np.maximum(n2, 1)
    within = np.maximum(squares - n1 * m1**2 - n2 * m2**2, 0.05 * (n1 + n2))
    whole = squares - (s1 + s2) ** 2 / np.maximum(n1 + n2, 1)
    gain = 0.5 * (n1 + n2) * np.log(np.maximum(whole / np.maximum(within, 1e-9), 1.0))
    return np.where(enough, m1 - m2, np.nan), np.where(enough, gain, 0.0)


def _weather(level_dbm: FloatArray, known: BoolArray) -> FloatArray:
    """By how much most links are stronger or weaker than usual in each unit, shape (units,). [dB]"""
    own = np.where(known, level_dbm, 0.0).sum(axis=1) / np.maximum(known.sum(axis=1), 1)
    apart = np.where(known, level_dbm - own[:, None], np.nan)
    some = known.sum(axis=0) >= LEAST_UNITS
    found = np.zeros(level_dbm.shape[1])
    found[some] = np.nanmedian(apart[:, some], axis=0)
    return found


def changes_of(book: Book) -> list[Change]:
    """Dates at which two links or more got worse together, those that most links agree on first."""
    units = units_of(book)
    if units.polls.shape[1] < LEAST_UNITS:
        return []
    gain, rise, fall_db = _split_gain(units)
    best = gain.max(axis=1)
    free = best > SURE + np.log(gain.shape[1])
    found = []
    for _ in range(MOST_GROUPS):
        if free.sum() < LEAST_GROUP:
            break
        votes = (gain >= best[:, None] - np.maximum(SAME_DATE, NEARLY * best[:, None])) & free[:, None]
        together = np.where(votes, np.minimum(gain, 200.0), 0.0).sum(axis=0) * (votes.sum(axis=0) >= LEAST_GROUP)
        at = int(np.argmax(together))
        sure = np.flatnonzero(votes[:, at])
        if together[at] <= 0:
            break
        joint = gain[sure].sum(axis=0)
        at = int(np.argmax(joint))
        joins = (gain[:, at] > JOINS) & (gain[:, at] >= best - 2 * np.maximum(SAME_DATE, NEARLY * best)) & ~free
        links = np.union1d(sure, np.flatnonzero(joins))
        likely = np.flatnonzero(joint >= joint[at] - SAME_DATE)
        found.append(
            Change(
                links=links,
                time=_sharpened(book, links, units.begins, at),
                earliest=int(units.begins[likely[0] + 1]),
                latest=int(units.begins[min(likely[-1] + 2, len(units.begins) - 1)]),
                before=_before(units, links, at),
                rise=rise[links, at],
                fall_db=fall_db[links, at],
            )
        )
        free[links] = False
    return found


def _sharpened(book: Book, links: IntArray, begins: IntArray, at: int) -> int:
    """The time at which a group's misses rose, within two units of the best one."""
    low, high = int(begins[max(0, at - 1)]), int(begins[min(at + 3, len(begins) - 1)])
    cells = book.open[links, low:high]
    polls = np.where(cells, book.log.polls[links, low:high], 0).sum(axis=0, dtype=np.int64).astype(float)
    misses = polls - np.where(cells, book.log.heard[links, low:high], 0).sum(axis=0, dtype=np.int64)
    x, n = np.cumsum(misses), np.cumsum(polls)
    gain = log_likelihood(x, n) + log_likelihood(x[-1] - x, n[-1] - n)
    rising = x * n[-1] < x[-1] * n
    gain = np.where(rising & (n < n[-1]), gain, -np.inf)
    best = int(np.argmax(gain)) if len(gain) else 0
    if not len(gain) or gain[best] - float(log_likelihood(x[-1], n[-1])) < SAME_DATE:
        return int(begins[at + 1])
    later = np.flatnonzero(polls[best + 1 :])
    return low + best + 1 + (int(later[0]) if len(later) else 0)


def _before(units: Units, links: IntArray, at: int) -> FloatArray:
    misses, polls = units.misses[links, : at + 1].sum(axis=1), units.polls[links, : at + 1].sum(axis=1)
    return np.asarray(misses / np.maximum(polls, 1.0))


def recovery(book: Book, change: Change) -> int:
    """Number of the time at which a group was as before again; the end of the log where it was not."""
    end = len(book.log.time_s)
    later = np.zeros(book.open.shape[1], dtype=bool)
    later[change.time :] = True
    cells = book.open[change.links] & later
    polls = np.where(cells, book.log.polls[change.links], 0).sum(axis=0, dtype=np.int64)
    heard = np.where(cells, book.log.heard[change.links], 0).sum(axis=0, dtype=np.int64)
    active = np.flatnonzero(polls)
    if len(active) < LEAST_UNITS:
        return end
    x, n = np.cumsum((polls - heard)[active]).astype(float), np.cumsum(polls[active]).astype(float)
    gain = (
        log_likelihood(x[:-1], n[:-1]) + log_likelihood(x[-1] - x[:-1], n[-1] - n[:-1]) - log_likelihood(x[-1], n[-1])
    )
    first, second = x[:-1] / n[:-1], (x[-1] - x[:-1]) / (n[-1] - n[:-1])
    again = second < float(np.mean(change.before)) + 0.25 * (first - float(np.mean(change.before)))
    gain = np.where(again, gain, 0.0)
    at = int(np.argmax(gain))
    return int(active[at + 1]) if gain[at] > SURE * LEAST_GROUP else end


def arc_deg(bearings_deg: FloatArray) -> FloatArray:
    """Width of the smallest sector that holds all bearings, over the last axis. [deg]

    Examples
    --------
    >>> float(arc_deg(np.array([350.0, 10.0, 5.0])))
    20.0
    """
    ordered = np.sort(bearings_deg % 360.0, axis=-1)
    gaps = np.diff(ordered, axis=-1, append=ordered[..., :1] + 360.0)
    return np.asarray(360.0 - gaps.max(axis=-1))


def shared_direction(bearings_deg: FloatArray, links: IntArray, among: IntArray, *, seed: int = 1) -> float:
    """Chance that as many links drawn at random lie in a sector as small; all must belong to one gateway."""
    if len(links) < LEAST_GROUP or len(links) >= len(among):
        return 1.0
    own = float(arc_deg(bearings_deg[links]))
    rng = np.random.default_rng(seed)
    drawn = np.argsort(rng.random((DRAWS, len(among))), axis=1)[:, : len(links)]
    return float((np.sum(arc_deg(bearings_deg[among][drawn]) <= own + 1e-9) + 1) / (DRAWS + 1))


def shared_obstacle(met: Sequence[frozenset[str]], links: IntArray, among: IntArray) -> tuple[str, float]:
    """The obstacle that the group's lines meet and the others' do not, and the chance of that by accident."""
    from math import comb  # noqa: PLC0415  exact, and only here

    best = "", 1.0
    names = set().union(*(met[i] for i in links.tolist()))
    chosen, total = len(links), len(among)
    for name in sorted(names):
        inside = sum(name in met[i] for i in links.tolist())
        every = sum(name in met[i] for i in among.tolist())
        ways = sum(comb(every, k) * comb(total - every, chosen - k) for k in range(inside, min(every, chosen) + 1))
        chance = min(1.0, len(names) * ways / comb(total, chosen))
        if chance < best[1] and inside >= 0.8 * chosen:
            best = name, chance
    return best
