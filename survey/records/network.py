"""Routes, weak points and the graph of a network as plain values."""

from __future__ import annotations

from survey.links import STATES
from survey.network import DIRECT, Network, Route
from survey.network.graph import edges_of, nodes_of
from survey.network.weak_points import WeakPoint, WeakPoints
from survey.records.values import Record, plain


def route_record(network: Network, route: Route) -> Record:
    """One route: what it goes along, and what it is worth."""
    return {
        "inverter": network.links.inverters.names[route.inverter],
        "gateway": network.links.gateways.names[route.gateway] if route.gateway >= 0 else None,
        "route": network.names(route),
        "reliability": plain(route.reliability),
        "weakest_margin_db": plain(route.weakest_margin_db),
    }


def network_record(points: WeakPoints) -> Record:
    """What `survey network --json` prints."""
    network = points.network
    plan = network.scene.plan
    columns = (network.routes, network.widest, network.state.tolist(), points.two_routes.tolist())
    routes = [
        {
            **route_record(network, route),
            "state": STATES[state],
            "two_routes": two,
            "widest_route": network.names(widest),
            "widest_margin_db": plain(widest.weakest_margin_db),
        }
        for route, widest, state, two in zip(*columns, strict=True)
    ]
    return {
        "plan": plan.file,
        "site": plan.site.name,
        "max_relays": plan.requirement.max_relays,
        "routes": routes,
        "relays": [_point(network, one) for one in points.relays],
        "gateways": [_point(network, one) for one in points.gateways],
        "only_links": [_point(network, one) for one in points.links],
        "graph": {
            "nodes": [{"name": name, **_plain(attributes)} for name, attributes in nodes_of(network)],
            "edges": [{"from": one, "to": other, **_plain(values)} for one, other, values in edges_of(network)],
        },
    }


def _plain(attributes: Record) -> Record:
    return {name: plain(value) for name, value in attributes.items()}


def _point(network: Network, point: WeakPoint) -> Record:
    inverters, gateways = network.links.inverters.names, network.links.gateways.names
    one: Record = {}
    if point.inverter >= 0:
        one["inverter"] = inverters[point.inverter]
    if point.to != DIRECT:
        one["to"] = inverters[point.to]
    elif point.gateway >= 0:
        one["to" if point.inverter >= 0 else "gateway"] = gateways[point.gateway]
    return {
        **one,
        "used_by": [inverters[i] for i in point.used_by],
        "lost": [inverters[i] for i in point.lost],
    }
