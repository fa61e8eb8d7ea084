"""An explanation as JSON: the budget of each link, its obstacles, and the remedies."""

from __future__ import annotations

import math

from survey.budget import STATES
from survey.budget.explanation import Item
from survey.decisions.remedies import CAUTIONS, Change, Explained, Explanation, Remedy
from survey.output.answers.drawing import move_records
from survey.output.answers.network import route_names
from survey.output.answers.values import Record, plain

FINE = 12
"""Decimals of a budget: its items add up to a billionth of a decibel. A choice."""


def explain_record(explained: Explained) -> Record:
    """Return what `survey explain --json` prints."""
    plan, cable = explained.scene.plan, explained.cable
    words = {word for one in explained.inverters for remedy in one.remedies for word in remedy.cautions}
    return {
        "plan": plan.file,
        "site": plan.site.name,
        "gateways": list(explained.links.gateways.names),
        "gateways_are": explained.why,
        "cable": {
            "longest_m": plain(cable.longest_m),
            "loss_db_per_m": plain(cable.loss_db_per_m),
            "connectors_db": plain(cable.connectors_db),
            "assumed": cable.assumed,
        },
        "inverters": [_inverter(explained, one) for one in explained.inverters],
        "cautions": {word: text for word, text in CAUTIONS.items() if word in words},
    }


def _inverter(explained: Explained, one: Explanation) -> Record:
    budget, route = one.budget, one.route
    return {
        "inverter": budget.inverter,
        "gateway": budget.gateway,
        "direction": budget.direction,
        "budget": _items(budget.items),
        "direct_path": _items(budget.direct),
        "level_dbm": _fine(budget.level_dbm),
        "need_dbm": plain(budget.need_dbm),
        "margin_db": plain(budget.margin_db),
        "other_margin_db": plain(budget.other_margin_db),
        "fade_margin_db": plain(budget.fade_margin_db),
        "sigma_db": plain(budget.sigma_db),
        "reliability": plain(budget.reliability),
        "state": STATES[budget.state],
        "depends_on": move_records(one.moves),
        "spare_db": plain(budget.spare_db),
        "carried_by": budget.carried_by,
        "mirror": budget.mirror or None,
        "route": route_names(explained.network, route),
        "route_reliability": plain(route.reliability),
        "route_margin_db": plain(route.weakest_margin_db),
        "route_state": STATES[one.state],
        "obstacles": [
            {"obstacle": c.obstacle, "kind": c.kind, "gain_db": plain(c.gain_db), "margin_db": plain(c.margin_db)}
            for c in one.costs
        ],
        "remedies": [_remedy(remedy) for remedy in one.remedies],
        "of_no_use": [_remedy(remedy) for remedy in one.idle],
    }


def _items(items: tuple[Item, ...]) -> list[Record]:
    return [
        {"item": step.item, "db": _fine(step.db), "kind": step.kind, "obstacle": step.obstacle or None}
        for step in items
    ]


def _fine(value: float) -> float | None:
    return round(value, FINE) + 0.0 if math.isfinite(value) else None


def _remedy(remedy: Remedy) -> Record:
    return {
        "action": remedy.action,
        "kind": remedy.kind,
        "about": remedy.about,
        "at_m": plain(remedy.at_m),
        "cable_loss_db": plain(remedy.cable_loss_db),
        "gain_db": plain(remedy.gain_db),
        "margin_db": plain(remedy.margin_db),
        "reliability": plain(remedy.reliability),
        "state": STATES[remedy.state],
        "helps": [_change(change) for change in remedy.helped],
        "harms": [_change(change) for change in remedy.harmed],
        "cautions": list(remedy.cautions),
    }


def _change(change: Change) -> Record:
    return {"inverter": change.inverter, "before": STATES[change.before], "after": STATES[change.after]}
