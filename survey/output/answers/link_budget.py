"""The budget of a link as text: its items, its margin and its paths."""

from __future__ import annotations

import math
from typing import NamedTuple

from survey.base.layout import Column, listed, table, wrapped
from survey.budget import HOLDS
from survey.budget.explanation import Budget, Cost, Item
from survey.output.answers.figures import (
    NOTHING,
    NOTHING_DB,
    db,
    margin_in_db,
    percent,
)
from survey.output.answers.links import SHOWN_DB

COSTS_SHOWN = 3
"""Obstacles that are read at a glance; all are in the JSON. A judgement."""
NAMES_SHOWN = 4
"""Names that fit a line; all are in the JSON. A judgement."""
STATE_WORDS = ("fails", "is marginal", "holds")
"""The verb of a link or a route, by its state."""
NEGLIGIBLE_DB = 0.01
"""A smaller gain from the other paths is left out of the table: two decimals do not show it. [dB]"""
BUDGET_COLUMNS = (Column("item", text=True), Column("dB"), Column("level\ndBm"))
WAY_SENTENCES = {
    "straight": "direct, through or past the obstacles",
    "over": "over or under the obstacles on the direct line",
    "left": "past the left side of the obstacles, seen from the inverter",
    "right": "past the right side of the obstacles, seen from the inverter",
    "reflected": "reflected from {mirror}",
}


def margin_words(budget: Budget) -> str:
    """Return the margin, and what the link needs or can lose."""
    if not budget.margin_db >= NOTHING_DB:
        return f"{NOTHING}; no usable signal arrives at the {_listener(budget)}"
    if budget.state == HOLDS:
        more = f"it can lose {db(budget.spare_db)} dB more and still hold"
    else:
        more = f"it needs {db(-budget.spare_db)} dB more to hold"
    return f"{db(budget.margin_db)} dB; {more}"


def _listener(budget: Budget) -> str:
    return "gateway" if budget.direction == "up" else "inverter"


def budget_text(budget: Budget, *, wanted: float) -> str:
    """Return the budget under its direction, and what follows from it."""
    lines = [direct_words(budget), *outcome_lines(budget, wanted=wanted)[:1]]
    return "\n".join(
        [
            wrapped(direction_words(budget)),
            table(BUDGET_COLUMNS, budget_rows(budget)),
            *(wrapped(line) for line in lines if line),
        ]
    )


def direction_words(budget: Budget) -> str:
    """Return the direction of a budget, and how the other one compares."""
    ends = ("inverter", "gateway") if budget.direction == "up" else ("gateway", "inverter")
    better_db = budget.other_margin_db - budget.margin_db
    other = "has the same margin" if better_db < SHOWN_DB else f"has {db(better_db)} dB more margin"
    return f"Link budget, {ends[0]} to {ends[1]} (the other direction {other})"


class Step(NamedTuple):
    """An item of a budget as it is shown: what it adds [dB] and the level after it [dBm], both to two decimals."""

    item: Item
    db: float
    level_dbm: float


def steps_of(budget: Budget) -> list[Step]:
    """Return the items of a budget, rounded so that those shown add up; a negligible gain is left out."""
    steps: list[Step] = []
    total, before = 0.0, 0.0
    for item in budget.items:
        total += item.db
        if item.kind == "other paths" and abs(item.db) < NEGLIGIBLE_DB:
            continue
        after = round(total, 2) + 0.0
        steps.append(Step(item, after - before, after))
        before = after
    return steps


def budget_rows(budget: Budget) -> list[list[str]]:
    """Return item, dB and level of every step."""
    return [
        [step.item.item, signed(step.db), f"{step.level_dbm:.2f}" if math.isfinite(step.level_dbm) else NOTHING]
        for step in steps_of(budget)
    ]


def signed(value_db: float) -> str:
    """Return what a step adds, with its sign and two decimals."""
    return f"{round(value_db, 2) + 0.0:+.2f}" if math.isfinite(value_db) else NOTHING


def direct_words(budget: Budget) -> str:
    """Return what the direct path would lose, where another path is the best one."""
    if budget.carried_by == "straight" or not budget.direct:
        return ""
    losses = [f"{item.item} {db(-item.db)}" for item in budget.direct]
    listing = listed(losses, NAMES_SHOWN)
    more_db = budget.direct_db - budget.around_db
    return (
        f"The direct path would lose {db(budget.direct_db)} dB in obstacles, {db(more_db)} dB more than the best path: "
        f"{listing}."
    )


def outcome_lines(budget: Budget, *, wanted: float) -> list[str]:
    """Return from margin to state, in sentences."""
    sensitivity = f"{db(budget.need_dbm)} dBm"
    if not budget.margin_db >= NOTHING_DB:
        return [f"No usable signal arrives at the {_listener(budget)} (sensitivity {sensitivity})."]
    text = (
        f"The {_listener(budget)}'s sensitivity is {sensitivity}, so the margin is {db(budget.margin_db)} dB. The "
        f"chance counts with a fade margin of {budget.fade_margin_db:g} dB and an uncertainty of "
        f"{db(budget.sigma_db)} dB (one standard deviation): {percent(budget.reliability, wanted=wanted)}. "
        f"The link {STATE_WORDS[budget.state]}."
    )
    if budget.state == HOLDS:
        return [text, f"It can lose {db(budget.spare_db)} dB more and still hold."]
    return [text, f"It needs {db(-budget.spare_db)} dB more to hold."]


def path_words(budget: Budget) -> str:
    """Return the best path; nothing where no usable signal arrives."""
    if not budget.direct:
        return "direct; the line is clear"
    if not budget.margin_db >= NOTHING_DB:
        return ""
    return WAY_SENTENCES[budget.carried_by].format(mirror=budget.mirror)


def way_words(budget: Budget) -> str:
    """Return the best path as a sentence; nothing where no usable signal arrives."""
    path = path_words(budget)
    return f"Best path: {path}." if path else ""


def way_lines(budget: Budget, costs: tuple[Cost, ...]) -> list[str]:
    """Return the best path, and the gain without each obstacle, in sentences."""
    path = way_words(budget)
    if not budget.direct:
        return [path]
    if not costs:
        return [f"{path} No single obstacle matters: without any one of them the link is the same.".strip()]
    first, *others = costs[:COSTS_SHOWN]
    lines = [path, f"Main obstacle: {without_words(first)}."]
    lines += [f"Other obstacle: {without_words(cost)}." for cost in others]
    lines += [NOT_ADDED] if others else []
    return [line for line in lines if line]


NOT_ADDED = "Each gain is for one obstacle removed alone. Do not add them."


def without_words(cost: Cost) -> str:
    """Return an obstacle with the margin and the gain without it."""
    return (
        f"{cost.obstacle}; without it the margin would be {margin_in_db(cost.margin_db)} ({db(cost.gain_db)} dB more)"
    )
