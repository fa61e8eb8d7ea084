"""Links as a network: routes over relays, and what every gateway or spot does for every inverter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray, IntArray
from survey.budget import HOLDS, Links, Progress, links_between, state_of
from survey.routing.coverage import SpotCoverage, cover_spots, coverage_matrix, matrix_of
from survey.routing.hops import Hops, hops_among, hops_of, no_hops
from survey.routing.routes import DIRECT, Level, levels, relayed, relays_of
from survey.scene import Ends, Scene
from survey.siting import CoverageMatrix

__all__ = [
    "DIRECT",
    "Hops",
    "Level",
    "Network",
    "Route",
    "SpotCoverage",
    "cover_spots",
    "coverage_matrix",
    "hops_among",
    "hops_of",
    "levels",
    "matrix_of",
    "network_between",
    "network_of",
    "no_hops",
    "relayed",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class Route:
    """The way of one inverter's messages.

    Attributes
    ----------
    inverter : int
        Whose.
    relays : tuple of int
        The inverters in between, in order.
    gateway : int
        Where it ends; -1 where all gateways are full.
    reliability : float
        Chance that all links of it work: their product. [-]
    weakest_margin_db : float
        Margin of its weakest link; NaN without a gateway. [dB]
    """

    inverter: int
    relays: tuple[int, ...]
    gateway: int
    reliability: float
    weakest_margin_db: float


@dataclass(frozen=True, kw_only=True)
class Network:
    """All inverters with the gateways they report to.

    Attributes
    ----------
    links : Links
        From every inverter to every gateway, whether a route uses it or not.
    hops : Hops
        From inverter to inverter, those that are worth something; none where the plan allows no relays.
    matrix : CoverageMatrix
        What the most reliable route of every inverter to each gateway is worth.
    levels : tuple of Level
        The most reliable routes with none, up to one, ... inverters in between; shape (inverters, gateways) each.
    routes : tuple of Route
        The most reliable route of every inverter.
    widest : tuple of Route
        The route of every inverter whose weakest link has the best margin.
    """

    links: Links
    hops: Hops
    matrix: CoverageMatrix
    levels: tuple[Level, ...]
    routes: tuple[Route, ...]
    widest: tuple[Route, ...]

    @property
    def scene(self) -> Scene:
        """The site."""
        return self.links.scene

    @cached_property
    def reliability(self) -> FloatArray:
        """Of every inverter's route, shape (inverters,). [-]"""
        return np.array([route.reliability for route in self.routes])

    @cached_property
    def weakest_margin_db(self) -> FloatArray:
        """Of every inverter's route, shape (inverters,). [dB]"""
        return np.array([route.weakest_margin_db for route in self.routes])

    @cached_property
    def state(self) -> NDArray[np.int8]:
        """Index into `budget.STATES` of every inverter's route, shape (inverters,)."""
        return state_of(self.scene, self.reliability)

    @property
    def all_hold(self) -> bool:
        """Whether the route of every inverter holds."""
        return bool(np.all(self.state == HOLDS))

    @property
    def over_capacity(self) -> int:
        """How many inverters are left without a gateway since all are full."""
        return sum(route.gateway < 0 for route in self.routes)

    @cached_property
    def gateway_of(self) -> IntArray:
        """The gateway of every inverter's route, or the best one where all are full; shape (inverters,)."""
        routed = np.array([route.gateway for route in self.routes], dtype=np.int64)
        return np.where(routed >= 0, routed, self.matrix.best_spots)

    def names(self, route: Route) -> list[str]:
        """What a route goes along, from its inverter to its gateway."""
        inverters, gateways = self.links.inverters.names, self.links.gateways.names
        end = [gateways[route.gateway]] if route.gateway >= 0 else []
        return [inverters[route.inverter], *(inverters[relay] for relay in route.relays), *end]


def network_between(
    scene: Scene,
    gateways: Ends,
    *,
    hops: Hops | None = None,
    links: Links | None = None,
    progress: Progress | None = None,
) -> Network:
    """Find the routes of all inverters to some gateways or spots.

    Parameters
    ----------
    scene : Scene
        The site; its plan says how many inverters may stand in between, and how many a gateway takes.
    gateways : Ends
        One gateway or spot, or more.
    hops : Hops, optional
        The links between inverters, where they are known already.
    links : Links, optional
        The links of all inverters to those gateways, where they are known already.
    progress : callable, optional
        Told how many inverters are done, where the links between them have to be worked out.

    Returns
    -------
    Network
    """
    max_relays = scene.plan.requirement.max_relays
    if hops is None:
        hops = hops_of(scene, progress=progress) if max_relays else no_hops(len(scene.inverters))
    links = links or links_between(scene, scene.inverters, gateways)
    found = tuple(levels(hops, links.reliability, links.margin_db, max_relays=max_relays))
    wide = tuple(levels(hops, links.margin_db, links.margin_db, max_relays=max_relays, joined=np.minimum))
    matrix = matrix_of(scene, found[-1].value, found[-1].margin_db)
    belongs = matrix.gateway_of
    return Network(
        links=links,
        hops=hops,
        matrix=matrix,
        levels=found,
        routes=_routes(links, hops, found, belongs),
        widest=_routes(links, hops, wide, belongs if matrix.limit else np.argmax(wide[-1].value, axis=1)),
    )


def _routes(links: Links, hops: Hops, found: tuple[Level, ...], gateway: IntArray) -> tuple[Route, ...]:
    """Routes put together from their levels, each to its gateway."""
    routes = []
    to_gateway = links.reliability
    for inverter, column in enumerate(gateway.tolist()):
        if column < 0:
            routes.append(Route(inverter=inverter, relays=(), gateway=-1, reliability=0.0, weakest_margin_db=np.nan))
            continue
        relays = relays_of(found, inverter, column)
        reliability, margin_db = 1.0, np.inf
        for one, other in zip([inverter, *relays], relays, strict=False):
            row = hops.row(one, other)
            reliability *= float(hops.reliability[row])
            margin_db = min(margin_db, float(hops.margin_db[row]))
        last = relays[-1] if relays else inverter
        routes.append(
            Route(
                inverter=inverter,
                relays=tuple(relays),
                gateway=column,
                reliability=reliability * float(to_gateway[last, column]),
                weakest_margin_db=min(margin_db, float(links.margin_db[last, column])),
            )
        )
    return tuple(routes)


def network_of(scene: Scene, *, gateways: Sequence[str] = (), progress: Progress | None = None) -> Network:
    """The network of the gateways that somebody asks for by name.

    Parameters
    ----------
    scene : Scene
        The site.
    gateways : sequence of str
        Gateways or spots; without any, the gateways that stand today.
    progress : callable, optional
        Told how many inverters are done.

    Returns
    -------
    Network

    Raises
    ------
    UnknownNameError
        Naming every name that there is not.
    SurveyError
        Where no gateway stands and none is named.
    """
    return network_between(scene, scene.gateways_asked(gateways), progress=progress)
