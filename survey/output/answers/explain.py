"""An explanation as text and as JSON: what to do, the main obstacles, and the budget of each link."""

from __future__ import annotations

import math
from collections.abc import Sequence
from shlex import quote
from typing import NamedTuple

from survey.base.layout import Column, counted, labelled, listed, paragraphs, table, wrapped
from survey.budget import HOLDS, STATES
from survey.budget.explanation import Budget, Cost, Item
from survey.decisions.remedies import CAUTIONS, WORTH_DB, Change, Explained, Explanation, JointRemedies, Remedy
from survey.output.answers.drawing import move_lines
from survey.output.answers.figures import (
    CAUTION,
    NO_ROOM,
    NOTHING,
    NOTHING_DB,
    db,
    margin,
    margin_in_db,
    percent,
    wanted_line,
)
from survey.output.answers.joint import joint_text
from survey.output.answers.links import SHOWN_DB

REMEDIES_SHOWN = 12
"""Remedies that a screen has room for; all are in the JSON. A judgement."""
SPARE_SHOWN = 3
"""Remedies shown of a link that holds, where they were asked for. A judgement."""
COSTS_SHOWN = 3
"""Obstacles that are read at a glance; all are in the JSON. A judgement."""
NAMES_SHOWN = 4
"""Names that fit a line; all are in the JSON. A judgement."""
NO_ROOM_LINE = "All gateways are full: this is the link that it would have."
STATE_WORDS = ("fails", "is marginal", "holds")
"""The verb of a link or a route, by its state."""
NEGLIGIBLE_DB = 0.01
"""A smaller gain from the other paths is left out of the table: two decimals do not show it. [dB]"""

BUDGET_COLUMNS = (Column("item", text=True), Column("dB"), Column("level\ndBm"))
REMEDY_COLUMNS = (
    Column("remedy", text=True, yields=True),
    Column("gain\ndB", spare=3),
    Column("margin\ndB", spare=2),
    Column("chance", spare=1),
    Column("state", text=True),
    Column("others\nbetter/worse"),
)
"""A remedy as a row; what a narrow terminal can do without is a judgement."""
REMEDY_KEY = "Others better/worse: how many other inverters get a better state, and how many a worse one."
WAY_SENTENCES = {
    "straight": "direct, through or past the obstacles",
    "over": "over or under the obstacles on the direct line",
    "left": "past the left side of the obstacles, seen from the inverter",
    "right": "past the right side of the obstacles, seen from the inverter",
    "reflected": "reflected from {mirror}",
}
KIND_WORDS = {
    "outside": "hang the gateway outside its box",
    "move": "move the gateway along its wall",
    "raise": "raise the gateway",
    "cable": "put the antenna on a cable",
    "other spot": "another spot",
    "relay": "one more relay",
    "one more": "another gateway",
    "obstacle": "remove an obstacle",
}


def explain_text(explained: Explained) -> str:
    """Return what `survey explain` prints: every requested inverter, one after the other."""
    plan = explained.scene.plan
    shown = [remedy for explanation in explained.inverters for remedy in shown_remedies(explanation)]
    return paragraphs(
        wanted_line(plan, explained.links),
        _gateways(explained),
        *(_one(explained, explanation) for explanation in explained.inverters),
        _safety(shown),
        wrapped(CAUTION),
    )


def together_text(explained: Explained, joint: JointRemedies) -> str:
    """Return what `survey explain --together` prints: the remedies for all requested inverters together."""
    return paragraphs(
        wanted_line(explained.scene.plan, explained.links), _gateways(explained), joint_text(joint), wrapped(CAUTION)
    )


def _gateways(explained: Explained) -> str:
    """Return which gateways these are, where that is not plain."""
    names = explained.links.gateways.names
    if explained.why == "recommended":
        one = len(names) == 1
        what = f"one at {names[0]}, the spot" if one else f"gateways at {', '.join(names)}, the spots"
        return wrapped(f"The plan has no gateway. This is for {what} that survey place recommends.")
    if len(names) > 1:
        return wrapped(f"Each inverter is explained with its own gateway, of {counted(len(names), 'gateway')}.")
    return ""


