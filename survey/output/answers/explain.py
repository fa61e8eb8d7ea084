"""An explanation as text: what to do, the main obstacles, and the budget of each link."""

from __future__ import annotations

from survey.base.layout import counted, labelled, paragraphs, place_name, wrapped
from survey.budget import HOLDS, STATES
from survey.decisions.remedies import Explained, Explanation, JointRemedies
from survey.output.answers.drawing import move_lines
from survey.output.answers.figures import (
    CAUTION,
    NO_ROOM,
    NOTHING_DB,
    db,
    percent,
    wanted_line,
)
from survey.output.answers.joint import joint_text
from survey.output.answers.link_budget import (
    COSTS_SHOWN,
    STATE_WORDS,
    budget_text,
    margin_words,
    path_words,
    without_words,
)
from survey.output.answers.remedy_table import remedies_text, safety_text, shown_remedies

NO_ROOM_LINE = "All gateways are full: this is the link that it would have."


def explain_text(explained: Explained) -> str:
    """Return what `survey explain` prints: every requested inverter, one after the other."""
    plan = explained.scene.plan
    shown = [remedy for explanation in explained.inverters for remedy in shown_remedies(explanation)]
    return paragraphs(
        wanted_line(plan, explained.links),
        _gateways(explained),
        *(_one(explained, explanation) for explanation in explained.inverters),
        safety_text(shown),
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
        what = f"one at {place_name(names[0])}, the spot" if one else f"gateways at {', '.join(names)}, the spots"
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
        remedies_text(explained, one),
        budget_text(one.budget, wanted=wanted),
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
        ("Main obstacle", without_words(first) if first else ""),
    ]
    facts += [("Other obstacle", without_words(cost)) for cost in others if cost]
    facts.append(("Position", " ".join(move_lines(one.moves, state=budget.state))))
    return facts


def next_step(one: Explanation) -> str:
    """Return what to do first about a link."""
    if one.holds:
        return "none is needed: " + ("the route holds" if one.by_way_of else "the link holds")
    nearer = f"add a spot nearer to {one.budget.inverter} to the plan, then run survey place"
    if not one.remedies:
        return f"{nearer}: none of the remedies tried helps"
    best = one.remedies[0]
    if best.state != HOLDS and len(best.harmed) > len(best.helped):
        return f"{nearer}: no remedy tried makes the link hold, and the best one harms more inverters than it helps"
    then = "the link then holds" if best.state == HOLDS else f"the link then still {STATE_WORDS[best.state]}"
    harm = f". That makes {counted(len(best.harmed), 'other inverter')} worse" if best.harmed else ""
    return f"{best.action}; {then} (remedy 1 below){harm}"


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
