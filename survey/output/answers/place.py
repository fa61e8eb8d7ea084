"""A recommendation as text: the spot, the next step, the runners-up, the reason, the certainty, the weakest links."""

from __future__ import annotations

from shlex import quote

import numpy as np

from survey.base.layout import Cell, Column, counted, labelled, listed, paragraphs, table, wrapped
from survey.budget import HOLDS
from survey.decisions.placement import Decider, Moving, Placement, Reason, Scores, best_of_each_place
from survey.inputs.plan import Search
from survey.output.answers.drawing import UNSTEADY_KEY, UNSTEADY_MARK, choice_facts
from survey.output.answers.figures import (
    CAUTION,
    NO_ROOM,
    NOTHING_DB,
    covered,
    db,
    letter,
    margin,
    margin_in_db,
    percent,
    route_tally,
    wanted_line,
)
from survey.output.answers.first_readings import first_readings, weakest_first
from survey.output.answers.links import LINK_COLUMNS, link_key, link_row
from survey.output.answers.network import ROUTE_COLUMNS, route_row
from survey.output.answers.sure import drawn_words, exponent_words, served_words, share, sure_text
from survey.output.answers.where import along_words, entry_of, where_words
from survey.routing import Network
from survey.siting.fewest import Fewest

PLACES_SHOWN = 10
"""Locations that are read at a glance; all are in the JSON. A judgement."""
WEAKEST_SHOWN = 10
"""The same for links. A judgement."""
DECIDERS_SHOWN = 6
"""The same for inverters that decide, and for those not covered. A judgement."""
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
CHOICE_COLUMNS = (
    Column("gateways"),
    Column("inverters\ncovered"),
    Column("expected\nworking", spare=1),
    Column("weakest\nmargin dB", spare=2),
    Column("best\npossible?", text=True),
    Column("where", text=True, yields=True),
)
"""A number of gateways as a row; what a narrow terminal can do without is a judgement."""


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


def title_words(placement: Placement) -> str:
    """Return what to do with the gateway, or the gateways."""
    if len(placement.chosen) > 1:
        return f"Put {len(placement.chosen)} gateways at these spots"
    (i,) = placement.chosen
    spots, verb = placement.scores.spots, "Leave" if placement.is_existing(i) else "Put"
    entry, (x, y, height_m) = entry_of(placement.scene.plan, spots.places[i]), spots.at_m[i].tolist()
    along = along_words(entry, x, y) if isinstance(entry, Search) else ""
    if along:  # a place that a person finds, and how the plan calls it
        return f"{verb} the gateway {along}, {height_m:.1f} m high ({spots.names[i]})"
    return f"{verb} the gateway at {spots.names[i]}"


def certainty_words(placement: Placement) -> str:
    """Return how often the recommended location is the best one, or that another is equally good."""
    sure, reason = placement.certainty, placement.reason
    if reason and reason.decided_by not in {"served", "expected_served"}:
        unbeaten = f"no other spot has more working inverters in {share(sure.unbeaten_share)}"
        return f"{reason.rival} is equally good; {unbeaten} of {sure.draws} simulation runs"
    return f"best location in {share(sure.place_share(sure.links.gateways.places[0]))} of {sure.draws} simulation runs"


def moving_words(placement: Placement, moving: Moving) -> str:
    """Return what moving an existing gateway to the best spot brings, and how certain that is."""
    names = placement.scores.spots.names
    runs = f"{placement.options.draws} simulation runs"
    shares = f"more working inverters in {share(moving.more_share)} of {runs}, fewer in {share(moving.fewer_share)}"
    if moving.is_advised:
        served = int(placement.scores.served[moving.existing])
        return f"from {names[moving.existing]} ({served} covered) brings {shares}" + (
            "" if moving.is_certain else ". That is not certain"
        )
    return f"to {names[moving.spot]} brings nothing that is certain: {shares}"


