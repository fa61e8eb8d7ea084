"""Links that miss more than others all the time: weak ones, faulty units, and what the plan may lack."""

from __future__ import annotations

from dataclasses import dataclass
from math import comb, log

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.base.layout import counted
from survey.measured.dropouts.book import Book, duration
from survey.measured.dropouts.causes import OBSTACLE, UNIT, UNKNOWN, WEAK
from survey.measured.dropouts.chances import log_ratio
from survey.measured.dropouts.groups import CITED, percent_of, side
from survey.measured.dropouts.margins import Margins
from survey.measured.dropouts.outages import Run, groups_of
from survey.measured.dropouts.shares import ALWAYS_SILENT, UNIT_CHANCE, odds_of_weak, usual_of_site
from survey.measured.dropouts.weighing import concentration, shared_direction

MIN_MORE, DIM_MORE = 0.06, 0.25
"""A link is poor that misses so much more than a sound one; where noons may be dark; set by trials on invented
logs. [-]"""
LITTLE_DB, WEAK_MORE = 10.0, 0.035
"""A link of less margin is poor that misses so much more: 2.5 standard deviations of a poll's level. [dB, -]"""
BEYOND_SCATTER = 4.0
"""The same in standard deviations; set by trials on invented logs."""
MORE_THAN_CHANCE = 3.0
"""Log-likelihood by which misses must exceed the usual ones, beyond the number of links: a chance of some 1 in 50."""
TELLS = 2.0
"""By how much one reading must be likelier than the other; nearer than that nobody can tell."""
MIN_MISSED = 8
"""Fewer misses than this show no cause; set by trials on invented logs."""
IN_RUNS = 0.6
"""Share of the misses beyond the usual, from which those in long outages speak of a unit; set by trials on invented
logs. [-]"""
MIN_IN_RUNS, MIN_SILENT_S = 12, 7_200
"""Fewer polls, or less time, in long silences than this is too little to blame a unit."""
RUNS_SPEAK = 0.05
"""What such outages do to the odds of a weak link: an assumption."""
MAX_WEAK_DB = 20.0
"""A link of more margin is never called weak, however uncertain the plan is: five times `FADING_DB`. [dB]"""
CLEARLY_WEAK = 30.0
"""A link that is weak with such odds needs nothing that the plan lacks to explain it."""
LACKS = 0.05
"""Chance that a plan lacks something that matters, before anything is known of it: an assumption."""
ANY_SHARE = 0.7
"""Density of the share of misses behind an obstacle that the plan lacks: nearly any. [-]"""
MIN_LACKING = 2
"""Links that show what the plan lacks, at least; set by trials on invented logs."""
TOGETHER = 0.25
"""What the plan lacks stands before links that lie together: by accident with no more than this chance. [-]"""
MAX_ARC = 0.6
"""What the plan lacks stands before no more than this part of the links. [-]"""
LACKING_STEPS = (
    (
        "From the ground: compare the plan with what stands between these inverters and the gateway; the plan may lack "
        "something there: a wall, cladding, a tank, a stack, trees"
    ),
    "Add it to the plan with its material and run this command again; until then survey place does not know of it",
    (
        "If nothing stands there, look at the inverters one by one: a licensed electrician opens their connections, "
        "isolated and never under load"
    ),
)
UNCLEAR_STEPS = (
    "Read the level at the gateway: close to its sensitivity the link is weak, well above it the unit is faulty",
)


@dataclass(kw_only=True)
class Silences:
    """Long silences of one link that were taken out: missed polls, pieces, daylight, and ends."""

    polls: float = 0.0
    pieces: int = 0
    daytime_s: float = 0.0
    first_s: float = np.inf
    last_s: float = -np.inf
    from_start: bool = False
    to_end: bool = False


def lone_runs(
    book: Book, runs: list[Run], usual: FloatArray, margin_db: FloatArray, sigma_db: FloatArray
) -> dict[int, Silences]:
    """Take long silences of single links out; what they were, by link."""
    found: dict[int, Silences] = {}
    times = book.log.time_s
    polls = np.zeros(len(book.names))
    for one in runs:
        polls[one.link] += one.polls
    for one in runs:
        if polls[one.link] < MIN_IN_RUNS or polls[one.link] * book.log.step_s < MIN_SILENT_S:
            continue
        weak = float(odds_of_weak(usual[[one.link]], margin_db[[one.link]], sigma_db[[one.link]])[0])
        if usual[one.link] > 0.2 and weak > 1.0:  # noqa: PLR2004  a weak link has long silences of its own
            continue
        link = np.array([one.link])
        from_start, to_end = book.reaches(link, one.begin, one.end)
        begin, end = book.outage(link, one.begin, one.end)
        daytime_s = book.daytime_s(link, begin, end)
        cells = np.zeros((1, book.open.shape[1]), dtype=bool)
        cells[0, begin:end] = True
        missed = float(book.close(cells, link)[one.link])
        book.mark(UNIT, book.pending)
        book.pending[:] = False
        if not missed:
            continue
        told = found.setdefault(one.link, Silences())
        told.polls += missed
        told.pieces += 1
        told.daytime_s += daytime_s
        told.first_s, told.last_s = min(told.first_s, times[begin]), max(told.last_s, times[end - 1])
        told.from_start |= from_start
        told.to_end |= to_end
    return found


