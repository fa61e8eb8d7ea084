"""What is still unexplained, and what has been found."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.inputs.logs import Log
from survey.measured.dropouts.causes import CAUSES, LOW_LIGHT
from survey.measured.dropouts.steps import steps_of

MIN_MISSED = 0.5
"""Fewer missed polls beyond the usual are none: an inverter with so few is not named."""

IN_RUNS, MIN_PAIRS = 0.5, 10
"""By how much likelier a miss may be after a miss than after an answer of the same inverter, over so many pairs of
polls or more, for misses at random. Set by trials on invented logs: interference up to 0.25, dark noons 1. [-, -]"""


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One cause: which inverters, when, and what shows it.

    Attributes
    ----------
    cause : str
        One of `CAUSES`.
    inverters : tuple of str
        Those that it strikes, in the order of the plan.
    subject : str
        The branch, the gateway, the obstacle or the direction; empty where the inverters say it.
    dropouts : int
        Missed polls that it explains.
    first_s, last_s : float
        Time of the first and of the last of them; of a change, its date and its end. [s]
    from_start, to_end : bool
        Whether it was so when the log began, and still is when it ends: nothing says since when, or until when.
    evidence : str
        What shows it, in numbers of the log.
    steps : tuple of str
        What to do, in order.
    """

    cause: str
    inverters: tuple[str, ...]
    subject: str = ""
    dropouts: int
    first_s: float
    last_s: float
    from_start: bool = False
    to_end: bool = False
    evidence: str
    steps: tuple[str, ...] = ()

    @property
    def check(self) -> str:
        """All steps in one text."""
        return ". ".join(self.steps)


@dataclass(kw_only=True)
class Outages:
    """Outages of one branch: its links, missed polls by link, and what its evidence is made of."""

    links: set[int]
    subject: str
    missed: FloatArray
    cells: BoolArray
    count: int = 0
    length_s: float = 0.0
    others_polls: float = 0.0
    others_misses: float = 0.0
    first_s: float = np.inf
    last_s: float = -np.inf
    from_start: bool = False
    to_end: bool = False


