"""Margin or chance of an inverter anywhere on the site, with every inverter in its own state on top."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import BoundaryNorm, ListedColormap
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.patheffects import withStroke

from survey.base.arrays import FloatArray
from survey.budget import MARGINAL_RELIABILITY
from survey.budget.coverage import Coverage
from survey.output.map.groups import group_labels
from survey.output.map.legend import MARKS, chance_scale
from survey.output.map.site import gateway_labels, places_of, shapes_of
from survey.output.pictures.ground import (
    draw_obstacles,
    draw_scale_and_north,
    obstacle_entries,
    picture_frame_m,
    site_axes,
)
from survey.output.pictures.labels import put_labels
from survey.output.pictures.site_map import (
    GROUP_PT,
    GROUPED,
    MOST_PT,
    draw_inverters,
    draw_places,
    groups_on,
    mark_size_pt,
    one_lined,
    place_entries,
    stands_close,
    state_entries,
)
from survey.output.pictures.style import (
    FAINT,
    PAPER,
    SMALL_PT,
    UNKNOWN,
    foot_legend,
    marker,
    picture,
    sample,
    short,
)
from survey.routing import Network
from survey.scene import Scene

COLOURS = "cividis"
"""Of margins: even to the eye and the same to colour-blind eyes; light is good, dark is bad, in black and white too."""
MARGIN_STEP_DB = 5.0
"""Where the colour of a margin changes: as coarse as one reads it. [dB]"""
LOWEST_DB, HIGHEST_DB = -30.0, 50.0
"""Margins beyond these are not told apart: nothing is heard, and nothing can go wrong. [dB]"""
BAR_IN = 0.85
"""Width of the scale of colours; by eye. [in]"""
MANY_STEPS = 9
"""With more steps than this every second one has its figure; by eye."""
LEAST_STEP_M = 0.1
"""Smaller steps are told with more digits."""
COLUMNS = 4
"""Of the key; by eye."""
CASING_PT, CASING_OPACITY = 1.6, 0.8
"""How far the paper shows on both sides of a line that lies on colours, and how much of it; by eye."""


def field_m(scene: Scene) -> tuple[FloatArray, FloatArray]:
    """The area that a coverage picture shows: lowest and highest x and y. [m]"""
    return picture_frame_m(scene, right_in=BAR_IN)


@picture
def coverage_picture(coverage: Coverage, network: Network | None = None, *, show: str = "margin") -> Figure:
    """Draw what a grid of points is worth.

    Parameters
    ----------
    coverage : Coverage
        The grid.
    network : Network, optional
        The inverters with its gateways; each is drawn in its own state. Without it no state is shown.
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
        *(sample(one.label, color=one.colour, linewidth=one.width_pt, linestyle=one.dashes) for one in lines_of),
        *(state_entries(network, routes=False) if network else [sample("inverter", **marker(UNKNOWN, MOST_PT))]),
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
    is_grouped = stands_close(scene)
    about = (what, held, GROUPED) if is_grouped else (what, held)
    figure, axes = site_axes(scene, title=title, lines=about, entries=len(handles), columns=COLUMNS, right_in=BAR_IN)
    _draw_field(figure, axes, coverage, show, wanted)
    for contour in lines_of:
        if np.any(coverage.certainty < contour.certainty) and np.any(coverage.certainty >= contour.certainty):
            looks: dict[str, Any] = {"levels": [contour.certainty], "zorder": 0.7}
            line = axes.contour(coverage.x_m, coverage.y_m, coverage.certainty, **looks)
            line.set(edgecolor=contour.colour, linewidth=contour.width_pt, linestyle=contour.dashes, gid=contour.label)
            line.set_path_effects([_casing(contour.width_pt)])
    named = draw_obstacles(axes, shapes_of(scene), bare=True)
    outlines: list[Patch | Line2D] = [*axes.patches, *axes.lines]
    for one in outlines:
        one.set_path_effects([_casing(float(one.get_linewidth()))])
    at_m = scene.inverters.at_m
    size_pt = mark_size_pt(axes, scene)
    state = network.state if network else None
    groups = groups_on(axes, scene) if is_grouped else []
    draw_inverters(axes, scene.inverters, state, size_pt=size_pt, groups=groups)
    places = places_of(scene, chosen=chosen)
    draw_places(axes, places)
    names = [*gateway_labels(places), *group_labels(scene, groups, state)]
    draw_scale_and_north(axes)
    foot_legend(figure, handles, columns=COLUMNS)
    marks_m = np.array([one.at for one in names]).reshape(-1, 2)
    put_labels(
        axes,
        [*names, *named],
        np.concatenate([at_m[:, :2], marks_m]),
        reach_pt=GROUP_PT / 2.0 if groups else size_pt / 2.0,
    )
    return figure


