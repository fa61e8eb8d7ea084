"""Links that got worse together: in the same hours, or from one date to another; one finding for each group."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.base.layout import counted
from survey.measured.dropouts.book import MIN_MISSED, Book, duration
from survey.measured.dropouts.causes import BRANCH, MOVED, OBSTACLE
from survey.measured.dropouts.chances import affected, rates
from survey.measured.dropouts.daylight import Daylight
from survey.measured.dropouts.margins import Margins
from survey.measured.dropouts.outages import Stretch, groups_of
from survey.measured.dropouts.rhythm import Rhythm, rhythm_of
from survey.measured.dropouts.spans import MIN_FALL_DB, Span, level_changes, spans_of
from survey.measured.dropouts.supplies import ALIKE, enter_outages
from survey.measured.dropouts.weighing import Shared, shared_by, weigh

MIN_CHANCE = 0.5
"""A cause less likely than this, of those weighed, is not named. [-]"""
MAX_ROUNDS = 6
"""Groups that are looked for at most; set by trials on invented logs."""
CITED = 0.095
"""A chance above this says nothing and is not cited. [-]"""
MIN_GROUP = 2
"""One link alone is no group: docs/dropouts.md."""
MIN_RISE = 0.05
"""Rise of the share of misses that counts; set by trials on invented logs. [-]"""
MIN_BRIGHT, MIN_BRIGHT_S = 4, 3_600
"""So many intervals, and so long, of good light a group must be worse: near the ends of a day light may lack. [-, s]"""
COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def group_findings(
    book: Book, daylight: Daylight, margins: Margins, labels: Sequence[str], *, hours_only: bool = False
) -> None:
    """Enter groups one after the other, that which explains the open polls best first.

    Parameters
    ----------
    book : Book
        What is open.
    daylight : Daylight
        The days.
    margins : Margins
        Directions, obstacles and margins of its links.
    labels : sequence of str, shape (links,)
        Branch of each link by the log; empty where it names none.
    hours_only : bool
        Whether only hours of the day are looked at, no dates.
    """
    for _ in range(MAX_ROUNDS):
        bids: list[Span | Rhythm] = [] if hours_only else [*spans_of(book)]
        for among in groups_of(book.gateways).values():
            hours = rhythm_of(book, daylight, among)
            bids += [hours] if hours else []
        bids.sort(key=lambda one: -one.gain)
        if not any(_entered(book, daylight, margins, one, labels) for one in bids):
            return


def _entered(book: Book, daylight: Daylight, margins: Margins, bid: Span | Rhythm, labels: Sequence[str]) -> bool:
    """Whether a group has a likely cause, which is then entered; the links of each gateway are a group of their own."""
    entered = False
    for gateway, among in groups_of(book.gateways).items():
        part = np.isin(bid.links, among)
        if part.sum() < MIN_GROUP:
            continue
        own = _worse(book, bid.of(part))
        if own is None:
            continue
        cells = own.cells(book)
        bright = (cells & book.open[own.links]).any(axis=0) & ~daylight.dusk
        if bright.sum() < max(MIN_BRIGHT, MIN_BRIGHT_S / book.log.step_s):
            continue
        inner = own.core(book)
        polls = np.where(inner & book.open[own.links], book.log.polls[own.links], 0).sum(dtype=np.int64)
        answers = np.where(inner & book.open[own.links], book.log.heard[own.links], 0).sum(dtype=np.int64)
        shared = shared_by(
            margins,
            own.links,
            among[book.open[among].any(axis=1)],
            answers=float(answers),
            polls=float(polls),
            labels=labels,
            fall_db=own.fall_db,
            inside=own.inside,
            affected=_affected(book, cells[:1], among),
            dim=daylight.dim,
            by_hours=isinstance(own, Rhythm),
            days=own.length_days(book),
            changed=level_changes(book, own, among) if isinstance(own, Span) else float("nan"),
        )
        cause, chance = next(iter(weigh(shared).items()))
        if chance >= MIN_CHANCE and cause in (BRANCH, OBSTACLE, MOVED):
            entered = True
            if cause == BRANCH and isinstance(own, Span):
                enter_outages(book, own.links, [Stretch(begin=own.begin, end=own.end)], subject="")
            else:
                _enter(book, margins, own, cells, shared, cause=cause, gateway=gateway)
    return entered


def _affected(book: Book, cells: BoolArray, among: IntArray) -> float:
    """Part of a gateway's links that miss more in some cells than at other times, by a mixture fitted to all."""
    (misses, polls), (out_misses, out_polls) = book.sums(cells), book.sums(~cells)
    return affected(misses[among], polls[among], rates(out_misses, out_polls)[among])[0]


def _worse(book: Book, bid: Span | Rhythm) -> Span | Rhythm | None:
    """The links that miss more meanwhile, or whose level is lower; None where fewer than two miss more."""
    cells = bid.cells(book)
    rise = _shares(book, bid.links, cells) - _shares(book, bid.links, ~cells)
    if (rise >= MIN_RISE).sum() < MIN_GROUP:
        return None
    return bid.of((rise >= MIN_RISE) | (bid.fall_db >= MIN_FALL_DB))


