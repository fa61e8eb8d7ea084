"""Spots side by side."""

from __future__ import annotations

from collections.abc import Sequence
from shlex import quote

from survey.base.layout import Column, columns_available, counted, labelled, listed, paragraphs, table, wrapped
from survey.budget import STATES
from survey.decisions.comparison import Comparison
from survey.decisions.simulation import Pair
from survey.output.answers.drawing import choice_facts, drawing_record, points
from survey.output.answers.figures import (
    CAUTION,
    NO_ROOM,
    NOTHING,
    NOTHING_DB,
    covered,
    letter,
    margin,
    percent,
    wanted_line,
)
from survey.output.answers.network import route_names
from survey.output.answers.place import RANKING_COLUMNS, ranking_row
from survey.output.answers.place_record import score_record
from survey.output.answers.sure import served_record, share
from survey.output.answers.values import Record, plain
from survey.routing import Network

SPOT_COLUMNS = 26
"""Columns of text that the figures of one spot take, side by side with others."""
NAME_COLUMNS = 22
"""The same for the inverter before them and the best spot behind them: three spots fit in 100 columns."""
NAMES_SHOWN = 6
"""Inverters without a row that are named; all are in the JSON. A judgement."""
PAIRS_SHOWN = 15
"""With more pairs than this, only those with the best spot are shown. A judgement."""

PAIR_COLUMNS = (
    Column("pair", text=True),
    Column("first\nhas more"),
    Column("by"),
    Column("both\nequal"),
    Column("second\nhas more"),
    Column("by"),
)


def compare_table(comparison: Comparison, *, inverters: Sequence[str] = ()) -> str:
    """Return what `survey compare` prints: the best spot, the scores, run by run, then link by link or route by route.

    Parameters
    ----------
    comparison : Comparison
        The comparison.
    inverters : sequence of str
        Show only the links of these; without any, all of them.
    """
    links, scores = comparison.links, comparison.scores
    names = links.inverters.names
    letters = [letter(j) for j in range(links.shape[1])]
    summary = [ranking_row(scores, names, letters[j], j) for j in range(links.shape[1])]
    columns = [Column("inverter", text=True)]
    for one in letters:
        columns += [Column(f"{one}\nmargin"), Column(f"{one}\nchance"), Column(f"{one}\nstate", text=True)]
    columns.append(Column("best", text=True))
    wanted, networks = links.scene.plan.requirement, comparison.networks
    columns_of = [(one.reliability.tolist(), one.weakest_margin_db.tolist(), one.state.tolist()) for one in networks]
    best = comparison.best.tolist()
    rows, full_everywhere = [], []
    for i in [names.index(name) for name in dict.fromkeys(inverters)] or range(len(names)):
        if not inverters and all(network.routes[i].gateway < 0 for network in networks):
            full_everywhere.append(names[i])
            continue
        row = [names[i]]
        for network, (reliability, margin_db, state) in zip(networks, columns_of, strict=True):
            if network.routes[i].gateway < 0:
                row += ["", "", NO_ROOM]
                continue
            chance = percent(reliability[i], wanted=wanted.reliability)
            row += [margin(margin_db[i]), chance, STATES[state[i]]]
        rows.append([*row, letters[best[i]] if columns_of[best[i]][1][i] >= NOTHING_DB else NOTHING])
    title = "Link by link, each spot as the only gateway (margins in dB)"
    if wanted.max_relays:
        relays = f"up to {counted(wanted.max_relays, 'relay')}"
        title = f"Route by route, {relays}, each spot as the only gateway (weakest margins in dB)"
    first, *blocks = _side_by_side(columns, rows)
    return paragraphs(
        wanted_line(links.scene.plan, links),
        _answer(comparison, letters),
        table([Column("letter", text=True), *RANKING_COLUMNS[1:]], summary),
        _draw_by_draw(comparison, letters),
        wrapped(title) + "\n" + first,
        *blocks,
        _full(full_everywhere, any_full=any(network.over_capacity for network in networks)),
        wrapped(CAUTION),
    )


def _full(everywhere: list[str], *, any_full: bool) -> str:
    """Return what "full" means, and the inverters that are beyond the capacity of every spot and have no row."""
    if not any_full:
        return ""
    lines = [f'"{NO_ROOM}": the spot has no capacity left for this inverter, so it has no route there.']
    if everywhere:
        count = counted(len(everywhere), "inverter")
        lines.append(f"Not listed, since every spot is full: {count} ({listed(everywhere, NAMES_SHOWN)}).")
    return "\n".join(map(wrapped, lines))


def _answer(comparison: Comparison, letters: list[str]) -> str:
    title, facts = best_of_them(comparison, letters)
    return "\n".join([wrapped(title), *labelled(facts)])


