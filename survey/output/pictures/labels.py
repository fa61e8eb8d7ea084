"""Names in a picture: each beside what it names, where there is room for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Annotation

from survey.base.arrays import FloatArray
from survey.output.map.elevations import TEXT_LETTERS
from survey.output.map.labels import Label, Size, place_labels
from survey.output.pictures.style import INK, PAPER, SMALL_PT, plain_text, short

GAP_PT = 5.0
"""How far beside its point a name goes."""
FARTHER = (1.0, 2.2, 4.0)
"""How many times as far a name may go where there is no room near its point; by eye."""
LETTERS: dict[str, dict[str, Any]] = {
    "gateway": {"fontweight": "bold"},
    "array": {"fontweight": "bold"},
    "obstacle": {"fontsize": SMALL_PT - 0.5},
    "count": {"fontsize": SMALL_PT - 0.5},
}
"""Letters of each kind of name, where they are not the usual ones."""
IN_SIGHT = {"north", "scale", "behind scale"}
"""Arrow and scale, which no name covers."""
ACROSS = {1: "left", 0: "center", -1: "right"}
"""Alignment by the side of the point on which a name lies: matplotlib has words for it."""
UP = {1: "bottom", 0: "center", -1: "top"}
"""The same, up and down."""


def put_labels(axes: Axes, labels: Sequence[Label], taken_m: FloatArray, *, reach_pt: float = 4.0) -> list[str]:
    """Put labels where they hide no point and no other label, the first ones first.

    Parameters
    ----------
    axes : Axes
        Whose limits and size stand.
    labels : sequence of Label
        Their points in the axes' own units; one for which there is no room is left out, unless it is needed.
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
    at = axes.transData.transform(np.array([label.at for label in labels]).reshape(-1, 2)).tolist()
    texts = [_annotate(axes, label) for label in labels]
    boxes = [text.get_window_extent(renderer) for text in texts]
    spots = place_labels(
        [replace(label, at=(x, y)) for label, (x, y) in zip(labels, at, strict=True)],
        sizes=[Size(box.width, box.height, GAP_PT * per_pt) for box in boxes],
        frame=(frame.x0, frame.y0, frame.x1, frame.y1),
        points=axes.transData.transform(taken_m) if len(taken_m) else np.zeros((0, 2)),
        reach=reach_pt * per_pt,
        taken=[
            one.get_window_extent(renderer).extents for one in (*axes.texts, *axes.patches) if one.get_gid() in IN_SIGHT
        ],
        farther=FARTHER,
    )
    left_out = []
    for label, text, spot, (x, y) in zip(labels, texts, spots, at, strict=True):
        if spot is None:
            text.remove()
            left_out.append(label.text)
            continue
        text.set(horizontalalignment=ACROSS[spot.across], verticalalignment=UP[spot.up])
        text.set_position(((spot.x - x) / per_pt, (spot.y - y) / per_pt))
    return left_out


def _annotate(axes: Axes, label: Label) -> Annotation:
    letters: dict[str, Any] = {"fontsize": SMALL_PT, "fontweight": "normal"} | LETTERS.get(label.kind, {})
    text = axes.annotate(
        short(label.text, TEXT_LETTERS),
        label.at,
        xytext=(0.0, 0.0),
        textcoords="offset points",
        color=INK,
        zorder=6,
        annotation_clip=False,
        bbox={"facecolor": PAPER, "edgecolor": "none", "alpha": 0.72, "pad": 0.6},
        **letters,
    )
    text.set_parse_math(False)
    return text
