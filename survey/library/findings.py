"""The causes in a log as a visit sees them: how much each costs a day, how certain it is, what the van needs."""

from __future__ import annotations

import numpy as np

from survey.base.arrays import runs_of
from survey.fleet import Outage, SiteFinding
from survey.inputs.logs import NO_ZONE
from survey.measured.dropouts import (
    BRANCH,
    CAUSES,
    FADING,
    GATEWAY,
    INTERFERENCE,
    MOVED,
    NO_FAULTS,
    OBSTACLE,
    UNIT,
    WEAK,
    Dropouts,
    Finding,
    steps_of,
)

DAY_S = 86_400.0
"""Seconds of a day."""
RIGHT = {
    BRANCH: (93, 94),
    GATEWAY: (47, 47),
    WEAK: (47, 47),
    OBSTACLE: (107, 111),
    INTERFERENCE: (89, 90),
    UNIT: (90, 100),
    MOVED: (22, 23),
    FADING: (43, 48),
}
"""Of the invented logs of docs/dropouts.md in which a cause came first: in how many it was right, and how many."""
SILENT_CERTAINTY = 0.5
"""That a log without any answer is a matter of gateway or network, and not of the log: an assumption. [-]"""
LIGHT_SHARE = 0.5
"""Daylight of a year, over all hours: so much of the polls of a log without any answer were by daylight. [-]"""
NOTHING, LADDER, ELECTRICIAN, SPARE = (
    "nothing: restart or network",
    "ladder and antenna",
    "licensed electrician",
    "spare unit",
)
BRING = {
    BRANCH: ELECTRICIAN,
    GATEWAY: NOTHING,
    WEAK: LADDER,
    OBSTACLE: LADDER,
    INTERFERENCE: NOTHING,
    UNIT: SPARE,
    MOVED: LADDER,
    FADING: LADDER,
}
"""What a van needs for a cause, by its next steps."""
SCATTERED = (WEAK, FADING)
"""Causes whose missed polls begin at no hour that other sites could share."""
MIN_RUN = 3
"""Polls in a row that make an outage: as for a silence in `survey dropouts`."""
MAX_OUTAGES = 20
"""Outages of a finding that are listed, those with the most missed polls: a judgement, for the size of results."""


def certainty_of(cause: str) -> float:
    """Return how often a cause is right where it comes first, by Laplace's rule of succession. [-]

    Notes
    -----
    (right + 1) / (all + 2): 47 of 47 are no proof of 100 %.

    Examples
    --------
    >>> round(certainty_of("single unit"), 3)
    0.892
    """
    right, every = RIGHT[cause]
    return (right + 1) / (every + 2)


def findings_of(found: Dropouts) -> tuple[SiteFinding, ...]:
    """Return the causes in a log that need work, those first that cost most polls a day."""
    if found.silent:
        return (_silent(found),)
    findings = [_finding(found, one) for one in found.findings if one.cause not in NO_FAULTS]
    return tuple(sorted(findings, key=lambda one: -one.value))


def days_of(found: Dropouts) -> float:
    """Return the length of a log, with the interval of its last poll. [day]"""
    time_s = found.log.time_s
    return float(time_s[-1] - time_s[0] + found.log.step_s) / DAY_S


def _finding(found: Dropouts, one: Finding) -> SiteFinding:
    """Return a cause with what it costs a day: since it began where it lasts, else over the log."""
    days = days_of(found)
    if one.to_end and not one.from_start:
        days = min(days, (found.log.time_s[-1] - one.first_s) / DAY_S)
    return SiteFinding(
        cause=one.cause,
        subject=one.subject,
        inverters=one.inverters,
        missed=one.dropouts,
        missed_per_day=round(one.dropouts / max(1.0, days), 6),
        certainty=round(certainty_of(one.cause), 6),
        bring=BRING[one.cause],
        next=one.steps,
        evidence=one.evidence,
        first=found.log.stamp(one.first_s),
        last=found.log.stamp(one.last_s),
        outages=() if one.from_start or one.cause in SCATTERED else _outages(found, one),
    )


def _silent(found: Dropouts) -> SiteFinding:
    """Return what a log without any answer most likely means."""
    log, plan = found.log, found.scene.plan.file
    missed = round(LIGHT_SHARE * log.rows)
    return SiteFinding(
        cause=GATEWAY,
        inverters=found.inverters,
        missed=missed,
        missed_per_day=round(missed / max(1.0, days_of(found)), 6),
        certainty=SILENT_CERTAINTY,
        bring=BRING[GATEWAY],
        next=steps_of(GATEWAY, plan=plan, inverters=found.inverters),
        evidence="no poll in the log was answered; this may also be the log of another site",
        first=log.stamp(log.time_s[0]),
        last=log.stamp(log.time_s[-1]),
    )


def _outages(found: Dropouts, one: Finding) -> tuple[Outage, ...]:
    """Return the runs of missed polls of a finding; two runs without an answer between them are one."""
    log = found.log
    rows = np.isin(np.array(found.scene.inverters.names, dtype=object)[log.inverter], one.inverters)
    own = found.marks[rows] == CAUSES.index(one.cause) + 1
    missed = np.where(own, log.polls[rows] - log.heard[rows], 0).sum(axis=0)
    answered = np.concatenate([[0], np.cumsum(log.heard[rows].sum(axis=0, dtype=np.int64))])
    runs: list[tuple[int, int]] = []
    for begin, end in zip(*(edge.tolist() for edge in runs_of(own.any(axis=0))), strict=True):
        if runs and answered[begin] == answered[runs[-1][1]]:
            runs[-1] = (runs[-1][0], end)
        else:
            runs.append((begin, end))
    shift_s = 0 if log.offset_min == NO_ZONE else 60 * log.offset_min
    outages = [
        Outage(
            begin_s=int(log.time_s[begin]) - shift_s,
            end_s=int(log.time_s[end - 1]) + log.step_s - shift_s,
            missed=int(missed[begin:end].sum()),
        )
        for begin, end in runs
        if end - begin >= MIN_RUN
    ]
    longest = sorted(outages, key=lambda outage: -outage.missed)[:MAX_OUTAGES]
    return tuple(sorted(longest, key=lambda outage: outage.begin_s))
