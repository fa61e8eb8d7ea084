"""Spots side by side, as `survey compare` puts them; and one plan beside another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import overload

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.errors import SurveyError
from survey.base.limits import DRAWS, MOST_DRAWS
from survey.budget import Progress
from survey.decisions import comparison
from survey.inputs.plan import Plan
from survey.library.sites import Answer, FitSource, Names, PlanSource, check_range, names_in, scene_from
from survey.output.answers.compare import compare_record
from survey.output.answers.plans import plans_record
from survey.output.answers.values import Record


@dataclass(frozen=True, kw_only=True)
class SpotsCompared(Answer):
    """Spots side by side; every array has the shape (inverters, spots).

    Attributes
    ----------
    comparison : Comparison
        All that was worked out.
    shown : tuple of str
        The inverters that `to_dict` lists; all where it is empty.
    """

    comparison: comparison.Comparison
    shown: tuple[str, ...] = ()

    @property
    def plan(self) -> Plan:
        """The plan, with the requirements that were asked for."""
        return self.comparison.links.scene.plan

    @property
    def inverters(self) -> tuple[str, ...]:
        """Names of the inverters, the rows of the arrays."""
        return self.comparison.links.inverters.names

    @property
    def spots(self) -> tuple[str, ...]:
        """Names of the spots, the columns of the arrays."""
        return self.comparison.links.gateways.names

    @property
    def margin_db(self) -> FloatArray:
        """Weakest margin of every inverter's route, were the spot the only gateway; NaN without capacity. [dB]"""
        return np.stack([network.weakest_margin_db for network in self.comparison.networks], axis=1)

    @property
    def reliability(self) -> FloatArray:
        """The chance that the route works. [-]"""
        return np.stack([network.reliability for network in self.comparison.networks], axis=1)

    @property
    def all_hold(self) -> bool:
        """Whether every inverter holds with a gateway at each of the spots together."""
        return self.comparison.together.all_hold

    def to_dict(self) -> Record:
        """Return what `survey compare --json` prints."""
        return compare_record(self.comparison, inverters=self.shown)


@dataclass(frozen=True, kw_only=True)
class PlansCompared(Answer):
    """What changes from one plan to another; every array has the shape (inverters, spots).

    Attributes
    ----------
    between : BetweenPlans
        All that was worked out.
    shown : tuple of str
        The inverters that `to_dict` lists; all where it is empty.
    """

    between: comparison.BetweenPlans
    shown: tuple[str, ...] = ()

    @property
    def plan(self) -> Plan:
        """The first plan, with the requirements that were asked for."""
        return self.between.before.scene.plan

    @property
    def inverters(self) -> tuple[str, ...]:
        """Names of the inverters, the rows of the arrays."""
        return self.between.before.inverters.names

    @property
    def spots(self) -> tuple[str, ...]:
        """Names of the spots, the columns of the arrays."""
        return self.between.before.gateways.names

    @property
    def margin_db(self) -> FloatArray:
        """Margin of every link by the first plan. [dB]"""
        return self.between.before.margin_db

    @property
    def change_db(self) -> FloatArray:
        """How much the margin changes by the other plan. [dB]"""
        return self.between.difference_db

    @property
    def all_hold(self) -> bool:
        """Whether every inverter holds by the other plan."""
        return self.between.after_network.all_hold

    def to_dict(self) -> Record:
        """Return what `survey compare --with OTHER_PLAN --json` prints."""
        return plans_record(self.between, inverters=self.shown)


@overload
def compare(
    plan: PlanSource,
    spots: Names,
    *,
    inverter: Names = (),
    other_plan: None = None,
    relays: int | None = None,
    fit: FitSource | None = None,
    draws: int = DRAWS,
    seed: int = 0,
    progress: Progress | None = None,
) -> SpotsCompared: ...


@overload
def compare(
    plan: PlanSource,
    spots: Names,
    *,
    inverter: Names = (),
    other_plan: PlanSource,
    relays: int | None = None,
    fit: FitSource | None = None,
    draws: int = DRAWS,
    seed: int = 0,
    progress: Progress | None = None,
) -> PlansCompared: ...


def compare(
    plan: PlanSource,
    spots: Names,
    *,
    inverter: Names = (),
    other_plan: PlanSource | None = None,
    relays: int | None = None,
    fit: FitSource | None = None,
    draws: int = DRAWS,
    seed: int = 0,
    progress: Progress | None = None,
) -> SpotsCompared | PlansCompared:
    """Put spots side by side, or the same spots in two plans.

    Parameters
    ----------
    plan : str, Path or Plan
        The plan.
    spots : str or sequence of str
        Two or more spots or gateways; one is enough with another plan.
    inverter : str or sequence of str
        List only these inverters in `to_dict`.
    other_plan : str, Path or Plan, optional
        Say what changes from `plan` to this one; ``--with`` of the command, which is a reserved word here.
    relays : int, optional
        Let messages go by way of up to so many inverters, whatever the plan's max_relays says.
    fit : str, Path or FittedSite, optional
        What readings have taught.
    draws, seed : int
        How many simulation runs, and the beginning of their random numbers.
    progress : callable, optional
        Called with how much is done and how much there is.

    Returns
    -------
    SpotsCompared, or PlansCompared with another plan

    Raises
    ------
    SurveyError
        As the command does.
    """
    names, shown = names_in(spots), names_in(inverter)
    if other_plan is None and len(set(names)) < 2:  # noqa: PLR2004  nothing to compare
        raise SurveyError("name two different spots or more to compare, or another plan with other_plan")
    check_range("draws", draws, low=1, high=MOST_DRAWS)
    check_range("seed", seed, low=0)
    scene = scene_from(plan, fit=fit, max_relays=relays)
    scene.check_names(places=names, inverters=shown)
    if other_plan is None:
        found = comparison.compare(scene, names, draws=draws, seed=seed, progress=progress)
        return SpotsCompared(comparison=found, shown=shown)
    other = scene_from(other_plan, fit=fit, max_relays=relays)
    between = comparison.compare_plans(scene, other, names, draws=draws, seed=seed, progress=progress)
    return PlansCompared(between=between, shown=shown)