def alone(book: Book, runs: dict[int, Silences], margins: Margins, *, dim: bool) -> None:
    """Sort the links that miss more than the others into weak ones, faulty units, and groups that the plan lacks.

    Parameters
    ----------
    book : Book
        What is open.
    runs : dict of int to Silences
        Long silences that were taken out, from `lone_runs`.
    margins : Margins
        Of its links.
    dim : bool
        Whether noons may be dark, so that some miss more than others without a fault.
    """
    missed, polls = book.sums()
    rate = missed / np.maximum(polls, 1.0)
    usual, scatter = usual_of_site(rate, polls, margins.margin_db)
    noise = np.sqrt(np.maximum(usual, 0.005) / np.maximum(polls, 1.0))
    least = np.where(margins.margin_db < LITTLE_DB, WEAK_MORE, DIM_MORE if dim else MIN_MORE)
    beyond = np.maximum(least, BEYOND_SCATTER * np.hypot(np.where(margins.margin_db < LITTLE_DB, 0.0, scatter), noise))
    poor = (rate > usual + beyond) & (missed >= MIN_MISSED)
    if dim:  # a roof that lacks light misses its polls in runs; what is always silent has another cause
        for link in np.flatnonzero(poor & (rate < ALWAYS_SILENT)).tolist():
            poor[link] = book.at_random(np.arange(len(rate))[:, None] == link)
    poor &= log_ratio(missed, (usual + scatter) * polls) > np.log(len(rate)) + MORE_THAN_CHANCE
    whole = np.array([runs[i].polls if i in runs else 0.0 for i in range(len(rate))])
    more = np.clip((rate - usual) / (1.0 - usual), 0.0, 1.0)
    odds = odds_of_weak(more, margins.margin_db, margins.sigma_db)
    for link, own in runs.items():
        if own.polls > IN_RUNS * (own.polls + max(0.0, missed[link] - usual * polls[link])):
            odds[link] *= RUNS_SPEAK
    odds = np.where(margins.margin_db > MAX_WEAK_DB, np.minimum(odds, 1.0), odds)
    excess = np.where(poor, np.maximum(0.0, missed - usual * polls), 0.0)
    # Silent from the first poll to the last is so all the time, whatever took it out.
    always = np.array([i in runs and runs[i].from_start and runs[i].to_end for i in range(len(rate))])
    steady = (poor & (whole < IN_RUNS * (whole + excess))) | always
    planned = odds_of_weak(more, margins.predicted_db, margins.predicted_sigma_db)
    planned = np.where(margins.predicted_db > MAX_WEAK_DB, np.minimum(planned, 1.0), planned)
    for links, direction in _lacking(book, margins, steady & (planned < CLEARLY_WEAK), planned, always=always):
        lost = np.zeros(len(rate))
        lost[links] = excess[links] + whole[links]
        _enter_lacking(book, lost, links, margins, direction, usual, whole=whole)
        poor[links] = False
        for link in links.tolist():
            runs.pop(link, None)
    weak = poor & (odds > TELLS)
    unclear = poor & ~weak & (odds >= 1.0 / TELLS) & (whole == 0)
    if weak.any():
        _enter_weak(book, np.where(weak, excess, 0.0), rate, margins, usual)
    for link in sorted({*np.flatnonzero(poor & ~weak & ~unclear).tolist(), *runs}):
        struck = bool(poor[link] and not weak[link])
        _enter_unit(book, link, runs.get(link), excess[link] if struck else 0.0, rate[link], usual, margins)
    if unclear.any():
        _enter_unclear(book, np.where(unclear, excess, 0.0), rate, margins)


def _enter_unit(  # noqa: PLR0917  what alone has found
    book: Book,
    link: int,
    silences: Silences | None,
    excess: float,
    rate: float,
    usual: float,
    margins: Margins,
) -> None:
    """Enter a faulty unit: with its outages, with the misses beyond them, or with both."""
    own = np.zeros(len(book.names))
    told = silences or Silences()
    own[link] = told.polls + excess
    first_s, last_s = told.first_s, told.last_s
    words = []
    if told.pieces:
        length = duration(told.daytime_s, in_days=False)
        words.append(f"{counted(told.pieces, 'outage')} of its own, {length} of daytime in all")
    if excess:
        silent = np.flatnonzero(book.missing[link])
        first_s, last_s = min(first_s, book.log.time_s[silent[0]]), max(last_s, book.log.time_s[silent[-1]])
        at_other = " at other times" if told.pieces else ""
        words.append(f"{100 * rate:.0f} % of polls missed{at_other} (normal here: {100 * usual:.1f} %)")
    absent = book.log.absent[link].sum(dtype=np.int64) if book.log.absent is not None else 0
    if absent > 0.5 * own[link]:
        words.append(f"{absent} polls have no row in the log, while other inverters have theirs")
    of = "measured" if margins.measured[link] else "predicted"
    words.append(f"{of} margin {margins.margin_db[link]:.1f} dB")
    book.add(
        UNIT,
        own,
        first_s=first_s,
        last_s=last_s,
        evidence="; ".join(words),
        from_start=told.from_start,
        to_end=told.to_end,
    )


