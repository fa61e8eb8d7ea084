"""Who reports to which gateway where each takes so many: against trying every assignment."""

import tomllib
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plans import changed, entry

from survey.budget import HOLDS
from survey.inputs.plan_file import plan_of
from survey.routing import matrix_of, network_between
from survey.routing.weak_points import weak_points
from survey.scene import scene_of

REQUIRED = 0.95


def field(inverters_m, gateways_m, *, capacity, max_relays=0):
    """Inverters and gateways in an open field, with radios that reach a few tens of metres."""
    text = changed(('[[inverter]]\nname = "i1"\nat = [10.0, 0.0]\nheight_m = 2.0\n', ""))
    text = text[: text.index("[[gateway]]")] + "[environment]\npath_loss_exponent = 3.4\n[requirement]\n"
    text += f"max_relays = {max_relays}\ninverters_per_gateway = {capacity}\n"
    for i, (x, y) in enumerate(inverters_m):
        text += entry("inverter", name=f'"i{i}"', at=[x, y], height_m=2)
    for i, (x, y) in enumerate(gateways_m):
        text += entry("gateway", name=f'"g{i}"', at=[x, y], height_m=2)
    return scene_of(plan_of(tomllib.loads(text), file="field.toml"))


def of_chances(reliability, *, capacity):
    """Routes of a scene of so many inverters, with margins that go with the chances."""
    scene = field([(float(i), 1.0) for i in range(len(reliability))], [(0.0, 0.0)], capacity=capacity)
    return matrix_of(scene, np.asarray(reliability), 20.0 * np.asarray(reliability))


@settings(max_examples=80, deadline=None)
@given(st.integers(1, 5), st.integers(1, 3), st.integers(1, 4), st.integers(0, 2**32 - 1))
def test_the_most_hold_then_the_chances_add_up_to_the_most(inverters, gateways, capacity, seed):
    chances = np.random.default_rng(seed).choice([0.2, 0.7, 0.9, 0.96, 0.98, 0.995], (inverters, gateways))
    matrix = of_chances(chances, capacity=capacity)
    found = matrix.gateway_of
    assert all(np.sum(found == j) <= capacity for j in range(gateways))

    def worth(at):
        chance = [chances[i, j] if j >= 0 else 0.0 for i, j in enumerate(at)]
        return sum(one >= REQUIRED for one in chance), round(sum(chance), 9)

    every = (at for at in product(range(-1, gateways), repeat=inverters))
    best = max(worth(at) for at in every if all(at.count(j) <= capacity for j in range(gateways)))
    assert worth(found.tolist()) == best


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 6), st.integers(1, 8), st.integers(0, 2**32 - 1))
def test_one_gateway_alone_takes_those_that_it_hears_best(inverters, capacity, seed):
    chances = np.round(np.random.default_rng(seed).uniform(0, 1, (inverters, 3)), 1)
    matrix = of_chances(chances, capacity=capacity)
    within, alone = matrix.within_capacity, matrix.alone
    for j in range(3):
        own = matrix.only([j]).gateway_of
        assert ((own == 0) == within[:, j]).all()
        taken = sorted(chances[:, j], reverse=True)[: min(capacity, inverters)]
        assert alone.reliability[:, j].sum() == pytest.approx(sum(taken))
        assert (np.isnan(alone.margin_db[:, j]) == ~within[:, j]).all()


def test_capacity_for_all_or_no_limit_leaves_every_inverter_at_its_best_gateway():
    chances = [[0.9, 0.99], [0.8, 0.7], [0.99, 0.99]]
    for capacity in (0, 3, 9):
        matrix = of_chances(chances, capacity=capacity)
        assert matrix.limit == 0
        assert matrix.gateway_of.tolist() == matrix.best_spots.tolist() == [1, 0, 0]


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 4), st.integers(0, 2), st.integers(0, 2**32 - 1))
def test_a_network_keeps_to_the_capacity_and_one_more_gateway_never_loses_an_inverter(capacity, max_relays, seed):
    rng = np.random.default_rng(seed)
    places_m = np.round(rng.uniform(0, 160, (9, 2)), 1).tolist()
    few = field(places_m[:7], places_m[7:8], capacity=capacity, max_relays=max_relays)
    more = field(places_m[:7], places_m[7:], capacity=capacity, max_relays=max_relays)
    one, two = (network_between(scene, scene.gateways) for scene in (few, more))
    for network in (one, two):
        used = [route.gateway for route in network.routes]
        assert all(used.count(j) <= capacity for j in range(network.links.shape[1]))
        assert network.over_capacity == used.count(-1)
        assert [at for at, route in zip(network.gateway_of.tolist(), used, strict=True) if route >= 0] == [
            route for route in used if route >= 0
        ]
        assert [route.reliability for route in network.routes if route.gateway < 0] == [0.0] * used.count(-1)
    assert np.sum(two.state == HOLDS) >= np.sum(one.state == HOLDS)


def test_without_a_gateway_the_other_takes_some_only():
    scene = field([(-1.0, 0.0), (-2.0, 0.0), (3.0, 0.0), (4.0, 0.0)], [(0.0, 0.0), (1.0, 0.0)], capacity=2)
    points = weak_points(network_between(scene, scene.gateways))
    assert np.all(points.network.state == HOLDS)
    assert [len(one.used_by) for one in points.gateways] == [2, 2]
    assert [len(one.lost) for one in points.gateways] == [2, 2], "the gateway that is left takes two"
