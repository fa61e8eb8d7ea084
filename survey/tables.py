"""What the commands print: results as plain text for a terminal."""

from __future__ import annotations

from collections import Counter

import numpy as np

from survey.comparison import Comparison
from survey.inspection import Inspection
from survey.layout import Column, counted, paragraphs, table, wrapped
from survey.links import STATES, Links
from survey.materials import Material
from survey.placement import Decider, Placement, Reason, Scores, best_of_each_place
from survey.plan import Plan

WEAKEST_SHOWN = 10
DECIDERS_SHOWN = 6
CAUTION = (
    "A prediction is no measurement: take readings before you rely on it. Work at height, near mains and on metal "
    "roofs by the local rules for it; only a licensed electrician connects mains."
)


def _db(value: float) -> str:
    return f"{value + 0.0:.1f}" if np.isfinite(value) else "none"


def _percent(chance: float) -> str:
    """A chance in whole percent, never rounded up to certain nor down to impossible."""
    if chance > 0.99:  # noqa: PLR2004  where a whole percent says too little
        return ">99 %"
    return "<1 %" if chance < 0.01 else f"{100 * chance:.0f} %"  # noqa: PLR2004


def _wanted(plan: Plan) -> str:
    wanted = plan.requirement
    return (
        f"{plan.site.name}: {plan.radio.frequency_mhz:g} MHz; a link holds at {100 * wanted.reliability:g} % "
        f"reliability with {wanted.fade_margin_db:g} dB held back"
    )


def _through(links: Links, i: int, j: int) -> str:
    """What is in the way of a link, each obstacle once with how often it is crossed."""
    counts = Counter(name for name, _ in links.met_by(i, j))
    return ", ".join(f"{name} x{count}" if count > 1 else name for name, count in counts.items()) or "clear"


LINK_COLUMNS = (
    Column("inverter", text=True),
    Column("m"),
    Column("loss dB"),
    Column("in way dB"),
    Column("up dBm"),
    Column("down dBm"),
    Column("margin"),
    Column("chance"),
    Column("state", text=True),
    Column("straight through", text=True),
)


def _link_row(links: Links, i: int, j: int) -> list[str]:
    return [
        links.inverters.names[i],
        f"{links.distance_m[i, j]:.1f}",
        _db(links.path_loss_db[i, j]),
        _db(links.obstacle_loss_db[i, j]),
        _db(links.uplink_level_dbm[i, j]),
        _db(links.downlink_level_dbm[i, j]),
        _db(links.margin_db[i, j]),
        _percent(links.reliability[i, j]),
        STATES[links.state[i, j]],
        _through(links, i, j),
    ]


def link_table(links: Links) -> str:
    """Every link, inverter by inverter."""
    if links.shape[1] == 1:
        title = f"Links to {links.gateways.names[0]}"
        listing = table(LINK_COLUMNS, [_link_row(links, i, 0) for i in range(links.shape[0])])
    else:
        title = "Links to " + ", ".join(links.gateways.names)
        columns = (LINK_COLUMNS[0], Column("gateway", text=True), *LINK_COLUMNS[1:])
        pairs = [(i, j) for i in range(links.shape[0]) for j in range(links.shape[1])]
        rows = [[row[0], links.gateways.names[j], *row[1:]] for i, j in pairs for row in [_link_row(links, i, j)]]
        listing = table(columns, rows)
    return paragraphs(_wanted(links.scene.plan), wrapped(title) + "\n" + listing, _tally(links), wrapped(CAUTION))


def _tally(links: Links) -> str:
    """How many inverters hold, by their best link."""
    best = links.state.max(axis=1)
    fail, marginal, hold = (int(np.sum(best == state)) for state in range(len(STATES)))
    by = " by their best link" if links.shape[1] > 1 else ""
    return f"{counted(len(best), 'inverter')}{by}: {hold} hold, {marginal} marginal, {fail} fail"


