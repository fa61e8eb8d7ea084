"""What is printed of a network: routes, and what hangs on a single relay, link or gateway."""

from __future__ import annotations

import numpy as np

from survey.base.layout import Cell, Column, counted, paragraphs, table, wrapped
from survey.budget import HOLDS, STATES
from survey.output.answers.figures import CAUTION, NO_ROOM, NOTHING, letter, margin, percent, wanted_line
from survey.output.answers.values import Record, plain
from survey.routing import DIRECT, Network, Route
from survey.routing.graph import edges_of, nodes_of
from survey.routing.weak_points import WeakPoint, WeakPoints

POINTS_SHOWN = 10
"""As many as one reads; all are in the JSON."""

ROUTE_COLUMNS = (
    Column("inverter", text=True),
    Column("by way of", text=True),
    Column("weakest\nmargin dB"),
    Column("chance"),
    Column("state", text=True),
)
LOST_COLUMNS = (Column("used by"), Column("lost\nwithout it"), Column("who is lost", text=True, yields=True))
ASSUMED = wrapped(
    "Looked at is one thing that falls silent in daylight while the rest works; then every inverter takes the best "
    "route that is left. At night no inverter reports, and nothing is lost by it. A chance of a route is the product "
    "of its links' chances, as if they failed independently."
)


def network_table(points: WeakPoints) -> str:
    """Routes of all inverters, then the weak points."""
    network = points.network
    gateways, plan = network.links.gateways.names, network.scene.plan
    most = plan.requirement.max_relays
    allowed = f"up to {counted(most, 'inverter')} in between" if most else "no inverter in between"
    named = [wrapped(f"{letter(j)}  {name}", indent="  ", hang=3) for j, name in enumerate(gateways)]
    if len(gateways) == 1:
        heading = wrapped(f"Routes to {gateways[0]}, {allowed}") + "\n"
    else:
        heading = "\n".join([f"Routes, {allowed}, to", *named]) + "\n\n"
    return paragraphs(
        wanted_line(plan),
        heading + _routes(points),
        _tally(points),
        _relays(points),
        _gateways(points),
        _links(points),
        ASSUMED,
        CAUTION,
    )


def _routes(points: WeakPoints) -> str:
    network = points.network
    several = len(network.links.gateways.names) > 1
    rows: list[list[Cell]] = []
    for route, two in zip(network.routes, points.two_routes.tolist(), strict=True):
        row = [*route_row(network, route), "yes" if two else "no"]
        if several:
            row.insert(1, letter(route.gateway) if route.gateway >= 0 else "none")
        rows.append(row)
    columns = [*ROUTE_COLUMNS, Column("two\nroutes", text=True)]
    if several:
        columns.insert(1, Column("to", text=True))
    return table(columns, rows)


def route_row(network: Network, route: Route) -> list[Cell]:
    """One route under `ROUTE_COLUMNS`."""
    names = network.links.inverters.names
    return [
        names[route.inverter],
        tuple(names[relay] for relay in route.relays) or ("itself" if route.gateway >= 0 else "-"),
        margin(route.weakest_margin_db) if route.gateway >= 0 else NOTHING,
        percent(route.reliability, wanted=network.scene.plan.requirement.reliability),
        STATES[int(network.state[route.inverter])] if route.gateway >= 0 else NO_ROOM,
    ]


def _tally(points: WeakPoints) -> str:
    network = points.network
    hold = int(np.sum(network.state == HOLDS))
    states = network.state.tolist()
    relayed = sum(state == HOLDS and len(route.relays) > 0 for route, state in zip(network.routes, states, strict=True))
    two = int(points.two_routes.sum())
    left_out = f"; {network.over_capacity} without room at a gateway" if network.over_capacity else ""
    return wrapped(
        f"{counted(len(network.routes), 'inverter')}: {hold} hold{'s' if hold == 1 else ''}, {relayed} of them by way "
        f"of others; {two} {'has' if two == 1 else 'have'} two routes that share no inverter and no link" + left_out
    )


def _lost(network: Network, point: WeakPoint) -> list[Cell]:
    names = network.links.inverters.names
    lost = tuple(names[i] for i in point.lost)
    return [str(len(point.used_by)), str(len(lost)), lost or "nobody"]


def _relays(points: WeakPoints) -> str:
    network = points.network
    if not points.relays:
        return ""
    names = network.links.inverters.names
    rows = [[names[one.inverter], *_lost(network, one)] for one in points.relays[:POINTS_SHOWN]]
    return _title("Inverters that others depend on", len(points.relays)) + table(
        [Column("relay", text=True), *LOST_COLUMNS], rows
    )


def _gateways(points: WeakPoints) -> str:
    network = points.network
    if len(points.gateways) == 1:
        return ""
    names = network.links.gateways.names
    rows = [[names[one.gateway], *_lost(network, one)] for one in points.gateways[:POINTS_SHOWN]]
    return _title("Gateways", len(points.gateways)) + table([Column("gateway", text=True), *LOST_COLUMNS], rows)


def _links(points: WeakPoints) -> str:
    """Links that are the only way, those that others need too first."""
    network = points.network
    shared = [one for one in points.links if one.used_by]
    alone = len(points.links) - len(shared)
    parts = []
    if shared:
        inverters, gateways = network.links.inverters.names, network.links.gateways.names
        rows = [
            [
                inverters[one.inverter],
                gateways[one.gateway] if one.to == DIRECT else inverters[one.to],
                *_lost(network, one),
            ]
            for one in shared[:POINTS_SHOWN]
        ]
        columns = [Column("link of", text=True), Column("to", text=True), *LOST_COLUMNS]
        parts.append(_title("Links that are the only way for others too", len(shared)) + table(columns, rows))
    if alone:
        be = "inverter has only one route" if alone == 1 else "inverters have only one route each"
        more = " more" if shared else ""
        parts.append(wrapped(f"{alone}{more} {be}: without the link that it begins with, it holds no longer"))
    return "\n\n".join(parts)


def _title(text: str, count: int) -> str:
    return f"{text}\n" if count <= POINTS_SHOWN else f"{text}: the first {POINTS_SHOWN} of {count}\n"


def route_names(network: Network, route: Route) -> list[str] | None:
    """What a route goes along, from its inverter to its gateway; None where no gateway has room for the inverter."""
    return network.names(route) if route.gateway >= 0 else None


def route_record(network: Network, route: Route) -> Record:
    """One route: what it goes along, and what it is worth."""
    return {
        "inverter": network.links.inverters.names[route.inverter],
        "gateway": network.links.gateways.names[route.gateway] if route.gateway >= 0 else None,
        "route": route_names(network, route),
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
            "widest_route": route_names(network, widest),
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
