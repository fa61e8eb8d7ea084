"""Answers as rows for a spreadsheet: routes, changes between plans, and explanations."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from survey.base.arrays import BoolArray
from survey.budget import STATES
from survey.output.answers.figures import NO_ROOM
from survey.output.answers.values import csv_text
from survey.routing import Network, Route
from survey.scene import Scene

if TYPE_CHECKING:  # each command needs one of them
    from survey.decisions.comparison import BetweenPlans
    from survey.decisions.remedies import Explained, Explanation

ROUTE_COLUMNS = ("inverter", "serial", "gateway", "relays", "weakest_margin_db", "reliability", "state")
CHANGE_COLUMNS = (
    "inverter",
    "serial",
    "gateway",
    "before_margin_db",
    "before_reliability",
    "before_state",
    "after_margin_db",
    "after_reliability",
    "after_state",
    "change_db",
    "cause",
    "cause_db",
)
EXPLANATION_COLUMNS = (
    "inverter",
    "serial",
    "gateway",
    "part",
    "number",
    "kind",
    "item",
    "db",
    "margin_db",
    "reliability",
    "state",
)
"""A row of an explanation is an item of the ``budget``, the whole ``link``, an ``obstacle`` or a ``remedy``.

`db` is what an item adds to the level, and what an obstacle removed or a remedy adds to the margin.
"""


def network_csv(network: Network, *, two_routes: BoolArray | None = None) -> str:
    """Return the route of every inverter; with `two_routes` also whether it has a backup route."""
    rows = [_route_cells(network, route, "none") for route in network.routes]
    if two_routes is None:
        return csv_text(ROUTE_COLUMNS, rows)
    backup = ["yes" if two else "no" for two in two_routes.tolist()]
    return csv_text((*ROUTE_COLUMNS, "backup_route"), ([*row, two] for row, two in zip(rows, backup, strict=True)))


def compare_csv(spots: Sequence[str], networks: Sequence[Network], *, inverters: Sequence[str] = ()) -> str:
    """Return the route of every inverter to each of some spots as the only gateway; or of some inverters only."""
    numbers = _numbers(networks[0].scene, inverters)
    rows = (
        _route_cells(network, network.routes[i], spot)
        for i in numbers
        for spot, network in zip(spots, networks, strict=True)
    )
    return csv_text(ROUTE_COLUMNS, rows)


def _route_cells(network: Network, route: Route, full_at: str) -> list[Any]:
    """Return a route under `ROUTE_COLUMNS`; `full_at` is the gateway of an inverter over capacity."""
    ends, has_gateway = network.links.inverters, route.gateway >= 0
    return [
        ends.names[route.inverter],
        ends.serials[route.inverter],
        network.links.gateways.names[route.gateway] if has_gateway else full_at,
        tuple(ends.names[relay] for relay in route.relays),
        route.weakest_margin_db,
        route.reliability,
        STATES[int(network.state[route.inverter])] if has_gateway else NO_ROOM,
    ]


def plans_csv(between: BetweenPlans, *, inverters: Sequence[str] = ()) -> str:
    """Return every link in two plans, changed or not; or those of some inverters only."""
    from survey.output.answers.plans import REST  # noqa: PLC0415  one command needs it

    before, after, ends = between.before, between.after, between.before.inverters
    rows = []
    for i in _numbers(before.scene, inverters):
        for j, spot in enumerate(before.gateways.names):
            cells: list[Any] = [ends.names[i], ends.serials[i], spot]
            for links in (before, after):
                cells += [links.margin_db[i, j], links.reliability[i, j], STATES[links.state[i, j]]]
            cause = int(between.cause[i, j])
            by = [between.changes[cause].name or REST, between.cause_db[i, j]] if cause >= 0 else ["", None]
            rows.append([*cells, between.difference_db[i, j], *by])
    return csv_text(CHANGE_COLUMNS, rows)


def _numbers(scene: Scene, inverters: Sequence[str]) -> Sequence[int]:
    """Return the indices of some inverters, each once; of all where none is named."""
    names = scene.inverters.names
    return [names.index(name) for name in dict.fromkeys(inverters)] or range(len(names))


def explain_csv(explained: Explained) -> str:
    """Return the budget, the obstacles and the remedies of every inverter explained, under `EXPLANATION_COLUMNS`."""
    ends = explained.scene.inverters
    serials = dict(zip(ends.names, ends.serials, strict=True))
    return csv_text(
        EXPLANATION_COLUMNS,
        (
            [one.budget.inverter, serials[one.budget.inverter], one.budget.gateway, *cells]
            for one in explained.inverters
            for cells in _explanation_cells(one)
        ),
    )


def _explanation_cells(one: Explanation) -> list[list[Any]]:
    budget = one.budget
    rows: list[list[Any]] = [
        ["budget", number, item.kind, item.item, item.db, None, None, None]
        for number, item in enumerate(budget.items, start=1)
    ]
    rows.append(["link", 1, "", "", None, budget.margin_db, budget.reliability, STATES[budget.state]])
    rows += [
        ["obstacle", number, cost.kind, cost.obstacle, cost.gain_db, cost.margin_db, None, None]
        for number, cost in enumerate(one.costs, start=1)
    ]
    rows += [
        ["remedy", number, r.kind, r.action, r.gain_db, r.margin_db, r.reliability, STATES[r.state]]
        for number, r in enumerate(one.remedies, start=1)
    ]
    return rows
