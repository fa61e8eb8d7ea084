"""Names put beside what they name, where there is room for them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.transforms import BboxBase

from survey.base.arrays import FloatArray
from survey.output.pictures.style import INK, PAPER, SMALL_PT, plain_text, short

GAP_PT = 5.0
"""How far beside its point a name stands."""
Horizontal = Literal["left", "center", "right"]
Vertical = Literal["bottom", "center", "top"]
SIDES: tuple[tuple[Horizontal, Vertical, int, int], ...] = (
    ("left", "center", 1, 0),
    ("right", "center", -1, 0),
    ("center", "bottom", 0, 1),
    ("center", "top", 0, -1),
    ("left", "bottom", 1, 1),
    ("left", "top", 1, -1),
    ("right", "bottom", -1, 1),
    ("right", "top", -1, -1),
)
"""Sides of a point where its name may stand, the best first, as on maps."""
FARTHER = (1.0, 2.2, 4.0)
"""Distances of a name from its point, tried in turn; by eye."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Label:
    """A name and where it belongs.

    Attributes
    ----------
    text : str
        The name.
    at_m : tuple of float
        Its point, in the axes' own units.
    over : bool
        Stands on its point rather than beside it, where there is room.
    needed : bool
        Is shown even where there is no room for it.
    bold : bool
        In bold letters.
    size_pt : float
        Size of its letters.
    """

    text: str
    at_m: tuple[float, float]
    over: bool = False
    needed: bool = False
    bold: bool = False
    size_pt: float = SMALL_PT


def put_labels(axes: Axes, labels: Sequence[Label], taken_m: FloatArray, *, reach_pt: float = 4.0) -> list[str]:
    """Put labels where they hide no point and no other label, the first ones first.

    Parameters
    ----------
    axes : Axes
        Whose limits and size stand.
    labels : sequence of Label
        The labels; one for which there is no room is left out, unless it is needed.
    taken_m : ndarray of float, shape (points, 2)
        Points that should stay in sight, in the axes' own units.
    reach_pt : float
        How far around each of them.

    Returns
    -------
    list of str
        Names that were left out.
    """
    figure = axes.get_figure()
    assert isinstance(figure, Figure)
    plain_text(figure)
    renderer = FigureCanvasAgg(figure).get_renderer()  # type: ignore[no-untyped-call]
    per_pt = figure.dpi / 72.0
    axes.apply_aspect()
    frame = axes.get_window_extent(renderer)
    points = axes.transData.transform(taken_m) if len(taken_m) else np.zeros((0, 2))
    boxes: list[tuple[float, float, float, float]] = []
    left_out = []
    for label in labels:
        text = axes.annotate(
            short(label.text),
            label.at_m,
            xytext=(0.0, 0.0),
            textcoords="offset points",
            fontsize=label.size_pt,
            fontweight="bold" if label.bold else "normal",
            color=INK,
            zorder=6,
            annotation_clip=False,
            bbox={"facecolor": PAPER, "edgecolor": "none", "alpha": 0.72, "pad": 0.6},
        )
        text.set_parse_math(False)
        best: tuple[Horizontal, Vertical, float, float, BboxBase] | None = None
        least = np.inf
        places: list[tuple[Horizontal, Vertical, float, float]] = [("center", "center", 0.0, 0.0)] if label.over else []
        places += [(h, v, x * f * GAP_PT, y * f * GAP_PT) for f in FARTHER for h, v, x, y in SIDES]
        for number, (across, up, x_pt, y_pt) in enumerate(places):
            text.set_horizontalalignment(across)
            text.set_verticalalignment(up)
            text.set_position((x_pt, y_pt))
            box = text.get_window_extent(renderer)
            hidden = np.sum(
                (points[:, 0] > box.x0 - reach_pt * per_pt)
                & (points[:, 0] < box.x1 + reach_pt * per_pt)
                & (points[:, 1] > box.y0 - reach_pt * per_pt)
                & (points[:, 1] < box.y1 + reach_pt * per_pt)
            )
            met = sum(box.x0 < b[2] and box.x1 > b[0] and box.y0 < b[3] and box.y1 > b[1] for b in boxes)
            beyond = box.x0 < frame.x0 or box.x1 > frame.x1 or box.y0 < frame.y0 or box.y1 > frame.y1
            cost = float(hidden) + 50.0 * met + 20.0 * beyond + 0.01 * number
            if cost < least:
                best, least = (across, up, x_pt, y_pt, box), cost
            if cost < 1.0:
                break
        assert best is not None
        if least >= 1.0 and not label.needed:
            text.remove()
            left_out.append(label.text)
            continue
        text.set_horizontalalignment(best[0])
        text.set_verticalalignment(best[1])
        text.set_position(best[2:4])
        boxes.append((best[4].x0, best[4].y0, best[4].x1, best[4].y1))
    return left_out
