"""What is printed of a recommendation: the spot, the runners-up, the reason and the weakest links."""

from __future__ import annotations

import numpy as np

from survey.base.layout import Cell, Column, counted, paragraphs, table, wrapped
from survey.budget import HOLDS
from survey.decisions.placement import Decider, Placement, Reason, Scores, best_of_each_place
from survey.inputs.plan import Search, Spot
from survey.output.answers.drawing import UNSTEADY_KEY, UNSTEADY_MARK, choice_facts
from survey.output.answers.figures import (
    CAUTION,
    NO_ROOM,
    NOTHING_DB,
    db,
    holding,
    letter,
    margin,
    route_tally,
    wanted_line,
)
from survey.output.answers.links import LINK_COLUMNS, link_row
from survey.output.answers.network import ROUTE_COLUMNS, route_row
from survey.output.answers.sure import drawn_words, served_words, sure_text
from survey.routing import Network
from survey.siting.fewest import Fewest

PLACES_SHOWN = 10
"""As many as one reads; all are in the JSON."""
WEAKEST_SHOWN = 10
"""The same for links."""
DECIDERS_SHOWN = 6
"""The same for inverters that decide."""
STATE = [column.heading for column in LINK_COLUMNS].index("state")

RANKING_COLUMNS = (
    Column("rank"),
    Column("spot", text=True),
    Column("holds"),
    Column("expected\nto work"),
    Column("weakest\ninverter", text=True),
    Column("its margin\ndB"),
    Column("median\nmargin dB"),
)
CHOICE_COLUMNS = (
    Column("gateways"),
    Column("holds"),
    Column("expected\nto work"),
    Column("weakest\nmargin dB"),
    Column("could others\nhold more?", text=True),
    Column("where", text=True, yields=True),
)


def ranking_row(scores: Scores, inverters: tuple[str, ...], rank: str, i: int) -> list[str]:
    """One spot under `RANKING_COLUMNS`."""
    return [
        rank,
        scores.spots.names[i],
        str(int(scores.served[i])),
        f"{scores.expected_served[i]:.1f}",
        inverters[int(scores.worst_inverter[i])],
        margin(scores.worst_margin_db[i]),
        margin(scores.median_margin_db[i]),
    ]


def place_table(placement: Placement, *, top: int | None = None) -> str:
    """The recommendation, the runners-up, the reason and the weakest links.

    Parameters
    ----------
    placement : Placement
        What was found.
    top : int, optional
        Show so many spots of the plain ranking, instead of the best of each place.
    """
    scene, scores, order = placement.scene, placement.scores, placement.order
    if top is None:
        shown, title = best_of_each_place(scores, order)[:PLACES_SHOWN], "The best of each place"
    else:
        shown = order[:top]
        title = "The best" if len(shown) == 1 else f"The best {len(shown)}"
    ranks = {spot: rank for rank, spot in enumerate(order.tolist(), start=1)}
    rows = [ranking_row(scores, scene.inverters.names, str(ranks[i]), i) for i in shown.tolist()]
    alone = ", each as the only gateway" if len(placement.chosen) > 1 else ""
    ranking = f"{title}, of {counted(len(order), 'spot')}{alone}\n" + table(RANKING_COLUMNS, rows)
    why = ""
    if placement.reason and not placement.choices and not placement.fewest:
        why = _why(placement.reason, ranks[scores.spots.names.index(placement.reason.rival)])
    return paragraphs(
        wanted_line(scene.plan),
        _head(placement),
        choices_table(placement),
        ranking,
        why,
        _sure(placement),
        _weakest(placement),
        route_tally(placement.network),
        CAUTION,
    )


def _head(placement: Placement) -> str:
    """Where the gateway goes, or the gateways, and what that would be worth."""
    network = placement.network
    told = [wrapped(fact, indent="  ") for fact in worth_lines(placement)]
    names = [placement.scores.spots.names[i] for i in placement.chosen]
    if len(names) == 1:
        lines = [wrapped(f"Put the gateway at {names[0]}"), *_where(placement, placement.chosen[0], "  ")]
    else:
        lines = [f"Put {len(names)} gateways:"]
        for k, (name, i) in enumerate(zip(names, placement.chosen, strict=True)):
            lines += [wrapped(f"{letter(k)}  {name}", indent="  ", hang=3), *_where(placement, i, "     ")]
            lines += [wrapped(share_words(network, k), indent="     ")]
    if not placement.served:
        lines.insert(0, "No inverter holds at any of the spots; the least bad of them:")
    return "\n".join([*lines, *told])