class Contour(NamedTuple):
    """A line at a chance: its words, its chance in standard deviations, and how it is drawn."""

    label: str
    certainty: float
    colour: str
    width_pt: float
    dashes: Any


def _lines(coverage: Coverage) -> tuple[Contour, ...]:
    """The lines in the picture, each like the routes of the state that begins there."""
    wanted = coverage.scene.plan.requirement.reliability
    holds, marginal = MARKS[2], MARKS[1]
    return (
        Contour(f"holds: chance {100 * wanted:g} % or more", coverage.wanted_certainty, holds.colour, 1.9, "-"),
        Contour(f"chance {100 * MARGINAL_RELIABILITY:g} %", 0.0, marginal.colour, 1.4, (0, (4, 2))),
    )


def _casing(width_pt: float) -> withStroke:
    """Paper on both sides of a line."""
    return withStroke(linewidth=width_pt + CASING_PT, foreground=PAPER, alpha=CASING_OPACITY)


def margin_steps_db(margin_db: FloatArray) -> FloatArray:
    """Where the colour of margins changes: over all that there is, two steps at least. [dB]"""
    shown_db = np.clip(margin_db[np.isfinite(margin_db)], LOWEST_DB, HIGHEST_DB) / MARGIN_STEP_DB
    first, last = (math.floor(shown_db.min()), math.ceil(shown_db.max())) if len(shown_db) else (0, 2)
    return MARGIN_STEP_DB * np.arange(first, max(last, first + 2) + 1)


def _draw_field(figure: Figure, axes: Axes, coverage: Coverage, show: str, wanted: float) -> None:
    of_margins, scale = show == "margin", chance_scale(wanted)
    values = coverage.margin_db if of_margins else coverage.reliability
    steps = margin_steps_db(values) if of_margins else np.array(scale.steps)
    colours: Any = COLOURS if of_margins else ListedColormap(scale.colours)
    norm = BoundaryNorm(steps, 256 if of_margins else len(scale.colours), extend="both" if of_margins else "neither")
    half_m = (coverage.x_m[1] - coverage.x_m[0]) / 2.0, (coverage.y_m[1] - coverage.y_m[0]) / 2.0
    frame_m = (
        float(coverage.x_m[0] - half_m[0]),
        float(coverage.x_m[-1] + half_m[0]),
        float(coverage.y_m[0] - half_m[1]),
        float(coverage.y_m[-1] + half_m[1]),
    )
    limits = axes.get_xlim(), axes.get_ylim()
    image = axes.imshow(
        values, origin="lower", extent=frame_m, cmap=colours, norm=norm, interpolation="bilinear", zorder=0.5
    )
    image.set_gid("field")
    axes.set_xlim(*limits[0])
    axes.set_ylim(*limits[1])
    axes.set_aspect("equal", adjustable="box")
    place = axes.get_position()
    wide_in = float(figure.get_size_inches()[0])
    beside = figure.add_axes((place.x1 + 0.12 / wide_in, place.y0, 0.16 / wide_in, place.height), label="scale")
    every = 2 if of_margins and len(steps) > MANY_STEPS else 1
    bar = figure.colorbar(ScalarMappable(norm=norm, cmap=colours), cax=beside, ticks=list(steps[::every]))
    if of_margins:
        bar.set_label("margin, dB", fontsize=SMALL_PT)
    else:  # its figures are wider: no room beside them
        beside.set_yticklabels([f"{100 * step:g} %" for step in steps])
        beside.set_title("chance", fontsize=SMALL_PT, pad=4)
    for spine in beside.spines.values():
        spine.set_edgecolor(FAINT)