@dataclass(kw_only=True)
class Book:
    """The polls of a log by daylight, and which of them are still open.

    Attributes
    ----------
    log : Log
        The log.
    plan : str
        The plan's file, for the commands that the next steps name.
    names : tuple of str
        Name of each link's inverter, shape (links,).
    gateways : tuple of str
        Name of each link's gateway, shape (links,).
    open : ndarray of bool, shape (links, times)
        Polled by daylight, and not explained by a cause that covers whole stretches of time.
    low, awake : ndarray of bool, shape (links, times)
        Low light, and when each inverter is usually awake; see `Daylight`.
    branches : list of Outages
        Outages of branches that are not entered yet.
    marks : ndarray of uint8, shape (links, times)
        Cause of each missed poll so far, 1 and more as in `CAUSES`.
    pending : ndarray of bool, shape (links, times)
        Cells that were taken out since the last finding; the next one marks them.
    by_cause : dict of str to ndarray of float
        Missed polls of each link by cause, shape (links,).
    """

    log: Log
    plan: str
    names: tuple[str, ...]
    gateways: tuple[str, ...]
    open: BoolArray
    low: BoolArray
    awake: BoolArray
    findings: list[Finding] = field(default_factory=list)
    by_cause: dict[str, FloatArray] = field(default_factory=dict)
    branches: list[Outages] = field(default_factory=list)
    marks: NDArray[np.uint8] = field(init=False)
    pending: BoolArray = field(init=False)

    def __post_init__(self) -> None:
        self.marks = np.zeros(self.open.shape, dtype=np.uint8)
        self.pending = np.zeros(self.open.shape, dtype=bool)

    @property
    def silent(self) -> BoolArray:
        """Open cells in which nothing was heard."""
        return np.asarray(self.open & (self.log.heard == 0))

    @property
    def missing(self) -> BoolArray:
        """Open cells in which a poll or more was missed."""
        return np.asarray(self.open & (self.log.heard < self.log.polls))

    def sums(self, where: BoolArray | None = None) -> tuple[FloatArray, FloatArray]:
        """Missed polls and polls of each link, over the open cells or some of them."""
        cells = self.open if where is None else self.open & where
        polls = np.where(cells, self.log.polls, 0).sum(axis=1, dtype=np.int64)
        heard = np.where(cells, self.log.heard, 0).sum(axis=1, dtype=np.int64)
        return (polls - heard).astype(np.float64), polls.astype(np.float64)

    def at_random(self, where: BoolArray) -> bool:
        """Return whether misses in some open cells come and go from poll to poll; lack of light makes runs of them."""
        asked = self.open & where
        pairs = asked[:, 1:] & asked[:, :-1]
        first, second = self.missing[:, :-1], self.missing[:, 1:]
        counts = [(int((pairs & one & second).sum()), int((pairs & one).sum())) for one in (first, ~first)]
        again, anew = (misses / max(polls, 1) for misses, polls in counts)
        return counts[0][1] >= MIN_PAIRS and again - anew < IN_RUNS

    def by_time(self, links: BoolArray) -> tuple[FloatArray, FloatArray]:
        """Missed polls and polls of each time, over the open cells of some links."""
        cells = self.open[links]
        polls = np.where(cells, self.log.polls[links], 0).sum(axis=0, dtype=np.int64)
        heard = np.where(cells, self.log.heard[links], 0).sum(axis=0, dtype=np.int64)
        return (polls - heard).astype(np.float64), polls.astype(np.float64)

    def close(self, cells: BoolArray, links: IntArray) -> FloatArray:
        """Take cells of some links out of what is open; missed polls in them by link."""
        taken = np.zeros(len(self.names))
        part = cells & self.open[links]
        taken[links] = np.where(part, self.log.polls[links] - self.log.heard[links], 0).sum(axis=1)
        self.open[links] &= ~cells
        self.pending[links] |= part
        return taken

    def mark(self, cause: str, cells: BoolArray) -> None:
        """Mark the missed polls in some cells that have no mark yet."""
        cells = cells & (self.log.heard < self.log.polls) & (self.marks == 0)
        self.marks[cells] = CAUSES.index(cause) + 1

    def add(
        self,
        cause: str,
        missed: FloatArray,
        *,
        first_s: float,
        last_s: float,
        evidence: str,
        subject: str = "",
        from_start: bool = False,
        to_end: bool = False,
        steps: tuple[str, ...] = (),
    ) -> None:
        """Enter a cause with its missed polls by link."""
        self.by_cause[cause] = self.by_cause.get(cause, np.zeros(len(self.names))) + missed
        whole = not self.pending.any() and cause != LOW_LIGHT
        self.mark(cause, self.open & (missed >= MIN_MISSED)[:, None] if whole else self.pending)
        self.pending[:] = False
        struck = tuple(
            dict.fromkeys(name for name, count in zip(self.names, missed.tolist(), strict=True) if count >= MIN_MISSED)
        )
        edges = ["it was so when the log began"] * from_start + ["it was still so when the log ended"] * to_end
        self.findings.append(
            Finding(
                cause=cause,
                inverters=struck,
                subject=subject,
                dropouts=round(float(missed.sum())),
                first_s=float(first_s),
                last_s=float(last_s),
                from_start=from_start,
                to_end=to_end,
                evidence="; ".join([evidence, *edges]),
                steps=steps or steps_of(cause, plan=self.plan, inverters=struck),
            )
        )

    def extend(self, number: int, missed: FloatArray, words: str) -> None:
        """Add missed polls to a finding that is of the same making, and say so in its evidence."""
        one = self.findings[number]
        self.by_cause[one.cause] += missed
        names = tuple(name for name, count in zip(self.names, missed.tolist(), strict=True) if count >= MIN_MISSED)
        self.findings[number] = replace(
            one,
            inverters=tuple(dict.fromkeys(name for name in self.names if name in {*one.inverters, *names})),
            dropouts=one.dropouts + round(float(missed.sum())),
            evidence=f"{one.evidence}; {words}",
        )

    def reaches(self, links: IntArray, begin: int, end: int) -> tuple[bool, bool]:
        """Return whether no poll of some links comes before a stretch of times, and whether none comes after it."""
        polled = np.asarray((self.open[links] | (self.log.heard[links] > 0)).any(axis=0))
        return not polled[:begin].any(), not polled[end:].any()

    def outage(self, links: IntArray, begin: int, end: int) -> tuple[int, int]:
        """Return an outage from the last answer before it to the first one after it; what was low light there is open.

        At the ends of a day no link is taken to be awake before it is surely so; in an outage it is so when it usually
        is.
        """
        heard = np.flatnonzero((self.log.heard[links] > 0).any(axis=0))
        before, after = heard[heard < begin], heard[heard >= end]
        first = int(before[-1]) + 1 if len(before) else 0
        last = int(after[0]) if len(after) else self.open.shape[1]
        part = slice(first, last)
        claimed = self.low[links, part] & self.awake[links, part]
        self.low[links, part] &= ~claimed
        self.open[links, part] |= claimed
        times = first + np.flatnonzero(self.open[links, part].any(axis=0))
        return (int(times[0]), int(times[-1]) + 1) if len(times) else (begin, end)

    def daytime_s(self, links: IntArray, begin: int, end: int) -> float:
        """Return how long a stretch is by daylight: the intervals in which any of some links is open. [s]"""
        return float(self.open[links, begin:end].any(axis=0).sum()) * self.log.step_s


def duration(seconds: float, *, in_days: bool = True) -> str:
    """A length of time in the largest unit that suits; what is added up from pieces of days stays in hours.

    Examples
    --------
    >>> duration(1_200), duration(9_000), duration(432_000)
    ('20 min', '2.5 h', '5 days')
    >>> duration(432_000, in_days=False)
    '120.0 h'
    """
    minutes = seconds / 60.0
    if minutes < 90:  # noqa: PLR2004  minutes
        return f"{minutes:.0f} min"
    return f"{minutes / 60:.1f} h" if minutes < 2 * 1440 or not in_days else f"{minutes / 1440:.0f} days"
