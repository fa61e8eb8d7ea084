"""The site to scale: its obstacles, which inverters hold, and their routes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from numpy.typing import NDArray

from survey.base.layout import counted
from survey.budget import STATES, Links
from survey.output.answers.figures import NO_ROOM, criterion, fit_words, letter, radio_words, route_tally
from survey.output.map.frame import spacing_m
from survey.output.map.groups import Group, group_labels, groups_of, states_in
from survey.output.map.legend import MARKS, PLACE_WORDS
from survey.output.map.site import Place, gateway_labels, inverter_labels, places_of, routes_of, shapes_of
from survey.output.pictures.ground import (
    draw_contours,
    draw_obstacles,
    draw_scale_and_north,
    ground_entries,
    obstacle_entries,
    picture_frame_m,
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
    width_in,
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
GROUP_PT = 20.0
"""Marks of two groups are this far apart at least: two marks side by side and a gap. By eye. [pt]"""
GROUPED = "A mark stands for all inverters near it; the figures beside it are how many."
"""What must be known where inverters stand too close for marks of their own."""
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
        lines = (f"{gateways_words(chosen)}.{between} {route_tally(network)}.", one_lined(scene, network.links))
    is_grouped = stands_close(scene)
    lines = (*lines, GROUPED) if is_grouped else lines
    figure, axes = site_axes(scene, title=title, lines=lines, entries=len(handles), columns=COLUMNS)
    draw_contours(axes, scene)
    named = draw_obstacles(axes, shapes_of(scene))
    places = places_of(scene, chosen=chosen)
    draw_places(axes, places)
    size_pt = mark_size_pt(axes, scene)
    groups = groups_on(axes, scene) if is_grouped else []
    if network is not None:
        draw_routes(axes, network, groups)
    state = None if network is None else network.state
    draw_inverters(axes, scene.inverters, state, size_pt=size_pt, groups=groups)
    taken_m = np.concatenate([scene.inverters.at_m, scene.gateways.at_m, scene.spots.at_m])[:, :2]
    draw_scale_and_north(axes, taken_m)
    foot_legend(figure, handles, columns=COLUMNS)
    first, rest = (group_labels(scene, groups, state), []) if groups else inverter_labels(scene, network)
    names = [*gateway_labels(places), *first, *named, *rest]
    put_labels(axes, names, taken_m, reach_pt=GROUP_PT / 2.0 if groups else size_pt / 2.0)
    return figure


def gateways_words(names: tuple[str, ...]) -> str:
    """Which gateways a picture is about; more than one by their letters, as in tables."""
    if len(names) == 1:
        return f"Gateway: {short(names[0])}"
    return "Gateways: " + ", ".join(f"{letter(j)} {short(name)}" for j, name in enumerate(names))


def one_lined(scene: Scene, links: Links | None = None) -> str:
    """Return the radio and the environment, when a link holds, and the fit in use, without the site's name."""
    return " ".join([f"{radio_words(scene.plan)}.", criterion(scene.plan), *fit_words(scene, links)])


def mark_size_pt(axes: Axes, scene: Scene) -> float:
    """Size of marks that leave neighbours apart. [pt]"""
    return float(np.clip(MARK_SHARE * spacing_m(scene) * points_per_metre(axes), LEAST_PT, MOST_PT))


def stands_close(scene: Scene) -> bool:
    """Whether marks of inverters would hide each other, even the smallest."""
    low_m, high_m = picture_frame_m(scene)
    return spacing_m(scene) * 72.0 * width_in() / float((high_m - low_m)[0]) < LEAST_PT


def groups_on(axes: Axes, scene: Scene) -> list[Group]:
    """Inverters that stand close together, so that the marks of two groups can be told apart."""
    return groups_of(scene.inverters.at_m[:, :2], reach_m=GROUP_PT / points_per_metre(axes))


def draw_inverters(
    axes: Axes, inverters: Ends, state: NDArray[np.int8] | None, *, size_pt: float, groups: Sequence[Group] = ()
) -> None:
    """Marks of inverters by their state, the worst ones on top; of groups a mark for each state among them."""
    at_m = inverters.at_m
    if groups:
        _draw_groups(axes, groups, state)
        return
    if state is None:
        axes.plot(at_m[:, 0], at_m[:, 1], zorder=4, gid="inverters", **marker(UNKNOWN, size_pt))
        return
    for number in reversed(range(len(STATES))):
        of_state = state == number
        if of_state.any():
            looks = marker(MARKS[number], size_pt * (1.15 if number < len(STATES) - 1 else 1.0))
            axes.plot(at_m[of_state, 0], at_m[of_state, 1], zorder=4.5 - 0.1 * number, gid=STATES[number], **looks)


def _draw_groups(axes: Axes, groups: Sequence[Group], state: NDArray[np.int8] | None) -> None:
    step_m = 1.25 * MOST_PT / points_per_metre(axes)
    if state is None:
        axes.plot(*np.array([one.at_m for one in groups]).T, zorder=4, gid="inverters", **marker(UNKNOWN, MOST_PT))
        return
    for group in groups:
        found = states_in(group, state)
        for k, (number, _) in enumerate(found):
            x_m = group.at_m[0] + (k - (len(found) - 1) / 2.0) * step_m
            axes.plot(x_m, group.at_m[1], zorder=4.5, gid=STATES[number], **marker(MARKS[number], MOST_PT))


def draw_places(axes: Axes, places: Sequence[Place]) -> None:
    """Marks of gateways, spots and searches."""
    for one in places:
        axes.plot(*one.at_m.T, zorder=LAYERS[one.kind], gid=PLACE_WORDS[one.kind], **PLACES[one.kind])


def draw_routes(axes: Axes, network: Network, groups: Sequence[Group] = ()) -> None:
    """The route of every inverter that has one; of a group, one line for each gateway and state."""
    routes = [route for route in routes_of(network) if route.gateway >= 0]
    middle = {i: k for k, group in enumerate(groups) for i in group.members}
    if groups and not network.scene.plan.requirement.max_relays:
        once = {(middle[route.inverter], route.gateway, route.state): route for route in routes}
        routes = [
            replace(route, points_m=np.array([groups[k].at_m, route.points_m[-1]])) for (k, _, _), route in once.items()
        ]
    faint = float(np.clip(30.0 / max(len(routes), 1), 0.25, 0.8))
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
