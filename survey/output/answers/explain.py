"""What is printed of an explanation: the budget, what costs most, and what would mend it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from survey.base.layout import Column, counted, paragraphs, table, wrapped
from survey.budget import HOLDS, STATES
from survey.budget.explanation import Budget, Cost, Item
from survey.decisions.remedies import CAUTIONS, WORTH_DB, Change, Explained, Explanation, Remedy
from survey.output.answers.drawing import move_lines, move_records
from survey.output.answers.figures import CAUTION, NO_ROOM, NOTHING, NOTHING_DB, db, margin, percent, wanted_line
from survey.output.answers.links import SHOWN_DB, WAY_WORDS
from survey.output.answers.network import route_names
from survey.output.answers.values import Record, plain

REMEDIES_SHOWN = 12
"""As many as a screen has room for; all are in the JSON."""
SPARE_SHOWN = 3
"""How many remedies are shown of a link that holds anyway."""
COSTS_SHOWN = 3
"""As many obstacles as one reads at a glance; all are in the JSON."""
NAMES_SHOWN = 4
"""As many names as fit a line; all are in the JSON."""
NO_ROOM_LINE = "No gateway has room for it: this is the link that it would have."
STATE_WORDS = ("fails", "is marginal", "holds")
"""What a link or a route does, by its state."""
NEGLIGIBLE_DB = 0.01
"""So little of what comes around is left out of the column. [dB]"""

BUDGET_COLUMNS = (Column("item", text=True), Column("dB"), Column("level\ndBm"))
REMEDY_COLUMNS = (
    Column("remedy", text=True, yields=True),
    Column("gain\ndB"),
    Column("margin\ndB"),
    Column("chance"),
    Column("state", text=True),
    Column("others\nup/down"),
)
WAY_SENTENCES = {
    "straight": "straight, through or past what stands in the line",
    "over": "over the top of what stands in the line, or under it",
    "left": "past the left of what stands in the line, seen from the inverter",
    "right": "past the right of what stands in the line, seen from the inverter",
    "reflected": "by a mirror: thrown back by {mirror}",
}
KIND_WORDS = {
    "relay": "one relay more",
    "move": "moving along its wall",
    "raise": "raising the gateway",
    "cable": "an antenna on a cable",
    "other spot": "another spot",
    "one more": "one more gateway",
    "obstacle": "taking away an obstacle",
}


def explain_text(explained: Explained) -> str:
    """Every inverter that was asked for, one after the other."""
    plan = explained.scene.plan
    shown = [one for each in explained.inverters for one in shown_remedies(each)]
    return paragraphs(
        wanted_line(plan),
        _gateways(explained),
        *(_one(explained, each) for each in explained.inverters),
        _cautions(explained, shown),
        CAUTION,
    )


def _gateways(explained: Explained) -> str:
    """To which gateways, where that is not plain."""
    names = explained.links.gateways.names
    if explained.why == "recommended":
        where = f"one were at {names[0]}" if len(names) == 1 else f"there were some at {', '.join(names)}"
        return wrapped(f"No gateway stands there: worked out as if {where}, as survey place recommends.")
    if len(names) > 1:
        return wrapped(f"Every inverter with its gateway, of {counted(len(names), 'gateway')}.")
    return ""


def _one(explained: Explained, one: Explanation) -> str:
    budget, wanted = one.budget, explained.scene.plan.requirement.reliability
    title = wrapped(title_words(one))
    return paragraphs(
        title + "\n" + "=" * len(title.split("\n")[0]),
        "\n".join(wrapped(line) for line in route_lines(one, wanted=wanted)),
        _budget(budget),
        "\n".join(wrapped(line) for line in outcome_lines(budget, wanted=wanted)),
        "\n".join(wrapped(line) for line in way_lines(budget, one.costs)),
        "\n".join(wrapped(line) for line in move_lines(one.moves, state=budget.state)),
        _remedies(explained, one),
    )


def title_words(one: Explanation) -> str:
    """Who, to which gateway, by way of whom, and what that is worth."""
    route = f", by way of {', '.join(one.by_way_of)}" if one.by_way_of else ""
    state = STATES[one.state] if one.route.gateway >= 0 else NO_ROOM
    return f"{one.budget.inverter} to {one.budget.gateway}{route}: {state}"


def route_lines(one: Explanation, *, wanted: float) -> list[str]:
    """What the route is worth, where that is not what the link straight to the gateway is worth."""
    if one.route.gateway < 0:
        return [NO_ROOM_LINE]
    if not one.by_way_of:
        return []
    chance = percent(one.route.reliability, wanted=wanted)
    weakest = f"its weakest link has a margin of {db(one.route.weakest_margin_db)} dB, the chance is {chance}"
    return [
        f"The route {STATE_WORDS[one.state]}: {weakest}.",
        f"Explained is the link straight to {one.budget.gateway}; remedies are told by the route.",
    ]


def _budget(budget: Budget) -> str:
    """The budget under its direction."""
    return wrapped(direction_words(budget)) + "\n" + table(BUDGET_COLUMNS, budget_rows(budget))


def direction_words(budget: Budget) -> str:
    """Who sends and who listens, and how the other direction compares."""
    sender, listener = ("inverter", "gateway") if budget.direction == "up" else ("gateway", "inverter")
    direction = f"The {sender} sends, the {listener} listens; "
    better_db = budget.other_margin_db - budget.margin_db
    if better_db < SHOWN_DB:
        direction += "the other direction has the same margin."
    else:
        direction += f"this is the weaker direction, the other has {db(better_db)} dB more margin."
    return direction


class Step(NamedTuple):
    """An item of a budget as it is shown: what it adds [dB] and the level after it [dBm], both to two decimals."""

    item: Item
    db: float
    level_dbm: float


def steps_of(budget: Budget) -> list[Step]:
    """The items of a budget, each rounded so that those shown add up; a trifle that comes around is left out."""
    steps: list[Step] = []
    total, before = 0.0, 0.0
    for item in budget.items:
        total += item.db
        if item.kind == "around" and abs(item.db) < NEGLIGIBLE_DB:
            continue
        reached = round(total, 2) + 0.0
        steps.append(Step(item, reached - before, reached))
        before = reached
    return steps


def budget_rows(budget: Budget) -> list[list[str]]:
    """Item, dB and level of every step."""
    return [
        [step.item.item, signed(step.db), f"{step.level_dbm:.2f}" if math.isfinite(step.level_dbm) else NOTHING]
        for step in steps_of(budget)
    ]


def signed(value_db: float) -> str:
    """What a step adds, with its sign and two decimals."""
    return f"{round(value_db, 2) + 0.0:+.2f}" if math.isfinite(value_db) else NOTHING


def outcome_lines(budget: Budget, *, wanted: float) -> list[str]:
    """From level to state, in words."""
    listener = "gateway" if budget.direction == "up" else "inverter"
    if not budget.margin_db >= NOTHING_DB:
        return [f"Nothing arrives that the {listener} could hear: it needs {db(budget.need_dbm)} dBm."]
    chance = percent(budget.reliability, wanted=wanted)
    text = (
        f"The {listener} needs {db(budget.need_dbm)} dBm, so the margin is {db(budget.margin_db)} dB. Of that "
        f"{budget.fade_margin_db:g} dB are held back; what the plan does not know is {db(budget.sigma_db)} dB (one "
        f"standard deviation). The chance is {chance}: it {STATE_WORDS[budget.state]}."
    )
    if budget.state == HOLDS:
        spare = f"It can lose another {db(budget.spare_db)} dB before it no longer holds."
    else:
        spare = f"It lacks {db(-budget.spare_db)} dB to hold at {100 * wanted:g} %."
    return [text, spare]


def way_words(budget: Budget) -> str:
    """The way that carries the link; nothing where nothing arrives."""
    if not any(item.obstacle for item in budget.items):
        return "The straight line is clear."
    if not budget.margin_db >= NOTHING_DB:
        return ""
    sentence = WAY_SENTENCES[budget.carried_by].format(mirror=budget.mirror)
    return f"Most of it comes {sentence} (way: {WAY_WORDS[budget.carried_by]})."


def way_lines(budget: Budget, costs: tuple[Cost, ...]) -> list[str]:
    """The way that carries the link, and what it would gain without each obstacle."""
    way = way_words(budget)
    if not any(item.obstacle for item in budget.items):
        return [way]
    if not costs:
        return [f"{way} No obstacle there costs anything by itself: without any one of them it is the same.".strip()]
    first, *others = costs[:COSTS_SHOWN]
    most = f"Costs most: {first.obstacle}; without it the margin would be {_with(first)}."
    rest = "; ".join(f"without {one.obstacle} {_with(one)}" for one in others)
    more = f" {rest[0].upper()}{rest[1:]}. Each is taken away alone: these gains do not add." if others else ""
    return [part for part in (way, most + more) if part]


def _with(cost: Cost) -> str:
    return f"{margin(cost.margin_db)} dB ({db(cost.gain_db)} more)"


def shown_remedies(one: Explanation) -> tuple[Remedy, ...]:
    """The remedies that are printed: all of a link that needs one, and a few of a link that holds anyway."""
    return one.remedies[: SPARE_SHOWN if one.holds else REMEDIES_SHOWN]


def _remedies(explained: Explained, one: Explanation) -> str:
    shown, wanted = shown_remedies(one), explained.scene.plan.requirement.reliability
    title = remedies_title(one)
    if not shown:
        return paragraphs(title, wrapped(idle_words(one)))
    rows = [
        [f"{number:>{len(str(len(shown)))}}  {remedy.action}", *remedy_cells(remedy, wanted=wanted)]
        for number, remedy in enumerate(shown, start=1)
    ]
    more = len(one.remedies) - len(shown)
    lines = [wrapped(f"and {more} more, in --json", indent="  ")] if more else []
    lines += [
        wrapped(f"{number} brings down {changes_words(remedy.harmed)}", indent="  ")
        for number, remedy in enumerate(shown, start=1)
        if remedy.harmed
    ]
    return paragraphs("\n".join([title, table(REMEDY_COLUMNS, rows), *lines]), wrapped(idle_words(one)))


def remedies_title(one: Explanation) -> str:
    """What stands above the remedies of a link, or in their place where there are none."""
    holds = one.holds
    if not shown_remedies(one):
        return f"Nothing that was tried {'gives it more room' if holds else 'mends it'}."
    return "What would give it more room, the least effort first" if holds else "What would mend it, the best first"


def remedy_cells(remedy: Remedy, *, wanted: float) -> list[str]:
    """A remedy under `REMEDY_COLUMNS`, but for what it is."""
    return [
        db(remedy.gain_db) if remedy.margin_db - remedy.gain_db >= NOTHING_DB else "much",
        margin(remedy.margin_db),
        percent(remedy.reliability, wanted=wanted),
        STATES[remedy.state],
        f"{len(remedy.helped)}/{len(remedy.harmed)}",
    ]


def changes_words(changes: tuple[Change, ...]) -> str:
    """Whose state changes, and how; the first few of many."""
    shown = [f"{one.inverter} ({STATES[one.before]}, then {STATES[one.after]})" for one in changes[:NAMES_SHOWN]]
    more = len(changes) - len(shown)
    return "; ".join(shown) + (f"; and {more} more" if more else "")


def idle_words(one: Explanation) -> str:
    """Kinds of remedy of which none is of use."""
    useful = {remedy.kind for remedy in one.remedies}
    kinds = [word for kind, word in KIND_WORDS.items() if kind not in useful and any(i.kind == kind for i in one.idle)]
    return f"Of no use here (less than {WORTH_DB:g} dB, or harm): {'; '.join(kinds)}." if kinds else ""


def _cautions(explained: Explained, shown: list[Remedy]) -> str:
    """What to mind with the remedies shown, and what was assumed."""
    return "\n".join(wrapped(line) for line in caution_lines(explained, shown))


def caution_lines(explained: Explained, shown: Sequence[Remedy]) -> list[str]:
    """The sentences of what to mind with remedies, and what was assumed."""
    words = {word for remedy in shown for word in remedy.cautions}
    lines = [text for word, text in CAUTIONS.items() if word in words]
    cable = explained.cable
    if "cable" in words:
        source = ", an assumption: see the data sheet, or give --cable-loss-db-per-m" if cable.assumed else ""
        each = f"{cable.loss_db_per_m:.2f} dB by the metre and {cable.connectors_db:g} dB for both connectors{source}"
        lines.insert(0, f"Cable: {each}.")
    return lines


FINE = 12
"""Decimals of a budget: enough for its items to add up to a billionth of a decibel."""


def explain_record(explained: Explained) -> Record:
    """What `survey explain --json` prints."""
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
        "budget": [
            {"item": item.item, "db": _fine(item.db), "kind": item.kind, "obstacle": item.obstacle or None}
            for item in budget.items
        ],
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
