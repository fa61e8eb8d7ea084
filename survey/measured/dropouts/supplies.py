"""Branches of the supply: groups of which no inverter answers from one interval to another, while others are heard."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from survey.base.arrays import BoolArray, IntArray
from survey.base.layout import counted
from survey.inputs.logs import DAY_S, Log
from survey.measured.dropouts.book import Book, Outages
from survey.measured.dropouts.causes import BRANCH
from survey.measured.dropouts.chances import log_likelihood
from survey.measured.dropouts.daylight import MIN_LIT_S, Daylight
from survey.measured.dropouts.margins import Margins
from survey.measured.dropouts.outages import (
    CHANCE,
    LEAST_IN_BRANCH,
    LEAST_RUN,
    MOSTLY_SILENT,
    SOUND_DB,
    Stretch,
    close_all,
    edges_of,
    groups_of,
    long_runs,
    outages_words,
    shared_runs,
    silences,
    usual_rates,
)
from survey.measured.dropouts.shares import usual_of
from survey.measured.dropouts.weighing import shared_by, weigh

MIN_BRIGHT_S = 3_600
"""So long must a group be silent in good light to be taken for one. [s]"""
SLOW_S, FEW_SLOW = 1_800, 2
"""Where polls are so rare, so few of them in good light suffice: a day has ten. [s, -]"""
ALIKE = 0.6
"""Groups that share more than this of their members are one."""
MIN_DAYS, SELDOM = 4, 0.1
"""Near a day's end a silence counts where the group was heard at that hour on most other days: of so many days or
more, on no more than this share was it silent as a whole. [-]"""
SEASON_DAYS = 12
"""Days on either side that share the habits of a season; set by trials on invented logs."""
ONE_ALONE = np.log(1e-3)
"""A silence of one link that is no likelier than this may belong to a group, which is judged as a whole."""
IMPAIRED = 6.0
"""Log-likelihood by which a link is worse meanwhile than at other times, to belong to a group though it answers."""


def named_branches(book: Book, labels: Sequence[str], daylight: Daylight, margins: Margins) -> None:
    """Find outages of branches that the log names.

    Parameters
    ----------
    book : Book
        What is open.
    labels : sequence of str, shape (links,)
        Branch of each link.
    daylight : Daylight
        The days; a branch may lie on a side of the roof that is dark when others are not.
    margins : Margins
        A branch that is never heard is put down to its supply only where most of its links should hold.
    """
    usual, step_s = usual_rates(book), book.log.step_s
    for name, links in groups_of(tuple(labels)).items():
        others = np.ones(len(book.names), dtype=bool)
        others[links] = False
        if len(links) < LEAST_IN_BRANCH or not others.any():
            continue
        sound = float(np.median(margins.margin_db[links])) >= SOUND_DB
        told = np.where(usual > MOSTLY_SILENT, MOSTLY_SILENT if sound else 1.0, usual)
        stretches = silences(book, links, told, others=others, dusk=daylight.dusk)
        seldom = daylight.dusk & ~_heard_else(book, links)
        stretches += [
            one
            for one in silences(book, links, told, others=others, dusk=seldom)
            if book.daytime_s(links, one.begin, one.end)
            >= max(_least_s(book, daylight, links, one), LEAST_RUN * step_s)
            and not any(one.begin < other.end and other.begin < one.end for other in stretches)
        ]
        stretches.sort(key=lambda one: one.begin)
        if stretches:
            enter_outages(book, links, stretches, subject=name)


def unnamed_branches(book: Book, labels: Sequence[str], daylight: Daylight, margins: Margins) -> None:
    """Find groups that no longer answer from the same interval on, and answer again in the same interval if at all.

    Parameters are those of `named_branches`. Whether it is the supply or something in the way is weighed.
    """
    groups: list[tuple[set[int], list[Stretch]]] = []
    for stretch, links in shared_runs(
        list(long_runs(book, usual_of(book), chance=ONE_ALONE)), _marks(daylight, book.log)
    ):
        members = _members(book, daylight, stretch, links)
        if members is None or not _is_supply(book, margins, labels, stretch, members):
            continue
        for others, stretches in groups:
            if _alike(others, members):
                others.update(members)
                stretches.append(stretch)
                break
        else:
            groups.append((members, [stretch]))
    for members, stretches in groups:
        enter_outages(book, np.array(sorted(members)), sorted(stretches, key=lambda one: one.begin), subject="")


def enter_outages(book: Book, links: IntArray, stretches: list[Stretch], *, subject: str) -> None:
    """Note the outages of a branch; `subject` is its name, empty without one. `enter_branches` enters them."""
    stretches = [one for one in stretches if book.open[links, one.begin : one.end].any()]
    if not stretches:
        return  # another group has taken these polls
    from_start, to_end = edges_of(book, links, stretches)
    others = np.setdiff1d(np.arange(len(book.names)), links)
    cells = np.zeros((1, book.open.shape[1]), dtype=bool)
    for one in stretches:
        cells[:, one.begin : one.end] = True
    misses, polls = (float(one[others].sum()) for one in book.sums(cells))
    missed, first_s, last_s, length_s = close_all(book, stretches, links)
    known = [one for one in book.branches if one.subject == subject and _alike(one.links, set(links.tolist()))]
    found = (
        known[0]
        if known
        else Outages(links=set(), subject=subject, missed=np.zeros(len(missed)), cells=np.zeros_like(book.pending))
    )
    if not known:
        book.branches.append(found)
    found.links |= set(links.tolist())
    found.missed += missed
    found.cells |= book.pending
    book.pending[:] = False
    found.count += len(stretches)
    found.length_s += length_s
    found.others_polls += polls
    found.others_misses += misses
    found.first_s, found.last_s = min(found.first_s, first_s), max(found.last_s, last_s)
    found.from_start, found.to_end = found.from_start or from_start, found.to_end or to_end


def _alike(one: set[int], other: set[int]) -> bool:
    return len(one & other) > ALIKE * len(one | other)


def enter_branches(book: Book) -> None:
    """Enter the branches whose outages have been noted, one finding each."""
    for one in book.branches:
        count = counted(len(one.links), "inverter")
        group = f"all {count} of branch {one.subject}" if one.subject else count
        evidence = f"{group} without an answer at the same times: {outages_words(one.count, one.length_s)}"
        if one.others_polls:
            share = 100.0 * (1.0 - one.others_misses / one.others_polls)
            evidence += f"; meanwhile the others answered {share:.0f} % of their polls"
        if not one.subject:
            evidence += "; the log names no branch for them alone"
        book.pending |= one.cells
        book.add(
            BRANCH,
            one.missed,
            first_s=one.first_s,
            last_s=one.last_s,
            evidence=evidence,
            subject=one.subject,
            from_start=one.from_start,
            to_end=one.to_end,
        )


def _least_s(book: Book, daylight: Daylight, links: IntArray, stretch: Stretch) -> int:
    """How long a silence must be: longer if the group is not heard on both sides of it on that day, as in the dark.

    A silence that is the log's last needs no more: that may be so on one day only, by accident.
    """
    number = daylight.number
    heard = np.flatnonzero((book.log.heard[links] > 0).any(axis=0))
    before, after = heard[heard < stretch.begin], heard[heard >= stretch.end]
    on_both_sides = number[stretch.begin] in number[before] and number[stretch.end - 1] in number[after]
    return MIN_BRIGHT_S if on_both_sides or not len(after) else MIN_LIT_S


def _heard_else(book: Book, links: IntArray) -> BoolArray:
    """At which times a group was heard at the same hour of most other days of that season, shape (times,)."""
    log = book.log
    bins = max(1, DAY_S // log.step_s)
    at = np.minimum(log.time_s % DAY_S * bins // DAY_S, bins - 1)
    polled = (log.polls[links] > 0).any(axis=0)
    heard = (log.heard[links] > 0).any(axis=0)
    elsewhere = (log.heard > 0).any(axis=0)
    days = log.time_s // DAY_S
    number = days - days[0]
    table = np.zeros((2, int(number[-1]) + 1, bins))
    table[0, number, at] = polled & elsewhere
    table[1, number, at] = polled & elsewhere & ~heard
    sums = np.cumsum(np.concatenate([np.zeros((2, 1, bins)), table], axis=1), axis=1)
    low, high = np.maximum(number - SEASON_DAYS, 0), np.minimum(number + SEASON_DAYS + 1, table.shape[1])
    asked, silent = sums[:, high, at] - sums[:, low, at] - table[:, number, at]
    return np.asarray((asked >= MIN_DAYS) & (silent <= SELDOM * asked))


def _members(book: Book, daylight: Daylight, stretch: Stretch, links: IntArray) -> set[int] | None:
    """The group of a silence with all that share it, unless it proves nothing."""
    times = slice(stretch.begin, stretch.end)
    dusk = daylight.dusk[times] & ~_heard_else(book, links)[times]
    bright = int((book.open[links, times].any(axis=0) & ~dusk).sum())
    least_s = _least_s(book, daylight, links, stretch)
    if bright < (FEW_SLOW if book.log.step_s >= SLOW_S else LEAST_RUN) or bright * book.log.step_s < least_s:
        return None
    polled, silent = book.open[:, times].sum(axis=1), book.silent[:, times].sum(axis=1)
    quiet = np.flatnonzero((polled >= min(LEAST_RUN, stretch.end - stretch.begin)) & (silent == polled))
    members = np.union1d(links, quiet) if len(quiet) <= 2 * len(links) else links
    rest = np.setdiff1d(np.arange(len(polled)), members)
    elsewhere = float(np.clip(silent[rest].sum() / max(polled[rest].sum(), 1), 0.01, 1.0))
    tries = len(members) * np.log(len(polled)) + np.log(len(book.log.time_s))
    if silent[members].sum() * np.log(elsewhere) + tries > CHANCE:
        return None  # others miss so much at that time that some of them agree by chance
    return set(members.tolist())


def _is_supply(book: Book, margins: Margins, labels: Sequence[str], stretch: Stretch, members: set[int]) -> bool:
    """Whether the supply is likelier than an obstacle, which leaves some links an answer now and then."""
    cells = np.zeros((1, book.open.shape[1]), dtype=bool)
    trim = 1 if stretch.end - stretch.begin > 2 * LEAST_RUN else 0  # an interval may be half one, half the other
    cells[:, stretch.begin + trim : stretch.end - trim] = True
    (in_x, in_n), (out_x, out_n) = book.sums(cells), book.sums(~cells)
    gain = log_likelihood(in_x, in_n) + log_likelihood(out_x, out_n) - log_likelihood(in_x + out_x, in_n + out_n)
    worse = (gain > IMPAIRED) & (in_x * out_n > out_x * in_n)
    links = np.union1d(np.flatnonzero(worse), sorted(members))
    gateway = book.gateways[links[0]]
    among = np.flatnonzero([one == gateway for one in book.gateways])
    links = np.intersect1d(links, among)
    if len(links) < LEAST_IN_BRANCH:
        return True
    shared = shared_by(
        margins,
        links,
        among,
        answers=float((in_n - in_x)[links].sum()),
        polls=float(in_n[links].sum()),
        labels=labels,
        fall_db=np.full(len(links), np.nan),
        inside=in_x[links] / np.maximum(in_n[links], 1.0),
        days=float(book.log.time_s[stretch.end - 1] - book.log.time_s[stretch.begin]) / DAY_S,
    )
    return next(iter(weigh(shared))) == BRANCH


def _marks(daylight: Daylight, log: Log) -> IntArray:
    """By what number a time is told from another: those close to a day's ends share the number of the night."""
    mark = np.arange(len(log.time_s))
    near_s = max(3_600, 2 * log.step_s)
    begins = np.concatenate([[0], np.flatnonzero(np.diff(daylight.number)) + 1])
    first, last = daylight.first_s[daylight.number], daylight.last_s[daylight.number]
    with np.errstate(invalid="ignore"):
        mark = np.where(log.time_s <= first + near_s, begins[daylight.number], mark)
        after = np.append(begins, len(mark))[daylight.number + 1]
        return np.asarray(np.where(log.time_s >= last - near_s, after, mark))
