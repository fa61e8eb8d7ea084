"""The site to scale: its obstacles, which inverters hold, and their routes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from numpy.typing import NDArray

from survey.base.layout import counted
from survey.budget import STATES
from survey.output.answers.figures import NO_ROOM, criterion, letter, radio_words, route_tally
from survey.output.map.frame import spacing_m
from survey.output.map.legend import MARKS, PLACE_WORDS
from survey.output.map.site import Place, gateway_labels, inverter_labels, places_of, routes_of, shapes_of
from survey.output.pictures.ground import (
    draw_contours,
    draw_obstacles,
    draw_scale_and_north,
    ground_entries,
    obstacle_entries,
    points_per_metre,
    site_axes,
)
from survey.output.pictures.labels import put_labels
from survey.output.pictures.style import (
    ADVISED,
    GATEWAY,
    OTHER_GATEWAY,
    SEARCH,
    SPOT,
    UNKNOWN,
    foot_legend,
    marker,
    picture,
    sample,
    short,
)
from survey.routing import Network
from survey.scene import Ends, Scene

MOST_PT, LEAST_PT = 7.0, 2.8
"""Largest and smallest mark of an inverter."""
MARK_SHARE = 0.62
"""Size of a mark as a share of the distance to the next one."""
PLACES = {"search": SEARCH, "spot": SPOT, "today": OTHER_GATEWAY, "advised": ADVISED, "chosen": GATEWAY}
"""How each kind of place is marked."""
LAYERS = {"search": 2.5, "spot": 4.6, "today": 4.7, "advised": 4.8, "chosen": 5.0}
"""Which marks lie over which; by eye."""
COLUMNS = 5
"""Of the key; by eye."""


@picture
def site_map(scene: Scene, network: Network | None = None) -> Figure:
    """Draw a site from above.

    Parameters
    ----------
    scene : Scene
        The site.
    network : Network, optional
        All inverters with some gateways or spots; every inverter is drawn by its route. Without it the picture shows
        the site alone.

    Returns
    -------
    Figure
    """
    handles = _entries(scene, network)
    title = f"{scene.plan.site.name}: " + ("the site" if network is None else "coverage")
    lines: tuple[str, ...] = (f"{counted(len(scene.inverters), 'inverter')}; no gateway shown",)
    chosen: tuple[str, ...] = ()
    if network is not None:
        chosen = network.links.gateways.names
        most = scene.plan.requirement.max_relays
        between = f" Routes with up to {counted(most, 'relay')}." if most else ""
        lines = (f"{gateways_words(chosen)}.{between} {route_tally(network)}.", one_lined(scene))
    figure, axes = site_axes(scene, title=title, lines=lines, entries=len(handles), columns=COLUMNS)
    draw_contours(axes, scene)
    named = draw_obstacles(axes, shapes_of(scene))
    places = places_of(scene, chosen=chosen)
    draw_places(axes, places)
    size_pt = mark_size_pt(axes, scene)
    if network is not None:
        draw_routes(axes, network)
    state = None if network is None else network.state
    draw_inverters(axes, scene.inverters, state, size_pt=size_pt)
    draw_scale_and_north(axes)
    foot_legend(figure, handles, columns=COLUMNS)
    taken_m = np.concatenate([scene.inverters.at_m, scene.gateways.at_m, scene.spots.at_m])[:, :2]
    names = [*gateway_labels(places), *inverter_labels(scene, network), *named]
    put_labels(axes, names, taken_m, reach_pt=size_pt / 2.0)
    return figure


def gateways_words(names: tuple[str, ...]) -> str:
    """Which gateways a picture is about; more than one by their letters, as in tables."""
    if len(names) == 1:
        return f"Gateway: {short(names[0])}"
    return "Gateways: " + ", ".join(f"{letter(j)} {short(name)}" for j, name in enumerate(names))


def one_lined(scene: Scene) -> str:
    """Return the radio and the environment, and when a link holds, without the site's name."""
    return f"{radio_words(scene.plan)}. {criterion(scene.plan)}"


def mark_size_pt(axes: Axes, scene: Scene) -> float:
    """Size of marks that leave neighbours apart. [pt]"""
    return float(np.clip(MARK_SHARE * spacing_m(scene) * points_per_metre(axes), LEAST_PT, MOST_PT))


def draw_inverters(axes: Axes, inverters: Ends, state: NDArray[np.int8] | None, *, size_pt: float) -> None:
    """Marks of inverters by their state, the worst ones on top."""
    at_m = inverters.at_m
    if state is None:
        axes.plot(at_m[:, 0], at_m[:, 1], zorder=4, gid="inverters", **marker(UNKNOWN, size_pt))
        return
    for number in reversed(range(len(STATES))):
        of_state = state == number
        if of_state.any():
            looks = marker(MARKS[number], size_pt * (1.15 if number < len(STATES) - 1 else 1.0))
            axes.plot(at_m[of_state, 0], at_m[of_state, 1], zorder=4.5 - 0.1 * number, gid=STATES[number], **looks)


def draw_places(axes: Axes, places: Sequence[Place]) -> None:
    """Marks of gateways, spots and searches."""
    for one in places:
        axes.plot(*one.at_m.T, zorder=LAYERS[one.kind], gid=PLACE_WORDS[one.kind], **PLACES[one.kind])


def draw_routes(axes: Axes, network: Network) -> None:
    """The route of every inverter that has one."""
    routes = [route for route in routes_of(network) if route.gateway >= 0]
    faint = float(np.clip(30.0 / max(len(network.routes), 1), 0.25, 0.8))
    for number in reversed(range(len(STATES))):
        mark = MARKS[number]
        lines = LineCollection(
            [route.points_m for route in routes if route.state == number],
            colors=mark.colour,
            linewidths=mark.width_pt,
            linestyles=mark.dashes,
            alpha=faint if mark.filled and number else min(1.0, 2.0 * faint),
            zorder=3.0 - 0.1 * number,
            label=f"links that are {mark.word}",
        )
        lines.set_gid("links " + mark.word)
        axes.add_collection(lines, autolim=False)


def place_entries(scene: Scene, chosen: tuple[str, ...]) -> list[Any]:
    """Legend entries of gateways and spots."""
    there = {one.kind for one in places_of(scene, chosen=chosen)}
    sizes = {"search": {"markersize": 5}}
    return [sample(PLACE_WORDS[kind], **PLACES[kind] | sizes.get(kind, {})) for kind in PLACE_WORDS if kind in there]


def state_entries(network: Network, *, routes: bool = True) -> list[Any]:
    """Legend entries of the states that there are, each with its count of inverters and the line of its routes."""
    handles, left_out = [], network.over_capacity
    for number in reversed(range(len(STATES))):
        count = int(np.sum(network.state == number))
        if count:
            mark = MARKS[number]
            line = {"linestyle": mark.dashes, "color": mark.colour, "linewidth": mark.width_pt} if routes else {}
            word = mark.word if number or not left_out else NO_ROOM if left_out == count else f"fails or {NO_ROOM}"
            handles.append(sample(f"{word} ({count})", **marker(mark, MOST_PT) | line))
    return handles


def _entries(scene: Scene, network: Network | None) -> list[Any]:
    if network is None:
        return [
            sample("inverter", **marker(UNKNOWN, MOST_PT)),
            *place_entries(scene, ()),
            *obstacle_entries(scene),
            *ground_entries(scene),
        ]
    return [
        *state_entries(network),
        *place_entries(scene, network.links.gateways.names),
        *obstacle_entries(scene),
        *ground_entries(scene),
    ]
