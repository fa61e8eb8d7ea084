"""Spots side by side."""

from __future__ import annotations

from collections.abc import Sequence

from survey.base.layout import Column, counted, paragraphs, table, wrapped
from survey.budget import STATES
from survey.decisions.comparison import Comparison
from survey.decisions.simulation import Pair
from survey.output.answers.drawing import choice_facts, drawing_record, points
from survey.output.answers.figures import CAUTION, NO_ROOM, NOTHING, NOTHING_DB, letter, margin, percent, wanted_line
from survey.output.answers.network import route_names
from survey.output.answers.place import RANKING_COLUMNS, ranking_row
from survey.output.answers.place_record import score_record
from survey.output.answers.sure import served_record, share
from survey.output.answers.values import Record, plain
from survey.routing import Network

SPOTS_ACROSS = 3
"""As many spots as fit side by side in 100 columns."""
PAIRS_SHOWN = 15
"""With more pairs than this, only those with the spot that comes first are shown."""

PAIR_COLUMNS = (
    Column("pair", text=True),
    Column("first of them\nserves more"),
    Column("by"),
    Column("both\nas many"),
    Column("second of them\nserves more"),
    Column("by"),
)


def compare_table(comparison: Comparison, *, inverters: Sequence[str] = ()) -> str:
    """How each spot would serve all inverters, then margin, chance and state link by link, or route by route.

    Parameters
    ----------
    comparison : Comparison
        What was found.
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
    rows = []
    for i in [names.index(name) for name in dict.fromkeys(inverters)] or range(len(names)):
        row = [names[i]]
        for network, (reliability, margin_db, state) in zip(networks, columns_of, strict=True):
            room = network.routes[i].gateway >= 0
            chance = percent(reliability[i], wanted=wanted.reliability)
            row += [margin(margin_db[i]), chance, STATES[state[i]] if room else NO_ROOM]
        rows.append([*row, letters[best[i]] if columns_of[best[i]][1][i] >= NOTHING_DB else NOTHING])
    title = "Link by link, margins in dB"
    if wanted.max_relays:
        title = f"Route by route, up to {counted(wanted.max_relays, 'inverter')} in between, weakest margins in dB"
    first, *blocks = _side_by_side(columns, rows)
    return paragraphs(
        wanted_line(links.scene.plan),
        table([Column("letter", text=True), *RANKING_COLUMNS[1:]], summary),
        _draw_by_draw(comparison, letters),
        wrapped(title) + "\n" + first,
        *blocks,
        CAUTION,
    )


def _draw_by_draw(comparison: Comparison, letters: list[str]) -> str:
    """Pair by pair, in how many draws the one serves more inverters than the other, and by how many."""
    drawn, pairs = comparison.drawn, list(comparison.drawn.pairs())
    left_out = ""
    if len(pairs) > PAIRS_SHOWN:
        best = int(comparison.scores.order()[0])
        pairs = [pair for pair in pairs if best in (pair.one, pair.other)]
        left_out = wrapped(f"Shown are the pairs with {letters[best]}; the others are in the JSON.")
    title = wrapped(
        f"Draw by draw, in {counted(drawn.draws, 'draw')} of what the plan does not know (seed {drawn.seed})"
    )
    rows = [_pair_row(pair, letters) for pair in pairs]
    drawing = wrapped("; ".join(f"{label}: {fact}" for label, fact in choice_facts(drawn.record)[:1]))
    largest = max((pair.error for pair in drawn.pairs()), default=0.0)
    error = wrapped(f"Standard error of a share in this table: up to {points(largest)}")
    return "\n".join([title, table(PAIR_COLUMNS, rows), *([left_out] if left_out else []), drawing, error])


def _pair_row(pair: Pair, letters: list[str]) -> list[str]:
    return [
        f"{letters[pair.one]}, {letters[pair.other]}",
        share(pair.one_more),
        f"{pair.one_by:.1f}" if pair.one_more else "-",
        share(pair.equal),
        share(pair.other_more),
        f"{pair.other_by:.1f}" if pair.other_more else "-",
    ]


def _side_by_side(columns: list[Column], rows: list[list[str]]) -> list[str]:
    """A table as wide as it must be, in blocks that fit the terminal."""
    blocks = []
    spots = (len(columns) - 2) // 3
    for first in range(0, spots, SPOTS_ACROSS):
        kept = [0, *range(1 + 3 * first, 1 + 3 * min(first + SPOTS_ACROSS, spots)), len(columns) - 1]
        blocks.append(table([columns[k] for k in kept], [[row[k] for k in kept] for row in rows]))
    return blocks


def compare_record(comparison: Comparison, *, inverters: Sequence[str] = ()) -> Record:
    """What `survey compare --json` prints; with names of inverters, of the links only theirs."""
    links, scores, drawn = comparison.links, comparison.scores, comparison.drawn
    spots = links.gateways.names
    names = links.inverters.names
    return {
        "plan": links.scene.plan.file,
        "site": links.scene.plan.site.name,
        "draws": drawn.draws,
        "seed": drawn.seed,
        **drawing_record(drawn.record),
        "spots": [
            {**score_record(scores, names, i), "drawn": served_record(drawn.served(i))}
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
    """What an inverter's route to a spot is worth: of its own link, where it talks to the spot itself."""
    route = network.routes[i]
    found = {
        "margin_db": plain(route.weakest_margin_db),
        "reliability": plain(route.reliability),
        "state": STATES[int(network.state[i])],
    }
    if network.scene.plan.requirement.max_relays:
        found["route"] = route_names(network, route)
    return found
