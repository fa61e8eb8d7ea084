"""The table of all inverters, and every link item by item, as the page shows them."""

from __future__ import annotations

from dataclasses import dataclass, replace

from survey.budget import CARRIERS, STATES
from survey.budget.explanation import Budget, budget_of
from survey.decisions.remedies import Explained, Explanation
from survey.output.answers.drawing import move_lines
from survey.output.answers.explain import NO_ROOM_LINE, route_lines, title_words
from survey.output.answers.figures import NO_ROOM, NOTHING, letter, margin, margin_in_db, percent
from survey.output.answers.link_budget import budget_rows, direction_words, outcome_lines, way_lines
from survey.output.answers.links import WAY_WORDS, in_the_line
from survey.output.answers.remedy_table import (
    caution_lines,
    changes_words,
    idle_words,
    remedies_title,
    remedy_cells,
    shown_remedies,
)
from survey.output.report.findings import Findings, weakest_first
from survey.output.report.missed import missed_by
from survey.routing import Network, Route


@dataclass(frozen=True, kw_only=True, slots=True)
class Told:
    """One link in words: its title, what to know before, who sends, the items of its budget, and what comes of it."""

    title: str
    margin: str
    before: list[str]
    direction: str
    items: list[list[str]]
    lines: list[str]


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One inverter of the table; figures beside the words are what the table is sorted by."""

    number: int
    name: str
    serial: str
    to: str
    by_way_of: str
    distance: str
    distance_m: float
    margin: str
    margin_db: float
    chance: str
    reliability: float
    state: str
    unsteady: bool
    rank: int
    way: str
    met: str
    today: str
    today_rank: int
    dropouts: str
    dropouts_share: float
    told: Told


@dataclass(frozen=True, kw_only=True, slots=True)
class Mended:
    """A weak link explained: its budget, what costs most, and what would mend it."""

    number: int
    name: str
    state: str
    told: Told
    title: str
    remedies: list[list[str]]
    harmed: list[str]
    idle: str


def rows_of(findings: Findings) -> list[Row]:
    """Every inverter, the weakest first."""
    network, links = findings.network, findings.network.links
    wanted = findings.scene.plan.requirement.reliability
    gateway_of, carriers = network.gateway_of.tolist(), links.carrier
    several = len(links.gateways) > 1
    told_missed = missed_by(findings.dropouts) if findings.dropouts else {}
    recommended = findings.placement if findings.about == "recommended" else None
    unsteady = set(recommended.unsteady) if recommended else set()
    rows = []
    for i in weakest_first(network):
        route, state, j = network.routes[i], int(network.state[i]), gateway_of[i]
        room = route.gateway >= 0
        today, today_rank = _today(findings.today, i)
        dropouts, dropouts_share = told_missed.get(links.inverters.names[i], ("", -1.0))
        rows.append(
            Row(
                number=i,
                name=links.inverters.names[i],
                serial=links.inverters.serials[i],
                to=letter(j) if several and room else "" if room else NOTHING,
                by_way_of=", ".join(links.inverters.names[relay] for relay in route.relays),
                distance=f"{links.distance_m[i, j]:.1f}",
                distance_m=round(float(links.distance_m[i, j]), 3),
                margin=margin(route.weakest_margin_db) if room else NOTHING,
                margin_db=round(max(route.weakest_margin_db, -999.0), 3) if room else -999.0,
                chance=percent(route.reliability, wanted=wanted),
                reliability=round(route.reliability, 9),
                state=STATES[state] if room else NO_ROOM,
                unsteady=room and i in unsteady,
                rank=state if room else -1,
                way=WAY_WORDS[CARRIERS[carriers[i, j]]],
                met=", ".join(in_the_line(links, i, j)) or "clear",
                today=today,
                today_rank=today_rank,
                dropouts=dropouts,
                dropouts_share=round(dropouts_share, 6),
                told=_told(budget_of(links, i, j), route, wanted=wanted, names=links.inverters.names),
            )
        )
    return rows


def _today(today: Network | None, i: int) -> tuple[str, int]:
    """Return state and margin of an inverter with the existing gateways."""
    if today is None:
        return "", 0
    route, state = today.routes[i], int(today.state[i])
    if route.gateway < 0:
        return NO_ROOM, -1
    return f"{STATES[state]} {margin(route.weakest_margin_db)}", state


def _told(budget: Budget, route: Route, *, wanted: float, names: tuple[str, ...]) -> Told:
    """A link in words."""
    before, straight = [], ""
    if route.relays:
        relays, straight = ", ".join(names[relay] for relay in route.relays), ", direct link"
        before = [f"Its messages go through {relays}. This is its direct link to the gateway."]
    if route.gateway < 0:
        before = [NO_ROOM_LINE]
    state = STATES[budget.state] if route.gateway >= 0 else NO_ROOM
    return Told(
        title=f"{budget.inverter}{straight} to {budget.gateway}: {state}",
        margin=margin_in_db(budget.margin_db),
        before=before,
        direction=direction_words(budget),
        items=budget_rows(budget),
        lines=outcome_lines(budget, wanted=wanted),
    )


def mended(findings: Findings) -> list[Mended]:
    """The weakest links explained."""
    wanted = findings.scene.plan.requirement.reliability
    return [_mended(findings, one, wanted=wanted) for one in findings.explained.inverters]


def _mended(findings: Findings, one: Explanation, *, wanted: float) -> Mended:
    budget, shown = one.budget, shown_remedies(one)
    told = _told(budget, one.route, wanted=wanted, names=findings.scene.inverters.names)
    lines = [*told.lines, *way_lines(budget, one.costs)]
    if one.moves:
        lines.append(f"Position: {' '.join(move_lines(one.moves, state=budget.state))}")
    told = replace(told, title=title_words(one), before=route_lines(one, wanted=wanted), lines=lines)
    return Mended(
        number=one.route.inverter,
        name=budget.inverter,
        state=STATES[one.state],
        told=told,
        title=remedies_title(one),
        remedies=[[remedy.action, *remedy_cells(remedy, wanted=wanted)] for remedy in shown],
        harmed=[f"{remedy.action}: makes worse: {changes_words(remedy.harmed)}" for remedy in shown if remedy.harmed],
        idle=idle_words(one),
    )


def remedy_cautions(explained: Explained) -> list[str]:
    """What to mind with the remedies that the page shows."""
    return caution_lines(explained, [remedy for one in explained.inverters for remedy in shown_remedies(one)])
