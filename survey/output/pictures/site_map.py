"""The site to scale: what stands there, which inverters hold, and the links of the gateways."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from numpy.typing import NDArray

from survey.base.layout import counted
from survey.budget import STATES
from survey.output.answers.figures import NO_ROOM, letter, route_tally, wanted_line
from survey.output.pictures.ground import (
    draw_obstacles,
    draw_scale_and_north,
    obstacle_entries,
    points_per_metre,
    site_axes,
)
from survey.output.pictures.labels import Label, put_labels
from survey.output.pictures.style import (
    GATEWAY,
    MARKS,
    OTHER_GATEWAY,
    SEARCH,
    SPOT,
    UNKNOWN,
    foot_legend,
    picture,
    sample,
    short,
)
from survey.routing import Network
from survey.scene import Ends, Scene

MOST_PT, LEAST_PT = 7.0, 2.8
"""Largest and smallest mark of an inverter."""
FEW = 16
"""So few inverters are all named; where there are more, only arrays are, and those few that fail."""
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
    title = f"{scene.plan.site.name}: " + ("the site" if network is None else "who is heard")
    lines: tuple[str, ...] = (f"{counted(len(scene.inverters), 'inverter')}; no gateway looked at",)
    chosen: tuple[str, ...] = ()
    if network is not None:
        chosen = network.links.gateways.names
        most = scene.plan.requirement.max_relays
        between = f" Routes with up to {counted(most, 'inverter')} in between." if most else ""
        lines = (f"{gateways_words(chosen)}.{between} {route_tally(network)}.", one_lined(scene))
    figure, axes = site_axes(scene, title=title, lines=lines, entries=len(handles), columns=COLUMNS)
    named = draw_obstacles(axes, scene)
    names = draw_places(axes, scene, chosen=chosen)
    size_pt = mark_size_pt(axes, scene.inverters)
    if network is not None:
        _draw_routes(axes, network)
    state = None if network is None else network.state
    draw_inverters(axes, scene.inverters, state, size_pt=size_pt)
    draw_scale_and_north(axes)
    foot_legend(figure, handles, columns=COLUMNS)
    taken_m = np.concatenate([scene.inverters.at_m, scene.gateways.at_m, scene.spots.at_m])[:, :2]
    put_labels(axes, [*names, *inverter_labels(scene, state), *named], taken_m, reach_pt=size_pt / 2.0)
    return figure


def gateways_words(names: tuple[str, ...]) -> str:
    """Which gateways a picture is about; more than one by their letters, as in tables."""
    if len(names) == 1:
        return f"Gateway: {short(names[0])}"
    return "Gateways: " + ", ".join(f"{letter(j)} {short(name)}" for j, name in enumerate(names))


def one_lined(scene: Scene) -> str:
    """The line that says when a link holds, without the site's name before it."""
    text = wanted_line(scene.plan).replace("\n  ", " ").removeprefix(f"{scene.plan.site.name}: ")
    return text[:1].upper() + text[1:] + "."


def mark_size_pt(axes: Axes, ends: Ends) -> float:
    """Size of marks that leave neighbours apart. [pt]"""
    at_m = ends.at_m[:, :2]
    if len(at_m) < 2:  # noqa: PLR2004  one has no neighbour
        return MOST_PT
    nearest_m = np.empty(len(at_m))
    for first in range(0, len(at_m), 500):
        apart_m = np.linalg.norm(at_m[first : first + 500, None] - at_m[None], axis=2)
        apart_m[apart_m < 0.05] = np.inf  # noqa: PLR2004  one above the other
        nearest_m[first : first + 500] = apart_m.min(axis=1)
    usual_m = float(np.median(nearest_m))
    if not np.isfinite(usual_m):
        return MOST_PT
    return float(np.clip(0.62 * usual_m * points_per_metre(axes), LEAST_PT, MOST_PT))


def draw_inverters(axes: Axes, inverters: Ends, state: NDArray[np.int8] | None, *, size_pt: float) -> None:
    """Marks of inverters by their state, the worst ones on top."""
    at_m = inverters.at_m
    if state is None:
        axes.plot(at_m[:, 0], at_m[:, 1], zorder=4, gid="inverters", **UNKNOWN.marker(size_pt))
        return
    for number in reversed(range(len(STATES))):
        of_state = state == number
        if of_state.any():
            looks = MARKS[number].marker(size_pt * (1.15 if number < len(STATES) - 1 else 1.0))
            axes.plot(at_m[of_state, 0], at_m[of_state, 1], zorder=4.5 - 0.1 * number, gid=STATES[number], **looks)