RANKING_COLUMNS = (
    Column("rank"),
    Column("spot", text=True),
    Column("holds"),
    Column("expected"),
    Column("weakest inverter", text=True),
    Column("its margin dB"),
    Column("median margin dB"),
)


def _ranking_row(scores: Scores, inverters: tuple[str, ...], rank: str, i: int) -> list[str]:
    return [
        rank,
        scores.spots.names[i],
        str(int(scores.served[i])),
        f"{scores.expected_served[i]:.1f}",
        inverters[int(scores.worst_inverter[i])],
        _db(scores.worst_margin_db[i]),
        _db(scores.median_margin_db[i]),
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
    best = int(order[0])
    inverters = scene.inverters.names
    x, y, height_m = scores.spots.at_m[best].tolist()
    head = wrapped(
        f"Put the gateway at {scores.spots.names[best]}: east {x:.2f} m, north {y:.2f} m, {height_m:.2f} m high. "
        f"{int(scores.served[best])} of {len(inverters)} inverters hold, {scores.expected_served[best]:.1f} are "
        f"expected to be heard at a time; the weakest is {inverters[int(scores.worst_inverter[best])]} with "
        f"{_db(scores.worst_margin_db[best])} dB margin."
    )
    if not scores.served[best]:
        head = wrapped("No inverter holds at any of the spots; the least bad of them:") + "\n" + head
    shown = order[:top] if top is not None else best_of_each_place(scores, order)[:WEAKEST_SHOWN]
    ranks = {int(spot): str(rank) for rank, spot in enumerate(order.tolist(), start=1)}
    title = f"The best {len(shown)}" if top is not None else "The best of each place"
    rows = [_ranking_row(scores, inverters, ranks[i], i) for i in shown.tolist()]
    ranking = f"{title}, of {len(order)} spots\n" + table(RANKING_COLUMNS, rows)
    why = _why(placement.reason, scores.spots.names[best]) if placement.reason else ""
    links = placement.links
    weakest = np.argsort(links.margin_db[:, 0], kind="stable")[:WEAKEST_SHOWN].tolist()
    listing = f"The {len(weakest)} weakest links there\n" + table(
        LINK_COLUMNS, [_link_row(links, i, 0) for i in weakest]
    )
    return paragraphs(_wanted(scene.plan), head, ranking, why, listing, _tally(links), wrapped(CAUTION))


def _why(reason: Reason, best: str) -> str:
    """The reason in words, and the inverters that decide it."""
    rival = reason.rival
    if reason.decided_by == "served":
        text = f"{best} comes before {rival} because more inverters hold there"
    elif reason.decided_by == "expected_served":
        text = f"As many hold at {rival}; {best} comes first because its links are the more reliable"
    elif reason.decided_by == "worst_margin_db":
        text = f"{rival} is as good in number; {best} comes first because its weakest link is the better"
    else:
        text = f"{rival} is every bit as good; {best} comes first because the plan names it first"
    groups = [
        ("hold only here", reason.gained),
        (f"hold only at {rival}", reason.lost),
        ("differ most", () if reason.gained or reason.lost else reason.nearer),
    ]
    lines = [wrapped(f"{name}: {_deciders(group)}", indent="  ") for name, group in groups if group]
    return "\n".join([wrapped("Why: " + text + "."), *lines])


def _deciders(group: tuple[Decider, ...]) -> str:
    shown = [
        f"{one.inverter} (margin {_db(one.margin_db)} here, {_db(one.rival_margin_db)} there)"
        for one in group[:DECIDERS_SHOWN]
    ]
    more = len(group) - len(shown)
    return "; ".join(shown) + (f"; and {more} more" if more else "")


def compare_table(comparison: Comparison) -> str:
    """Spots side by side: how each would serve, then margin and state of every inverter."""
    links, scores = comparison.links, comparison.scores
    names = links.inverters.names
    letters = [_letter(j) for j in range(links.shape[1])]
    summary = [_ranking_row(scores, names, letters[j], j) for j in range(links.shape[1])]
    columns = [Column("inverter", text=True)]
    for letter in letters:
        columns += [Column(f"{letter} margin"), Column("chance"), Column("state", text=True)]
    best = np.argmax(links.margin_db, axis=1).tolist()
    rows = []
    for i, inverter in enumerate(names):
        row = [inverter]
        for j in range(links.shape[1]):
            row += [_db(links.margin_db[i, j]), _percent(links.reliability[i, j]), STATES[links.state[i, j]]]
        rows.append([*row, letters[best[i]]])
    columns.append(Column("best", text=True))
    first = Column("", text=True)
    blocks = [
        table([first, *RANKING_COLUMNS[1:]], summary),
        *_side_by_side(columns, rows),
    ]
    return paragraphs(_wanted(links.scene.plan), *blocks, wrapped(CAUTION))


SPOTS_ACROSS = 3


def _letter(j: int) -> str:
    """A, B, ... Z, AA, AB, ..."""
    return _letter(j // 26 - 1) + _letter(j % 26) if j >= 26 else chr(ord("A") + j)  # noqa: PLR2004  letters


def _side_by_side(columns: list[Column], rows: list[list[str]]) -> list[str]:
    """A table as wide as it must be, in blocks that fit the terminal."""
    blocks = []
    spots = (len(columns) - 2) // 3
    for first in range(0, spots, SPOTS_ACROSS):
        kept = [0, *range(1 + 3 * first, 1 + 3 * min(first + SPOTS_ACROSS, spots)), len(columns) - 1]
        blocks.append(table([columns[k] for k in kept], [[row[k] for k in kept] for row in rows]))
    return blocks


def materials_table(materials: list[Material], frequency_mhz: float) -> str:
    """Materials with their loss at a frequency, and where it comes from."""
    columns = [Column("material", text=True), Column("loss dB"), Column("spread dB"), Column("status", text=True)]
    rows, sources = [], []
    for material in materials:
        low_mhz, high_mhz = material.range_mhz
        mark = "" if low_mhz <= frequency_mhz <= high_mhz else " *"
        loss = f"{material.loss_db(frequency_mhz):.1f}{mark or '  '}"
        rows.append([material.name, loss, f"{material.spread_db:.1f}", material.status])
        sources.append(wrapped(f"{material.name}: {material.source}", indent="  "))
    notes = (
        "Loss of one pass, square on. * = outside the frequencies for which the figure was found. Spreads are "
        "judgements, for want of published figures. Name a material in the plan, or give your own loss_db."
    )
    title = f"Built-in materials at {frequency_mhz:g} MHz"
    return paragraphs(title, table([*columns], rows), wrapped(notes), "Sources\n" + "\n".join(sources))


def check_text(inspection: Inspection) -> str:
    """What a plan holds and which defaults apply."""
    plan = inspection.scene.plan
    counts = ", ".join(counted(number, what) for what, number in inspection.counts if number)
    (west, east), (south, north), (low, high) = inspection.extent_m
    extent = (
        f"Inverters, gateways and spots lie {west:.2f} to {east:.2f} m east, {south:.2f} to {north:.2f} m "
        f"north, {low:.2f} to {high:.2f} m high."
    )
    defaults = [
        f"  {place} {key} = {_toml(value)}" + (f"  ({times} times)" if times > 1 else "")
        for (place, key, value), times in inspection.defaults
        if value != ""
    ]
    listing = "Defaults that apply:\n" + "\n".join(defaults) if defaults else "No default applies: all is given."
    return paragraphs(
        f"{plan.file}: {plan.site.name}", wrapped(f"Read without fault: {counts}."), wrapped(extent), listing
    )


def _toml(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else f"{value:g}" if isinstance(value, float) else str(value)
