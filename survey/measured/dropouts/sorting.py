"""What is missing in a log, sorted by likely cause: each cause takes out what it explains, the surest first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import IntArray
from survey.base.layout import counted
from survey.inputs.logs import Log
from survey.measured.dropouts.alone import alone, lone_runs, usual_of
from survey.measured.dropouts.book import (
    BRANCH,
    CAUSES,
    LOW_LIGHT,
    NO_FAULTS,
    UNKNOWN,
    Book,
    duration,
)
from survey.measured.dropouts.daylight import Daylight, daylight_of
from survey.measured.dropouts.interference import interference
from survey.measured.dropouts.margins import margins_of
from survey.measured.dropouts.newcomers import newcomers
from survey.measured.dropouts.outages import (
    BRANCH_CHECK,
    CHANCE,
    LEAST_RUN,
    Stretch,
    branch_outages,
    close_all,
    gateway_outages,
    long_runs,
    shared_runs,
)
from survey.measured.dropouts.result import Dropouts
from survey.scene import Scene

LEAST_BRIGHT_S = 3_600
"""So long must a group be silent in good light to be taken for one. [s]"""
ALIKE = 0.6
"""Groups that share more than this of their members are one."""


def dropouts_of(scene: Scene, log: Log) -> Dropouts:
    """Sort what is missing in a log by likely cause.

    Parameters
    ----------
    scene : Scene
        The site.
    log : Log
        Its log; gateways are numbered as in the scene's `gateways_and_spots`. Where it names no branch at all, the
        plan's branches count.

    Returns
    -------
    Dropouts
        Causes with their shares and their evidence.
    """
    if not any(log.branches):
        log = replace(log, branches=scene.inverters.branches)
    places = scene.gateways_and_spots
    daylight = daylight_of(log)
    book = Book(
        log=log,
        names=tuple(scene.inverters.names[i] for i in log.inverter.tolist()),
        gateways=tuple(places.names[j] for j in log.gateway.tolist()),
        open=daylight.day.copy(),
    )
    counted_cells = daylight.day | daylight.low
    polls = np.where(counted_cells, log.polls, 0).sum(axis=1, dtype=np.int64)
    heard = np.where(counted_cells, log.heard, 0).sum(axis=1, dtype=np.int64)
    margins = margins_of(scene, log)
    labels = tuple(log.branches[i] for i in log.inverter.tolist())
    _enter_low_light(book, daylight)
    gateway_outages(book, daylight.dusk)
    branch_outages(book, labels, daylight.dusk, margins.margin_db)
    _outages(book, daylight)
    newcomers(book, margins, branches_known=any(labels))
    interference(book, daylight, margins.margin_db)
    usual = usual_of(book)
    bright = [
        one
        for one in long_runs(book, usual)
        if (book.open[one.link] & ~daylight.dusk)[one.begin : one.end].sum()
        >= max(LEAST_RUN, LEAST_BRIGHT_S / log.step_s)
    ]
    runs = lone_runs(book, bright, usual, margins.margin_db, margins.sigma_db)
    alone(book, runs, margins.margin_db, margins.sigma_db, measured=margins.measured)
    _enter_rest(book, polls - heard)
    return _result(scene, book, polls, heard)


def _enter_low_light(book: Book, daylight: Daylight) -> None:
    """Silence at both ends of the day: no fault."""
    log = book.log
    missed = np.where(daylight.low, log.polls - log.heard, 0).sum(axis=1).astype(np.float64)
    if not missed.any():
        return
    times = log.time_s[(daylight.low & (log.heard < log.polls)).any(axis=0)]
    days = len(daylight.first_s)
    evidence = (
        f"silent at the ends of the day on {counted(days, 'day')}, later on dark days for all; "
        f"light enough from {log.stamp(np.nanmin(daylight.first_s % 86_400))[11:16]} at the earliest"
    )
    check = "nothing: no fault"
    book.add(LOW_LIGHT, missed, first_s=times[0], last_s=times[-1], evidence=evidence, check=check)


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


def _outages(book: Book, daylight: Daylight) -> None:
    """Groups that fall silent and return together, though no branch is named for them."""
    groups: list[tuple[set[int], list[Stretch]]] = []
    mark = _marks(daylight, book.log)
    found = shared_runs(list(long_runs(book, usual_of(book))), mark)
    last = mark[-1] - 1
    for stretch, links in found:
        times = slice(stretch.begin, stretch.end)
        bright = int((book.open[links, times].any(axis=0) & ~daylight.dusk[times]).sum())
        if bright < LEAST_RUN or bright * book.log.step_s < LEAST_BRIGHT_S or mark[stretch.end - 1] >= last:
            continue  # too near the ends of a day; or it never returns, and may be something in the way
        polled, silent = book.open[:, times].sum(axis=1), book.silent[:, times].sum(axis=1)
        rest = np.setdiff1d(np.arange(len(polled)), links)
        elsewhere = float(np.clip(silent[rest].sum() / max(polled[rest].sum(), 1), 0.01, 1.0))
        if silent[links].sum() * np.log(elsewhere) + len(links) * np.log(len(polled)) > CHANCE:
            continue  # others miss so much at that time that some of them agree by chance
        quiet = np.flatnonzero((polled >= LEAST_RUN) & (silent == polled))
        members = set(links.tolist()) | (set(quiet.tolist()) if len(quiet) <= 2 * len(links) else set())
        for others, stretches in groups:
            if len(others & members) > ALIKE * len(others | members):
                others.update(members)
                stretches.append(stretch)
                break
        else:
            groups.append((members, [stretch]))
    for members, stretches in groups:
        _enter_shared(book, np.array(sorted(members)), stretches)


def _enter_shared(book: Book, links: IntArray, stretches: Sequence[Stretch]) -> None:
    """Enter a group that shares its silences as one supply."""
    ordered = sorted(stretches, key=lambda one: one.begin)
    missed, first_s, last_s, length_s = close_all(book, ordered, links)
    evidence = (
        f"{counted(len(links), 'inverter')} fall silent together and return together {counted(len(ordered), 'time')}, "
        f"{duration(length_s)} in all, while others were heard; the log names no branch for them alone"
    )
    book.add(BRANCH, missed, first_s=first_s, last_s=last_s, evidence=evidence, check=BRANCH_CHECK)


def _enter_rest(book: Book, missed: IntArray) -> None:
    """What nothing explains."""
    explained = sum(book.by_cause.values(), np.zeros(len(missed)))
    rest = np.maximum(0.0, missed - explained)
    if rest.sum() < 0.5:  # noqa: PLR2004  not one poll
        return
    polls = float(book.log.polls.sum())
    times = book.log.time_s
    evidence = f"{rest.sum():.0f} single misses without a pattern; a few in a hundred are usual on a shared channel"
    check = "nothing by itself; look again if they become more"
    if polls:
        book.add(UNKNOWN, rest, first_s=times[0], last_s=times[-1], evidence=evidence, check=check)


def _result(scene: Scene, book: Book, polls: IntArray, heard: IntArray) -> Dropouts:
    """Add links up to inverters, and put findings in order."""
    struck, number = np.unique(book.log.inverter, return_inverse=True)

    def summed(values: NDArray[np.generic]) -> NDArray[np.float64]:
        return np.bincount(number, weights=values, minlength=len(struck)).astype(np.float64)

    rank = {cause: (cause in NO_FAULTS) + (cause == UNKNOWN) for cause in CAUSES}
    ordered = sorted(book.findings, key=lambda one: (rank[one.cause], -one.dropouts))
    logged = set(struck.tolist())
    return Dropouts(
        scene=scene,
        log=book.log,
        polls=int(polls.sum()),
        heard=int(heard.sum()),
        findings=tuple(one for one in ordered if one.dropouts),
        inverters=tuple(scene.inverters.names[i] for i in struck.tolist()),
        absent=tuple(name for i, name in enumerate(scene.inverters.names) if i not in logged),
        polls_by=summed(polls).astype(np.int64),
        missed_by=summed(polls - heard).astype(np.int64),
        by_cause={cause: summed(values) for cause, values in book.by_cause.items()},
    )
