"""Weak points against taking things away for real, and a site where they are plain to see."""

import tomllib

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from plans import MINIMAL, changed, entry

from survey.budget import HOLDS
from survey.inputs.plan_file import plan_of
from survey.routing import DIRECT, hops_among, hops_of, levels, network_between
from survey.routing.graph import graph_of
from survey.routing.weak_points import weak_points
from survey.scene import scene_of


def site(inverters_m, gateways_m, *, max_relays, exponent=3.4):
    """Inverters and gateways in an open field, with radios that reach a few tens of metres."""
    text = changed(('[[inverter]]\nname = "i1"\nat = [10.0, 0.0]\nheight_m = 2.0\n', ""))
    text = text[: text.index("[[gateway]]")]
    text += f"[environment]\npath_loss_exponent = {exponent}\n[requirement]\nmax_relays = {max_relays}\n"
    for i, (x, y) in enumerate(inverters_m):
        text += entry("inverter", name=f'"i{i}"', at=[x, y], height_m=2)
    for i, (x, y) in enumerate(gateways_m):
        text += entry("gateway", name=f'"g{i}"', at=[x, y], height_m=2)
    return scene_of(plan_of(tomllib.loads(text), file="field.toml"))


def names(network, indices):
    return {network.links.inverters.names[i] for i in indices}


@st.composite
def fields(draw):
    count, gateways = draw(st.integers(2, 8)), draw(st.integers(1, 2))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    places_m = np.round(rng.uniform(0, 160, (count + gateways, 2)), 1).tolist()
    return places_m[:count], places_m[count:], draw(st.integers(0, 3))


def who_holds(scene, hops, reliability, max_relays):
    last = list(levels(hops, reliability, reliability, max_relays=max_relays))[-1]
    return last.value.max(axis=1) >= scene.plan.requirement.reliability


@settings(max_examples=40, deadline=None)
@given(fields())
def test_a_relay_that_goes_dark_loses_those_that_a_plan_without_it_loses(field):
    inverters_m, gateways_m, max_relays = field
    points = weak_points(network_between(scene := site(*field[:2], max_relays=max_relays), scene.gateways))
    holding = names(points.network, np.flatnonzero(points.network.state == HOLDS))
    assert all(one.gateway == -1 for one in points.relays)
    assert all(one.inverter == -1 for one in points.gateways)
    for one in points.relays:
        without = [at if i != one.inverter else (1e5, 1e5) for i, at in enumerate(inverters_m)]
        smaller = site(without, gateways_m, max_relays=max_relays)
        left = network_between(smaller, smaller.gateways)
        still = names(left, np.flatnonzero(left.state == HOLDS))
        assert names(points.network, one.lost) == holding - still - {points.network.links.inverters.names[one.inverter]}


@settings(max_examples=40, deadline=None)
@given(fields())
@example(
    ([[89.9, 143.8], [61.3, 100.2]], [[33.9, 126.5]], 1)
)  # a relay that nobody uses today helps when a link is gone
def test_gateways_links_and_second_routes_agree_with_taking_away(field):
    inverters_m, gateways_m, max_relays = field
    scene = site(inverters_m, gateways_m, max_relays=max_relays)
    network = network_between(scene, scene.gateways)
    points, hops = weak_points(network), hops_of(scene) if max_relays else network.hops
    reliability, holds = network.links.reliability, network.state == HOLDS
    for one in points.gateways:
        others = np.delete(reliability, one.gateway, axis=1)
        left = who_holds(scene, hops, others, max_relays) if others.size else np.zeros_like(holds)
        assert set(one.lost) == set(np.flatnonzero(holds & ~left))
    told = {(one.inverter, one.to): set(one.lost) for one in points.links}
    start = hops.start
    for route in network.routes:
        inverter, to = route.inverter, route.relays[0] if route.relays else DIRECT
        direct, kept = reliability.copy(), np.ones(len(hops), dtype=bool)
        if to == DIRECT:
            direct[inverter, route.gateway] = 0.0
        else:
            kept = ~(((start == inverter) & (hops.to == to)) | ((start == to) & (hops.to == inverter)))
        fewer = hops_among(start[kept], hops.to[kept], hops.reliability[kept], hops.margin_db[kept], count=len(holds))
        assert told.get((inverter, to), set()) == set(
            np.flatnonzero(holds & ~who_holds(scene, fewer, direct, max_relays))
        )
        if holds[inverter]:
            gone = np.isin(start, route.relays) | np.isin(hops.to, route.relays)
            kept = ~gone
            fewer = hops_among(
                start[kept], hops.to[kept], hops.reliability[kept], hops.margin_db[kept], count=len(holds)
            )
            direct = reliability.copy()
            direct[list(route.relays)] = 0.0
            if to == DIRECT:
                direct[inverter, route.gateway] = 0.0
            assert points.two_routes[inverter] == who_holds(scene, fewer, direct, max_relays)[inverter]
        else:
            assert not points.two_routes[inverter]


def test_a_chain_hangs_on_every_link_of_it():
    """g0 -- i0 -- i1 -- i2, each out of reach of all but its neighbours."""
    scene = site([(25, 0), (50, 0), (75, 0)], [(0, 0)], max_relays=2, exponent=3.9)
    points = weak_points(network_between(scene, scene.gateways))
    assert [route.relays for route in points.network.routes] == [(), (0,), (1, 0)]
    assert points.network.all_hold
    assert [(one.inverter, one.used_by, one.lost) for one in points.relays] == [(0, (1, 2), (1, 2)), (1, (2,), (2,))]
    assert [(one.inverter, one.to, one.lost) for one in points.links] == [
        (0, -1, (0, 1, 2)),
        (1, 0, (1, 2)),
        (2, 1, (2,)),
    ]
    assert not points.two_routes.any()
    assert points.gateways[0].lost == (0, 1, 2)


def test_both_ends_of_a_hop_use_the_radio_of_an_inverter():
    """By hand at 30 m, 868 MHz, exponent 3.4: free space at 1 m is 31.22 dB, 34 lg 30 is 50.22 dB; 8 + 96 - 81.44."""
    scene = site([(0, 0), (30, 0)], [(0, 1)], max_relays=1)
    hops = hops_of(scene)
    assert hops.margin_db[hops.row(0, 1)] == pytest.approx(22.56, abs=0.01)


def test_mounting_loss_counts_at_both_ends_of_a_hop():
    text = MINIMAL.replace("sensitivity_dbm = -96.0", "sensitivity_dbm = -96.0\nmounting_loss_db = 5.0")
    more = entry("inverter", name='"i2"', at=[40.0, 0.0], height_m=2)
    without, loss = (hops_of(scene_of(plan_of(tomllib.loads(one + more), file="p.toml"))) for one in (MINIMAL, text))
    assert without.margin_db - loss.margin_db == pytest.approx([10.0, 10.0])


def test_lines_of_the_graph_are_as_long_as_the_places_are_apart():
    """Inverters at 3 and 4 m along the axes are 5 m apart, and 3 and 4 m from the gateway."""
    scene = site([(3.0, 0.0), (0.0, 4.0)], [(0.0, 0.0)], max_relays=1)
    graph = graph_of(network_between(scene, scene.gateways))
    found = {frozenset(pair): graph.edges[pair]["distance_m"] for pair in graph.edges}
    wanted = {("i0", "i1"): 5.0, ("i0", "g0"): 3.0, ("i1", "g0"): 4.0}
    assert found == {frozenset(pair): pytest.approx(apart_m) for pair, apart_m in wanted.items()}
