"""Where every decibel of a link goes and what would improve it, as `survey explain` says it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from survey.base.limits import CABLE_M, MOST_CABLE_LOSS_DB_PER_M, MOST_CABLE_M
from survey.budget import Progress
from survey.decisions import remedies
from survey.inputs.plan import Plan
from survey.library.sites import Answer, FitSource, Names, PlanSource, check_range, names_in, scene_from
from survey.output.answers.explain import explain_record
from survey.output.answers.joint import joint_record
from survey.output.answers.values import Record
from survey.scene import Scene


@dataclass(frozen=True, kw_only=True)
class LinksExplained(Answer):
    """The link budgets of some inverters, and the remedies.

    Attributes
    ----------
    explained : Explained
        All that was worked out; `explained.inverters` is in the order of the names.
    joint : JointRemedies, optional
        The remedies for all of them together, where they were asked for.
    """

    explained: remedies.Explained
    joint: remedies.JointRemedies | None = None

    @property
    def plan(self) -> Plan:
        """The plan, with the requirements that were asked for."""
        return self.explained.scene.plan

    @property
    def all_hold(self) -> bool:
        """Whether every inverter asked for holds."""
        return self.explained.all_hold

    def to_dict(self) -> Record:
        """Return what `survey explain --json` prints."""
        together = {} if self.joint is None else {"together": joint_record(self.joint)}
        return explain_record(self.explained) | together


def explain(
    plan: PlanSource,
    inverters: Names,
    *,
    gateway: Names = (),
    cable_m: float = CABLE_M,
    cable_loss_db_per_m: float | None = None,
    more_margin: bool = False,
    together: bool = False,
    relays: int | None = None,
    fit: FitSource | None = None,
    progress: Progress | None = None,
) -> LinksExplained:
    """Say where every decibel of the link of some inverters goes, and what would improve it.

    Parameters
    ----------
    plan : str, Path or Plan
        The plan.
    inverters : str or sequence of str
        Names of inverters; the name of an array stands for its inverters.
    gateway : str or sequence of str
        Explain the link to these gateways or spots, instead of the existing gateways.
    cable_m : float
        Longest cable between a gateway and its antenna; 0 for none. [m]
    cable_loss_db_per_m : float, optional
        Loss of that cable; without it, that of a thin one, an assumption. [dB/m]
    more_margin : bool
        Try remedies also for inverters that hold, to gain margin.
    together : bool
        Rank remedies by how many of the inverters hold afterwards, in `joint`.
    relays : int, optional
        Let messages go by way of up to so many inverters, whatever the plan's max_relays says.
    fit : str, Path or FittedSite, optional
        What readings have taught.
    progress : callable, optional
        Called with how much is done and how much there is.

    Returns
    -------
    LinksExplained

    Raises
    ------
    SurveyError
        As the command does.
    """
    check_range("cable_m", cable_m, low=0, high=MOST_CABLE_M)
    check_range("cable_loss_db_per_m", cable_loss_db_per_m, low=0, high=MOST_CABLE_LOSS_DB_PER_M)
    scene = scene_from(plan, fit=fit, max_relays=relays)
    cable = replace(remedies.usual_cable(scene.plan.radio.frequency_mhz), longest_m=cable_m)
    if cable_loss_db_per_m is not None:
        cable = replace(cable, loss_db_per_m=cable_loss_db_per_m, assumed=False)
    found = remedies.explain(
        scene,
        _members(scene, names_in(inverters)),
        gateways=names_in(gateway),
        cable=cable,
        more_margin=more_margin,
        together=together,
        progress=progress,
    )
    return LinksExplained(explained=found, joint=remedies.joint_of(found) if together else None)


def _members(scene: Scene, names: tuple[str, ...]) -> list[str]:
    """Return inverters by name, with those of an array in place of its name."""
    ends, arrays = scene.inverters, {one.name for one in scene.plan.arrays}
    members = [
        [inverter for inverter, place in zip(ends.names, ends.places, strict=True) if place == name]
        if name in arrays
        else [name]
        for name in names
    ]
    return list(dict.fromkeys(name for group in members for name in group))
