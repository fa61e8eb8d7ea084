"""Hours in which many inverters are heard badly, whatever their margin."""

from __future__ import annotations

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, runs_of
from survey.inputs.logs import DAY_S
from survey.measured.dropouts.book import Book, duration
from survey.measured.dropouts.causes import INTERFERENCE
from survey.measured.dropouts.chances import affected, log_ratio, rates, spread_of
from survey.measured.dropouts.daylight import Daylight

HEALTHY = 0.4
"""Links that miss more than this are left aside; set by trials on invented logs. [-]"""
LEAST_LINKS = 4
"""Fewer inverters on a gateway cannot show it: docs/dropouts.md."""
LEAST_SHARE = 0.5
"""Share of the inverters that must be struck: docs/dropouts.md. [-]"""
LEAST_MORE = 0.05
"""What must come on top of the usual share of misses. [-]"""
EPISODE_MORE = 0.12
"""What must come on top of the usual share of misses in a single episode; set by trials on invented logs. [-]"""
SURE = 14.0
"""Log-likelihood ratio of a single episode beyond the number of tries: a chance of a millionth."""
ALSO = 5.0
"""Log-likelihood by which the hours found at one gateway are those of another too; set by trials on invented logs."""
TIMES_SPREAD = 4.5
"""Standard deviations by which an hour must stand out: a chance of some 3 in a million."""
LENGTHS_S = (1_800, 3_600, 10_800)
"""Lengths of episodes that are looked for: half an hour, one, three; set by trials on invented logs. [s]"""
CLOCK_BINS, MAX_BINS = 48, 8
"""Into how many parts a day is cut, half hours; and how many of them may be one rhythm. A judgement."""
FEW_DAYS = 5
"""An hour that returns must be seen on so many days; set by trials on invented logs."""
END_S, FEW_DAYS_AT_END = 7_200, 3
"""Low light takes up to half of this at the ends of a day; misses in the other half on so many days are no low light.
[s]"""
ROUNDS = 3
"""How often what was found is taken out and looked for again; set by trials on invented logs."""


def interference(  # noqa: C901  gateway by gateway, then which of them share hours
    book: Book, daylight: Daylight, margin_db: FloatArray
) -> None:
    """Find such hours at each gateway, in the same hours of many days or now and then.

    Parameters
    ----------
    book : Book
        What is open.
    daylight : Daylight
        The days.
    margin_db : ndarray of float, shape (links,)
        Predicted or measured margin. [dB]
    """
    hours_of: dict[str, BoolArray] = {}
    words_of: dict[str, str] = {}
    links_of = {}
    for name in dict.fromkeys(book.gateways):
        links = np.array([one == name for one in book.gateways])
        missed, polls = book.sums()
        links &= (polls > 0) & (missed < HEALTHY * np.maximum(polls, 1.0))
        if not links.any():
            continue
        links_of[name] = links
        if links.sum() >= LEAST_LINKS:
            hours, words = _hours(book, daylight, links)
            if daylight.dim and not book.at_random(links[:, None] & hours):  # clouds of a dark season
                continue
            if hours.any() and _spares_nobody(book, links, hours, margin_db):
                hours_of[name], words_of[name] = hours, words
    for name in list(hours_of):
        if name not in hours_of:
            continue
        hours, words = hours_of.pop(name), words_of[name]
        names = [name]
        for other, links in links_of.items():  # the same hours elsewhere need less to be seen
            if other != name and _also(book, links, hours):
                names.append(other)
                if other in hours_of:
                    hours = hours | hours_of.pop(other)
        _enter(book, names, hours, words, daylight)


def _also(book: Book, links: BoolArray, hours: BoolArray) -> bool:
    """Whether the links of another gateway miss more in the same hours."""
    missed, polls = book.sums(hours[None])
    expected = (_usual(book, links, hours) * polls)[links].sum()
    more = (missed[links].sum() - expected) / max(float(polls[links].sum()), 1.0)
    return bool(more > LEAST_MORE and float(log_ratio(missed[links].sum(), expected)) > ALSO)


def _usual(book: Book, links: BoolArray, hours: BoolArray) -> FloatArray:
    missed, polls = book.sums(~hours[None])
    return np.where(links, rates(missed, polls), 0.0)


