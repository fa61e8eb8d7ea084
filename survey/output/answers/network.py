"""A network as text and as JSON: the routes, and the single points of failure."""

from __future__ import annotations

from shlex import quote

import numpy as np

from survey.base.layout import Cell, Column, counted, paragraphs, table, wrapped
from survey.budget import HOLDS, STATES
from survey.output.answers.figures import (
    CAUTION,
    NO_ROOM,
    NOTHING,
    covered,
    explain_command,
    letter,
    margin,
    percent,
    wanted_line,
)
from survey.output.answers.values import Record, plain
from survey.routing import DIRECT, Network, Route
from survey.routing.graph import edges_of, nodes_of
from survey.routing.weak_points import WeakPoint, WeakPoints

POINTS_SHOWN = 10
"""Rows that are read at a glance; all are in the JSON. A judgement."""

ROUTE_COLUMNS = (
    Column("inverter", text=True),
    Column("relays", text=True),
    Column("weakest\nmargin dB", spare=3),
    Column("chance", spare=2),
    Column("state", text=True),
)
"""A route as a row; what a narrow terminal can do without is a judgement."""
LOST_COLUMNS = (Column("used by"), Column("lost if\nit fails"), Column("inverters lost", text=True, yields=True))
ASSUMED = (
    "Each relay, link or gateway is assumed to fail alone, in daytime. Every inverter then takes its best remaining "
    "route. At night no inverter reports, so nothing is lost. The chance of a route is the product of the chances of "
    "its links, as if they failed independently."
)


def network_table(points: WeakPoints) -> str:
    """Return what `survey network` prints: the result, the routes, then the single points of failure."""
    network = points.network
    gateways, plan = network.links.gateways.names, network.scene.plan
    most = plan.requirement.max_relays
    allowed = f"up to {counted(most, 'relay')}" if most else "without relays"
    named = [wrapped(f"{letter(j)}  {name}", indent="  ", hang=3) for j, name in enumerate(gateways)]
    if len(gateways) == 1:
        heading = wrapped(f"Routes to {gateways[0]}, {allowed}") + "\n"
    else:
        heading = "\n".join([f"Routes, {allowed}, to", *named]) + "\n\n"
    return paragraphs(
        wanted_line(plan, network.links),
        f"{_tally(points)}\n{_next_step(points)}",
        heading + _routes(points),
        _relays(points),
        _gateways(points),
        _links(points),
        wrapped(ASSUMED),
        wrapped(CAUTION),
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
    columns = [*ROUTE_COLUMNS, Column("backup\nroute", text=True, spare=1)]
    if several:
        columns.insert(1, Column("to", text=True))
    return table(columns, rows)


def route_row(network: Network, route: Route) -> list[Cell]:
    """Return one route under `ROUTE_COLUMNS`."""
    names = network.links.inverters.names
    return [
        names[route.inverter],
        tuple(names[relay] for relay in route.relays) or ("none" if route.gateway >= 0 else "-"),
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
    through = f", {relayed} of them through relays" if relayed else ""
    over = f" {network.over_capacity} over the gateways' capacity." if network.over_capacity else ""
    backup = f"{two} {'has' if two == 1 else 'have'} a backup route (no shared relay, no shared link)."
    return wrapped(f"{covered(hold, len(network.routes))}{through}.{over} {backup}")


def _next_step(points: WeakPoints) -> str:
    """Return what to do next."""
    network = points.network
    file, names = quote(network.scene.plan.file), network.links.inverters.names
    missing = np.flatnonzero(network.state < HOLDS).tolist()
    if missing:
        weakest = min(missing, key=lambda i: np.nan_to_num(network.weakest_margin_db[i], nan=-np.inf))
        explain = explain_command(network, names[weakest])
        return wrapped(f"Next step: see what helps the weakest inverter: {explain}")
    critical = next((point for point in points.relays if point.lost), None)
    if critical is not None:
        lost = counted(len(critical.lost), "inverter")
        relay = names[critical.inverter]
        return wrapped(f"Next step: plan a gateway near {relay}. {lost} would be lost if this relay failed.")
    return wrapped(f"Next step: take readings on site, then compare: survey fit {file} READINGS.csv")


def _lost(network: Network, point: WeakPoint) -> list[Cell]:
    names = network.links.inverters.names
    lost = tuple(names[i] for i in point.lost)
    return [str(len(point.used_by)), str(len(lost)), lost or "none"]


def _relays(points: WeakPoints) -> str:
    network = points.network
    if not points.relays:
        return ""
    names = network.links.inverters.names
    rows = [[names[one.inverter], *_lost(network, one)] for one in points.relays[:POINTS_SHOWN]]
    return _title("Relays in use, the most critical first", len(points.relays)) + table(
        [Column("relay", text=True), *LOST_COLUMNS], rows
    )


def _gateways(points: WeakPoints) -> str:
    network = points.network
    if len(points.gateways) == 1:
        return ""
    names = network.links.gateways.names
    rows = [[names[one.gateway], *_lost(network, one)] for one in points.gateways[:POINTS_SHOWN]]
    columns = [Column("gateway", text=True), *LOST_COLUMNS]
    return _title("Gateways, the most critical first", len(points.gateways)) + table(columns, rows)


def _links(points: WeakPoints) -> str:
    """Return the links without alternative, those that relays use too first."""
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
        parts.append(_title("Links without alternative that relays use too", len(shared)) + table(columns, rows))
    if alone:
        more = " more" if shared else ""
        noun, lost = ("inverter has", "it is lost") if alone == 1 else ("inverters have", "that inverter is lost")
        parts.append(wrapped(f"{alone}{more} {noun} a single route: if its first link fails, {lost}."))
    return "\n\n".join(parts)


def _title(text: str, count: int) -> str:
    return f"{text}\n" if count <= POINTS_SHOWN else f"{text}: the first {POINTS_SHOWN} of {count}\n"


def route_names(network: Network, route: Route) -> list[str] | None:
    """Return the names along a route, from its inverter to its gateway; None for an inverter over capacity."""
    return network.names(route) if route.gateway >= 0 else None


def route_record(network: Network, route: Route) -> Record:
    """Return one route as a record."""
    return {
        "inverter": network.links.inverters.names[route.inverter],
        "gateway": network.links.gateways.names[route.gateway] if route.gateway >= 0 else None,
        "route": route_names(network, route),
        "reliability": plain(route.reliability),
        "weakest_margin_db": plain(route.weakest_margin_db),
    }


def network_record(points: WeakPoints) -> Record:
    """Return what `survey network --json` prints."""
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
