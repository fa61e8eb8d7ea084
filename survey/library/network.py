"""The route of every inverter and single points of failure, as `survey network` shows them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray, FloatArray
from survey.budget import Progress
from survey.inputs.plan import Plan
from survey.library.sites import Answer, FitSource, Names, PlanSource, names_in, scene_from
from survey.output.answers.network import network_record, route_names
from survey.output.answers.values import Record
from survey.routing import network_of
from survey.routing.weak_points import WeakPoints, weak_points

if TYPE_CHECKING:  # networkx loads slowly, and only a graph needs it
    import networkx as nx


@dataclass(frozen=True, kw_only=True)
class RouteList(Answer):
    """Routes; every array has the shape (inverters,).

    Attributes
    ----------
    points : WeakPoints
        All that was worked out: the network, and its single points of failure.
    """

    points: WeakPoints

    @property
    def plan(self) -> Plan:
        """The plan, with the requirements that were asked for."""
        return self.points.network.scene.plan

    @property
    def inverters(self) -> tuple[str, ...]:
        """Names of the inverters, beside the arrays."""
        return self.points.network.links.inverters.names

    @property
    def gateways(self) -> tuple[str, ...]:
        """Names of the gateways."""
        return self.points.network.links.gateways.names

    @property
    def routes(self) -> tuple[tuple[str, ...] | None, ...]:
        """Each route by names, from the inverter to the gateway; None where no gateway has capacity."""
        names = (route_names(self.points.network, route) for route in self.points.network.routes)
        return tuple(None if one is None else tuple(one) for one in names)

    @property
    def margin_db(self) -> FloatArray:
        """Margin of the weakest link of each route; NaN where no gateway has capacity. [dB]"""
        return self.points.network.weakest_margin_db

    @property
    def reliability(self) -> FloatArray:
        """The chance that all links of the route work. [-]"""
        return self.points.network.reliability

    @property
    def state(self) -> NDArray[np.int8]:
        """What each route does: 0 holds, 1 marginal, 2 fails."""
        return self.points.network.state

    @property
    def two_routes(self) -> BoolArray:
        """Whether the inverter has a second route that shares no relay and no link with the first."""
        return self.points.two_routes

    @property
    def all_hold(self) -> bool:
        """Whether the route of every inverter holds."""
        return self.points.network.all_hold

    def graph(self) -> nx.Graph[str]:
        """Return the network as a graph of networkx, with the attributes that ``--graphml`` writes."""
        from survey.routing.graph import graph_of  # noqa: PLC0415  networkx

        return graph_of(self.points.network)

    def graphml(self) -> str:
        """Return the network as GraphML, for other programs."""
        from survey.routing.graph import graphml_of  # noqa: PLC0415  networkx

        return graphml_of(self.points.network)

    def to_dict(self) -> Record:
        """Return what `survey network --json` prints."""
        return network_record(self.points)


def network(
    plan: PlanSource,
    *,
    gateway: Names = (),
    relays: int | None = None,
    fit: FitSource | None = None,
    progress: Progress | None = None,
) -> RouteList:
    """Find the route of every inverter, and single points of failure.

    Parameters
    ----------
    plan : str, Path or Plan
        The plan.
    gateway : str or sequence of str
        Only to these gateways or spots; without any, to the existing gateways.
    relays : int, optional
        Let messages go by way of up to so many inverters, whatever the plan's max_relays says.
    fit : str, Path or FittedSite, optional
        What readings have taught.
    progress : callable, optional
        Called with how much is done and how much there is.

    Returns
    -------
    RouteList

    Raises
    ------
    SurveyError
        As the command does.
    """
    scene = scene_from(plan, fit=fit, max_relays=relays)
    return RouteList(points=weak_points(network_of(scene, gateways=names_in(gateway), progress=progress)))