def _hours(book: Book, daylight: Daylight, links: BoolArray) -> tuple[BoolArray, str]:
    """Times that stand out, and in which hours of the day they lie."""
    hours = np.zeros(book.open.shape[1], dtype=bool)
    x, n = book.by_time(links)
    words = ""
    for _ in range(ROUNDS):
        usual = _usual(book, links, hours)
        expected = usual[links] @ np.where(book.open[links], book.log.polls[links], 0)
        daily, words = _same_hours(book, daylight, x, n, expected)
        for edge_s, name in ((daylight.first_s, "first"), (daylight.last_s, "last")):
            near = _near_end(daylight, np.abs(edge_s[daylight.number] - book.log.time_s), x, n, expected)
            if near.any():
                daily |= near
                words = ", ".join([*([words] if words else []), f"in the {name} {END_S // 3600} h of daylight"])
        again = daily | _episodes(book, daylight, x, n, expected)
        if np.array_equal(again, hours):
            break
        hours = again
    return hours, words


def _same_hours(
    book: Book, daylight: Daylight, x: FloatArray, n: FloatArray, expected: FloatArray
) -> tuple[BoolArray, str]:
    """Hours of the clock that stand out over the days."""
    days = int(daylight.number[-1]) + 1
    nothing = np.zeros(len(x), dtype=bool)
    if days < FEW_DAYS:
        return _hours_of_few_days(book, daylight, x, n, expected)
    bins = int(min(CLOCK_BINS, DAY_S // book.log.step_s))
    at = (book.log.time_s % DAY_S) * bins // DAY_S
    where = daylight.number * bins + at
    sums = [np.bincount(where, weights=one, minlength=days * bins).reshape(days, bins) for one in (x, n, expected)]
    found, asked, usual = sums
    used = asked.sum(axis=0) > 0
    if used.sum() < LEAST_LINKS:
        return nothing, ""
    over = found.sum(axis=0) / np.maximum(usual.sum(axis=0), 1e-9)
    level = float(np.median(over[used]))
    excess = found - usual * max(level, 0.2)
    total = excess.sum(axis=0)
    seen = asked > 0
    mean = total / np.maximum(seen.sum(axis=0), 1)
    noise = np.where(seen, (excess - mean) ** 2, 0.0).sum(axis=0) + usual.sum(axis=0)
    more = total / np.maximum(asked.sum(axis=0), 1.0)
    high = used & (total > TIMES_SPREAD * np.sqrt(noise)) & (more > LEAST_MORE) & (seen.sum(axis=0) >= FEW_DAYS)
    bright = np.bincount(at, weights=(n > 0) & ~daylight.dusk, minlength=bins) > 0.5 * seen.sum(axis=0)
    for begin, end in zip(*(one.tolist() for one in runs_of(high)), strict=True):
        high[begin:end] &= bright[begin:end].any()  # hours wholly near a day's ends are the dark's
    if not high.any() or high.sum() > 0.7 * used.sum():
        return nothing, ""
    width = 24.0 / bins
    words = ", ".join(
        f"{_clock(begin * width)} to {_clock(end * width)}"
        for begin, end in zip(*(one.tolist() for one in runs_of(high)), strict=True)
    )
    return high[at], words


def _hours_of_few_days(
    book: Book, daylight: Daylight, x: FloatArray, n: FloatArray, expected: FloatArray
) -> tuple[BoolArray, str]:
    """The hours of the clock that stand out on each of three days or four: every begin and end is tried."""
    nothing = np.zeros(len(x), dtype=bool)
    days = int(daylight.number[-1]) + 1
    at = (book.log.time_s % DAY_S) * CLOCK_BINS // DAY_S
    bright = n * ~daylight.dusk
    sums = [
        np.bincount(daylight.number * CLOCK_BINS + at, weights=one, minlength=days * CLOCK_BINS).reshape(days, -1)
        for one in (x * ~daylight.dusk, bright, expected * ~daylight.dusk)
    ]
    found, asked, usual = (np.concatenate([np.zeros((days, 1)), np.cumsum(one, axis=1)], axis=1) for one in sums)
    best: tuple[float, int, int] = (0.0, 0, 0)
    tries = CLOCK_BINS * MAX_BINS
    for begin in range(CLOCK_BINS):
        for end in range(begin + 2, min(begin + MAX_BINS, CLOCK_BINS) + 1):
            misses, polls, normal = (one[:, end] - one[:, begin] for one in (found, asked, usual))
            seen = polls > 0
            more = (misses - normal)[seen] / polls[seen]
            if seen.sum() < FEW_DAYS_AT_END or (more < EPISODE_MORE).any():
                continue
            gain = float(log_ratio(misses.sum(), normal.sum())) - 0.5 * (end - begin)
            best = max(best, (gain, begin, end))
    gain, begin, end = best
    if gain < SURE + np.log(tries):
        return nothing, ""
    width = 24.0 / CLOCK_BINS
    return (at >= begin) & (at < end), f"{_clock(begin * width)} to {_clock(end * width)}"


def _near_end(
    daylight: Daylight, from_end_s: FloatArray, x: FloatArray, n: FloatArray, expected: FloatArray
) -> BoolArray:
    """Hours next to an end of the days, if misses there reach farther into the day than low light does."""
    nothing = np.zeros(len(x), dtype=bool)
    with np.errstate(invalid="ignore"):
        inner = (from_end_s >= END_S // 2) & (from_end_s < END_S) & (n > 0)
        near = (from_end_s < END_S) & (n > 0)
    days = int(daylight.number[-1]) + 1
    found, asked, usual = (
        np.bincount(daylight.number[inner], weights=one[inner], minlength=days) for one in (x, n, expected)
    )
    seen = asked > 0
    if seen.sum() < FEW_DAYS_AT_END:
        return nothing
    share = (found - usual)[seen] / asked[seen]
    mean, error = float(share.mean()), float(share.std(ddof=1) / np.sqrt(seen.sum()))
    chance = np.sqrt(usual.sum()) / asked.sum()
    sure = mean > TIMES_SPREAD * float(np.hypot(error, chance)) and float(np.median(share)) > EPISODE_MORE
    return near if sure else nothing


def _clock(hours: float) -> str:
    minutes = round(hours * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _episodes(book: Book, daylight: Daylight, x: FloatArray, n: FloatArray, expected: FloatArray) -> BoolArray:
    """Times within some hour or hours that stand out by themselves."""
    found = np.zeros(len(x), dtype=bool)
    active = n > 0
    for length_s in LENGTHS_S:
        block = (book.log.time_s - int(book.log.time_s[0])) // max(length_s, book.log.step_s)
        _, number = np.unique(block, return_inverse=True)
        misses, polls, usual = (np.bincount(number, weights=one) for one in (x, n, expected))
        used = polls > 0
        usual = np.maximum(usual, 1e-9)
        z = (misses - usual) / np.sqrt(usual)
        dispersion = max(1.0, spread_of(z[used]) ** 2)
        sure = log_ratio(misses, usual) / dispersion > SURE + np.log(max(2, int(used.sum())))
        sure &= (misses - usual) > EPISODE_MORE * polls
        found |= sure[number]
    return found & active & ~daylight.dusk


def _spares_nobody(book: Book, links: BoolArray, hours: BoolArray, margin_db: FloatArray) -> bool:
    """Whether most links have more misses then, the strong ones as well as the weak ones."""
    missed, polls = book.sums(hours[None])
    usual = _usual(book, links, hours)
    share, more = affected(missed[links], polls[links], usual[links])
    if share < LEAST_SHARE or more < LEAST_MORE:
        return False
    order = np.argsort(margin_db[links])
    half = len(order) // 2
    excess = (missed - usual * polls)[links][order]
    asked = polls[links][order]
    weak, strong = (
        float(excess[part].sum() / max(asked[part].sum(), 1.0)) for part in (slice(0, half), slice(half, None))
    )
    return strong >= 0.4 * weak


def _enter(book: Book, names: list[str], hours: BoolArray, words: str, daylight: Daylight) -> None:
    """Count what is more than usual in those hours."""
    at = np.array([one in names for one in book.gateways])
    every = np.flatnonzero(at)
    missed, polls = book.sums(hours[None])
    usual = _usual(book, at, hours)
    excess = np.where(at, np.maximum(0.0, missed - usual * polls), 0.0)
    struck = hours & (book.by_time(at)[1] > 0)
    times = book.log.time_s[struck]
    days = len(np.unique(daylight.number[struck]))
    share = float(missed[at].sum() / max(polls[at].sum(), 1.0))
    before = float((usual * polls)[at].sum() / max(polls[at].sum(), 1.0))
    length = duration(float(len(times)) * book.log.step_s, in_days=False)
    when = f"every day about {words}" if words else f"in {length} on {days} days"
    evidence = (
        f"{100 * share:.0f} % of polls missed {when}, {100 * before:.1f} % at other times; strong and weak links alike"
    )
    cells = np.broadcast_to(hours[None], (len(every), len(hours)))
    book.close(cells, every)
    book.add(INTERFERENCE, excess, first_s=times[0], last_s=times[-1], evidence=evidence, subject=" and ".join(names))