def _one(explained: Explained, one: Explanation) -> str:
    wanted = explained.scene.plan.requirement.reliability
    title = wrapped(title_words(one))
    return paragraphs(
        "\n".join(
            [
                title,
                "=" * len(title.split("\n")[0]),
                *labelled(_facts(one, wanted=wanted)),
                *(wrapped(line, indent="  ") for line in route_lines(one, wanted=wanted)),
            ]
        ),
        _remedies(explained, one),
        _budget(one.budget, wanted=wanted),
    )


def title_words(one: Explanation) -> str:
    """Return the inverter, its gateway, its relays and the state."""
    route = f" through {', '.join(one.by_way_of)}" if one.by_way_of else ""
    state = STATES[one.state] if one.route.gateway >= 0 else NO_ROOM
    return f"{one.budget.inverter} to {one.budget.gateway}{route}: {state}"


def _facts(one: Explanation, *, wanted: float) -> list[tuple[str, str]]:
    """Return the answer in short: next step, chance, margin, best path and main obstacles, each with its label."""
    budget, costs = one.budget, one.costs
    chance = f"{percent(budget.reliability, wanted=wanted)} (required: {100 * wanted:g} %)"
    first, *others = costs[:COSTS_SHOWN] or [None]
    facts = [
        ("Next step", next_step(one)),
        ("Chance", chance if budget.margin_db >= NOTHING_DB else ""),
        ("Margin", margin_words(budget)),
        ("Best path", path_words(budget)),
        ("Main obstacle", _without(first) if first else ""),
    ]
    facts += [("Other obstacle", _without(cost)) for cost in others if cost]
    facts.append(("Position", " ".join(move_lines(one.moves, state=budget.state))))
    return facts


def next_step(one: Explanation) -> str:
    """Return what to do first about a link."""
    if one.holds:
        return "none is needed: " + ("the route holds" if one.by_way_of else "the link holds")
    if not one.remedies:
        return "look for another spot with survey place: none of the remedies tried helps"
    best = one.remedies[0]
    then = "the link then holds" if best.state == HOLDS else f"the link then still {STATE_WORDS[best.state]}"
    return f"{best.action}; {then} (remedy 1 below)"


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


def route_lines(one: Explanation, *, wanted: float) -> list[str]:
    """Return how good the route is, where that differs from the direct link."""
    if one.route.gateway < 0:
        return [NO_ROOM_LINE]
    if not one.by_way_of:
        return []
    chance = percent(one.route.reliability, wanted=wanted)
    weakest = f"its weakest link has a margin of {db(one.route.weakest_margin_db)} dB, the chance is {chance}"
    return [
        f"The route {STATE_WORDS[one.state]}: {weakest}.",
        f"The figures here are for the direct link to {one.budget.gateway}. The remedies are for the route.",
    ]


def _budget(budget: Budget, *, wanted: float) -> str:
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
    lines = [path, f"Main obstacle: {_without(first)}."]
    lines += [f"Other obstacle: {_without(cost)}." for cost in others]
    lines += [NOT_ADDED] if others else []
    return [line for line in lines if line]


NOT_ADDED = "Each gain is for one obstacle removed alone. Do not add them."


def _without(cost: Cost) -> str:
    """Return an obstacle with the margin and the gain without it."""
    return (
        f"{cost.obstacle}; without it the margin would be {margin_in_db(cost.margin_db)} ({db(cost.gain_db)} dB more)"
    )


def shown_remedies(one: Explanation) -> tuple[Remedy, ...]:
    """Return the remedies that are printed: all of a link that needs one, and a few of a link that holds."""
    return one.remedies[: SPARE_SHOWN if one.holds else REMEDIES_SHOWN]


def _remedies(explained: Explained, one: Explanation) -> str:
    if one.holds and not one.remedies and not one.idle:  # none was asked for
        return ""
    shown, wanted = shown_remedies(one), explained.scene.plan.requirement.reliability
    title = remedies_title(one)
    if not shown:
        return paragraphs("\n".join([title, *(wrapped(line) for line in [idle_words(one)] if line)]))
    rows = [
        [
            f"{number:>{len(str(len(shown)))}}  {remedy.action}",
            *remedy_cells(remedy, wanted=wanted),
        ]
        for number, remedy in enumerate(shown, start=1)
    ]
    more = len(one.remedies) - len(shown)
    lines = [f"{more} more with --json."] if more else []
    lines += [
        f"Remedy {number} makes worse: {changes_words(remedy.harmed)}."
        for number, remedy in enumerate(shown, start=1)
        if remedy.harmed
    ]
    lines += [REMEDY_KEY, *_notes(explained, one), idle_words(one)]
    return "\n".join([title, table(REMEDY_COLUMNS, rows), *(wrapped(line) for line in lines if line)])