def best_of_them(comparison: Comparison, letters: list[str]) -> tuple[str, list[tuple[str, str]]]:
    """Return the best spot; and with their labels, whether the runs tell it from the next one, and the next step."""
    links, scores = comparison.links, comparison.scores
    names, count = links.gateways.names, len(links.inverters)
    order = scores.order().tolist()
    best = order[0]
    file = quote(links.scene.plan.file)
    facts = [("Coverage", covered(int(scores.served[best]), count))]
    if len(order) > 1:
        second = order[1]
        pairs = {frozenset((pair.one, pair.other)): pair for pair in comparison.drawn.pairs()}
        pair = pairs[frozenset((best, second))]
        more, fewer = (pair.one_more, pair.other_more) if pair.one == best else (pair.other_more, pair.one_more)
        runs = f"{comparison.drawn.draws} simulation runs"
        certainty = f"more working inverters than {names[second]} in {share(more)} of {runs}, fewer in {share(fewer)}"
        if scores.decided_by(best, second) not in {"served", "expected_served"}:
            certainty = f"{names[second]} is equally good; {certainty}"
        facts.append(("Certainty", certainty))
    step = f"take readings there, then compare: survey fit {file} READINGS.csv"
    weakest = links.inverters.names[int(scores.worst_inverter[best])]
    if scores.served[best] < count:
        step = f"see what helps: survey explain {file} {quote(weakest)} --gateway {quote(names[best])}"
    facts.append(("Next step", step))
    return f"Best of these spots: {letters[best]}, {names[best]}", facts


def _draw_by_draw(comparison: Comparison, letters: list[str]) -> str:
    """Return pair by pair the share of runs in which one spot has more working inverters, and by how many."""
    drawn, pairs = comparison.drawn, list(comparison.drawn.pairs())
    left_out = ""
    if len(pairs) > PAIRS_SHOWN:
        best = int(comparison.scores.order()[0])
        pairs = [pair for pair in pairs if best in (pair.one, pair.other)]
        left_out = wrapped(f"Pairs with {letters[best]}. All pairs: --json")
    title = wrapped(f"Working inverters, pair by pair, in {counted(drawn.draws, 'simulation run')} (seed {drawn.seed})")
    rows = [pair_row(pair, letters) for pair in pairs]
    drawing = wrapped("; ".join(f"{label}: {fact}" for label, fact in choice_facts(drawn.record)[:1]))
    largest = max((pair.error for pair in drawn.pairs()), default=0.0)
    error = wrapped(f"Standard error of a share in this table: up to {points(largest)}") if largest else ""
    return "\n".join([title, table(PAIR_COLUMNS, rows), *[line for line in (left_out, drawing, error) if line]])


def pair_row(pair: Pair, letters: list[str]) -> list[str]:
    """Return how often each of two spots has more working inverters, under `PAIR_COLUMNS`."""
    return [
        f"{letters[pair.one]}, {letters[pair.other]}",
        share(pair.one_more),
        f"{pair.one_by:.1f}" if pair.one_more else "-",
        share(pair.equal),
        share(pair.other_more),
        f"{pair.other_by:.1f}" if pair.other_more else "-",
    ]


def _side_by_side(columns: list[Column], rows: list[list[str]]) -> list[str]:
    """Return a table in blocks that fit 100 columns."""
    blocks = []
    spots, across = (len(columns) - 2) // 3, max(1, (columns_available() - NAME_COLUMNS) // SPOT_COLUMNS)
    for first in range(0, spots, across):
        kept = [0, *range(1 + 3 * first, 1 + 3 * min(first + across, spots)), len(columns) - 1]
        blocks.append(table([columns[k] for k in kept], [[row[k] for k in kept] for row in rows]))
    return blocks


def compare_record(comparison: Comparison, *, inverters: Sequence[str] = ()) -> Record:
    """Return what `survey compare --json` prints; with names of inverters, of the links only theirs."""
    links, scores, drawn = comparison.links, comparison.scores, comparison.drawn
    spots, existing = links.gateways.names, set(links.scene.gateways.names)
    names = links.inverters.names
    return {
        "plan": links.scene.plan.file,
        "site": links.scene.plan.site.name,
        "draws": drawn.draws,
        "seed": drawn.seed,
        **drawing_record(drawn.record),
        "spots": [
            {**score_record(scores, names, i, existing=spots[i] in existing), "drawn": served_record(drawn.served(i))}
            for i in range(len(scores.spots))
        ],
        "pairs": [
            {
                "one": spots[pair.one],
                "other": spots[pair.other],
                "one_more": {"share": plain(pair.one_more), "by": plain(pair.one_by)},
                "equal_share": plain(pair.equal),
                "other_more": {"share": plain(pair.other_more), "by": plain(pair.other_by)},
                "share_error": plain(pair.error),
            }
            for pair in drawn.pairs()
        ],
        "links": [
            {
                "inverter": inverter,
                "spots": {spot: _verdict(network, i) for spot, network in zip(spots, comparison.networks, strict=True)},
            }
            for i, inverter in ((names.index(name), name) for name in dict.fromkeys(inverters or names))
        ],
    }


def _verdict(network: Network, i: int) -> Record:
    """Return an inverter's route to a spot as a record; its own link where that is direct."""
    route = network.routes[i]
    found = {
        "margin_db": plain(route.weakest_margin_db),
        "reliability": plain(route.reliability),
        "state": STATES[int(network.state[i])],
    }
    if network.scene.plan.requirement.max_relays:
        found["route"] = route_names(network, route)
    return found
