"""The table of links."""

from __future__ import annotations

from collections import Counter

import numpy as np
from numpy.typing import NDArray

from survey.layout import Cell, Column, paragraphs, table, wrapped
from survey.links import CARRIERS, STATES, Links, carried_by
from survey.network import room_of
from survey.tables.figures import CAUTION, NOTHING, NOTHING_DB, db, letter, margin, percent, tally, wanted_line

WAY_WORDS = {"straight": "straight", "over": "over", "left": "left", "right": "right", "reflected": "mirror"}
FAR_M = 10_000.0
"""From here on a distance is shown without a decimal, for want of room. [m]"""
SHOWN_DB = 0.05
"""A line that loses less than this to the edges it passes is shown as clear. [dB]"""

LINK_COLUMNS = (
    Column("inverter", text=True),
    Column("m"),
    Column("loss\ndB"),
    Column("obstacles\ndB"),
    Column("up\ndBm"),
    Column("down\ndBm"),
    Column("margin\ndB"),
    Column("chance"),
    Column("state", text=True),
    Column("way", text=True),
    Column("in the\nstraight line", text=True, yields=True),
)


def link_row(links: Links, i: int, j: int, carriers: NDArray[np.intp]) -> list[Cell]:
    """One link under `LINK_COLUMNS`."""
    heard = links.margin_db[i, j] >= NOTHING_DB
    return [
        links.inverters.names[i],
        f"{links.distance_m[i, j]:.{int(links.distance_m[i, j] < FAR_M)}f}",
        db(links.path_loss_db[i, j]),
        db(links.obstacle_loss_db[i, j]),
        db(links.uplink_level_dbm[i, j]) if heard else NOTHING,
        db(links.downlink_level_dbm[i, j]) if heard else NOTHING,
        margin(links.margin_db[i, j]),
        percent(links.reliability[i, j], wanted=links.scene.plan.requirement.reliability),
        STATES[links.state[i, j]],
        WAY_WORDS[CARRIERS[carriers[i, j]]],
        in_the_line(links, i, j) or "clear",
    ]


def in_the_line(links: Links, i: int, j: int) -> tuple[str, ...]:
    """What stands in the straight line of a link, that of greatest loss first, each with how often it is crossed."""
    met = links.met_by(i, j)
    if links.grazed_db[i, j] > 0:  # then the last of them is what the line passes closely
        *met, (edge, loss_db) = met
        met += [(f"edge of {edge}", loss_db)] if loss_db >= SHOWN_DB else []
    counts = Counter(name for name, _ in met)
    losses_db = {name: sum(loss_db for other, loss_db in met if other == name) for name in counts}
    names = sorted(counts, key=lambda name: -losses_db[name])
    return tuple(f"{name} x{counts[name]}" if counts[name] > 1 else name for name in names)


def link_table(links: Links) -> str:
    """Every link, inverter by inverter."""
    carriers, gateways = carried_by(links), range(links.shape[1])
    if len(gateways) == 1:
        rows = [link_row(links, i, 0, carriers) for i in range(links.shape[0])]
        listing = wrapped(f"Links to {links.gateways.names[0]}") + "\n" + table(LINK_COLUMNS, rows)
    else:
        named = [wrapped(f"{letter(j)}  {links.gateways.names[j]}", indent="  ", hang=3) for j in gateways]
        rows = []
        for i in range(links.shape[0]):
            for j in gateways:
                first, *others = link_row(links, i, j, carriers)
                rows.append([first, letter(j), *others])
        columns = (LINK_COLUMNS[0], Column("to", text=True), *LINK_COLUMNS[1:])
        listing = paragraphs("\n".join(["Links to", *named]), table(columns, rows))
    return paragraphs(wanted_line(links.scene.plan), listing, tally(links), _straight_only(links), CAUTION)


def _straight_only(links: Links) -> str:
    """What a list of links leaves aside, where the plan has it."""
    wanted = links.scene.plan.requirement
    aside = ["routes over other inverters"] if wanted.max_relays else []
    aside += ["how many inverters a gateway takes"] if room_of(links.scene) else []
    if not aside:
        return ""
    return wrapped(f"These are links straight to a gateway: {' and '.join(aside)} count in survey network.")