def draw_places(axes: Axes, scene: Scene, *, chosen: tuple[str, ...], spots: bool = True) -> list[Label]:
    """Marks of gateways, and of spots and searches if wanted, those chosen on top; and their labels."""
    labels = _draw_spots(axes, scene, chosen) if spots else []
    for name, at_m in zip(scene.gateways.names, scene.gateways.at_m, strict=True):
        if spots and name not in chosen:
            axes.plot(*at_m[:2], zorder=4.7, gid="other gateway", **OTHER_GATEWAY)
            labels.insert(0, Label(text=name, at_m=(float(at_m[0]), float(at_m[1])), needed=True))
    every = scene.gateways_and_spots
    for i, name in enumerate(every.names):
        if name in chosen:
            at = (float(every.at_m[i, 0]), float(every.at_m[i, 1]))
            axes.plot(*at, zorder=5, gid="gateway", **GATEWAY)
            text = name if len(chosen) == 1 else f"{letter(chosen.index(name))} {name}"
            labels.insert(0, Label(text=text, at_m=at, needed=True, bold=True))
    return labels


def _draw_spots(axes: Axes, scene: Scene, chosen: tuple[str, ...]) -> list[Label]:
    labels = []
    single = {spot.name for spot in scene.plan.spots}
    searched = [i for i, place in enumerate(scene.spots.places) if place not in single]
    axes.plot(*scene.spots.at_m[searched, :2].T, zorder=2.5, gid="searches", **SEARCH)
    for search in scene.plan.searches:
        of_search = [i for i in searched if scene.spots.places[i] == search.name]
        if of_search:
            middle = scene.spots.at_m[of_search[len(of_search) // 2]]
            labels.append(Label(text=search.name, at_m=(float(middle[0]), float(middle[1]))))
    for name, at_m in zip(scene.spots.names, scene.spots.at_m, strict=True):
        if name in single and name not in chosen:
            axes.plot(*at_m[:2], zorder=4.6, gid="spot", **SPOT)
            labels.append(Label(text=name, at_m=(float(at_m[0]), float(at_m[1]))))
    return labels


def inverter_labels(scene: Scene, state: NDArray[np.int8] | None) -> list[Label]:
    """Names of inverters where there are few, else of arrays and of the few that fail."""
    ends = scene.inverters
    wanted = range(len(ends)) if len(ends) <= FEW else []
    if not wanted and state is not None and 0 < np.sum(state == 0) <= FEW:
        wanted = np.flatnonzero(state == 0).tolist()
    labels = [Label(text=ends.names[i], at_m=(float(ends.at_m[i, 0]), float(ends.at_m[i, 1]))) for i in wanted]
    if len(ends) > FEW:
        for array in scene.plan.arrays:
            at_m = array.positions_m()[:, :2]
            corner = (float(at_m[:, 0].mean()), float(at_m[:, 1].max()))
            labels.append(Label(text=f"array {array.name}", at_m=corner, bold=True))
    return labels


def _draw_routes(axes: Axes, network: Network) -> None:
    """The way of every inverter's messages: to its gateway, or to the inverter that passes them on."""
    at_m, gateways_m = network.links.inverters.at_m[:, :2], network.links.gateways.at_m[:, :2]
    ways_m: list[list[NDArray[np.float64]]] = [[] for _ in STATES]
    for route, number in zip(network.routes, network.state.tolist(), strict=True):
        if route.gateway < 0:
            continue
        ways_m[number].append(np.stack([*at_m[[route.inverter, *route.relays]], gateways_m[route.gateway]]))
    faint = float(np.clip(30.0 / max(len(network.routes), 1), 0.25, 0.8))
    for number in reversed(range(len(STATES))):
        mark = MARKS[number]
        lines = LineCollection(
            ways_m[number],
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
    handles = [sample("gateway looked at", **GATEWAY)] if chosen else []
    if any(name not in chosen for name in scene.gateways.names):
        handles.append(sample("other gateway", **OTHER_GATEWAY))
    if scene.plan.spots:
        handles.append(sample("spot", **SPOT))
    if scene.plan.searches:
        handles.append(sample("search, point by point", **SEARCH | {"markersize": 5}))
    return handles


def state_entries(network: Network) -> list[Any]:
    """Legend entries of the states that there are, each with how many inverters are in it and its line."""
    handles, left_out = [], network.without_room
    for number in reversed(range(len(STATES))):
        count = int(np.sum(network.state == number))
        if count:
            mark = MARKS[number]
            line = {"linestyle": mark.dashes, "color": mark.colour, "linewidth": mark.width_pt}
            word = mark.word if number or not left_out else NO_ROOM if left_out == count else f"fails or {NO_ROOM}"
            handles.append(sample(f"{word} ({count})", **mark.marker(MOST_PT) | line))
    return handles


def _entries(scene: Scene, network: Network | None) -> list[Any]:
    if network is None:
        return [
            sample("inverter", **UNKNOWN.marker(MOST_PT)),
            *place_entries(scene, ()),
            *obstacle_entries(scene),
        ]
    return [
        *state_entries(network),
        *place_entries(scene, network.links.gateways.names),
        *obstacle_entries(scene),
    ]
