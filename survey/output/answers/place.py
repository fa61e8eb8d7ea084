"""A recommendation as text: the answer in short, the runners-up, the reason, the certainty, the weakest links."""

from __future__ import annotations

from survey.base.layout import Cell, Column, counted, labelled, listed, paragraphs, table, wrapped
from survey.decisions.placement import Decider, Placement, Reason, Scores, best_of_each_place
from survey.output.answers.drawing import UNSTEADY_KEY, UNSTEADY_MARK, choice_facts
from survey.output.answers.figures import (
    CAUTION,
    NO_ROOM,
    letter,
    margin,
    margin_in_db,
    route_tally,
    wanted_line,
)
from survey.output.answers.first_readings import weakest_first
from survey.output.answers.links import LINK_COLUMNS, link_key, link_row
from survey.output.answers.network import ROUTE_COLUMNS, route_row
from survey.output.answers.recommendation import (
    DECIDERS_SHOWN,
    answer_facts,
    next_steps,
    share_words,
    title_words,
    where_facts,
    where_lines,
)
from survey.output.answers.several_gateways import choices_table
from survey.output.answers.sure import drawn_words, exponent_words, served_words, sure_text

PLACES_SHOWN = 10
"""Locations that are read at a glance; all are in the JSON. A judgement."""
WEAKEST_SHOWN = 10
"""The same for links. A judgement."""
SECOND = 2
"""Rank of the runner-up."""
STATE = [column.heading for column in LINK_COLUMNS].index("state")
RANKING_COLUMNS = (
    Column("rank"),
    Column("spot", text=True),
    Column("inverters\ncovered"),
    Column("expected\nworking", spare=1),
    Column("weakest\nlink", text=True, spare=3),
    Column("its margin\ndB", spare=2),
    Column("median\nmargin dB", spare=4),
)
"""A spot as a row; what a narrow terminal can do without is a judgement."""


def ranking_row(scores: Scores, inverters: tuple[str, ...], rank: str, i: int) -> list[str]:
    """Return one spot under `RANKING_COLUMNS`."""
    return [
        rank,
        scores.spots.names[i],
        str(int(scores.served[i])),
        f"{scores.expected_served[i]:.1f}",
        inverters[int(scores.worst_inverter[i])],
        margin(scores.worst_margin_db[i]),
        margin(scores.median_margin_db[i]),
    ]


def place_table(placement: Placement, *, top: int | None = None, every: bool = False) -> str:
    """Return what `survey place` prints.

    Parameters
    ----------
    placement : Placement
        The recommendation.
    top : int, optional
        Show so many spots of the plain ranking, instead of the best of each location.
    every : bool
        Show the link of every inverter, not only the weakest.
    """
    scene, scores, order = placement.scene, placement.scores, placement.order
    tried = f"({counted(len(order) - scores.existing, 'spot')} tried"
    tried += f", {counted(scores.existing, 'existing gateway')})" if scores.existing else ")"
    key = ""
    if top is None:
        places = best_of_each_place(scores, order)
        shown, title = places[:PLACES_SHOWN], "Best spot of each location"
        if len(places) < len(order):
            key = "Ranks not shown are other points of the same searches."
    else:
        shown = order[:top]
        title = "The best spot" if len(shown) == 1 else f"The best {len(shown)} spots"
    ranks = {spot: rank for rank, spot in enumerate(order.tolist(), start=1)}
    rows = [ranking_row(scores, scene.inverters.names, str(ranks[i]), i) for i in shown.tolist()]
    alone = ", each as the only gateway" if len(placement.chosen) > 1 else ""
    ranking = "\n".join([wrapped(f"{title} {tried}{alone}"), table(RANKING_COLUMNS, rows), *([key] if key else [])])
    why = ""
    if placement.reason and not placement.choices and not placement.fewest:
        why = _why(placement.reason, ranks[scores.spots.names.index(placement.reason.rival)])
    return paragraphs(
        wanted_line(scene.plan, placement.network.links),
        _head(placement),
        choices_table(placement),
        ranking,
        why,
        _sure(placement),
        _weakest(placement, every=every),
        route_tally(placement.network),
        wrapped(CAUTION),
    )


