"""What was found in a log: the result that people and scripts read."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray, IntArray
from survey.inputs.logs import Log
from survey.measured.dropouts.book import Finding
from survey.measured.dropouts.causes import FADING, OBSTACLE, WEAK
from survey.scene import Scene


@dataclass(frozen=True, kw_only=True)
class Dropouts:
    """What is missing in a log.

    Attributes
    ----------
    scene, log : Scene, Log
        What it was worked out from.
    polls, heard : int
        By daylight and in low light; night counts nowhere.
    findings : tuple of Finding
        Those of faults first, the most missed polls first; then low light, then what is unknown.
    inverters : tuple of str
        Those that the log polls, in the order of the plan.
    absent : tuple of str
        Those of the plan that it does not.
    polls_by, missed_by : ndarray of int, shape (inverters,)
        By daylight and in low light.
    by_cause : dict of str to ndarray of float, shape (inverters,)
        Dropouts of each inverter by cause.
    daily_polls, daily_missed : ndarray of float, shape (inverters, days)
        Polls by daylight of each day, and those missed; without low light.
    marks : ndarray of uint8, shape (links of the log, times)
        Cause of a missed poll: 1 and more as in `CAUSES`; 0 where nothing was missed or no poll counts.
    number : ndarray of int, shape (times,)
        Which day of the log each time belongs to.
    absent_polls : int
        Those of `missed` that have no row in the log.
    """

    scene: Scene
    log: Log
    polls: int
    heard: int
    findings: tuple[Finding, ...]
    inverters: tuple[str, ...]
    absent: tuple[str, ...]
    polls_by: IntArray
    missed_by: IntArray
    by_cause: dict[str, FloatArray]
    daily_polls: FloatArray
    daily_missed: FloatArray
    marks: NDArray[np.uint8]
    number: IntArray
    absent_polls: int = 0

    @property
    def missed(self) -> int:
        """Dropouts: polls that nobody answered by daylight or in low light."""
        return self.polls - self.heard

    @property
    def silent(self) -> bool:
        """Whether nobody was ever heard, so that nothing tells day from night or one cause from another."""
        return not self.log.heard.any()

    @property
    def for_remedies(self) -> tuple[str, ...]:
        """Inverters whose link is weak, faded or blocked: a change of the site may help these."""
        struck = {name for one in self.findings if one.cause in {WEAK, OBSTACLE, FADING} for name in one.inverters}
        return tuple(name for name in self.inverters if name in struck)

    def share(self, finding: Finding) -> float:
        """What part of the dropouts a cause explains. [-]"""
        return finding.dropouts / self.missed if self.missed else 0.0

    def main_cause(self, number: int) -> str:
        """The cause of most of an inverter's dropouts; empty where it has none."""
        best = max(self.by_cause, key=lambda one: self.by_cause[one][number], default="")
        return best if best and self.by_cause[best][number] >= 0.5 else ""  # noqa: PLR2004  half a poll is none
