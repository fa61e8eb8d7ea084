"""Two maps side by side: the same site with some gateways, and with others."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from survey.output.answers.figures import route_tally
from survey.output.map.frame import frame_m
from survey.output.map.site import gateway_labels, places_of, shapes_of
from survey.output.pictures.ground import draw_obstacles, draw_scale_and_north, obstacle_entries
from survey.output.pictures.labels import put_labels
from survey.output.pictures.site_map import (
    COLUMNS,
    draw_inverters,
    draw_places,
    draw_routes,
    gateways_words,
    mark_size_pt,
    one_lined,
    place_entries,
    state_entries,
)
from survey.output.pictures.style import (
    SMALL_PT,
    WIDTH_IN,
    foot_legend,
    head_in,
    legend_in,
    new_figure,
    picture,
)
from survey.routing import Network

LEFT_IN, BETWEEN_IN, RIGHT_IN = 0.62, 0.3, 0.15
"""Room for the figures at the upright axis, between the maps, and at the right; by eye. [in]"""
FLATTEST_IN, TALLEST_IN = 1.8, 6.0
"""Heights of a map between which a page keeps its shape; by eye. [in]"""
TITLE_IN = 0.42
"""Room for the two lines over each map. [in]"""


@picture
def beside_picture(one: Network, other: Network) -> Figure:
    """Draw a site twice, with some gateways on the left and with others on the right, each with its counts.

    Parameters
    ----------
    one, other : Network
        All inverters with the gateways of each map.

    Returns
    -------
    Figure
    """
    scene, networks = one.scene, (one, other)
    lines = (one_lined(scene),)
    handles = [
        *_once(state_entries(network) for network in networks),
        *_once(place_entries(scene, network.links.gateways.names) for network in networks),
        *obstacle_entries(scene),
    ]
    wide_in = (WIDTH_IN - LEFT_IN - BETWEEN_IN - RIGHT_IN) / len(networks)
    low_m, high_m = frame_m(scene, wide=wide_in, flattest=FLATTEST_IN, tallest=TALLEST_IN)
    tall_in = wide_in * float((high_m - low_m)[1] / (high_m - low_m)[0])
    below_in = legend_in(len(handles), columns=COLUMNS) + 0.42
    height_in = head_in(lines) + TITLE_IN + tall_in + below_in
    figure = new_figure(height_in=height_in, title=f"{scene.plan.site.name}: coverage side by side", lines=lines)
    for k, network in enumerate(networks):
        left_in = LEFT_IN + k * (wide_in + BETWEEN_IN)
        place = (left_in / WIDTH_IN, below_in / height_in, wide_in / WIDTH_IN, tall_in / height_in)
        axes = figure.add_axes(place, label="beside" if k else "site")
        axes.set_xlim(low_m[0], high_m[0])
        axes.set_ylim(low_m[1], high_m[1])
        axes.set_aspect("equal", adjustable="box")
        axes.set_title(f"{_names(network)}\n{route_tally(network)}", loc="left", fontsize=SMALL_PT, pad=4)
        axes.set_xlabel("east, m")
        if k:
            axes.set_yticklabels([])
        else:
            axes.set_ylabel("north, m")
        named = draw_obstacles(axes, shapes_of(scene))
        places = places_of(scene, chosen=network.links.gateways.names)
        draw_places(axes, places)
        size_pt = mark_size_pt(axes, scene)
        draw_routes(axes, network)
        draw_inverters(axes, scene.inverters, network.state, size_pt=size_pt)
        draw_scale_and_north(axes)
        taken_m = np.concatenate([scene.inverters.at_m, scene.gateways.at_m, scene.spots.at_m])[:, :2]
        put_labels(axes, [*gateway_labels(places), *named], taken_m, reach_pt=size_pt / 2.0)
    foot_legend(figure, handles, columns=COLUMNS)
    return figure


def _once(groups: Iterable[list[Any]]) -> list[Any]:
    """Entries of both maps, each once and without its count."""
    found = {handle.get_label().partition(" (")[0]: handle for group in groups for handle in group}
    for word, handle in found.items():
        handle.set_label(word)
    return list(found.values())


def _names(network: Network) -> str:
    return gateways_words(network.links.gateways.names).partition(": ")[2]