def _notes(explained: Explained, one: Explanation) -> list[str]:
    """Return what to know of the remedies and gains shown for one inverter."""
    shown = shown_remedies(one)
    numbers = [str(number) for number, remedy in enumerate(shown, start=1) if remedy.kind in {"other spot", "one more"}]
    lines = [_cable_line(explained, shown)]
    if numbers:
        verb, noun = ("uses", "Remedy") if len(numbers) == 1 else ("use", "Remedies")
        lines.append(
            f"{noun} {' and '.join(numbers)} {verb} the best spot for {one.budget.inverter} alone. "
            f"The best spot for all inverters: survey place {quote(explained.scene.plan.file)}"
        )
    if not one.holds and any(remedy.at_m for remedy in shown):
        lines.append(
            "Test before you fix anything: hold the gateway at the new position on a pole, from the ground. Read the "
            f"level of {one.budget.inverter} there."
        )
    if len(one.costs) > 1:
        lines.append(f"Obstacles: {NOT_ADDED[0].lower()}{NOT_ADDED[1:]}")
    return lines


def remedies_title(one: Explanation) -> str:
    """Return the title of the remedies of a link, or the line in their place where there are none."""
    if one.holds and not one.remedies and not one.idle:
        return f"The {'route' if one.by_way_of else 'link'} holds: it needs no remedy."
    if not shown_remedies(one):
        return "No remedy that was tried " + ("adds margin." if one.holds else "helps.")
    if one.holds:
        return "Ways to gain margin, the least work at the top"
    if one.remedies[0].state == HOLDS:
        return "What to do: remedies that make the link hold come first, the least work at the top"
    return "What to do: the remedies with the best state come first, the least work at the top"


def remedy_cells(remedy: Remedy, *, wanted: float) -> list[str]:
    """Return a remedy under `REMEDY_COLUMNS`, without its action."""
    return [
        db(remedy.gain_db) if remedy.margin_db - remedy.gain_db >= NOTHING_DB else "much",
        margin(remedy.margin_db),
        percent(remedy.reliability, wanted=wanted),
        STATES[remedy.state],
        f"{len(remedy.helped)}/{len(remedy.harmed)}",
    ]


def changes_words(changes: tuple[Change, ...]) -> str:
    """Return the inverters whose state changes, each with both states; the first few of many."""
    names = [f"{change.inverter} (from {STATES[change.before]} to {STATES[change.after]})" for change in changes]
    return listed(names, NAMES_SHOWN)


def idle_words(one: Explanation) -> str:
    """Return the kinds of remedy that were tried without benefit."""
    useful = {remedy.kind for remedy in one.remedies}
    kinds = [word for kind, word in KIND_WORDS.items() if kind not in useful and any(i.kind == kind for i in one.idle)]
    if not kinds:
        return ""
    return f"Tried without benefit (gain under {WORTH_DB:g} dB, or a lower chance or state): {', '.join(kinds)}."


def _safety(shown: Sequence[Remedy]) -> str:
    """Return the safety rules of the remedies shown, under their title."""
    lines = _safety_lines(shown)
    return "\n".join(["Safety", *(wrapped(f"- {line}", indent="  ") for line in lines)]) if lines else ""


def caution_lines(explained: Explained, shown: Sequence[Remedy]) -> list[str]:
    """Return the safety rules of remedies and what was assumed, in sentences."""
    return [line for line in (_cable_line(explained, shown), *_safety_lines(shown)) if line]


def _cable_line(explained: Explained, shown: Sequence[Remedy]) -> str:
    """Return the cable loss that the remedies count with; nothing where none needs a cable."""
    cable = explained.cable
    if not any("cable" in remedy.cautions for remedy in shown):
        return ""
    loss = f"{cable.loss_db_per_m:.2f} dB per metre and {cable.connectors_db:g} dB for both connectors"
    text = f"The gain of an antenna on a cable includes its cable loss: {loss}."
    if cable.assumed:
        text += " That is an assumption: read the data sheet and give its figure with --cable-loss-db-per-m."
    return text


def _safety_lines(shown: Sequence[Remedy]) -> list[str]:
    words = {word for remedy in shown for word in remedy.cautions}
    return [text for word, text in CAUTIONS.items() if word in words]