def _enter(
    book: Book,
    margins: Margins,
    bid: Span | Rhythm,
    cells: BoolArray,
    shared: Shared,
    *,
    cause: str,
    gateway: str,
) -> None:
    """Enter a group with what shows it; links without a missed poll more than usual are not of it."""
    log = book.log
    polls = np.where(cells & book.open[bid.links], log.polls[bid.links], 0).sum(axis=1, dtype=np.int64)
    excess = (_shares(book, bid.links, cells) - _shares(book, bid.links, ~cells)) * polls
    part = excess >= MIN_MISSED
    bid, cells, excess = bid.of(part), cells[part], excess[part]
    links = bid.links
    if not len(links):
        return
    when, first_s, last_s, from_start, to_end = _when(book, bid, cells)
    words = [
        (
            f"{counted(len(links), 'inverter')} of {gateway}: {100 * _share(book, links, cells):.0f} % of polls missed "
            f"{when}, {100 * _share(book, links, ~cells):.1f} % at other times"
        )
    ]
    fall = bid.fall_db[np.isfinite(bid.fall_db)]
    if len(fall) and np.median(fall) >= 1.0:
        words.append(f"levels lower by {np.median(fall):.1f} dB (median of {counted(len(fall), 'inverter')})")
    missed = np.zeros(len(book.names))
    missed[links] = excess
    same = _same_group(book, links)
    if same is not None and cause == OBSTACLE:
        book.close(cells, links)
        book.mark(OBSTACLE, book.pending)
        book.pending[:] = False
        book.extend(same, missed, f"{missed.sum():.0f} more of {counted(len(links), 'inverter')} {when}")
        return
    subject = ""
    if cause == MOVED:
        subject = gateway
        words.append(f"these are {100 * shared.share:.0f} % of the links of {gateway}, some by much and some by little")
    elif cause == OBSTACLE and shared.obstacle and shared.crossing < min(CITED, shared.direction / 2.0):
        subject = shared.obstacle
        words.append(f"their lines cross {subject}, the others' do not (by accident: {percent_of(shared.crossing)})")
    elif cause == OBSTACLE:
        subject = f"{side(margins.bearing_deg[links])} of {gateway}"
        if shared.direction < CITED:
            words.append(f"they lie together (by accident: {percent_of(shared.direction)})")
    book.close(cells, links)
    book.add(
        cause,
        missed,
        first_s=first_s,
        last_s=last_s,
        evidence="; ".join(words),
        subject=subject,
        from_start=from_start,
        to_end=to_end,
    )


def _same_group(book: Book, links: IntArray) -> int | None:
    """The number of a finding of an obstacle that most of some links belong to already."""
    names = {book.names[i] for i in links.tolist()}
    for number, one in enumerate(book.findings):
        if one.cause == OBSTACLE and len(names & set(one.inverters)) > ALIKE * len(names):
            return number
    return None


def _when(book: Book, bid: Span | Rhythm, cells: BoolArray) -> tuple[str, float, float, bool, bool]:
    """When it is so, in words; its first and last time; and whether it reaches the ends of the log."""
    log = book.log
    times = np.flatnonzero((cells & book.open[bid.links]).any(axis=0))
    if isinstance(bid, Rhythm):
        threshold = round(50.0 * (_share(book, bid.links, cells) + _share(book, bid.links, ~cells))) / 100.0
        shares = bid.by_day(book)
        words = (
            f"between {_clock(bid.from_s)} and {_clock(bid.to_s)} (more than {100 * threshold:.0f} % on "
            f"{int((shares > threshold).sum())} of {counted(len(shares), 'day')})"
        )
        return words, float(log.time_s[times[0]]), float(log.time_s[times[-1]]), False, False
    from_start, to_end = book.reaches(bid.links, bid.begin, bid.end)
    begin_s, end_s = float(log.time_s[times[0]]), float(log.time_s[times[-1]])
    doubt_s = (log.time_s[max(0, bid.doubt[1] - 1)] - log.time_s[bid.doubt[0]]) / 2.0
    within = f" (within {duration(max(doubt_s, log.step_s))})" if not from_start else ""
    words = f"from {_stamp(book, begin_s)}{within} to {_stamp(book, end_s)}"
    return words, begin_s, end_s, from_start, to_end


def _stamp(book: Book, at_s: float) -> str:
    return book.log.stamp(at_s)[:16].replace("T", " ")


def _share(book: Book, links: IntArray, cells: BoolArray) -> float:
    """Share of misses of some links in some of their open cells."""
    there = cells & book.open[links]
    polls = np.where(there, book.log.polls[links], 0).sum(dtype=np.int64)
    heard = np.where(there, book.log.heard[links], 0).sum(dtype=np.int64)
    return float(polls - heard) / max(float(polls), 1.0)


def _shares(book: Book, links: IntArray, cells: BoolArray) -> FloatArray:
    """The same link by link."""
    there = cells & book.open[links]
    polls = np.where(there, book.log.polls[links], 0).sum(axis=1, dtype=np.int64)
    heard = np.where(there, book.log.heard[links], 0).sum(axis=1, dtype=np.int64)
    return np.asarray((polls - heard) / np.maximum(polls, 1.0))


def percent_of(chance: float) -> str:
    """Return a small chance in percent.

    Examples
    --------
    >>> percent_of(0.0312), percent_of(0.0005)
    ('3 %', '0.05 %')
    """
    return f"{100 * chance:.0f} %" if chance >= 0.01 else f"{100 * chance:.1g} %"  # noqa: PLR2004  a hundredth


def side(bearings_deg: FloatArray) -> str:
    """Return the mean direction in words and degrees.

    Examples
    --------
    >>> side(np.array([350.0, 30.0]))
    'north (10 degrees)'
    """
    angle = np.deg2rad(bearings_deg)
    mean = float(np.rad2deg(np.arctan2(np.sin(angle).mean(), np.cos(angle).mean()))) % 360.0
    return f"{COMPASS[round(mean / 45.0) % 8]} ({mean:.0f} degrees)"


def _clock(seconds: int) -> str:
    return f"{seconds // 3600:02d}:{seconds % 3600 // 60:02d}"