def share_words(network: Network, gateway: int) -> str:
    """How many inverters one of several gateways is for."""
    states = network.state.tolist()
    mine = [state for route, state in zip(network.routes, states, strict=True) if route.gateway == gateway]
    return f"for {counted(len(mine), 'inverter')}, {mine.count(HOLDS)} of which hold"


def worth_lines(placement: Placement) -> list[str]:
    """What a recommendation would be worth: who holds, how many are expected to work, and the weakest link."""
    network, count = placement.network, len(placement.scene.inverters)
    served, fade_margin_db = placement.served, placement.scene.plan.requirement.fade_margin_db
    worst = placement.worst_inverter
    margin_db = network.weakest_margin_db[worst]
    weakest = f"margin {db(margin_db)} dB" if margin_db >= NOTHING_DB else "nothing arrives"
    relayed = sum(
        state == HOLDS and len(route.relays) > 0
        for route, state in zip(network.routes, network.state.tolist(), strict=True)
    )
    expected = f"{placement.expected_served:.1f} expected to work"
    facts = [
        holding(served, count) + (f", {relayed} of them by way of others" if relayed else ""),
        f"{counted(placement.network.over_capacity, 'inverter')} without room at a gateway"
        if placement.network.over_capacity
        else "",
        f"{expected}: the sum of all chances, with {fade_margin_db:g} dB held back",
        f"weakest {'route' if network.hops else 'link'}: {placement.scene.inverters.names[worst]}, {weakest}",
    ]
    return [fact for fact in facts if fact]


def _where(placement: Placement, spot: int, indent: str) -> list[str]:
    """Where a recommended spot lies, and what the plan says of it."""
    return [wrapped(fact, indent=indent) for fact in where_lines(placement, spot)]


def where_lines(placement: Placement, spot: int) -> list[str]:
    """The sentences of where a recommended spot lies: position, the plan's note, its cable."""
    scene, spots = placement.scene, placement.scores.spots
    x, y, height_m = spots.at_m[spot].tolist()
    entry = _entry(placement, spots.places[spot])
    cable_loss_db = entry.radio(scene.plan.radio.gateway).cable_loss_db
    facts = [
        f"east {x:.2f} m, north {y:.2f} m, {height_m:.2f} m high",
        f"note: {entry.note}" if entry.note else "",
        f"cable: {cable_loss_db:g} dB, counted in" if cable_loss_db else "",
    ]
    return [fact for fact in facts if fact]


def choices_table(placement: Placement) -> str:
    """What one gateway brings, what two bring, and so on, and how far that is proven."""
    if placement.fewest:
        return "\n".join(wrapped(line) for line in fewest_lines(placement, placement.fewest))
    if not placement.choices:
        return ""
    return "What each number of gateways brings\n" + table(CHOICE_COLUMNS, choice_rows(placement))


def choice_rows(placement: Placement) -> list[list[Cell]]:
    """What each number of gateways brings, under `CHOICE_COLUMNS`."""
    return [
        [
            str(number),
            str(choice.served),
            f"{choice.expected_served:.1f}",
            margin(choice.worst_margin_db),
            "no: proven" if choice.proven_served else f"perhaps {choice.gap} more",
            tuple(placement.scores.spots.names[i] for i in choice.chosen)
            if len(choice.chosen) == number
            else "no gain by one more",
        ]
        for number, choice in enumerate(placement.choices, start=1)
    ]


