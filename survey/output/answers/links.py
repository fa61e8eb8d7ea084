"""The table of links."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from survey.base.layout import Cell, Column, paragraphs, table, wrapped
from survey.budget import CARRIERS, STATES, Links
from survey.output.answers.figures import CAUTION, NOTHING, NOTHING_DB, db, letter, margin, percent, tally, wanted_line
from survey.output.answers.values import Record, plain

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
    carriers, gateways = links.carrier, range(links.shape[1])
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
    aside += ["how many inverters a gateway takes"] if links.scene.capacity else []
    if not aside:
        return ""
    return wrapped(f"These are links straight to a gateway: {' and '.join(aside)} count in survey network.")


FIGURES = (
    "distance_m",
    "base_loss_db",
    "obstacle_loss_db",
    "path_loss_db",
    "uplink_level_dbm",
    "uplink_margin_db",
    "downlink_level_dbm",
    "downlink_margin_db",
    "margin_db",
    "sigma_db",
    "reliability",
)
"""The figures of a link, in the order in which they are told: fields of `Links`."""


def link_records(links: Links, gateway_of: Sequence[int] | None = None) -> list[Record]:
    """Every link, inverter by inverter; or only the link of each inverter to its gateway, by index."""
    columns = {name: plain(getattr(links, name)) for name in FIGURES}
    around = {f"{way}_db": plain(loss_db) for way, loss_db in zip(CARRIERS[1:], links.around_db, strict=True)}
    states, carriers = links.state.tolist(), links.carrier.tolist()
    records = []
    for i, inverter in enumerate(links.inverters.names):
        for j in range(len(links.gateways)) if gateway_of is None else [gateway_of[i]]:
            gateway = links.gateways.names[j]
            one = {name: values[i][j] for name, values in columns.items()}
            records.append(
                {
                    "inverter": inverter,
                    "gateway": gateway,
                    "distance_m": one["distance_m"],
                    "base_loss_db": one["base_loss_db"],
                    "obstacle_loss_db": one["obstacle_loss_db"],
                    "path_loss_db": one["path_loss_db"],
                    "crossed": [{"obstacle": name, "loss_db": plain(loss_db)} for name, loss_db in links.met_by(i, j)],
                    "around": {way: loss_db[i][j] for way, loss_db in around.items()},
                    "carried_by": CARRIERS[carriers[i][j]],
                    "mirror": links.mirror_of(i, j) or None,
                    "uplink": {"level_dbm": one["uplink_level_dbm"], "margin_db": one["uplink_margin_db"]},
                    "downlink": {"level_dbm": one["downlink_level_dbm"], "margin_db": one["downlink_margin_db"]},
                    "margin_db": one["margin_db"],
                    "sigma_db": one["sigma_db"],
                    "reliability": one["reliability"],
                    "state": STATES[states[i][j]],
                }
            )
    return records


def links_record(links: Links) -> Record:
    """What `survey links --json` prints."""
    return {"plan": links.scene.plan.file, "site": links.scene.plan.site.name, "links": link_records(links)}
