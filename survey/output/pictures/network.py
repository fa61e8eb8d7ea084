"""Routes over the site, and what hangs on a single inverter."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from survey.base.layout import counted
from survey.output.answers.figures import route_tally
from survey.output.map.labels import Label
from survey.output.map.legend import MARKS
from survey.output.map.site import gateway_labels, inverter_labels, places_of, shapes_of
from survey.output.pictures.ground import draw_obstacles, draw_scale_and_north, obstacle_entries, site_axes
from survey.output.pictures.labels import put_labels
from survey.output.pictures.site_map import (
    draw_inverters,
    draw_places,
    gateways_words,
    mark_size_pt,
    one_lined,
    state_entries,
)
from survey.output.pictures.style import FAINT, GATEWAY, INK, foot_legend, picture, sample
from survey.routing.weak_points import WeakPoints

WIDE = 1.1
"""Width of a hop; by eye. [pt]"""
HOP: dict[str, Any] = {"color": "#333333", "linestyle": "-", "linewidth": WIDE}
MANY_HOPS = 80.0
"""Of more hops than this each is drawn thinner and fainter."""
LOSERS: dict[str, Any] = {
    "linestyle": "none",
    "marker": "D",
    "markerfacecolor": "none",
    "markeredgecolor": "#a3003f",
    "markeredgewidth": 1.6,
}
"""Marks by eye."""
RELAY: dict[str, Any] = LOSERS | {"markeredgecolor": INK, "markeredgewidth": 0.9}
"""The same for relays."""
COLUMNS = 5
"""Of the key; by eye."""
MOST_NAMED = 12
"""With more inverters than this only the relays are named; by eye."""
BUSY = 3
"""A relay by way of which so many report is named."""


@picture
def network_picture(points: WeakPoints) -> Figure:
    """Draw the route of every inverter, and mark the inverters that others need.

    Parameters
    ----------
    points : WeakPoints
        A network with its weak points.

    Returns
    -------
    Figure
    """
    network = points.network
    scene, links = network.scene, network.links
    chosen, at_m = links.gateways.names, links.inverters.at_m[:, :2]
    relays = {one.inverter: one for one in points.relays}
    weak = [i for i, one in relays.items() if one.lost]
    most = scene.plan.requirement.max_relays
    handles = [
        *state_entries(network),
        *([sample("hop to a relay", **HOP)] if relays else []),
        *([sample("relay", markersize=8, **RELAY)] if len(relays) > len(weak) else []),
        *([sample("critical relay (others are lost if it fails)", markersize=8, **LOSERS)] if weak else []),
        sample("gateway shown", **GATEWAY),
        *obstacle_entries(scene, bare=True),
    ]
    two = int(points.two_routes.sum())
    between = f"up to {counted(most, 'relay')}" if most else "no relay"
    asked = f"{gateways_words(chosen)}. Routes with {between}. {route_tally(network)}. "
    lines = (asked + f"Backup route (no shared relay, no shared link): {two}.", one_lined(scene, links))
    figure, axes = site_axes(
        scene,
        title=f"{scene.plan.site.name}: routes and relays",
        lines=lines,
        entries=len(handles),
        columns=COLUMNS,
    )
    named = draw_obstacles(axes, shapes_of(scene), bare=True)
    for patch in axes.patches:
        patch.set_edgecolor(FAINT)
    hops: set[tuple[int, int]] = set()
    last: list[tuple[int, int, int]] = []
    for route in network.routes:
        if route.gateway < 0:
            continue
        way = [route.inverter, *route.relays]
        hops.update(pairwise(way))
        last.append((way[-1], route.gateway, int(network.state[route.inverter])))
    thin = float(np.clip(MANY_HOPS / max(len(hops), 1), 0.35, 1.0))
    _lines(axes, [(at_m[a], at_m[b]) for a, b in sorted(hops)], "hops", alpha=thin, **HOP | {"linewidth": thin * WIDE})
    faint = float(np.clip(40.0 / max(len(last), 1), 0.3, 0.9))
    for number, mark in enumerate(MARKS):
        ends = sorted({(a, g) for a, g, state in last if state == number})
        looks: dict[str, Any] = {
            "color": mark.colour,
            "linestyle": mark.dashes,
            "linewidth": mark.width_pt,
            "alpha": faint,
        }
        _lines(axes, [(at_m[a], links.gateways.at_m[g, :2]) for a, g in ends], f"routes {mark.word}", **looks)
    size_pt = mark_size_pt(axes, scene)
    for i in relays:
        looks = LOSERS if i in weak else RELAY
        axes.plot(*at_m[i], zorder=4.6, gid="weak" if i in weak else "relay", markersize=1.7 * size_pt, **looks)
    draw_inverters(axes, links.inverters, network.state, size_pt=size_pt)
    places = [one for one in places_of(scene, chosen=chosen) if one.kind == "chosen"]
    draw_places(axes, places)
    draw_scale_and_north(axes)
    foot_legend(figure, handles, columns=COLUMNS)
    heavy = sorted(weak, key=lambda i: -len(relays[i].lost))[:MOST_NAMED]
    words = {i: f"{links.inverters.names[i]}: {len(relays[i].lost)} lost if it fails" for i in heavy}
    busy = sorted(set(relays) - set(weak), key=lambda i: -len(relays[i].used_by))[: MOST_NAMED - len(heavy)]
    words |= {
        i: f"{links.inverters.names[i]}: used by {len(relays[i].used_by)}"
        for i in busy
        if len(relays[i].used_by) >= BUSY
    }
    labels = [Label(text=text, kind="count", at=(float(at_m[i, 0]), float(at_m[i, 1]))) for i, text in words.items()]
    told = {links.inverters.names[i] for i in words}
    first, rest = inverter_labels(scene, network)
    others = [one for one in (*first, *rest) if one.text not in told]
    taken_m = np.concatenate([at_m, links.gateways.at_m[:, :2]])
    put_labels(axes, [*gateway_labels(places), *labels, *others, *named], taken_m, reach_pt=size_pt / 2.0)
    return figure


def _lines(axes: Any, ends: list[Any], gid: str, **looks: Any) -> None:  # noqa: ANN401  as matplotlib has them
    lines = LineCollection(ends, zorder=3.0, **looks)
    lines.set_gid(gid)
    axes.add_collection(lines, autolim=False)
