"""Where a link's decibels go, as steps from the transmit power down to what the receiver needs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from survey.links import CARRIERS, Links, carried_by
from survey.pictures.site_map import one_lined
from survey.pictures.style import FAINT, INK, PAPER, SMALL_PT, WIDTH_IN, head_in, new_figure, picture, short
from survey.tables.figures import NOTHING_DB, db, percent
from survey.tables.links import WAY_WORDS, in_the_line

BARS = {
    "power": ("#4d4d4d", ""),
    "gain": ("#0072b2", ""),
    "loss": ("#d55e00", "////"),
    "level": ("#4d4d4d", ""),
    "need": ("#bdbdbd", "...."),
    "margin": ("#009e73", "xx"),
    "shortfall": ("#d55e00", "////"),
}
"""Colour and hatching of the bars."""
BAR_IN = 0.36
"""How high a step is drawn. [inch]"""
LEFT_IN, RIGHT_IN = 3.1, 0.5
SMALL_DB = 0.005


@dataclass(frozen=True, kw_only=True, slots=True)
class Step:
    """One item of a budget: what it is called, what it adds, and the level after it."""

    item: str
    db: float
    level_dbm: float


def budget_steps(links: Links, i: int, j: int, *, up: bool) -> list[Step]:
    """The items of one link's budget in one direction, from the transmit power to the level at the receiver.

    Parameters
    ----------
    links : Links
        Links.
    i, j : int
        Which inverter and which gateway.
    up : bool
        From the inverter to the gateway, or the other way.

    Returns
    -------
    list of Step
        The first is the transmit power, in dBm; what all of them add up to is the level, to 1e-9 dB.
    """
    near, far = links.inverters, links.gateways
    near_dbi, far_dbi = links.antenna_gains_dbi
    gain_dbi = {
        "inverter": float(near_dbi[i, j if near_dbi.shape[1] > 1 else 0]),
        "gateway": float(far_dbi[i if far_dbi.shape[0] > 1 else 0, j]),
    }
    loss_db = {"inverter": float(near.loss_db[i]), "gateway": float(far.loss_db[j])}
    one, other = ("inverter", "gateway") if up else ("gateway", "inverter")
    way = WAY_WORDS[CARRIERS[int(carried_by(links)[i, j])]]
    over = "what stands in the line" if way == "straight" else f"what stands there, mostly by way {way}"
    items = [
        (f"transmit power of the {one}", float((near.tx_power_dbm[i], far.tx_power_dbm[j])[0 if up else 1])),
        (f"antenna of the {one}", gain_dbi[one]),
        (f"mounting and cable, {one}", -loss_db[one]),
        (f"distance, {links.distance_m[i, j]:.1f} m", -float(links.base_loss_db[i, j])),
        (over, -float(links.obstacle_loss_db[i, j])),
        (f"antenna of the {other}", gain_dbi[other]),
        (f"mounting and cable, {other}", -loss_db[other]),
    ]
    if links.scene.correction is not None:
        offset_db = links.scene.correction.offsets_db(links.inverters.names, links.gateways.names)
        items.append(("what readings have shown (--fit)", float(np.broadcast_to(offset_db, links.shape)[i, j])))
    steps, level_dbm = [], 0.0
    for item, value_db in items:
        level_dbm += value_db
        steps.append(Step(item=item, db=value_db, level_dbm=level_dbm))
    return steps


@picture
def budget_picture(links: Links, i: int, j: int) -> Figure:
    """Draw one link's budget in its weaker direction.

    Parameters
    ----------
    links : Links
        Links.
    i, j : int
        Which inverter and which gateway.

    Returns
    -------
    Figure
    """
    plan, up = links.scene.plan, bool(links.uplink_margin_db[i, j] <= links.downlink_margin_db[i, j])
    steps = budget_steps(links, i, j, up=up)
    need_dbm = float(links.gateways.need_dbm[j] if up else links.inverters.need_dbm[i])
    level_dbm, margin_db = steps[-1].level_dbm, float(links.margin_db[i, j])
    inverter, gateway = short(links.inverters.names[i]), short(links.gateways.names[j])
    one, other = (inverter, gateway) if up else (gateway, inverter)
    chance = percent(float(links.reliability[i, j]), wanted=plan.requirement.reliability)
    state = ("fails", "marginal", "holds")[int(links.state[i, j])]
    met = in_the_line(links, i, j)
    lines = (
        (
            f"{plan.site.name}. From {one} to {other}, the weaker direction: "
            f"margin {margin_db:.1f} dB, chance {chance}: {state}."
        ),
        f"In the straight line: {', '.join(met) if met else 'nothing'}.",
        one_lined(links.scene),
    )
    rows = [step for k, step in enumerate(steps) if k == 0 or abs(step.db) >= SMALL_DB]
    count = len(rows) + 3
    above_in, below_in, tall_in = head_in(lines) + 0.1, 0.75, BAR_IN * count
    height_in = above_in + tall_in + below_in
    figure = new_figure(height_in=height_in, title=f"Where the decibels go: {inverter} and {gateway}", lines=lines)
    axes = figure.add_axes(
        (LEFT_IN / WIDTH_IN, below_in / height_in, (WIDTH_IN - LEFT_IN - RIGHT_IN) / WIDTH_IN, tall_in / height_in),
        label="budget",
    )
    highest = max(step.level_dbm for step in rows)
    lowest = min(need_dbm, *(step.level_dbm for step in rows))
    room = 0.14 * (highest - lowest)
    names: list[str] = []
    before: float | None = None
    for y, step in enumerate(rows):
        start = lowest - room if before is None else before
        kind = "power" if before is None else "gain" if step.db > 0 else "loss"
        _bar(axes, y, (start, step.level_dbm), kind)
        if before is not None:
            axes.plot([before, before], [y - 1, y], color=FAINT, linewidth=0.7, zorder=1)
        words = f"{db(step.db)} dBm" if before is None else f"{step.db:+.1f} dB"
        _words(axes, y, max(start, step.level_dbm), words)
        names.append(step.item)
        before = step.level_dbm
    y = len(rows)
    _bar(axes, y, (lowest - room, level_dbm), "level")
    _words(axes, y, level_dbm, f"{db(level_dbm)} dBm")
    names.append("level at the receiver")
    _bar(axes, y + 1, (lowest - room, need_dbm), "need")
    _words(axes, y + 1, need_dbm, f"{db(need_dbm)} dBm")
    names.append("what the receiver needs")
    _bar(axes, y + 2, (need_dbm, level_dbm), "margin" if margin_db >= 0 else "shortfall")
    nothing = "  (nothing arrives)" if margin_db < NOTHING_DB else ""
    _words(axes, y + 2, max(need_dbm, level_dbm), f"margin {margin_db:+.1f} dB{nothing}")
    names.append("margin: level less need")
    axes.axvline(need_dbm, color=INK, linewidth=0.9, linestyle="--", zorder=0.5, gid="need")
    axes.set_yticks(range(count), names, fontsize=SMALL_PT + 0.5)
    axes.set_ylim(count - 0.5, -0.5)
    axes.set_xlim(lowest - room, highest + 1.6 * room)
    axes.set_xlabel("level, dBm")
    axes.tick_params(axis="y", length=0)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    return figure


def _bar(axes: Axes, y: int, ends_dbm: tuple[float, float], kind: str) -> None:
    colour, hatch = BARS[kind]
    (bar,) = axes.barh(y, ends_dbm[1] - ends_dbm[0], left=ends_dbm[0], height=0.62, color=colour, hatch=hatch, zorder=2)
    bar.set(edgecolor=INK, linewidth=0.6, alpha=0.85, gid=kind)


def _words(axes: Axes, y: int, at: float, words: str) -> None:
    paper = {"facecolor": PAPER, "edgecolor": "none", "pad": 0.8}
    axes.annotate(
        words,
        (at, y),
        xytext=(5, 0),
        textcoords="offset points",
        va="center",
        fontsize=SMALL_PT,
        bbox=paper,
        zorder=1.5,
    )
