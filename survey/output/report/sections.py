"""What the page says around its table: the question, the answer and how sure it is, what was assumed, the sources."""

from __future__ import annotations

from dataclasses import dataclass

from survey.base.layout import counted
from survey.decisions.placement import Placement, PlacementOptions, best_of_each_place
from survey.inputs.plan import Plan
from survey.output.answers.check import defaults_by_table
from survey.output.answers.figures import letter, route_tally
from survey.output.answers.place import (
    CHOICE_COLUMNS,
    RANKING_COLUMNS,
    choice_rows,
    fewest_lines,
    ranking_row,
    share_words,
    where_lines,
    why_lines,
    worth_lines,
)
from survey.output.answers.sure import drawn_words, served_words, sure_lines
from survey.output.report.findings import Findings
from survey.routing import Network
from survey.scene import Scene

PLACES_SHOWN = 8
"""As many as one reads on paper; all are in the JSON of survey place."""
METHODS = (
    (
        "Distance: free space by Recommendation ITU-R P.525, then the plan's path loss exponent beyond the reference "
        "distance."
    ),
    (
        "Sheets of known substance: Recommendation ITU-R P.2040-3, slab, by the angle of the line. Plants: "
        "Recommendation ITU-R P.833-9, section 2.1."
    ),
    (
        "Ways around edges: after Recommendation ITU-R P.526-15; mirrors of flat steel beside them. All ways add up by "
        "power."
    ),
    (
        "Chance: a normal distribution about the margin less what is held back; its spread joins shadowing and the "
        "spreads of what is crossed. All formulas, with how good they are, stand in docs/computing.md of the program."
    ),
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Grid:
    """A table of the page: headings, whether each is text, and rows of words."""

    headings: list[str]
    text: list[bool]
    rows: list[list[str]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Recommended:
    """A recommendation in words."""

    title: str
    nothing_holds: bool
    gateways: list[tuple[str, str, list[str]]]
    worth: list[str]
    sure_title: str
    sure: list[str]
    why: list[str]
    ranking: Grid
    choices: Grid | None
    fewest: list[str]


def recommended(placement: Placement) -> Recommended:
    """What is recommended, how sure it is, why, and the runners-up."""
    scene, scores, order = placement.scene, placement.scores, placement.order
    several = len(placement.chosen) > 1
    ranks = {spot: rank for rank, spot in enumerate(order.tolist(), start=1)}
    rows = [
        ranking_row(scores, scene.inverters.names, str(ranks[i]), i)
        for i in best_of_each_place(scores, order)[:PLACES_SHOWN].tolist()
    ]
    plain, drawn = not placement.choices and not placement.fewest, placement.runs
    reason = placement.reason if plain else None
    names = [scores.spots.names[i] for i in placement.chosen]
    return Recommended(
        title=f"Put {len(names)} gateways:" if several else f"Put the gateway at {names[0]}",
        nothing_holds=not placement.served,
        gateways=[
            (
                letter(k) if several else "",
                name,
                [*where_lines(placement, i), *([share_words(placement.network, k)] if several else [])],
            )
            for k, (name, i) in enumerate(zip(names, placement.chosen, strict=True))
        ],
        worth=worth_lines(placement),
        sure_title=drawn_words(drawn.draws, drawn.seed),
        sure=sure_lines(placement.certainty) if plain else [served_words(drawn)],
        why=why_lines(reason, ranks[scores.spots.names.index(reason.rival)]) if reason else [],
        ranking=Grid(
            headings=[one.heading.replace("\n", " ") for one in RANKING_COLUMNS],
            text=[one.text for one in RANKING_COLUMNS],
            rows=rows,
        ),
        choices=_choices(placement) if placement.choices else None,
        fewest=fewest_lines(placement, placement.fewest) if placement.fewest else [],
    )


def _choices(placement: Placement) -> Grid:
    rows = [[one if isinstance(one, str) else ", ".join(one) for one in row] for row in choice_rows(placement)]
    return Grid(
        headings=[one.heading.replace("\n", " ") for one in CHOICE_COLUMNS],
        text=[one.text for one in CHOICE_COLUMNS],
        rows=rows,
    )


def asked(scene: Scene, options: PlacementOptions) -> list[tuple[str, str]]:
    """The question: what the site has, and what is asked of it."""
    plan, required = scene.plan, scene.plan.requirement
    gateways = (
        "the best spot for one gateway" if required.gateways == 1 else f"spots for up to {required.gateways} gateways"
    )
    if options.fewest:
        gateways = "the fewest gateways"
    if required.inverters_per_gateway:
        gateways += f", each for up to {counted(required.inverters_per_gateway, 'inverter')}"
    spare = ", also with any one gateway out of order" if options.spare else ""
    relays = f"by way of up to {counted(required.max_relays, 'other inverter')}" if required.max_relays else "straight"
    names = ", ".join(scene.gateways.names)
    places = len({*scene.spots.places})
    found = [
        ("Wanted", f"{gateways}, so that all of {counted(len(scene.inverters), 'inverter')} are heard{spare}"),
        (
            "A link holds",
            f"at a chance of {100 * required.reliability:g} % or more, with {required.fade_margin_db:g} dB held back",
        ),
        ("Messages go", f"{relays} to a gateway"),
        ("Stands today", f"{counted(len(scene.gateways), 'gateway')}: {names}" if names else "no gateway"),
        ("Tried", f"{counted(len(scene.spots), 'spot')} in {counted(places, 'place')}" if places else "no spot"),
        ("Radio", _radio(plan)),
    ]
    return [("Note", plan.site.note), *found] if plan.site.note else found


def _radio(plan: Plan) -> str:
    ends = [
        f"{what} sends {radio.tx_power_dbm:g} dBm and needs {radio.sensitivity_dbm:g} dBm"
        for what, radio in (("an inverter", plan.radio.inverter), ("a gateway", plan.radio.gateway))
    ]
    return f"{plan.radio.frequency_mhz:g} MHz; {'; '.join(ends)}"


def about_words(findings: Findings) -> str:
    """Which gateways the map and the table are about."""
    names = findings.network.links.gateways.names
    listed = names[0] if len(names) == 1 else ", ".join(f"{letter(j)}: {name}" for j, name in enumerate(names))
    why = {
        "recommended": "as recommended; none stands there yet",
        "named": "as asked for",
        "stands": "as it stands today" if len(names) == 1 else "as they stand today",
    }[findings.about]
    standing = set(findings.scene.gateways.names)
    if findings.about == "named" and not standing & set(names):
        why += "; none stands there yet"
    return (
        f"Map, table and explanations are about the gateway at {listed} ({why})."
        if len(names) == 1
        else (f"Map, table and explanations are about the gateways at {listed} ({why}).")
    )


def today_words(today: Network) -> str:
    """How the gateways that stand today fare."""
    names = ", ".join(today.links.gateways.names)
    return f"With what stands today ({names}): {route_tally(today)}."


def defaults(findings: Findings) -> list[tuple[str, str]]:
    """Table of the plan, and the defaults used in it."""
    by_table = defaults_by_table(findings.inspection)
    return [(table, ", ".join(keys).replace("\N{NO-BREAK SPACE}", " ")) for table, keys in by_table.items()]


def materials(scene: Scene) -> Grid:
    """What the obstacles cost, with the source of every figure."""
    plan, obstacles = scene.plan, scene.obstacles
    rows: dict[tuple[str, str], list[str]] = {}
    for k, obstacle in enumerate(obstacles.entries):
        loss = obstacle.loss(plan.materials, frequency_mhz=plan.radio.frequency_mhz)
        figures = [loss.what, f"{obstacles.loss_db[k]:.1f}", f"{obstacles.spread_db[k]:.1f}"]
        if obstacle.volume() is not None:
            figures = [f"{loss.what}, by the metre", f"{loss.db:.2f}", f"{loss.spread_db:.2f}"]
        rows[loss.what, loss.source] = [*figures, loss.status, loss.source]
    headings = ["material", "loss dB", "spread dB", "status", "source"]
    return Grid(headings=headings, text=[True, False, False, True, True], rows=list(rows.values()))