def next_steps(placement: Placement) -> list[tuple[str, str]]:
    """Return what to do next, each step with its label."""
    network, plan, names = placement.network, placement.scene.plan, placement.scene.inverters.names
    file = quote(plan.file)
    missing = uncovered(placement)
    explain = f"survey explain {file} {quote(names[missing[0]])}" if missing else ""
    if not placement.served:
        return [("Next step", f"add spots nearer to the inverters. See what stops the weakest link: {explain}")]
    first = first_readings(network)
    existing = all(placement.is_existing(i) for i in placement.chosen)
    where = "there" if len(placement.chosen) == 1 else "at each spot"
    how = "Read" if existing else f"Before you fix anything, hold the gateway {where} on a pole, from the ground. Read"
    readings = _and([_predicted(network, first[0]), *(names[i] for i in first[1:])])
    steps = [("Next step", f"{how} the level of {readings}.")]
    if missing:
        steps.append(("For the rest", explain))
    return [*steps, ("Then", f"compare the readings: survey fit {file} READINGS.csv")]


def _predicted(network: Network, i: int) -> str:
    """Return an inverter with its predicted level at the gateway, where it has a direct link to it."""
    route, name = network.routes[i], network.links.inverters.names[i]
    level_dbm = float(network.links.uplink_level_dbm[i, route.gateway])
    direct = not route.relays and network.weakest_margin_db[i] >= NOTHING_DB
    return f"{name} (predicted {db(level_dbm)} dBm)" if direct else name


