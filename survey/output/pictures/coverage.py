"""Margin or chance over the whole site at one height, with what stands there on top."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import BoundaryNorm
from matplotlib.figure import Figure

from survey.base.arrays import FloatArray
from survey.budget import MARGINAL_RELIABILITY
from survey.budget.coverage import Coverage
from survey.output.map.site import gateway_labels, places_of, shapes_of
from survey.output.pictures.ground import (
    draw_obstacles,
    draw_scale_and_north,
    obstacle_entries,
    picture_frame_m,
    site_axes,
)
from survey.output.pictures.labels import put_labels
from survey.output.pictures.site_map import draw_places, mark_size_pt, one_lined, place_entries
from survey.output.pictures.style import FAINT, INK, PAPER, SMALL_PT, foot_legend, picture, sample, short
from survey.scene import Scene

COLOURS = "cividis"
"""Even to the eye and the same to colour-blind eyes; light is good, dark is bad, in black and white too."""
MARGIN_STEPS_DB = np.arange(-30.0, 51.0, 5.0)
"""Where the colour of a margin changes: as coarse as one reads it. [dB]"""
CHANCE_STEPS = np.array([0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 1.0])
"""Where the colour of a chance changes: finer where it decides. [-]"""
BAR_IN = 0.85
"""Width of the scale of colours; by eye. [in]"""
LEAST_STEP_M = 0.1
"""Smaller steps are told with more digits."""
COLUMNS = 4
"""Of the key; by eye."""
INVERTER: dict[str, Any] = {
    "linestyle": "none",
    "marker": "o",
    "markerfacecolor": PAPER,
    "markeredgecolor": INK,
    "markeredgewidth": 0.6,
}
"""Marks on top of colours; by eye."""


def field_m(scene: Scene) -> tuple[FloatArray, FloatArray]:
    """The area that a coverage picture shows: lowest and highest x and y. [m]"""
    return picture_frame_m(scene, right_in=BAR_IN)


@picture
def coverage_picture(coverage: Coverage, *, show: str = "margin") -> Figure:
    """Draw what a level grid of points is worth.

    Parameters
    ----------
    coverage : Coverage
        The grid.
    show : str
        ``margin`` or ``chance``.

    Returns
    -------
    Figure
        With a solid line round the area where a link holds, and a broken one at a chance of 50 %.
    """
    scene, wanted = coverage.scene, coverage.scene.plan.requirement.reliability
    chosen = () if coverage.gateways is None else coverage.gateways.names
    lines_of = _lines(coverage)
    handles = [
        *(sample(label, color=INK, linewidth=wide, linestyle=dashes) for label, _, wide, dashes in lines_of),
        sample("inverter", **INVERTER, markersize=5),
        *place_entries(scene, chosen),
        *obstacle_entries(scene, bare=True),
    ]
    if coverage.gateways is None:
        title = f"{scene.plan.site.name}: where one gateway covers every inverter"
        point = f"Each point is a gateway position {coverage.height_words}. "
        what = f"{point}The colour is the {show} of its weakest link."
    else:
        title = f"{scene.plan.site.name}: coverage from {', '.join(map(short, chosen))}"
        best = " to the best gateway" if len(chosen) > 1 else ""
        point = f"Each point is an inverter position {coverage.height_words}. "
        what = f"{point}The colour is the {show} of its link{best}."
    step_m = float(max(np.diff(coverage.x_m[:2])[0], np.diff(coverage.y_m[:2])[0]))
    held = f"{one_lined(scene)} Points {step_m:{'.1f' if step_m >= LEAST_STEP_M else '.2g'}} m apart."
    figure, axes = site_axes(
        scene, title=title, lines=(what, held), entries=len(handles), columns=COLUMNS, right_in=BAR_IN
    )
    _draw_field(figure, axes, coverage, show, wanted)
    for label, level, wide, dashes in lines_of:
        if np.any(coverage.certainty < level) and np.any(coverage.certainty >= level):
            for colour, more in ((PAPER, 1.4), (INK, 0.0)):
                drawn = axes.contour(
                    coverage.x_m,
                    coverage.y_m,
                    coverage.certainty,
                    levels=[level],
                    colors=colour,
                    linewidths=wide + more,
                    linestyles=[dashes] if not more else "-",
                    zorder=0.6 if more else 0.7,
                    alpha=0.6 if more else 1.0,
                )
                drawn.set_gid(label)
    named = draw_obstacles(axes, shapes_of(scene), bare=True)
    at_m = scene.inverters.at_m
    axes.plot(*at_m[:, :2].T, zorder=4, gid="inverters", markersize=min(4.0, mark_size_pt(axes, scene)), **INVERTER)
    places = places_of(scene, chosen=chosen)
    draw_places(axes, places)
    names = gateway_labels(places)
    draw_scale_and_north(axes)
    foot_legend(figure, handles, columns=COLUMNS)
    marks_m = np.array([one.at for one in names]).reshape(-1, 2)
    put_labels(axes, [*names, *named], np.concatenate([at_m[:, :2], marks_m]), reach_pt=1.0)
    return figure


def _lines(coverage: Coverage) -> tuple[tuple[str, float, float, Any], ...]:
    """Label, certainty, width and dashes of the lines in the picture."""
    wanted = coverage.scene.plan.requirement.reliability
    return (
        (f"holds: chance {100 * wanted:g} % or more", coverage.wanted_certainty, 1.6, "-"),
        (f"chance {100 * MARGINAL_RELIABILITY:g} %", 0.0, 1.1, (0, (4, 2))),
    )


def _draw_field(figure: Figure, axes: Axes, coverage: Coverage, show: str, wanted: float) -> None:
    steps = MARGIN_STEPS_DB if show == "margin" else np.unique(np.append(CHANCE_STEPS, wanted))
    values = coverage.margin_db if show == "margin" else coverage.reliability
    norm = BoundaryNorm(steps, 256, extend="both" if show == "margin" else "neither")
    half_m = (coverage.x_m[1] - coverage.x_m[0]) / 2.0, (coverage.y_m[1] - coverage.y_m[0]) / 2.0
    frame_m = (
        float(coverage.x_m[0] - half_m[0]),
        float(coverage.x_m[-1] + half_m[0]),
        float(coverage.y_m[0] - half_m[1]),
        float(coverage.y_m[-1] + half_m[1]),
    )
    limits = axes.get_xlim(), axes.get_ylim()
    image = axes.imshow(
        values, origin="lower", extent=frame_m, cmap=COLOURS, norm=norm, interpolation="bilinear", zorder=0.5
    )
    image.set_gid("field")
    axes.set_xlim(*limits[0])
    axes.set_ylim(*limits[1])
    axes.set_aspect("equal", adjustable="box")
    place = axes.get_position()
    wide_in = float(figure.get_size_inches()[0])
    beside = figure.add_axes((place.x1 + 0.12 / wide_in, place.y0, 0.16 / wide_in, place.height), label="scale")
    bar = figure.colorbar(
        ScalarMappable(norm=norm, cmap=COLOURS), cax=beside, ticks=list(steps[:: 2 if show == "margin" else 1])
    )
    if show == "margin":
        bar.set_label("margin, dB", fontsize=SMALL_PT)
    else:  # its figures are wider: no room beside them
        beside.set_yticklabels([f"{100 * step:g} %" for step in steps])
        beside.set_title("chance", fontsize=SMALL_PT, pad=4)
    for spine in beside.spines.values():
        spine.set_edgecolor(FAINT)
