"""What hangs on a single relay, link or gateway, and who has two ways to report."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from survey.base.arrays import BoolArray, FloatArray
from survey.budget import HOLDS
from survey.routing import DIRECT, Network
from survey.routing.routes import relays_of


@dataclass(frozen=True, kw_only=True, slots=True)
class WeakPoint:
    """Something that others need.

    Attributes
    ----------
    inverter : int
        The relay; or the inverter at which the link begins; -1 for a gateway.
    to : int
        The inverter at which the link ends; `DIRECT` for a gateway, and for a relay itself.
    gateway : int
        The gateway, or the gateway at which the link ends; -1 where there is none.
    used_by : tuple of int
        Inverters, itself left out, whose route goes through it.
    lost : tuple of int
        Inverters, a relay itself left out, that hold today and would not without it, on any route that is left.
    """

    inverter: int = -1
    to: int = DIRECT
    gateway: int = -1
    used_by: tuple[int, ...]
    lost: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class WeakPoints:
    """Where a network is weak.

    Attributes
    ----------
    network : Network
        The network.
    relays, gateways, links : tuple of WeakPoint
        Every relay that a route uses; every gateway; and every link without which an inverter no longer holds.
    two_routes : ndarray of bool, shape (inverters,)
        Who has two routes that both hold and share neither an inverter in between nor a link.

    Notes
    -----
    Looked at is one thing that goes dark while the others work, in daylight: at night no inverter reports, and nothing
    is lost by it. Without it, every inverter takes the best route that is left, to any gateway. That a gateway may be
    full is looked at where a gateway is lost, not where a relay or a link is. The second route is looked for beside the
    most reliable one, which can miss a pair of routes that both avoid it: `two_routes` may be too low, never too high.
    """

    network: Network
    relays: tuple[WeakPoint, ...]
    gateways: tuple[WeakPoint, ...]
    links: tuple[WeakPoint, ...]
    two_routes: BoolArray


def weak_points(network: Network) -> WeakPoints:
    """Take away relays, links and gateways of a network, one at a time, and see who is lost.

    Parameters
    ----------
    network : Network
        A network.

    Returns
    -------
    WeakPoints
        Those that cost most inverters first.
    """
    rest = _Rest(network)
    count = len(network.routes)
    users: list[list[int]] = [[] for _ in range(count)]
    for route in network.routes:
        for relay in route.relays:
            users[relay].append(route.inverter)
    relays = [
        WeakPoint(inverter=relay, used_by=tuple(used_by), lost=rest.lost(nodes=[relay]))
        for relay, used_by in enumerate(users)
        if used_by
    ]
    gateways = [
        WeakPoint(
            gateway=gateway,
            used_by=tuple(route.inverter for route in network.routes if route.gateway == gateway),
            lost=rest.lost(gateway=gateway),
        )
        for gateway in range(network.links.shape[1])
    ]
    links, two_routes = [], np.zeros(count, dtype=bool)
    for route in network.routes:
        if route.gateway < 0:
            continue
        inverter, to = route.inverter, route.relays[0] if route.relays else DIRECT
        gateway = route.gateway if to == DIRECT else -1
        lost = rest.lost(link=(inverter, to, gateway))
        if lost:
            links.append(
                WeakPoint(inverter=inverter, to=to, gateway=gateway, used_by=tuple(users[inverter]), lost=lost)
            )
        if rest.holds[inverter]:
            only = (inverter, DIRECT, gateway) if to == DIRECT else None
            two_routes[inverter] = rest.without(nodes=route.relays, link=only)[inverter] >= rest.required
    return WeakPoints(
        network=network,
        relays=_worst_first(relays),
        gateways=_worst_first(gateways),
        links=_worst_first(links),
        two_routes=two_routes,
    )


def _worst_first(points: Iterable[WeakPoint]) -> tuple[WeakPoint, ...]:
    return tuple(sorted(points, key=lambda one: (-len(one.lost), -len(one.used_by))))


class _Rest:
    """What is left of a network without something: only those are routed anew whose route went through it."""

    def __init__(self, network: Network) -> None:
        self.network = network
        self.hops = network.hops
        self.direct = network.links.reliability
        self.required = network.scene.plan.requirement.reliability
        self.holds = network.state == HOLDS
        most = (
            network.scene.plan.requirement.max_relays
        )  # more relays may gain nothing today, and help when one is gone
        self.levels = network.levels + network.levels[-1:] * (most + 1 - len(network.levels))
        best = np.stack([level.value.max(axis=1) for level in self.levels])
        column = np.stack([level.value.argmax(axis=1) for level in self.levels])
        self.best, self.column = best, column
        self.through = self._through()

    def _through(self) -> list[dict[int, list[int]]]:
        """For each level: whose routes go through an inverter."""
        every, found = self.levels, []
        for level in range(len(every)):
            through: dict[int, list[int]] = {}
            for inverter, column in enumerate(self.column[level].tolist()):
                for relay in relays_of(every, inverter, column, level):
                    through.setdefault(relay, []).append(inverter)
            found.append(through)
        return found

    def without(
        self,
        *,
        nodes: Iterable[int] = (),
        link: tuple[int, int, int] | None = None,
    ) -> FloatArray:
        """Reliability of every inverter's best route without some inverters, or without a link in either direction."""
        gone = list(nodes)
        ends = {} if link is None else {link[0]: link[1]} if link[1] == DIRECT else {link[0]: link[1], link[1]: link[0]}
        touched = [*gone, *ends]
        value = self.best[0].copy()
        if link and link[1] == DIRECT:
            others = np.delete(self.direct[link[0]], link[2])
            value[link[0]] = others.max(initial=0.0)
        value[gone] = 0.0
        own = value
        for level in range(1, len(self.best)):
            last, value = value, self.best[level].copy()
            value[gone] = 0.0
            anew = {user for one in touched for user in self.through[level].get(one, ())} - set(gone)
            for inverter in anew | set(ends):
                rows = slice(*self.hops.first[inverter : inverter + 2].tolist())
                offered = self.hops.reliability[rows] * last[self.hops.to[rows]]
                offered[self.hops.to[rows] == ends.get(inverter)] = 0.0
                value[inverter] = max(own[inverter], offered.max(initial=0.0))
        return np.asarray(value)

    def lost(
        self, *, nodes: Iterable[int] = (), link: tuple[int, int, int] | None = None, gateway: int | None = None
    ) -> tuple[int, ...]:
        """Who holds today and would not without something."""
        gone = list(nodes)
        value = self.without_gateway(gateway) if gateway is not None else self.without(nodes=gone, link=link)
        lost = self.holds & (value < self.required)
        lost[gone] = False
        return tuple(np.flatnonzero(lost).tolist())

    def without_gateway(self, gateway: int) -> FloatArray:
        """Reliability of every inverter's best route without one of the gateways."""
        matrix = self.network.matrix
        rest = matrix.only([other for other in range(matrix.shape[1]) if other != gateway])
        if not rest.limit or not rest.shape[1]:
            return np.asarray(rest.reliability.max(axis=1, initial=0.0))
        at = rest.gateway_of
        return np.where(at >= 0, rest.reliability[np.arange(len(at)), at], 0.0)
