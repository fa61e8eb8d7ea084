"""Missed polls sorted by likely cause: groups first, by what their links share; then links one by one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray, IntArray
from survey.base.layout import counted
from survey.inputs.logs import Log
from survey.measured.dropouts.alone import alone, lone_runs
from survey.measured.dropouts.book import Book
from survey.measured.dropouts.causes import CAUSES, LOW_LIGHT, NO_FAULTS, UNKNOWN
from survey.measured.dropouts.daylight import Daylight, daylight_of
from survey.measured.dropouts.fading import fading
from survey.measured.dropouts.groups import group_findings
from survey.measured.dropouts.interference import interference
from survey.measured.dropouts.margins import margins_of
from survey.measured.dropouts.outages import LEAST_RUN, Run, gateway_outages, long_runs
from survey.measured.dropouts.result import Dropouts
from survey.measured.dropouts.shares import usual_of
from survey.measured.dropouts.supplies import MIN_BRIGHT_S, enter_branches, named_branches, unnamed_branches
from survey.scene import Scene

DIM_RUN_S = 18_000
"""Where noons may be dark, so long must one inverter be silent in good light to be taken for faulty. [s]"""


def dropouts_of(scene: Scene, log: Log) -> Dropouts:
    """Sort the missed polls of a log by likely cause.

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
        plan=scene.plan.file,
        names=tuple(scene.inverters.names[i] for i in log.inverter.tolist()),
        gateways=tuple(places.names[j] for j in log.gateway.tolist()),
        open=daylight.day.copy(),
        low=daylight.low.copy(),
        awake=daylight.awake,
    )
    counted_cells = daylight.day | daylight.low
    polls = np.where(counted_cells, log.polls, 0).sum(axis=1, dtype=np.int64)
    heard = np.where(counted_cells, log.heard, 0).sum(axis=1, dtype=np.int64)
    margins = margins_of(scene, log)
    labels = tuple(log.branches[i] for i in log.inverter.tolist())
    gateway_outages(book, daylight.dusk)
    named_branches(book, labels, daylight, margins)
    group_findings(book, daylight, margins, labels, hours_only=True)
    unnamed_branches(book, labels, daylight, margins)
    group_findings(book, daylight, margins, labels)
    enter_branches(book)
    interference(book, daylight, margins.margin_db)
    fading(book, daylight)
    usual = usual_of(book)
    runs = lone_runs(book, _in_good_light(book, daylight, usual), usual, margins.margin_db, margins.sigma_db)
    alone(book, runs, margins, dim=daylight.dim)
    _enter_low_light(book, daylight)
    _enter_rest(book, polls - heard)
    absent = 0 if log.absent is None else int(np.where(counted_cells, log.absent, 0).sum(dtype=np.int64))
    book.mark(UNKNOWN, counted_cells)
    return _result(scene, book, daylight, polls, heard, absent=absent)


def _in_good_light(book: Book, daylight: Daylight, usual: FloatArray) -> list[Run]:
    """Silences of single links that lie in good light; where noons may be dark, so much of it in all."""
    least = max(LEAST_RUN, MIN_BRIGHT_S / book.log.step_s)
    found = []
    total = np.zeros(len(book.names))
    for one in long_runs(book, usual):
        bright = int((book.open[one.link] & ~daylight.dusk)[one.begin : one.end].sum())
        if bright >= least:
            found.append(one)
            total[one.link] += bright
    return [one for one in found if not daylight.dim or total[one.link] * book.log.step_s >= DIM_RUN_S]


def _enter_low_light(book: Book, daylight: Daylight) -> None:
    """Enter silence at both ends of the day: no fault."""
    log = book.log
    missing = book.low & (log.heard < log.polls)
    missed = np.where(missing, log.polls - log.heard, 0).sum(axis=1).astype(np.float64)
    if not missed.any():
        return
    times = log.time_s[missing.any(axis=0)]
    days = len(np.unique(daylight.number[missing.any(axis=0)]))
    evidence = (
        f"no answer at the ends of the day on {counted(days, 'day')}; "
        f"light enough from {log.stamp(np.nanmin(daylight.first_s % 86_400))[11:16]} at the earliest"
    )
    book.pending |= missing
    book.add(LOW_LIGHT, missed, first_s=times[0], last_s=times[-1], evidence=evidence)


def _enter_rest(book: Book, missed: IntArray) -> None:
    """Enter what nothing explains."""
    explained = sum(book.by_cause.values(), np.zeros(len(missed)))
    rest = np.maximum(0.0, missed - explained)
    if rest.sum() < 0.5 or not book.missing.any():  # noqa: PLR2004  not one poll, or the fraction of one
        return
    cells = np.flatnonzero(book.missing.any(axis=0))
    times = book.log.time_s
    evidence = (
        f"{rest.sum():.0f} single missed polls without a pattern; some per cent are normal on a shared radio channel"
    )
    book.add(UNKNOWN, rest, first_s=times[cells[0]], last_s=times[cells[-1]], evidence=evidence)


def _result(scene: Scene, book: Book, daylight: Daylight, polls: IntArray, heard: IntArray, *, absent: int) -> Dropouts:
    """Add links up to inverters, and put findings in order."""
    struck, number = np.unique(book.log.inverter, return_inverse=True)

    def summed(values: NDArray[np.generic]) -> NDArray[np.float64]:
        return np.bincount(number, weights=values, minlength=len(struck)).astype(np.float64)

    begins = np.flatnonzero(np.diff(daylight.number, prepend=-1))
    day_polls, day_heard = (
        np.add.reduceat(np.where(daylight.day, one, 0), begins, axis=1, dtype=np.float64)
        for one in (book.log.polls, book.log.heard)
    )
    daily = [np.stack([summed(one[:, k]) for k in range(len(begins))], axis=1) for one in (day_polls, day_heard)]
    rank = {cause: (cause in NO_FAULTS) + (cause == UNKNOWN) for cause in CAUSES}
    ordered = sorted(book.findings, key=lambda one: (rank[one.cause], -one.dropouts))
    logged = set(struck.tolist())
    return Dropouts(
        scene=scene,
        log=book.log,
        polls=int(polls.sum()),
        heard=int(heard.sum()),
        findings=tuple(one for one in ordered if one.dropouts or one.cause not in NO_FAULTS),
        inverters=tuple(scene.inverters.names[i] for i in struck.tolist()),
        absent=tuple(name for i, name in enumerate(scene.inverters.names) if i not in logged),
        polls_by=summed(polls).astype(np.int64),
        missed_by=summed(polls - heard).astype(np.int64),
        by_cause={cause: summed(values) for cause, values in book.by_cause.items()},
        daily_polls=daily[0],
        daily_missed=daily[0] - daily[1],
        marks=book.marks,
        number=daylight.number,
        absent_polls=absent,
    )
