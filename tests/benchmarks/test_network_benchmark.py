"""The graph of many inverters with relays: 5,000 where SURVEY_BENCHMARK_SIZE is "large", else 300, in an open field."""

import os
import tomllib

import networkx as nx
import numpy as np
import pytest
from plans import MINIMAL, entry

from survey.inputs.plan_file import plan_of
from survey.routing import hops_of, network_between
from survey.routing.weak_points import weak_points
from survey.scene import scene_of

LARGE = os.environ.get("SURVEY_BENCHMARK_SIZE") == "large"
ROWS, PER_ROW = (50, 100) if LARGE else (10, 30)


def field():
    """Rows 12 m apart and 6 m between inverters, radios that reach some 40 m, the gateway in the middle of one side."""
    text = MINIMAL[: MINIMAL.index("[[inverter]]")] + "[environment]\npath_loss_exponent = 4.0\n"
    text += "[requirement]\nmax_relays = 3\n" + entry("gateway", name='"g"', at=[PER_ROW * 3.0, -5.0], height_m=2)
    text += entry(
        "array",
        name='"A"',
        first=[0.0, 0.0],
        height_m=1.0,
        bearing_deg=90.0,
        rows=ROWS,
        per_row=PER_ROW,
        spacing_m=6.0,
        row_spacing_m=12.0,
    )
    return scene_of(plan_of(tomllib.loads(text), file="field.toml"))


@pytest.fixture(scope="module")
def scene():
    return field()


def test_links_between_inverters(benchmark, scene):
    hops = benchmark.pedantic(hops_of, args=(scene,), rounds=1)
    apart_m = np.linalg.norm(scene.inverters.at_m[hops.start] - scene.inverters.at_m[hops.to], axis=1)
    assert 20.0 < apart_m.max() < 60.0, "a hop reaches some tens of metres"


def test_routes_and_weak_points(benchmark, scene):
    hops = hops_of(scene)

    def work():
        return weak_points(network_between(scene, scene.gateways, hops=hops))

    points = benchmark.pedantic(work, rounds=1)
    network = points.network
    assert any(len(route.relays) == 3 for route in network.routes)
    graph = nx.DiGraph()
    for one, other, chance in zip(hops.start.tolist(), hops.to.tolist(), hops.reliability.tolist(), strict=True):
        graph.add_edge(one, other, length=-np.log(min(chance, 1.0)))
    for one in np.flatnonzero(network.links.reliability[:, 0] > 0).tolist():
        graph.add_edge(one, "g", length=-np.log(network.links.reliability[one, 0]))
    lengths = nx.single_source_bellman_ford_path_length(graph.reverse(), "g", weight="length") if not LARGE else {}
    for route in network.routes:  # the limit on relays can only make a route worse than the shortest path
        if route.inverter in lengths:
            assert route.reliability <= np.exp(-lengths[route.inverter]) + 1e-5
