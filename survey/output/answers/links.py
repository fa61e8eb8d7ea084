"""The table of links."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from shlex import quote

import numpy as np
from numpy.typing import NDArray

from survey.base.layout import Cell, Column, counted, paragraphs, table, wrapped
from survey.budget import CARRIERS, HOLDS, STATES, Links
from survey.output.answers.figures import CAUTION, NOTHING, NOTHING_DB, db, letter, margin, percent, tally, wanted_line
from survey.output.answers.values import Record, plain

WAY_WORDS = {"straight": "direct", "over": "over", "left": "left", "right": "right", "reflected": "reflected"}
"""The best path in a table, by carrier."""
FAR_M = 10_000.0
"""From here on a distance is shown without a decimal: the column has no space for it. [m]"""
SHOWN_DB = 0.05
"""A line that loses less than this to grazed edges is shown as clear: one decimal does not show it. [dB]"""

LINK_COLUMNS = (
    Column("inverter", text=True),
    Column("m", spare=3),
    Column("path\nloss\ndB", spare=6),
    Column("obstacle\nloss\ndB", spare=7),
    Column("up\ndBm", spare=4),
    Column("down\ndBm", spare=5),
    Column("margin\ndB"),
    Column("chance"),
    Column("state", text=True),
    Column("best\npath", text=True, spare=2),
    Column("obstacles\non direct\nline", text=True, yields=True, spare=1),
)
"""A link as a row; what a narrow terminal can do without is a judgement."""
LINK_KEY = (
    "Up: level at the gateway. Down: level at the inverter. x2: crossed twice. +1: one more obstacle.",
    "Best path over: over or under the obstacles. Left, right: past that side, seen from the inverter.",
)
"""What the heads and cells of `LINK_COLUMNS` mean, a line each, under the table."""


def link_key() -> str:
    """Return what the heads and cells of `LINK_COLUMNS` mean."""
    return "\n".join(map(wrapped, LINK_KEY))


def link_row(links: Links, i: int, j: int, carriers: NDArray[np.intp]) -> list[Cell]:
    """Return one link under `LINK_COLUMNS`."""
    audible = links.margin_db[i, j] >= NOTHING_DB
    return [
        links.inverters.names[i],
        f"{links.distance_m[i, j]:.{int(links.distance_m[i, j] < FAR_M)}f}",
        db(links.path_loss_db[i, j]),
        db(links.obstacle_loss_db[i, j]),
        db(links.uplink_level_dbm[i, j]) if audible else NOTHING,
        db(links.downlink_level_dbm[i, j]) if audible else NOTHING,
        margin(links.margin_db[i, j]),
        percent(links.reliability[i, j], wanted=links.scene.plan.requirement.reliability),
        STATES[links.state[i, j]],
        WAY_WORDS[CARRIERS[carriers[i, j]]],
        in_the_line(links, i, j) or "none",
    ]


def in_the_line(links: Links, i: int, j: int) -> tuple[str, ...]:
    """Return the obstacles on the direct line of a link, the greatest loss first, each with how often it is crossed."""
    met = links.met_by(i, j)
    if links.grazed_db[i, j] > 0:  # then the last of them is the edge that the line grazes
        *met, (edge, loss_db) = met
        met += [(f"edge of {edge}", loss_db)] if loss_db >= SHOWN_DB else []
    counts = Counter(name for name, _ in met)
    losses_db = {name: sum(loss_db for other, loss_db in met if other == name) for name in counts}
    names = sorted(counts, key=lambda name: -losses_db[name])
    return tuple(f"{name} x{counts[name]}" if counts[name] > 1 else name for name in names)


def link_table(links: Links, *, shown: Sequence[int] | None = None, of: str = "") -> str:
    """Return what `survey links` prints: every link, inverter by inverter.

    Parameters
    ----------
    links : Links
        The links.
    shown : sequence of int, optional
        The inverters to list, in this order; the tally counts all.
    of : str
        What these inverters are, in words.
    """
    carriers, gateways = links.carrier, range(links.shape[1])
    numbers = range(links.shape[0]) if shown is None else shown
    if not len(numbers):
        listing = wrapped(f"No inverter to list: {of}.")
    elif len(gateways) == 1:
        rows = [link_row(links, i, 0, carriers) for i in numbers]
        listing = wrapped(f"Links to {links.gateways.names[0]}") + "\n" + table(LINK_COLUMNS, rows) + "\n" + link_key()
    else:
        named = [wrapped(f"{letter(j)}  {links.gateways.names[j]}", indent="  ", hang=3) for j in gateways]
        rows = []
        for i in numbers:
            for j in gateways:
                first, *others = link_row(links, i, j, carriers)
                rows.append([first, letter(j), *others])
        columns = (LINK_COLUMNS[0], Column("to", text=True), *LINK_COLUMNS[1:])
        listing = paragraphs("\n".join(["Links to", *named]), table(columns, rows) + "\n" + link_key())
    head = [tally(links), _next_step(links)]
    if of and len(numbers):
        head.insert(1, wrapped(f"Listed: {len(numbers)} of {counted(links.shape[0], 'inverter')}, {of}"))
    wanted = wanted_line(links.scene.plan, links)
    return paragraphs(wanted, "\n".join(head), listing, _straight_only(links), wrapped(CAUTION))


def _next_step(links: Links) -> str:
    """Return what to do next."""
    file, state = quote(links.scene.plan.file), links.state.max(axis=1)
    if np.all(state == HOLDS):
        return wrapped(f"Next step: take readings on site, then compare: survey fit {file} READINGS.csv")
    weakest = int(np.argmin(np.where(state < HOLDS, links.margin_db.max(axis=1), np.inf)))
    name = quote(links.inverters.names[weakest])
    return wrapped(f"Next step: see what helps the weakest inverter: survey explain {file} {name}")


def _straight_only(links: Links) -> str:
    """Return what a list of links does not show, where the plan has it."""
    wanted = links.scene.plan.requirement
    aside = ["relay routes"] if wanted.max_relays else []
    aside += ["gateway capacity"] if links.scene.capacity else []
    if not aside:
        return ""
    command = f"survey network {quote(links.scene.plan.file)}"
    return wrapped(f"Only direct links are listed. For {' and '.join(aside)} run: {command}")


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
"""The figures of a link, in the order of a record: fields of `Links`."""


def link_records(
    links: Links, gateway_of: Sequence[int] | None = None, *, shown: Sequence[int] | None = None
) -> list[Record]:
    """Return every link, inverter by inverter; or only the link of each inverter to its gateway, by index.

    With `shown` only the links of these inverters, in this order.
    """
    columns = {name: plain(getattr(links, name)) for name in FIGURES}
    around = {f"{way}_db": plain(loss_db) for way, loss_db in zip(CARRIERS[1:], links.around_db, strict=True)}
    states, carriers = links.state.tolist(), links.carrier.tolist()
    records = []
    for i in range(len(links.inverters)) if shown is None else shown:
        inverter = links.inverters.names[i]
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


def links_record(links: Links, *, shown: Sequence[int] | None = None) -> Record:
    """Return what `survey links --json` prints; with `shown` only the links of these inverters, in this order."""
    plan = links.scene.plan
    return {"plan": plan.file, "site": plan.site.name, "links": link_records(links, shown=shown)}
