"""What a plan holds and what looks wrong in it, as `survey check` says it."""

from __future__ import annotations

from dataclasses import dataclass

from survey.budget import Progress
from survey.decisions.inspection import Inspection, inspect
from survey.inputs.plan import Plan
from survey.library.sites import Answer, PlanSource, scene_from
from survey.output.answers.check import check_record
from survey.output.answers.values import Record


@dataclass(frozen=True, kw_only=True)
class PlanChecked(Answer):
    """What a plan holds.

    Attributes
    ----------
    inspection : Inspection
        All that was found: counts, extent, defaults, warnings.
    """

    inspection: Inspection

    @property
    def plan(self) -> Plan:
        """The plan."""
        return self.inspection.scene.plan

    @property
    def warnings(self) -> tuple[str, ...]:
        """What is allowed but looks wrong."""
        return self.inspection.warnings

    @property
    def sheets(self) -> str:
        """The plan written out in loose sheets, boxes and points, as TOML."""
        from survey.output.export.sheets import sheets_text  # noqa: PLC0415  only where it is asked for

        return sheets_text(self.plan)

    def to_dict(self) -> Record:
        """Return what `survey check --json` prints."""
        return check_record(self.inspection)


def check(plan: PlanSource, *, progress: Progress | None = None) -> PlanChecked:
    """Look a plan over for what seems wrong.

    Parameters
    ----------
    plan : str, Path or Plan
        The plan.
    progress : callable, optional
        Called with how much is done and how much there is.

    Returns
    -------
    PlanChecked

    Raises
    ------
    PlanError
        With every fault of the plan.
    """
    return PlanChecked(inspection=inspect(scene_from(plan), progress=progress))