def _and(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def share_words(network: Network, gateway: int) -> str:
    """Return how many inverters one of several gateways is assigned."""
    states = network.state.tolist()
    mine = [state for route, state in zip(network.routes, states, strict=True) if route.gateway == gateway]
    return f"{counted(len(mine), 'inverter')} assigned, {mine.count(HOLDS)} covered"


def answer_lines(placement: Placement) -> list[str]:
    """Return the facts of `answer_facts` as sentences."""
    return [f"{label}: {fact}" for label, fact in answer_facts(placement)]


def answer_facts(placement: Placement) -> list[tuple[str, str]]:
    """Return the coverage of a recommendation, the inverters left out, its weakest link and its certainty, labelled."""
    network, count, names = placement.network, len(placement.scene.inverters), placement.scene.inverters.names
    worst, plan = placement.worst_inverter, placement.scene.plan
    chance = percent(network.routes[worst].reliability, wanted=plan.requirement.reliability)
    weakest = f"margin {db(network.weakest_margin_db[worst])} dB, chance {chance}"
    if not network.weakest_margin_db[worst] >= NOTHING_DB:
        weakest = "no usable signal arrives"
    relayed = sum(
        state == HOLDS and len(route.relays) > 0
        for route, state in zip(network.routes, network.state.tolist(), strict=True)
    )
    through = f", {relayed} of them through relays" if relayed else ""
    expected = f"{placement.expected_served:.1f} expected working (sum of the chances)"
    facts = [
        ("Coverage", f"{covered(placement.served, count)}{through}; {expected}"),
        ("Not covered", not_covered_words(placement)),
        ("Weakest route" if placement.hops else "Weakest link", f"{names[worst]}, {weakest}"),
    ]
    if placement.moving:
        facts.append(("Moving", moving_words(placement, placement.moving)))
    elif not placement.choices and not placement.fewest and len(placement.order) > 1:
        facts.append(("Certainty", certainty_words(placement)))
    return [(label, fact) for label, fact in facts if fact]


def uncovered(placement: Placement) -> list[int]:
    """Return the inverters that are not covered, the weakest first."""
    states = placement.network.state
    return [i for i in weakest_first(placement.network) if states[i] != HOLDS]


def not_covered_words(placement: Placement) -> str:
    """Return the inverters that are not covered, whole arrays by their names, and the spot that would cover most."""
    missing = set(uncovered(placement))
    if not missing:
        return ""
    ends, full = placement.scene.inverters, placement.network.over_capacity
    members: dict[str, list[int]] = {}
    for i, place in enumerate(ends.places):
        members.setdefault(place, []).append(i)
    names = []
    for place, numbers in members.items():
        lost = [i for i in numbers if i in missing]
        if len(lost) == len(numbers) > 1:
            names.append(f"array {place} (all {len(numbers)})")
        else:
            names += [ends.names[i] for i in lost]
    over = f"{counted(full, 'inverter')} over the gateways' capacity. " if full else ""
    return f"{over}{listed(names, DECIDERS_SHOWN)}. {_would_cover(placement, missing)}"


def _would_cover(placement: Placement, missing: set[int]) -> str:
    """Return the further spot that would cover most of the missing inverters."""
    matrix = placement.coverage.matrix
    covers = matrix.holds[sorted(missing)].sum(axis=0)
    covers[list(placement.chosen)] = 0
    best = int(np.argmax(covers))
    count = min(int(covers[best]), matrix.limit or len(missing))
    if not count:
        return f"No spot covers {'it' if len(missing) == 1 else 'any of them'}: add spots, or allow relays."
    of = "it" if len(missing) == 1 else f"{count} of them"
    return f"Another gateway at {placement.scores.spots.names[best]} would cover {of}."


def where_lines(placement: Placement, spot: int) -> list[str]:
    """Return where a recommended spot is, the plan's note and its cable, in sentences."""
    return [f"{label}: {fact}" for label, fact in where_facts(placement, spot)]


def where_facts(placement: Placement, spot: int) -> list[tuple[str, str]]:
    """Return the facts of `where_lines`, each with its label."""
    scene, spots = placement.scene, placement.scores.spots
    x, y, height_m = spots.at_m[spot].tolist()
    entry = entry_of(scene.plan, spots.places[spot])
    position = where_words(entry, (x, y, height_m))
    cable_loss_db = entry.radio(scene.plan.radio.gateway).cable_loss_db
    cable = f"cable loss of {cable_loss_db:g} dB included" if cable_loss_db else ""
    return [("Position", "; ".join(part for part in (position, entry.note, cable) if part))]


def choices_table(placement: Placement) -> str:
    """Return what each number of gateways brings, and how far that is proven."""
    if placement.fewest:
        return "\n".join(wrapped(line) for line in fewest_lines(placement, placement.fewest))
    if not placement.choices:
        return ""
    return "Coverage by number of gateways\n" + table(CHOICE_COLUMNS, choice_rows(placement))


def choice_rows(placement: Placement) -> list[list[Cell]]:
    """Return what each number of gateways brings, under `CHOICE_COLUMNS`."""
    return [
        [
            str(number),
            str(choice.served),
            f"{choice.expected_served:.1f}",
            margin(choice.worst_margin_db),
            "yes, proven" if choice.proven_served else f"up to {choice.gap} more",
            tuple(placement.scores.spots.names[i] for i in choice.chosen)
            if len(choice.chosen) == number
            else "no improvement",
        ]
        for number, choice in enumerate(placement.choices, start=1)
    ]


def fewest_lines(placement: Placement, few: Fewest) -> list[str]:
    """Return the fewest gateways with their proof, and the inverters that no spot covers, in sentences."""
    names = placement.scene.inverters.names
    twice = " twice, so that any one gateway may fail" if placement.options.spare else ""
    if few.over_capacity:
        short = counted(few.over_capacity, "inverter")
        lines = [
            f"Gateways at every spot are not enough: {short} over their capacity.",
            "Raise inverters_per_gateway, or add spots.",
        ]
        if len(placement.scores.spots.names) > 1:
            lines.append("This is the best single spot. For as many inverters as N gateways can take: --gateways N")
        return lines
    lines = []
    if few.chosen:
        number = len(few.chosen)
        verb = "covers" if number == 1 else "cover"
        proof = "fewer are not enough (proven)" if few.proven else f"{few.bound} may be enough (time ran out)"
        lines.append(f"{counted(number, 'gateway')} {verb} every inverter that can be covered{twice}; {proof}.")
    if few.unservable:
        shown = listed([names[i] for i in few.unservable], DECIDERS_SHOWN)
        lines.append(f"Cannot be covered{twice} from any spot: {shown}")
    return lines


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
