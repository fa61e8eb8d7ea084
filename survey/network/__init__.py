"""Links as a network: routes over other inverters, and what hangs on a single one of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from survey.errors import SurveyError
from survey.links import HOLDS, Links, Progress, links_between, state_of
from survey.network.hops import Hops, hops_among, hops_of, no_hops
from survey.network.routes import DIRECT, Level, levels, relayed, relays_of
from survey.scene import Ends, Scene

__all__ = [
    "DIRECT",
    "Hops",
    "Level",
    "Network",
    "Route",
    "best_gateway",
    "hops_among",
    "hops_of",
    "levels",
    "network_between",
    "network_of",
    "no_hops",
    "relayed",
]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


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
        Where it ends; -1 where no gateway has room for this inverter.
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
    levels : tuple of Level
        The most reliable routes with none, up to one, ... inverters in between; shape (inverters, gateways) each.
    wide_levels : tuple of Level
        The same of the routes whose weakest link has the best margin.
    routes : tuple of Route
        The most reliable route of every inverter.
    widest : tuple of Route
        The route of every inverter whose weakest link has the best margin.
    """

    links: Links
    hops: Hops
    levels: tuple[Level, ...]
    wide_levels: tuple[Level, ...]
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
        """Index into `links.STATES` of every inverter's route, shape (inverters,)."""
        return state_of(self.scene, self.reliability)

    @property
    def all_hold(self) -> bool:
        """Whether the route of every inverter holds."""
        return bool(np.all(self.state == HOLDS))

    def bound_to(self, gateway: IntArray) -> Network:
        """The same with a gateway given for every inverter, shape (inverters,); -1 where none has room for it."""
        return replace(
            self,
            routes=_routes(self.links, self.hops, self.levels, gateway),
            widest=_routes(self.links, self.hops, self.wide_levels, gateway),
        )

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
        The site; its plan says how many inverters may stand in between.
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
    return Network(
        links=links,
        hops=hops,
        levels=found,
        wide_levels=wide,
        routes=_routes(links, hops, found, best_gateway(found[-1])),
        widest=_routes(links, hops, wide, np.argmax(wide[-1].value, axis=1)),
    )


def best_gateway(level: Level) -> IntArray:
    """The gateway of every inverter's most reliable route; of equals, the one of greater margin."""
    value = np.round(level.value, 9)
    equal = value == value.max(axis=1, keepdims=True)
    return np.asarray(np.argmax(np.where(equal, level.margin_db, -np.inf), axis=1))


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
    if not gateways and not len(scene.gateways):
        raise SurveyError(f"{scene.plan.file}: has no [[gateway]]; add one, or name a spot with --gateway NAME")
    file = scene.plan.file
    far = scene.gateways_and_spots.named(gateways, file=file, what="gateway or spot") if gateways else scene.gateways
    return network_between(scene, far, progress=progress)
