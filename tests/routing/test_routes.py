"""Routes against networkx, brute force, a published graph and a simulation."""

import itertools

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from survey.routing import DIRECT, hops_among, levels, no_hops, relayed
from survey.routing.routes import relays_of

# The graph of the NetworkX test suite (tests/test_mst.py, after Kruskal's example), edges with weights; the widest
# paths between the pairs were confirmed by brute force over all simple paths.
EDGES = [
    (0, 1, 7), (0, 3, 5), (1, 2, 8), (1, 3, 9), (1, 4, 7), (2, 4, 5),
    (3, 4, 15), (3, 5, 6), (4, 5, 8), (4, 6, 9), (5, 6, 11),
]  # fmt: skip
WIDEST = {(0, 6): 7, (2, 5): 8, (3, 5): 9, (5, 6): 11, (3, 4): 15}


def both_ways(edges, count):
    """Edges as hops in both directions, their weight as margin and, scaled, as reliability."""
    one, other, weight = (np.array(column) for column in zip(*edges, strict=True))
    start, to = np.concatenate([one, other]), np.concatenate([other, one])
    margin_db = np.concatenate([weight, weight]).astype(float)
    return hops_among(start, to, margin_db / 20.0, margin_db, count=count)


@pytest.mark.parametrize(("pair", "expected"), WIDEST.items())
def test_the_widest_path_of_a_published_graph(pair, expected):
    """One end of the pair is the gateway: its edges are links to it, all others are hops."""
    inverter, gateway = pair
    direct = np.full((7, 1), -np.inf)
    hops = [edge for edge in EDGES if gateway not in edge[:2]]
    for one, other, weight in EDGES:
        if gateway in {one, other}:
            direct[one if other == gateway else other, 0] = weight
    last = list(levels(both_ways(hops, 7), direct, direct, max_relays=6, joined=np.minimum))[-1]
    assert last.value[inverter, 0] == expected


@st.composite
def sites(draw):
    """A few inverters with random links between them, and to a few gateways."""
    count, gateways = draw(st.integers(2, 6)), draw(st.integers(1, 3))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    pairs = [pair for pair in itertools.combinations(range(count), 2) if rng.random() < 0.6]
    edges = [(*pair, float(rng.uniform(0.5, 1.0))) for pair in pairs]
    reliability = np.where(rng.random((count, gateways)) < 0.5, rng.random((count, gateways)), 0.0)
    return edges, reliability, draw(st.integers(0, 4))


def hops_from(edges, count):
    start = np.array([one for one, _, _ in edges] + [other for _, other, _ in edges], dtype=np.int64)
    to = np.array([other for _, other, _ in edges] + [one for one, _, _ in edges], dtype=np.int64)
    chance = np.array([value for _, _, value in edges] * 2)
    return hops_among(start, to, chance, 10.0 * chance, count=count)


def all_routes(edges, reliability, inverter, gateway, max_relays):
    """Reliability and relays of every simple route, by trying all of them."""
    count = len(reliability)
    chance = {frozenset(edge[:2]): edge[2] for edge in edges}
    others = [one for one in range(count) if one != inverter]
    for length in range(max_relays + 1):
        for relays in itertools.permutations(others, length):
            value = reliability[relays[-1] if relays else inverter, gateway]
            for one, other in itertools.pairwise([inverter, *relays]):
                value *= chance.get(frozenset({one, other}), 0.0)
            yield value, list(relays)


@settings(max_examples=60, deadline=None)
@given(sites())
def test_the_best_route_is_the_best_of_all_routes(site):
    edges, reliability, max_relays = site
    found = list(levels(hops_from(edges, len(reliability)), reliability, reliability, max_relays=max_relays))
    for inverter, gateway in np.ndindex(reliability.shape):
        routes = list(all_routes(edges, reliability, inverter, gateway, max_relays))
        best = max(value for value, _ in routes)
        assert found[-1].value[inverter, gateway] == pytest.approx(best, abs=1e-5)
        relays = relays_of(found, inverter, gateway)
        value = next(value for value, others in routes if others == relays)
        assert value == pytest.approx(found[-1].value[inverter, gateway], abs=1e-12)
        fewest = min(len(others) for value, others in routes if value >= best - 1e-12)
        assert len(relays) <= fewest