def _head(placement: Placement) -> str:
    """Return the spot, or the spots, and the answer in short."""
    lines = [wrapped(title_words(placement))]
    if len(placement.chosen) > 1:
        for k, i in enumerate(placement.chosen):
            name = placement.scores.spots.names[i] + (" (existing: leave it there)" if placement.is_existing(i) else "")
            lines += [wrapped(f"{letter(k)}  {name}: {share_words(placement.network, k)}", indent="  ", hang=3)]
            lines += [wrapped(line, indent="     ") for line in where_lines(placement, i)]
        facts = []
    else:
        facts = where_facts(placement, placement.chosen[0])
    facts += [*answer_facts(placement), *next_steps(placement)]
    if not placement.served:
        lines.insert(0, "No spot covers any inverter. The least bad spot:")
    return "\n".join([*lines, *labelled(facts)])


def _sure(placement: Placement) -> str:
    """Return how certain the answer is: of the single spot, or of what several gateways cover."""
    if placement.choices or placement.fewest:
        runs = placement.runs
        exponent = exponent_words(placement.scene)
        facts = [("Working", served_words(runs)), ("Exponent", exponent), *choice_facts(runs.record)]
        return "\n".join([wrapped(drawn_words(runs.draws, runs.seed)), *labelled(facts)])
    return sure_text(placement.certainty)


def _weakest(placement: Placement, *, every: bool) -> str:
    network = placement.network
    count, several = len(network.routes), len(placement.chosen) > 1
    weakest = weakest_first(network)[: None if every else WEAKEST_SHOWN]
    what, to = "route" if placement.hops else "link", "these gateways" if several else "this spot"
    if len(weakest) == count:
        title = f"The {what} to {to}" if count == 1 else f"All {count} {what}s to {to}, the weakest first"
    else:
        title = f"The {len(weakest)} weakest {what}s to {to}"
    columns, rows = list(ROUTE_COLUMNS if placement.hops else LINK_COLUMNS), []
    if several:
        columns.insert(1, Column("to", text=True))
    carriers, near = network.links.carrier, network.gateway_of.tolist()
    unsteady = set(placement.unsteady)
    for i in weakest:
        route = network.routes[i]
        row: list[Cell]
        if placement.hops:
            row = route_row(network, route)
        else:
            row = link_row(network.links, i, near[i], carriers)
            if route.gateway < 0:
                row[STATE] = NO_ROOM
            elif i in unsteady:
                row[STATE] = f"{row[STATE]} {UNSTEADY_MARK}"
        if several:
            row.insert(1, letter(route.gateway) if route.gateway >= 0 else "none")
        rows.append(row)
    keys = [] if placement.hops else [link_key()]
    if not unsteady.isdisjoint(weakest):
        keys.append(wrapped(UNSTEADY_KEY))
    return "\n".join([title, table(columns, rows), *keys])


def _why(reason: Reason, rank: int) -> str:
    """Return the reason, and the inverters that decide it."""
    first, *others = why_lines(reason, rank)
    return "\n".join([wrapped(f"Why this spot: {first}"), *(wrapped(line, indent="  ") for line in others)])


def why_lines(reason: Reason, rank: int) -> list[str]:
    """Return the reason in sentences: what decides, and the inverters by which it does."""
    rival = reason.rival
    other = rival if rank == SECOND else f"the next best location, {rival} (rank {rank})"
    equal = f"{other}{',' if rank > SECOND else ''} is equally good: as many inverters covered and expected to work."
    text = {
        "served": f"it covers more inverters than {other}.",
        "expected_served": f"it covers as many inverters as {other}, and more are expected to work.",
        "existing": f"{equal} The existing gateway need not be moved.",
        "worst_margin_db": f"{equal} The better weakest margin decides.",
        "height_m": f"{equal} Its weakest margin is the same. The lower height decides.",
        "moving": f"moving it to {other} brings nothing that is certain.",
        "order": f"{equal} Its weakest margin and its height are the same. The order in the plan decides.",
    }[reason.decided_by]
    groups = [
        ("Covered only here", reason.gained),
        (f"Covered only at {rival}", reason.lost),
        ("Largest differences", () if reason.gained or reason.lost else reason.nearer),
    ]
    return [text, *(f"{name}: {_deciders(group, rival)}" for name, group in groups if group)]


def _deciders(group: tuple[Decider, ...], rival: str) -> str:
    names = [
        f"{decider.inverter} (margin {margin_in_db(decider.margin_db)}, "
        f"at {rival} {margin_in_db(decider.rival_margin_db)})"
        for decider in group
    ]
    return listed(names, DECIDERS_SHOWN)
