"""Missed polls by likely cause, as `survey dropouts` sorts them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from survey.base.arrays import IntArray
from survey.budget import Progress
from survey.inputs.logs import Log
from survey.inputs.logs import read_log as read_log_file
from survey.inputs.plan import Plan
from survey.library.sites import Answer, FitSource, PlanSource, scene_from, warn
from survey.measured import dropouts as missed
from survey.measured.dropouts.sorting import dropouts_of
from survey.output.answers.dropouts import dropouts_record
from survey.output.answers.values import Record
from survey.scene import Scene


@dataclass(frozen=True, kw_only=True)
class DropoutCauses(Answer):
    """Missed polls by likely cause; every array has the shape (inverters,).

    Attributes
    ----------
    dropouts : Dropouts
        All that was worked out; `dropouts.findings` are the causes.
    """

    dropouts: missed.Dropouts

    @property
    def plan(self) -> Plan:
        """The plan."""
        return self.dropouts.scene.plan

    @property
    def inverters(self) -> tuple[str, ...]:
        """Names of the inverters of the log, beside the arrays."""
        return tuple(self.dropouts.inverters)

    @property
    def polls(self) -> IntArray:
        """How often each was polled in daytime."""
        return self.dropouts.polls_by

    @property
    def missed(self) -> IntArray:
        """How many of these polls it missed."""
        return self.dropouts.missed_by

    def to_dict(self) -> Record:
        """Return what `survey dropouts --json` prints."""
        return dropouts_record(self.dropouts)


def dropouts(
    plan: PlanSource, log: str | Path, *, fit: FitSource | None = None, progress: Progress | None = None
) -> DropoutCauses:
    """Sort the missed polls of a log by likely cause.

    Parameters
    ----------
    plan : str, Path or Plan
        The plan.
    log : str or Path
        A CSV file with the columns time, inverter, gateway and heard and, perhaps, level_dbm, power_w and branch.
    fit : str, Path or FittedSite, optional
        What readings have taught.
    progress : callable, optional
        Called with the bytes read and the bytes there are.

    Returns
    -------
    DropoutCauses

    Raises
    ------
    SurveyError
        As the command does.
    """
    scene = scene_from(plan, fit=fit)
    return DropoutCauses(dropouts=dropouts_of(scene, read_log(scene, log, progress=progress)))


def read_log(scene: Scene, path: str | Path, *, progress: Progress | None = None) -> Log:
    """Read a log of polls of a site; warns of what is odd in it."""
    log = read_log_file(
        Path(path),
        inverters=scene.inverters.names,
        serials=scene.inverters.serials,
        gateways=scene.gateways_and_spots.names,
        progress=progress,
    )
    for note in log.notes:
        warn(f"{path}: {note}")
    return log
