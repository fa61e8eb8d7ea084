"""The network as a graph that other programs can read."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from survey.base.characters import harmless_xml
from survey.budget import MARGINAL_RELIABILITY, STATES
from survey.routing import Network

if TYPE_CHECKING:  # loaded only where a graph is wanted
    import networkx as nx

Attributes = dict[str, Any]


def nodes_of(network: Network) -> list[tuple[str, Attributes]]:
    """Inverters with what their route is worth, then gateways: names and attributes."""
    links, nodes = network.links, []
    for route, state in zip(network.routes, network.state.tolist(), strict=True):
        x_m, y_m, height_m = links.inverters.at_m[route.inverter].tolist()
        one: Attributes = {"kind": "inverter", "x_m": x_m, "y_m": y_m, "height_m": height_m}
        if links.inverters.serials[route.inverter]:
            one["serial"] = links.inverters.serials[route.inverter]
        one |= {"reliability": route.reliability, "state": STATES[state], "relays": len(route.relays)}
        if route.gateway >= 0:
            one["weakest_margin_db"] = route.weakest_margin_db
            one["gateway"] = links.gateways.names[route.gateway]
        nodes.append((links.inverters.names[route.inverter], one))
    for name, at_m in zip(links.gateways.names, links.gateways.at_m.tolist(), strict=True):
        nodes.append((name, {"kind": "gateway", "x_m": at_m[0], "y_m": at_m[1], "height_m": at_m[2]}))
    return nodes


def edges_of(network: Network) -> list[tuple[str, str, Attributes]]:
    """Links that are worth something: names of both ends, and attributes.

    Inverters to gateways, then between inverters, each pair once. ``carries`` counts the inverters whose route goes
    along it.
    """
    links, hops = network.links, network.hops
    inverters, gateways, edges = links.inverters.names, links.gateways.names, []
    carries: dict[tuple[str, str], int] = {}
    for route in network.routes:
        names = network.names(route)
        for pair in pairwise(names):
            carries[pair] = carries.get(pair, 0) + 1
    used = {(inverters.index(one), gateways.index(other)) for one, other in carries if other in set(gateways)}
    worth = set(map(tuple, np.argwhere(links.reliability >= MARGINAL_RELIABILITY).tolist()))
    for i, j in sorted(used | worth):
        pair = (inverters[i], gateways[j])
        edges.append(
            (
                *pair,
                {
                    "distance_m": float(links.distance_m[i, j]),
                    "margin_db": float(links.margin_db[i, j]),
                    "reliability": float(links.reliability[i, j]),
                    "carries": carries.get(pair, 0),
                },
            )
        )
    one_way = hops.start < hops.to
    start, to = hops.start[one_way], hops.to[one_way]
    distance_m = np.linalg.norm(links.inverters.at_m[start] - links.inverters.at_m[to], axis=1)
    columns = (start, to, distance_m, hops.margin_db[one_way], hops.reliability[one_way])
    for i, j, apart_m, margin_db, reliability in zip(*(column.tolist() for column in columns), strict=True):
        pair = (inverters[i], inverters[j])
        both = carries.get(pair, 0) + carries.get((pair[1], pair[0]), 0)
        attributes = {"distance_m": apart_m, "margin_db": margin_db, "reliability": reliability, "carries": both}
        edges.append((*pair, attributes))
    return edges


def graph_of(network: Network) -> nx.Graph[str]:
    """The network as a graph of networkx.

    Parameters
    ----------
    network : Network
        A network.

    Returns
    -------
    networkx.Graph
        Undirected: a link's margin is that of its weaker direction. Nodes and edges carry the attributes of `nodes_of`
        and `edges_of`.
    """
    import networkx as nx  # noqa: PLC0415  start-up time

    graph: nx.Graph[str] = nx.Graph(site=network.scene.plan.site.name)
    graph.add_nodes_from(nodes_of(network))
    graph.add_edges_from(edges_of(network))
    return graph


def graphml_of(network: Network) -> str:
    """The network as GraphML, the exchange format of graphs [1]_.

    References
    ----------
    .. [1] U. Brandes and others, "GraphML progress report", Graph Drawing 2001.
    """
    import networkx as nx  # noqa: PLC0415  start-up time

    return harmless_xml("\n".join(nx.generate_graphml(graph_of(network))))