@settings(max_examples=40, deadline=None)
@given(sites())
def test_without_a_limit_it_is_the_shortest_path_of_networkx_and_of_csgraph(site):
    edges, reliability, _ = site
    count = len(reliability)
    value, _ = relayed(hops_from(edges, count), reliability, reliability, max_relays=count)
    for gateway in range(reliability.shape[1]):
        graph = nx.Graph()
        graph.add_nodes_from(range(count + 1))
        weights = np.zeros((count + 1, count + 1))
        to_gateway = [(i, count, chance) for i, chance in enumerate(reliability[:, gateway].tolist()) if chance > 0]
        for one, other, chance in [*edges, *to_gateway]:
            graph.add_edge(one, other, length=-np.log(chance))
            weights[one, other] = weights[other, one] = -np.log(chance)
        lengths = nx.single_source_dijkstra_path_length(graph, count, weight="length")
        by_csgraph = dijkstra(csr_array(weights), indices=count)
        for inverter in range(count):
            expected = np.exp(-lengths[inverter]) if inverter in lengths else 0.0
            assert value[inverter, gateway] == pytest.approx(expected, abs=1e-5)
            assert value[inverter, gateway] == pytest.approx(np.exp(-by_csgraph[inverter]), abs=1e-5)


@settings(max_examples=40, deadline=None)
@given(sites())
def test_one_relay_more_never_makes_a_route_worse(site):
    edges, reliability, max_relays = site
    hops = hops_from(edges, len(reliability))
    less, _ = relayed(hops, reliability, reliability, max_relays=max_relays)
    more, _ = relayed(hops, reliability, reliability, max_relays=max_relays + 1)
    assert np.all(more >= less)


def test_the_reliability_of_a_route_is_how_often_all_its_links_work():
    """A simulation of independent links; 200,000 draws give the share to 0.0011 (one standard deviation)."""
    edges = [(0, 1, 0.9), (1, 2, 0.8)]
    reliability = np.array([[0.1], [0.2], [0.95]])
    found = list(levels(hops_from(edges, 3), reliability, reliability, max_relays=2))
    assert relays_of(found, 0, 0) == [1, 2]
    rng = np.random.default_rng(4)
    works = rng.random((200_000, 3)) < np.array([0.9, 0.8, 0.95])
    assert found[-1].value[0, 0] == pytest.approx(works.all(axis=1).mean(), abs=0.005)


def test_the_margin_of_a_route_is_that_of_its_weakest_link():
    hops = hops_among(np.array([0]), np.array([1]), np.array([0.9]), np.array([4.0]), count=2)
    value, margin_db = relayed(hops, np.array([[0.1], [0.9]]), np.array([[-10.0], [7.0]]), max_relays=1)
    assert value[0, 0] == pytest.approx(0.81)
    assert margin_db[0, 0] == 4.0


def test_without_hops_every_inverter_talks_for_itself():
    reliability = np.array([[0.3, 0.9], [0.5, 0.1]])
    found = list(levels(no_hops(2), reliability, reliability, max_relays=3))
    assert np.array_equal(found[-1].value, reliability)
    assert np.all(found[-1].via == DIRECT)


def test_many_gateways_at_once_are_the_same_as_one_by_one():
    """More of them than are worked out in one go."""
    rng = np.random.default_rng(7)
    edges = [(one, other, rng.uniform(0.5, 1.0)) for one, other in itertools.combinations(range(9), 2)]
    reliability = rng.random((9, 600))
    hops = hops_from(edges, 9)
    value, _ = relayed(hops, reliability, reliability, max_relays=2)
    for gateway in (0, 255, 256, 599):
        alone, _ = relayed(hops, reliability[:, [gateway]], reliability[:, [gateway]], max_relays=2)
        assert np.array_equal(value[:, [gateway]], alone)
