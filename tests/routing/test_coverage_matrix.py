"""The matrix of all spots: what it holds is what each spot's own links and routes are worth."""

import numpy as np
import pytest
from plans import SPOTS, WALL, array, search, write

from survey.budget import links_between, working
from survey.inputs.plan_file import read_plan
from survey.routing import cover_spots, coverage_matrix, hops_of, network_between
from survey.scene import scene_of


@pytest.fixture
def scene(tmp_path):
    more = SPOTS + WALL + array(per_row=6) + search(within="[[0, 0], [9, 0], [9, 9], [0, 9]]", step_m=3)
    return scene_of(read_plan(write(tmp_path, more=more)))


@pytest.mark.parametrize("max_relays", [0, 2])
@pytest.mark.parametrize("capacity", [0, 3])
def test_every_column_is_the_network_of_that_spot_alone(scene, max_relays, capacity):
    scene = scene.wanting(max_relays=max_relays, inverters_per_gateway=capacity)
    hops = hops_of(scene) if max_relays else None
    coverage = cover_spots(scene, hops=hops)
    assert coverage.matrix.shape == (len(scene.inverters), len(scene.spots))
    assert coverage.matrix.limit == scene.capacity == capacity
    alone = coverage.matrix.alone
    for j in range(0, len(scene.spots), 4):
        network = network_between(scene, scene.spots.pick([j]), hops=hops)
        assert network.over_capacity == (len(scene.inverters) - capacity if capacity else 0)
        assert alone.reliability[:, j] == pytest.approx(network.reliability)
        assert alone.margin_db[:, j] == pytest.approx(network.weakest_margin_db, nan_ok=True)


def test_a_small_site_keeps_its_links_and_a_large_one_lets_them_go(scene, monkeypatch):
    whole = cover_spots(scene)
    assert np.array_equal(whole.links.reliability, whole.matrix.reliability)
    monkeypatch.setattr(working, "PAIRS_AT_ONCE", 20)
    parts = cover_spots(scene)
    assert parts.links is None
    assert np.array_equal(parts.matrix.margin_db, whole.matrix.margin_db)
    assert np.array_equal(parts.crossed, whole.crossed)


def test_crossed_are_the_obstacles_that_links_name(scene):
    links = links_between(scene, scene.inverters, scene.spots)
    inverters, spots = links.shape
    named = {name for i in range(inverters) for j in range(spots) for name, _ in links.met_by(i, j)}
    crossed = cover_spots(scene).crossed
    assert {scene.obstacles.names[k] for k in np.flatnonzero(crossed)} == named
    assert named


def test_without_hops_the_matrix_is_that_of_the_links_whatever_the_plan_allows(scene):
    scene = scene.wanting(max_relays=2)
    links = links_between(scene, scene.inverters, scene.spots)
    matrix = coverage_matrix(links)
    assert matrix.reliability is links.reliability
    assert matrix.required == scene.plan.requirement.reliability


def test_a_very_large_site_is_kept_in_single_precision(scene, monkeypatch):
    double = cover_spots(scene).matrix
    monkeypatch.setattr("survey.routing.coverage.MAX_DOUBLE", 10)
    single = cover_spots(scene).matrix
    assert (double.reliability.dtype, single.reliability.dtype) == (np.float64, np.float32)
    assert single.margin_db == pytest.approx(double.margin_db, rel=1e-6)