def _enter_weak(book: Book, excess: FloatArray, rate: FloatArray, margins: Margins, usual: float) -> None:
    weak, margin_db = excess > 0, margins.margin_db
    silent = np.flatnonzero(book.missing[weak].any(axis=0))
    times = book.log.time_s
    others = ~weak & (book.open.any(axis=1))
    of = "measured" if margins.measured[weak].all() else "predicted"
    words = f"{of} margin {spread_words(margin_db[weak])} dB"
    if others.any():
        words += f" (others: {np.median(margin_db[others]):.1f} dB)"
    words += f"; {whole_percents(rate[weak])} of polls missed (normal here: {100 * usual:.1f} %)"
    book.add(WEAK, excess, first_s=times[silent[0]], last_s=times[silent[-1]], evidence=words)


def _enter_unclear(book: Book, excess: FloatArray, rate: FloatArray, margins: Margins) -> None:
    unclear, times = excess > 0, book.log.time_s
    silent = np.flatnonzero(book.missing[unclear].any(axis=0))
    fits = (
        f"{whole_percents(rate[unclear])} of polls missed; margin {spread_words(margins.margin_db[unclear])} dB: "
        "a weak link and a faulty unit are equally likely"
    )
    first_s, last_s = times[silent[0]], times[silent[-1]]
    book.add(UNKNOWN, excess, first_s=first_s, last_s=last_s, evidence=fits, steps=UNCLEAR_STEPS)


def spread_words(values: FloatArray) -> str:
    """Return the lowest and the highest value, or one where they are the same.

    Examples
    --------
    >>> spread_words(np.array([1.23, 4.0])), spread_words(np.array([2.0]))
    ('1.2 to 4.0', '2.0')
    """
    low, high = f"{values.min():.1f}", f"{values.max():.1f}"
    return low if low == high else f"{low} to {high}"


def whole_percents(shares: FloatArray) -> str:
    """Return the lowest and the highest share in whole percent, or one where they are the same."""
    low, high = f"{100 * shares.min():.0f}", f"{100 * shares.max():.0f}"
    return f"{low} %" if low == high else f"{low} to {high} %"


def _lacking(
    book: Book, margins: Margins, candidates: BoolArray, odds: FloatArray, *, always: BoolArray
) -> list[tuple[IntArray, float]]:
    """Groups before which something likely stands that the plan lacks: the links, and the chance of their direction.

    Their misses are explained by one thing, or by a weak link or a faulty unit each; the likelier stands. Of the
    candidates, those farthest from the others are left out one by one.
    """
    found = []
    for among in groups_of(book.gateways).values():
        links = np.intersect1d(np.flatnonzero(candidates), among)
        best = 0.0, links, 1.0
        while MIN_LACKING <= len(links) <= MAX_ARC * len(among):
            direction = shared_direction(margins.bearing_deg, links, among)
            one = log(LACKS) + concentration(direction) - log(comb(len(among), len(links)))
            one += len(links) * log(ANY_SHARE)
            each = np.maximum(np.where(always[links], 1.0, odds[links]), 1.0) * 0.5 * UNIT_CHANCE
            gain = one - float(np.log(each).sum())
            if gain > best[0] and direction <= TOGETHER:
                best = gain, links, direction
            angle = np.deg2rad(margins.bearing_deg[links])
            mean = np.arctan2(np.sin(angle).mean(), np.cos(angle).mean())
            links = np.delete(links, np.argmax(np.abs((angle - mean + np.pi) % (2 * np.pi) - np.pi)))
        if best[0] > log(TELLS):
            found.append((best[1], best[2]))
    return found


def _enter_lacking(  # noqa: PLR0917  what alone has found
    book: Book,
    missed: FloatArray,
    links: IntArray,
    margins: Margins,
    direction: float,
    usual: float,
    *,
    whole: FloatArray,
) -> None:
    times = book.log.time_s
    counts, asked = book.sums()
    share = float((counts + whole)[links].sum() / max(float((asked + whole)[links].sum()), 1.0))
    measured = f", measured {spread_words(margins.margin_db[links])} dB" if margins.measured[links].all() else ""
    words = [
        (
            f"{100 * share:.0f} % of polls missed all the time (normal here: {100 * usual:.1f} %), predicted margins "
            f"of {spread_words(margins.predicted_db[links])} dB{measured}: the plan may lack something there"
        )
    ]
    if direction < CITED:
        words.append(f"they lie together (by accident: {percent_of(direction)})")
    gateway = book.gateways[links[0]]
    book.add(
        OBSTACLE,
        missed,
        first_s=times[0],
        last_s=times[-1],
        evidence="; ".join(words),
        subject=f"{side(margins.bearing_deg[links])} of {gateway}, not in the plan",
        from_start=True,
        to_end=True,
        steps=LACKING_STEPS,
    )
