"""Where a link's decibels go, as steps from the transmit power down to what the receiver needs."""

from __future__ import annotations

import math
import textwrap

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from survey.base.errors import one_line
from survey.base.layout import columns_of, shortened
from survey.budget import STATES, Links
from survey.budget.explanation import Item, budget_of
from survey.output.answers.figures import NOTHING, NOTHING_DB, margin_in_db, percent
from survey.output.answers.link_budget import Step, direction_words, signed, steps_of, way_words
from survey.output.pictures.site_map import one_lined
from survey.output.pictures.style import FAINT, INK, PAPER, SMALL_PT, head_in, new_figure, picture, short, width_in

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
"""Margins: names left, figures right; by eye. [in]"""
LABEL_LETTERS = 38
"""So many letters of an item's words fit on a line beside its bar."""
OBSTACLES_SHOWN = 24
"""More obstacles than these are told as one."""


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
    budget, requirement = budget_of(links, i, j), links.scene.plan.requirement
    steps = _within_reason(steps_of(budget))
    level_dbm, need_dbm = round(budget.level_dbm, 2), round(budget.need_dbm, 2)
    margin_db = level_dbm - need_dbm
    inverter, gateway = short(budget.inverter), short(budget.gateway)
    site, chance = links.scene.plan.site.name, percent(budget.reliability, wanted=requirement.reliability)
    lines = (
        f"{site}: margin {margin_in_db(budget.margin_db)}, chance {chance}: {STATES[budget.state]}.",
        direction_words(budget),
        way_words(budget),
        one_lined(links.scene, links),
    )
    count = len(steps) + 3
    above_in, below_in, tall_in = head_in(lines) + 0.1, 0.75, BAR_IN * count
    height_in = above_in + tall_in + below_in
    figure = new_figure(height_in=height_in, title=f"Link budget: {inverter} and {gateway}", lines=lines)
    axes = figure.add_axes(
        (
            LEFT_IN / width_in(),
            below_in / height_in,
            (width_in() - LEFT_IN - RIGHT_IN) / width_in(),
            tall_in / height_in,
        ),
        label="budget",
    )
    highest = max(need_dbm, *(step.level_dbm for step in steps))
    reached = min(need_dbm, *(step.level_dbm for step in steps))
    lowest = max(reached, need_dbm + NOTHING_DB)  # no receiver works down there, and it would squeeze the rest
    room = 0.14 * (highest - lowest)
    left = lowest - room
    before = left
    names = []
    for y, step in enumerate(steps):
        after = max(step.level_dbm, left)
        kind = "power" if y == 0 else "gain" if step.db >= 0 else "loss"
        _bar(axes, y, (before, after), kind)
        if y:
            axes.plot([before, before], [y - 1, y], color=FAINT, linewidth=0.7, zorder=1)
        _words(axes, y, max(before, after), f"{step.level_dbm:.2f} dBm" if y == 0 else f"{signed(step.db)} dB")
        names.append(_label(step.item))
        before = after
    y, shown_dbm = len(steps), max(level_dbm, left)
    _bar(axes, y, (left, shown_dbm), "level")
    _words(axes, y, shown_dbm, f"{level_dbm:.2f} dBm" if math.isfinite(level_dbm) else NOTHING)
    _bar(axes, y + 1, (left, need_dbm), "need")
    _words(axes, y + 1, need_dbm, f"{need_dbm:.2f} dBm")
    _bar(axes, y + 2, (need_dbm, shown_dbm), "margin" if margin_db >= 0 else "shortfall")
    words = f"{signed(margin_db)} dB" if budget.margin_db >= NOTHING_DB else "no usable signal"
    _words(axes, y + 2, max(need_dbm, shown_dbm), words)
    names += ["level at the receiver", "sensitivity of the receiver", "margin: level minus sensitivity"]
    axes.axvline(need_dbm, color=INK, linewidth=0.9, linestyle="--", zorder=0.5, gid="need")
    axes.set_yticks(range(count), names, fontsize=SMALL_PT + 0.5)
    axes.set_ylim(count - 0.5, -0.5)
    axes.set_xlim(left, highest + 1.6 * room)
    cut = f"; bars are cut off at {left:.0f} dBm" if reached < lowest else ""
    axes.set_xlabel(f"level, dBm{cut}")
    axes.tick_params(axis="y", length=0)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    return figure


def _within_reason(steps: list[Step]) -> list[Step]:
    """The steps, with the obstacles that cost least told as one where a picture has no room for all."""
    costly = sorted((step for step in steps if step.item.kind == "obstacle"), key=lambda step: step.db)
    rest = costly[OBSTACLES_SHOWN:]
    if len(rest) <= 1:
        return steps
    rest_db = sum(step.db for step in rest)
    others = Item(item=f"through {len(rest)} more obstacles", kind="obstacle", db=rest_db)
    found: list[Step] = []
    level_dbm, last = 0.0, max(k for k, step in enumerate(steps) if step.item.kind == "obstacle")
    for k, step in enumerate(steps):
        shown = [] if any(step is one for one in rest) else [(step.item, step.db)]
        for item, value_db in [*shown, (others, rest_db)] if k == last else shown:
            level_dbm += value_db
            found.append(Step(item, value_db, round(level_dbm, 2)))
    return found


def _label(item: Item) -> str:
    """An item's words as `survey explain` has them, over two lines or cut where they are long."""
    words = one_line(item.item)
    if item.obstacle:
        words = words.replace(one_line(item.obstacle), short(item.obstacle))
    lines = textwrap.wrap(words, LABEL_LETTERS, break_long_words=False, break_on_hyphens=False)
    if len(lines) > 2 or any(columns_of(line) > LABEL_LETTERS for line in lines):  # noqa: PLR2004  lines
        return shortened(words, LABEL_LETTERS)
    return "\n".join(lines)


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
