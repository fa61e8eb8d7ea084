"""The site from its four sides and from above, with names and heights, so that a wrong height is seen."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon

from survey.base.layout import counted
from survey.output.map.elevations import (
    VIEWS,
    View,
    array_labels,
    device_heights,
    hidden_from,
    labels_from,
    named_in,
    obstacle_heights,
    seen_from,
)
from survey.output.map.frame import extent_m, frame_m
from survey.output.map.site import gateway_labels, places_of, shapes_of
from survey.output.pictures.ground import (
    SOIL,
    SOIL_EDGE,
    draw_contours,
    draw_obstacles,
    draw_scale_and_north,
    ground_entries,
    obstacle_entries,
    settings_of,
)
from survey.output.pictures.labels import put_labels
from survey.output.pictures.profile import STRETCHES
from survey.output.pictures.site_map import (
    COLUMNS,
    LAYERS,
    MOST_PT,
    PLACES,
    draw_inverters,
    draw_places,
    mark_size_pt,
    place_entries,
)
from survey.output.pictures.style import (
    SMALL_PT,
    UNKNOWN,
    foot_legend,
    head_in,
    legend_in,
    marker,
    new_figure,
    picture,
    sample,
    width_in,
)
from survey.scene import Scene

LEFT_IN, RIGHT_IN, BETWEEN_IN = 0.62, 0.15, 0.5
"""Margins, and the room between two parts for figures and titles; by eye. [inch]"""
SIDE_IN, MIN_ABOVE_IN, MAX_ABOVE_IN = 1.3, 2.0, 3.9
"""Height of a side, and limits of the height of the view from above: all on one page of A4. [inch]"""
ROOM = 1.35
"""Space above the highest thing, for names, as a share of the heights shown; by eye."""
FACE = "#f2f0ec"
"""Filling of sheets whose kind has none from above: pale, so that what stands in front is told from what is behind."""
SHEET_OPACITY = 0.82
"""What is nearer hides most of what is behind it; by eye."""
PALE = 0.3
"""Of the marks of devices behind something: in sight, and told from those in front. By eye."""
MARK_SHARE = 0.8
"""Size of inverters from a side, as a share of that from above: rows lie closer there. By eye."""
TALL = 2.0
"""Obstacles are shown up to this many times the height of the highest inverter, gateway or spot."""
MIN_TALL_M = 6.0
"""And up to this in any case. [m]"""


@picture
def sides_picture(scene: Scene) -> Figure:
    """Draw a site from above and from the south, east, north and west.

    Parameters
    ----------
    scene : Scene
        The site.

    Returns
    -------
    Figure
        Five parts, one below the other, the upper one from above.
    """
    handles = [
        sample("inverter", **marker(UNKNOWN, MOST_PT)),
        *place_entries(scene, ()),
        *obstacle_entries(scene),
        *ground_entries(scene),
    ]
    lines = (
        (
            f"{counted(len(scene.inverters), 'inverter')}. The figure behind a name is its height in metres: top, or "
            "bottom-top. Devices behind an obstacle are pale."
        ),
    )
    wide_in = width_in() - LEFT_IN - RIGHT_IN
    low_m, high_m = frame_m(scene, wide=wide_in, flattest=MIN_ABOVE_IN, tallest=MAX_ABOVE_IN)
    above_in = wide_in * float((high_m - low_m)[1] / (high_m - low_m)[0])
    below_in = legend_in(len(handles), columns=COLUMNS) + 0.3
    top_in = head_in(lines) + 0.2
    height_in = top_in + above_in + (SIDE_IN + BETWEEN_IN) * len(VIEWS) + below_in
    figure = new_figure(height_in=height_in, title=f"{scene.plan.site.name}: from the sides", lines=lines)
    floor_in = height_in - top_in - above_in
    size_pt = MARK_SHARE * _from_above(_part(figure, "from above", floor_in, above_in), scene, (low_m, high_m))
    named = named_in(scene)
    for view in VIEWS:
        floor_in -= BETWEEN_IN + SIDE_IN
        _from_side(_part(figure, f"from the {view.name}", floor_in, SIDE_IN), scene, view, named, size_pt=size_pt)
    foot_legend(figure, handles, columns=COLUMNS)
    return figure


def _part(figure: Figure, name: str, floor_in: float, tall_in: float) -> Axes:
    """Return the axes of one part, with its title."""
    height_in = float(figure.get_size_inches()[1])
    wide = (width_in() - LEFT_IN - RIGHT_IN) / width_in()
    axes = figure.add_axes((LEFT_IN / width_in(), floor_in / height_in, wide, tall_in / height_in), label=name)
    axes.set_title(name, loc="left", fontsize=SMALL_PT + 0.5, fontweight="bold", pad=3)
    return axes


def _from_above(axes: Axes, scene: Scene, limits_m: tuple[Any, Any]) -> float:
    """Draw the site as the map does, with heights behind the names, and return the size of inverters. [pt]"""
    axes.set_xlim(limits_m[0][0], limits_m[1][0])
    axes.set_ylim(limits_m[0][1], limits_m[1][1])
    axes.set_aspect("equal", adjustable="box")
    axes.set_ylabel("north, m")
    draw_contours(axes, scene)
    obstacles = draw_obstacles(axes, shapes_of(scene))
    places = places_of(scene)
    draw_places(axes, places)
    size_pt = mark_size_pt(axes, scene)
    draw_inverters(axes, scene.inverters, None, size_pt=size_pt)
    taken_m = np.concatenate([scene.inverters.at_m, scene.gateways.at_m, scene.spots.at_m])[:, :2]
    draw_scale_and_north(axes, taken_m)
    heights = obstacle_heights(scene) | device_heights(scene)
    labels = [*gateway_labels(places), *array_labels(scene.plan.arrays, (0, 1)), *obstacles]
    labels = [replace(one, text=heights.get(one.text, one.text)) for one in labels]
    put_labels(axes, labels, taken_m, reach_pt=size_pt / 2.0)
    return size_pt


def _from_side(axes: Axes, scene: Scene, view: View, named: dict[str, tuple[str, ...]], *, size_pt: float) -> None:
    """Draw what is seen from one side, the farthest first."""
    low_m, high_m = (float(one[view.axis]) for one in extent_m(scene))
    axes.set_xlim(*((high_m, low_m) if view.is_reversed else (low_m, high_m)))
    seen = seen_from(scene, view)
    floor_m = _set_heights(axes, scene, [float(one.outline_m[:, 1].max()) for one in seen])
    _draw_ground(axes, scene, view, floor_m)
    axes.yaxis.grid(visible=True, color="#dddddd", linewidth=0.5, zorder=0.2)
    for number, one in enumerate(seen):
        look = settings_of(one.obstacle.look)
        layer = 1.1 + 2.0 * number / len(seen)
        if one.is_line:
            axes.plot(*one.outline_m.T, color=look["edgecolor"], linewidth=look["linewidth"], zorder=layer)
            continue
        looks = look | {"alpha": SHEET_OPACITY, "linewidth": min(look["linewidth"], 1.0)}
        if looks["facecolor"] == "none":
            looks["facecolor"] = FACE
        axes.add_patch(Polygon(one.outline_m, closed=True, zorder=layer, gid=one.obstacle.kind, **looks))
    searches = {one.name for one in scene.plan.searches}
    kinds = ["search" if place in searches else "spot" for place in scene.spots.places]
    groups = {
        "inverter": scene.inverters.at_m,
        "search": scene.spots.at_m[[one == "search" for one in kinds]],
        "spot": scene.spots.at_m[[one == "spot" for one in kinds]],
        "today": scene.gateways.at_m,
    }
    looks_of = PLACES | {"inverter": marker(UNKNOWN, size_pt)}
    for kind, at_m in groups.items():
        hidden = hidden_from(view, seen, at_m)
        for chosen, alpha in ((hidden, PALE), (~hidden, 1.0)):
            # Pale marks one on the other would not be pale.
            points_m = np.unique(np.round(view.flat_m(at_m[chosen]), 1 if chosen is hidden else 3), axis=0)
            axes.plot(*points_m.T, zorder=LAYERS.get(kind, 4.0), gid=kind, alpha=alpha, **looks_of[kind])
    marks_m = view.flat_m(np.concatenate(list(groups.values())))
    axes.set_xlabel(f"{('east', 'north')[view.axis]}, m", labelpad=1)
    put_labels(axes, labels_from(scene, view, seen, (low_m, high_m), named), marks_m, reach_pt=2.5)


def _draw_ground(axes: Axes, scene: Scene, view: View, floor_m: float) -> None:
    """Draw the ground up to its lowest edge, and its slopes behind that; level ground at zero without any."""
    ground = scene.plan.ground
    if ground is None:
        axes.axhspan(floor_m, 0.0, facecolor=SOIL, edgecolor="none", zorder=0.3, gid="ground")
        axes.axhline(0.0, color="#6b5b45", linewidth=1.2, zorder=1.0, gid="ground line")
        return
    look = {"facecolor": SOIL, "edgecolor": SOIL_EDGE, "linewidth": 0.4, "zorder": 0.3}
    for facet_m in ground.facets_m(*extent_m(scene)):
        flat_m = view.flat_m(facet_m)
        for edge_m in (flat_m[[0, 1]], flat_m[[1, 2]], flat_m[[2, 0]]):
            axes.fill_between(edge_m[:, 0], edge_m[:, 1], floor_m, facecolor=SOIL, edgecolor="none", zorder=0.25)
        axes.add_patch(Polygon(flat_m, closed=True, gid="ground", **look))


def _set_heights(axes: Axes, scene: Scene, tops_m: list[float]) -> float:
    """Set the scale of heights, with a round stretch, and return the lowest height shown. [m]"""
    ends_m = np.concatenate([scene.inverters.at_m, scene.gateways_and_spots.at_m])[:, 2]
    most_m = max(TALL * float(ends_m.max()), MIN_TALL_M)
    high_m = max([float(ends_m.max()), 1.0, *(one for one in tops_m if one <= most_m)])
    ground = scene.plan.ground
    ground_m = np.concatenate(ground.facets_m(*extent_m(scene)))[:, 2] if ground else np.zeros(1)
    floor_m, high_m = min(float(ground_m.min()), float(ends_m.min())), max(float(ground_m.max()), high_m)
    figure = axes.get_figure()
    assert figure is not None
    wide_in, tall_in = (axes.get_position().size * figure.get_size_inches()).tolist()  # type: ignore[union-attr]
    left, right = axes.get_xlim()
    tall_m = (high_m - floor_m) * ROOM
    most = tall_in * abs(right - left) / (wide_in * tall_m)
    stretch = max((one for one in STRETCHES if one <= most), default=1.0)
    wide_m = max(abs(right - left), stretch * tall_m * wide_in / tall_in)
    half_m = math.copysign(wide_m / 2.0, right - left)
    axes.set_xlim((left + right) / 2.0 - half_m, (left + right) / 2.0 + half_m)
    tall_m = wide_m * tall_in / (wide_in * stretch)
    floor_m -= 0.06 * tall_m
    axes.set_ylim(floor_m, floor_m + tall_m)
    axes.set_ylabel("height, m" + ("" if stretch == 1.0 else f"\n(x {stretch:g})"))
    return float(floor_m)
