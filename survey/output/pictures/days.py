"""A log day by day: inverters down, hours across, and missed polls by cause, so that the eye sees a rhythm."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from survey.inputs.logs import DAY_S
from survey.measured.dropouts import (
    BRANCH,
    CAUSES,
    FADING,
    GATEWAY,
    INTERFERENCE,
    LOW_LIGHT,
    MOVED,
    OBSTACLE,
    UNIT,
    UNKNOWN,
    WEAK,
    Dropouts,
)
from survey.output.answers.dropouts import CAUTION_WORDS, cause_words, log_words, total_words
from survey.output.answers.figures import fit_words
from survey.output.pictures.style import SMALL_PT, foot_legend, head_in, legend_in, new_figure, picture, sample, short

LOOKS: dict[str, tuple[str, str]] = {
    LOW_LIGHT: ("#c8c8c8", "s"),
    UNKNOWN: ("#7a7a7a", "."),
    BRANCH: ("#d55e00", "s"),
    GATEWAY: ("#000000", "s"),
    MOVED: ("#cc79a7", "D"),
    WEAK: ("#56b4e9", "o"),
    OBSTACLE: ("#0072b2", "^"),
    INTERFERENCE: ("#e69f00", "x"),
    FADING: ("#009e73", "v"),
    UNIT: ("#a0006d", "P"),
}
"""Colour and mark of each cause: the colours of Okabe and Ito (2008), and marks that say the same without colour."""
DAYS_ACROSS = 4
"""Panels of days side by side. A judgement, as are the sizes below."""
LIKELY = CAUTION_WORDS.partition(":")[0] + "."
"""What stands at the foot: causes are likely ones."""
MAX_DAY_PANELS = 16
"""Up to so many days have a panel each; more of them a strip for each week."""
MAX_WEEKS = 20
"""Of a longer log the last weeks are drawn."""
ROW_IN, MIN_PANEL_IN, MAX_PANEL_IN = 0.075, 0.7, 3.2
"""Height of an inverter's row, and of a panel. [inch]"""
MAX_NAMES = 40
"""Names beside a panel at most."""
WEEK = 7
"""Days of a week."""
LEGEND_COLUMNS = 6
"""Causes side by side in the legend."""
HOURS = 24
"""Hours of a day."""


@picture
def days_picture(found: Dropouts) -> Figure:
    """Draw the missed polls of a log by day and hour.

    Parameters
    ----------
    found : Dropouts
        What was found in it.

    Returns
    -------
    Figure
        One small panel a day, or one strip a week where there are more days than `MAX_DAY_PANELS`.
    """
    log = found.log
    day = log.time_s // DAY_S
    first, last = int(day[0]), int(day[-1])
    weekly = last - first + 1 > MAX_DAY_PANELS
    begins = list(range(first, last + 1, WEEK if weekly else 1))
    left_out = max(0, len(begins) - MAX_WEEKS)
    begins = begins[left_out:]
    across = 1 if weekly else min(DAYS_ACROSS, len(begins))
    down = -(-len(begins) // across)
    panel_in = float(np.clip(ROW_IN * len(found.inverters), MIN_PANEL_IN, MAX_PANEL_IN))
    lines = [f"{log_words(found)}. {total_words(found)}."]
    lines += [f"The last {MAX_WEEKS} weeks are drawn."] if left_out else []
    lines += fit_words(found.scene)
    used = [cause for k, cause in enumerate(CAUSES) if (found.marks == k + 1).any()]
    top_in, bottom_in = head_in(tuple(lines)) + 0.15, legend_in(len(used), columns=LEGEND_COLUMNS) + 0.3
    height_in = top_in + bottom_in + down * (panel_in + 0.38)
    figure = new_figure(
        height_in=height_in,
        title=f"{found.scene.plan.site.name}: missed polls by hour",
        lines=tuple(lines),
        caution=LIKELY,
    )
    grid = figure.add_gridspec(
        down,
        across,
        left=0.12,
        right=0.985,
        top=1.0 - top_in / height_in,
        bottom=bottom_in / height_in,
        hspace=0.38 / panel_in,
        wspace=0.06,
    )
    for k, begin in enumerate(begins):
        axes = figure.add_subplot(grid[k // across, k % across])
        _panel(axes, found, begin, days=WEEK if weekly else 1, height_in=panel_in if k % across == 0 else 0.0)
        if k // across == down - 1 or k + across >= len(begins):
            axes.set_xlabel("hour" if not weekly else "day and hour", fontsize=SMALL_PT, labelpad=1)
    handles = [
        sample(cause_words(one), linestyle="none", marker=LOOKS[one][1], color=LOOKS[one][0], markersize=5)
        for one in used
    ]
    foot_legend(figure, handles, columns=LEGEND_COLUMNS)
    return figure


def _panel(axes: Axes, found: Dropouts, begin: int, *, days: int, height_in: float) -> None:
    """One day or one week: a mark for each missed poll, a light ground where polls were answered."""
    log, count = found.log, len(found.inverters)
    times = np.flatnonzero((log.time_s >= begin * DAY_S) & (log.time_s < (begin + days) * DAY_S))
    hour = (log.time_s[times] - begin * DAY_S) / 3_600.0
    row_of = {name: row for row, name in enumerate(found.inverters)}
    rows = np.array([row_of[found.scene.inverters.names[i]] for i in log.inverter.tolist()])
    links, at = np.nonzero(log.heard[:, times] > 0)
    axes.plot(
        hour[at], rows[links], linestyle="none", marker="s", markersize=1.2, color="#e8f1f7", zorder=1, gid="answered"
    )
    size = 2.4 if days == 1 else 1.6
    for number, cause in enumerate(CAUSES, start=1):
        links, at = np.nonzero(found.marks[:, times] == number)
        if len(links):
            colour, shape = LOOKS[cause]
            small: dict[str, Any] = {"markersize": size, "markeredgewidth": 0.5 if shape == "x" else 0.0}
            axes.plot(hour[at], rows[links], linestyle="none", marker=shape, color=colour, zorder=2, gid=cause, **small)
    axes.set_xlim(0, HOURS * days)
    axes.set_ylim(count - 0.5, -0.5)
    step = 6 if days == 1 else HOURS
    axes.set_xticks(range(0, HOURS * days + 1, step))
    labels = [str(one) for one in range(0, HOURS + 1, step)] if days == 1 else [""] * (days + 1)
    axes.set_xticklabels(labels, fontsize=SMALL_PT - 1)
    axes.set_title(log.stamp(begin * DAY_S)[:10] + (" and 6 days more" if days > 1 else ""), fontsize=SMALL_PT, pad=2)
    if height_in:
        every = max(1, -(-count // (MAX_NAMES if count <= MAX_NAMES else 12)))
        every = max(every, round(0.11 * count / height_in), 1)
        axes.set_yticks(range(0, count, every))
        axes.set_yticklabels([short(name, 14) for name in found.inverters[::every]], fontsize=SMALL_PT - 1.5)
    else:
        axes.set_yticks([])
    axes.tick_params(length=2, pad=1)