def fewest_lines(placement: Placement, few: Fewest) -> list[str]:
    """How few gateways do, and who cannot be served at all."""
    names = placement.scene.inverters.names
    spare = " twice, so that any one gateway may fail" if placement.options.spare else ""
    if few.over_capacity:
        short = counted(few.over_capacity, "inverter")
        lines = [f"Even a gateway at every spot has no room for {short}: raise inverters_per_gateway, or add spots"]
        if len(placement.scores.spots.names) > 1:
            lines.append("Shown is the best single spot, not the fewest gateways: --gateways N serves as many as N can")
        return lines
    lines = []
    if few.chosen:
        proof = "fewer cannot do it: proven" if few.proven else f"{few.bound} may do, which the time did not settle"
        lines.append(f"{counted(len(few.chosen), 'gateway')} for all that can hold{spare}; {proof}")
    if few.unservable:
        shown = ", ".join(names[i] for i in few.unservable[:DECIDERS_SHOWN])
        more = f" and {len(few.unservable) - DECIDERS_SHOWN} more" if len(few.unservable) > DECIDERS_SHOWN else ""
        lines.append(f"No choice of spots makes these hold{spare}: {shown}{more}")
    return lines


def _entry(placement: Placement, name: str) -> Spot | Search:
    """The entry of the plan that a spot comes from."""
    plan = placement.scene.plan
    places: list[Spot | Search] = [*plan.spots, *plan.searches]
    return next(one for one in places if one.name == name)


def _sure(placement: Placement) -> str:
    """How sure that is: of the single spot, or how many inverters several gateways serve."""
    if placement.choices or placement.fewest:
        drawn = placement.runs
        lines = [served_words(drawn), *(f"{label}: {fact}" for label, fact in choice_facts(drawn.record))]
        return "\n".join(
            [wrapped(drawn_words(drawn.draws, drawn.seed)), *(wrapped(line, indent="  ") for line in lines)]
        )
    return sure_text(placement.certainty)


def _weakest(placement: Placement) -> str:
    network = placement.network
    count = len(network.routes)
    margin_db = np.where(np.isnan(network.weakest_margin_db), -np.inf, network.weakest_margin_db)
    weakest = np.argsort(margin_db, kind="stable")[:WEAKEST_SHOWN].tolist()
    what = "route" if network.hops else "link"
    if len(weakest) == count:
        title = f"The {what} there" if count == 1 else f"All {count} {what}s there, the weakest first"
    else:
        title = f"The {len(weakest)} weakest {what}s there"
    several = len(placement.chosen) > 1
    columns, rows = list(ROUTE_COLUMNS if network.hops else LINK_COLUMNS), []
    if several:
        columns.insert(1, Column("to", text=True))
    carriers, near = network.links.carrier, network.gateway_of.tolist()
    unsteady = set(placement.unsteady)
    for i in weakest:
        route = network.routes[i]
        row: list[Cell]
        if network.hops:
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
    key = "" if unsteady.isdisjoint(weakest) else "\n" + wrapped(UNSTEADY_KEY)
    return title + "\n" + table(columns, rows) + key


def _why(reason: Reason, rank: int) -> str:
    """The reason in words, and the inverters that decide it."""
    first, *others = why_lines(reason, rank)
    return "\n".join([wrapped(f"Why: {first}"), *(wrapped(line, indent="  ") for line in others)])


def why_lines(reason: Reason, rank: int) -> list[str]:
    """The sentences of a reason: what decides, and the inverters by which it does."""
    rival = reason.rival
    other = rival if rank == 2 else f"the next best place, {rival} (rank {rank})"  # noqa: PLR2004  the runner-up
    text = {
        "served": f"more inverters hold here than at {other}",
        "expected_served": f"as many hold at {other}, but here the chances add up to more",
        "worst_margin_db": f"as many hold at {other}, with chances as good, but here the weakest link is better",
        "order": f"as many hold at {other}, with chances and margins as good, but the plan names it later",
    }[reason.decided_by]
    groups = [
        ("hold only here", reason.gained),
        (f"hold only at {rival}", reason.lost),
        ("differ most", () if reason.gained or reason.lost else reason.nearer),
    ]
    return [f"{text}.", *(f"{name}: {_deciders(group)}" for name, group in groups if group)]


def _deciders(group: tuple[Decider, ...]) -> str:
    shown = [
        f"{one.inverter} (margin {margin(one.margin_db)} here, {margin(one.rival_margin_db)} there)"
        for one in group[:DECIDERS_SHOWN]
    ]
    more = len(group) - len(shown)
    return "; ".join(shown) + (f"; and {more} more" if more else "")
