"""What is printed of a recommendation: the spot, the runners-up, the reason and the weakest links."""

from __future__ import annotations

import numpy as np

from survey.layout import Column, counted, paragraphs, table, wrapped
from survey.links import carried_by
from survey.placement import Decider, Placement, Reason, Scores, best_of_each_place
from survey.plan import Search, Spot
from survey.tables.figures import CAUTION, NOTHING_DB, db, holding, margin, tally, wanted_line
from survey.tables.links import LINK_COLUMNS, link_row

PLACES_SHOWN = 10
WEAKEST_SHOWN = 10
DECIDERS_SHOWN = 6

RANKING_COLUMNS = (
    Column("rank"),
    Column("spot", text=True),
    Column("holds"),
    Column("expected\nto work"),
    Column("weakest\ninverter", text=True),
    Column("its margin\ndB"),
    Column("median\nmargin dB"),
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
    ranking = f"{title}, of {counted(len(order), 'spot')}\n" + table(RANKING_COLUMNS, rows)
    why = ""
    if placement.reason:
        why = _why(placement.reason, ranks[scores.spots.names.index(placement.reason.rival)])
    return paragraphs(
        wanted_line(scene.plan), _head(placement), ranking, why, _weakest(placement), tally(placement.links), CAUTION
    )


def _head(placement: Placement) -> str:
    """Where the gateway goes, and what that would be worth."""
    scene, scores, best = placement.scene, placement.scores, int(placement.order[0])
    x, y, height_m = scores.spots.at_m[best].tolist()
    entry = _entry(placement, scores.spots.places[best])
    cable_loss_db = entry.radio(scene.plan.radio.gateway).cable_loss_db
    served, inverters = int(scores.served[best]), scene.inverters.names
    expected, fade_margin_db = scores.expected_served[best], scene.plan.requirement.fade_margin_db
    margin_db = scores.worst_margin_db[best]
    weakest = f"margin {db(margin_db)} dB" if margin_db >= NOTHING_DB else "nothing arrives"
    facts = [
        f"east {x:.2f} m, north {y:.2f} m, {height_m:.2f} m high",
        f"note: {entry.note}" if entry.note else "",
        f"cable: {cable_loss_db:g} dB, counted in" if cable_loss_db else "",
        holding(served, len(inverters)),
        f"{expected:.1f} expected to work: the sum of all chances, with {fade_margin_db:g} dB held back",
        f"weakest link: {inverters[int(scores.worst_inverter[best])]}, {weakest}",
    ]
    lines = [wrapped(f"Put the gateway at {scores.spots.names[best]}")]
    if not served:
        lines.insert(0, "No inverter holds at any of the spots; the least bad of them:")
    return "\n".join([*lines, *(wrapped(fact, indent="  ") for fact in facts if fact)])


def _entry(placement: Placement, name: str) -> Spot | Search:
    """The entry of the plan that a spot comes from."""
    plan = placement.scene.plan
    places: list[Spot | Search] = [*plan.spots, *plan.searches]
    return next(one for one in places if one.name == name)


def _weakest(placement: Placement) -> str:
    links = placement.links
    weakest = np.argsort(links.margin_db[:, 0], kind="stable")[:WEAKEST_SHOWN].tolist()
    carriers = carried_by(links)
    if len(weakest) == links.shape[0]:
        title = "The link there" if len(weakest) == 1 else f"All {len(weakest)} links there, the weakest first"
    else:
        title = f"The {len(weakest)} weakest links there"
    return title + "\n" + table(LINK_COLUMNS, [link_row(links, i, 0, carriers) for i in weakest])


def _why(reason: Reason, rank: int) -> str:
    """The reason in words, and the inverters that decide it."""
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
    lines = [wrapped(f"{name}: {_deciders(group)}", indent="  ") for name, group in groups if group]
    return "\n".join([wrapped(f"Why: {text}."), *lines])


def _deciders(group: tuple[Decider, ...]) -> str:
    shown = [
        f"{one.inverter} (margin {margin(one.margin_db)} here, {margin(one.rival_margin_db)} there)"
        for one in group[:DECIDERS_SHOWN]
    ]
    more = len(group) - len(shown)
    return "; ".join(shown) + (f"; and {more} more" if more else "")
