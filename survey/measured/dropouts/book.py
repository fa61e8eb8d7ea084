"""What is still unexplained, and what has been found."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.inputs.logs import Log

LOW_LIGHT = "low light"
BRANCH = "supply branch"
GATEWAY = "gateway or network"
WEAK = "weak link"
OBSTACLE = "something new in the way"
INTERFERENCE = "interference"
UNIT = "single unit"
UNKNOWN = "cannot tell"
CAUSES = (LOW_LIGHT, BRANCH, GATEWAY, WEAK, OBSTACLE, INTERFERENCE, UNIT, UNKNOWN)
NO_FAULTS = (LOW_LIGHT, UNKNOWN)


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One cause: whom it struck, when, and how one can tell.

    Attributes
    ----------
    cause : str
        One of `CAUSES`.
    inverters : tuple of str
        Whom it struck, in the order of the plan.
    subject : str
        The branch, the gateway, the obstacle or the direction; empty where the inverters say it.
    dropouts : int
        Missed polls that it explains.
    first_s, last_s : float
        Time of the first and of the last of them; of a change, its date and its end. [s]
    evidence, check : str
        In numbers; and what to look at on site.
    """

    cause: str
    inverters: tuple[str, ...]
    subject: str = ""
    dropouts: int
    first_s: float
    last_s: float
    evidence: str
    check: str


@dataclass(kw_only=True)
class Book:
    """The polls of a log by daylight, and which of them are still open.

    Attributes
    ----------
    log : Log
        The log.
    names : tuple of str
        Name of each link's inverter, shape (links,).
    gateways : tuple of str
        Name of each link's gateway, shape (links,).
    open : ndarray of bool, shape (links, times)
        Polled by daylight, and not explained by a cause that covers whole stretches of time.
    by_cause : dict of str to ndarray of float
        Missed polls of each link by cause, shape (links,).
    """

    log: Log
    names: tuple[str, ...]
    gateways: tuple[str, ...]
    open: BoolArray
    findings: list[Finding] = field(default_factory=list)
    by_cause: dict[str, FloatArray] = field(default_factory=dict)

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
        return taken

    def add(
        self,
        cause: str,
        missed: FloatArray,
        *,
        first_s: float,
        last_s: float,
        evidence: str,
        check: str,
        subject: str = "",
    ) -> None:
        """Enter a cause with its missed polls by link."""
        self.by_cause[cause] = self.by_cause.get(cause, np.zeros(len(self.names))) + missed
        struck = dict.fromkeys(name for name, count in zip(self.names, missed.tolist(), strict=True) if count > 0)
        self.findings.append(
            Finding(
                cause=cause,
                inverters=tuple(struck),
                subject=subject,
                dropouts=round(float(missed.sum())),
                first_s=float(first_s),
                last_s=float(last_s),
                evidence=evidence,
                check=check,
            )
        )


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
