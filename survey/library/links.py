"""The link of every inverter, as `survey links` lists it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.errors import SurveyError, check_names
from survey.budget import STATES, Links, StateArray, links_of
from survey.inputs.plan import Plan
from survey.library.sites import Answer, FitSource, Names, PlanSource, names_in, scene_from
from survey.output.answers.links import links_record
from survey.output.answers.values import Record

SORTS = ("plan", "margin")
"""Orders in which inverters are listed."""


@dataclass(frozen=True, kw_only=True)
class LinkList(Answer):
    """Links; every array has the shape (inverters, gateways).

    Attributes
    ----------
    links : Links
        All figures, losses and obstacles of the links.
    shown : tuple of int
        Rows of the inverters that `to_dict` lists, in its order.
    shown_as : str
        What they are, in words; nothing where they are all in the order of the plan.
    """

    links: Links
    shown: tuple[int, ...]
    shown_as: str = ""

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
        return links_record(self.links, shown=self.shown)


def links(
    plan: PlanSource,
    *,
    gateway: Names = (),
    inverter: Names = (),
    array: Names = (),
    state: Names = (),
    sort: str = "plan",
    fit: FitSource | None = None,
) -> LinkList:
    """Work out the link of every inverter to every gateway.

    Parameters
    ----------
    plan : str, Path or Plan
        The plan.
    gateway : str or sequence of str
        Only to these gateways or spots; without any, to the existing gateways.
    inverter : str or sequence of str
        Only of these inverters.
    array : str or sequence of str
        Only of the inverters of these arrays, besides those named.
    state : str or sequence of str
        List in `to_dict` only inverters whose best link has this state: ``holds``, ``marginal`` or ``fails``.
    sort : str
        Order of `to_dict`: ``plan``, or ``margin`` for the smallest margin of a best link first.
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
    scene, states = scene_from(plan, fit=fit), names_in(state)
    for key, given, allowed in (("state", states, STATES), ("sort", (sort,), SORTS)):
        for value in given:
            if value not in allowed:
                raise SurveyError(f'{key}: "{value}" is not allowed; give one of {", ".join(allowed)}')
    arrays = names_in(array)
    check_names(arrays, [one.name for one in scene.plan.arrays], file=scene.plan.file, what="array")
    ends = scene.inverters
    members = [name for name, place in zip(ends.names, ends.places, strict=True) if place in arrays]
    found = links_of(scene, gateways=names_in(gateway), inverters=[*names_in(inverter), *members])
    best_db, best_state = found.margin_db.max(axis=1), found.state.max(axis=1)
    order = np.argsort(best_db, kind="stable") if sort == "margin" else np.arange(len(best_db))
    shown = [i for i in order.tolist() if not states or STATES[best_state[i]] in states]
    words = [f"state {' or '.join(states)}"] if states else []
    words += ["the smallest margin first"] if sort == "margin" else []
    return LinkList(links=found, shown=tuple(shown), shown_as=", ".join(words))
