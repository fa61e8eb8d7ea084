"""Missed polls by likely cause, as `survey dropouts` sorts them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from survey.base.arrays import IntArray
from survey.budget import Progress
from survey.decisions.remedies import JointRemedies, joint_remedies
from survey.inputs.logs import Log
from survey.inputs.logs import read_log as read_log_file
from survey.inputs.plan import Plan
from survey.library.sites import Answer, FitSource, PlanSource, scene_from, warn
from survey.measured import dropouts as missed
from survey.measured.dropouts.sorting import dropouts_of
from survey.output.answers.dropouts import answer_record
from survey.output.answers.values import Record
from survey.scene import Scene


@dataclass(frozen=True, kw_only=True)
class DropoutCauses(Answer):
    """Missed polls by likely cause; every array has the shape (inverters,).

    Attributes
    ----------
    dropouts : Dropouts
        All that was worked out; `dropouts.findings` are the causes.
    repair : sequence of Compared, optional
        Each inverter before and after a repair, where a log from before it was given.
    joint : JointRemedies, optional
        Remedies for all weak links together, where they were asked for.
    """

    dropouts: missed.Dropouts
    repair: Sequence[missed.Compared] | None = None
    joint: JointRemedies | None = None

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
        return answer_record(self.dropouts, repair=self.repair, joint=self.joint)


def dropouts(
    plan: PlanSource,
    log: str | Path,
    *,
    before: str | Path | None = None,
    remedies: bool = False,
    dates: str | None = None,
    columns: Mapping[str, str] | None = None,
    fit: FitSource | None = None,
    progress: Progress | None = None,
) -> DropoutCauses:
    """Sort the missed polls of a log by likely cause.

    Parameters
    ----------
    plan : str, Path or Plan
        The plan.
    log : str or Path
        A CSV or spreadsheet file with the columns time, inverter, gateway and heard and, perhaps, level_dbm, power_w
        and branch.
    before : str or Path, optional
        A log from before a repair, to compare each inverter with.
    remedies : bool
        Work out which remedies help most weak links together.
    dates : {"day-first", "month-first"}, optional
        Order of day and month in the log, where no date shows it.
    columns : mapping of str to str, optional
        Names of columns in the log by what they hold, such as ``{"heard": "State"}``.
    fit : str, Path or FittedSite, optional
        What readings have taught.
    progress : callable, optional
        Called with the bytes read and the bytes there are or, with remedies, the inverters explained and all of them.

    Returns
    -------
    DropoutCauses

    Raises
    ------
    SurveyError
        As the command does.
    """
    scene = scene_from(plan, fit=fit)
    reading = None if remedies else progress  # one count, from nothing to all
    found = dropouts_of(scene, read_log(scene, log, dates=dates, columns=columns, progress=reading))
    repair = None
    if before is not None:
        repair = missed.compared(dropouts_of(scene, read_log(scene, before, dates=dates, columns=columns)), found)
    joint = joint_remedies(scene, found.for_remedies, progress=progress) if remedies else None
    return DropoutCauses(dropouts=found, repair=repair, joint=joint)


def read_log(
    scene: Scene,
    path: str | Path,
    *,
    dates: str | None = None,
    columns: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> Log:
    """Read a log of polls of a site; warns of what is odd in it."""
    names, existing = scene.gateways_and_spots.names, scene.gateways.names
    only = existing[0] if len(existing) == 1 else names[0] if not existing and len(names) == 1 else None
    log = read_log_file(
        Path(path),
        inverters=scene.inverters.names,
        serials=scene.inverters.serials,
        gateways=names,
        gateway=only,
        dates=dates,
        columns=columns,
        progress=progress,
    )
    for note in log.notes:
        warn(f"{path}: {note}")
    return log
