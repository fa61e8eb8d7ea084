"""The link of every inverter, as `survey links` lists it."""

from __future__ import annotations

from dataclasses import dataclass

from survey.base.arrays import FloatArray
from survey.budget import Links, StateArray, links_of
from survey.inputs.plan import Plan
from survey.library.sites import Answer, FitSource, Names, PlanSource, names_in, scene_from
from survey.output.answers.links import links_record
from survey.output.answers.values import Record


@dataclass(frozen=True, kw_only=True)
class LinkList(Answer):
    """Links; every array has the shape (inverters, gateways).

    Attributes
    ----------
    links : Links
        All figures, losses and obstacles of the links.
    """

    links: Links

    @property
    def plan(self) -> Plan:
        """The plan."""
        return self.links.scene.plan

    @property
    def inverters(self) -> tuple[str, ...]:
        """Names of the inverters, the rows of the arrays."""
        return self.links.inverters.names

    @property
    def gateways(self) -> tuple[str, ...]:
        """Names of the gateways and spots, the columns of the arrays."""
        return self.links.gateways.names

    @property
    def margin_db(self) -> FloatArray:
        """The smaller margin of uplink and downlink. [dB]"""
        return self.links.margin_db

    @property
    def reliability(self) -> FloatArray:
        """The chance that the link works. [-]"""
        return self.links.reliability

    @property
    def path_loss_db(self) -> FloatArray:
        """Loss by distance and obstacles. [dB]"""
        return self.links.path_loss_db

    @property
    def state(self) -> StateArray:
        """What each link does: 0 holds, 1 marginal, 2 fails."""
        return self.links.state

    @property
    def all_hold(self) -> bool:
        """Whether every inverter holds at one of the gateways or more."""
        return self.links.all_hold

    def to_dict(self) -> Record:
        """Return what `survey links --json` prints."""
        return links_record(self.links)


def links(plan: PlanSource, *, gateway: Names = (), inverter: Names = (), fit: FitSource | None = None) -> LinkList:
    """Work out the link of every inverter to every gateway.

    Parameters
    ----------
    plan : str, Path or Plan
        The plan.
    gateway : str or sequence of str
        Only to these gateways or spots; without any, to the existing gateways.
    inverter : str or sequence of str
        Only of these inverters.
    fit : str, Path or FittedSite, optional
        What readings have taught.

    Returns
    -------
    LinkList

    Raises
    ------
    SurveyError
        As the command does: `PlanError`, `FitError`, `UnknownNameError`, or where no gateway stands and none is named.
    """
    scene = scene_from(plan, fit=fit)
    return LinkList(links=links_of(scene, gateways=names_in(gateway), inverters=names_in(inverter)))
