"""Several gateways and relays, draw by draw: against what is known by hand and by a library for flows."""

from dataclasses import replace
from itertools import pairwise

import networkx as nx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from yards import links_in, yard

from survey.decisions.simulation import choices, drawn_works, pair_of, served_runs, spot_runs
from survey.decisions.simulation.choices import DrawnHops, fitting
from survey.routing import hops_among

DRAWS = 4_000
ROW = [(float(x), 0.0) for x in range(0, 60, 5)]


def row_of_inverters(**changes):
    """Twelve inverters in a row between two spots, each of which hears about half of them."""
    return links_in(yard(ROW, [(-2.0, 0.0), (57.0, 0.0)], **({"sensitivity_dbm": -55.0} | changes)))


def all_pairs(count, reliability):
    start, to = np.triu_indices(count, k=1)
    return hops_of_chances(start, to, np.full(len(start), reliability), count=count)


def hops_of_chances(start, to, reliability, *, count):
    """Links between inverters, each pair once; runs take no account of their margins."""
    return hops_among(np.array(start), np.array(to), np.array(reliability), np.zeros(len(start)), count=count)


def wanting(links, **requirement):
    """The same links under another requirement."""
    return replace(links, scene=links.scene.wanting(**requirement))


def test_with_several_gateways_an_inverter_is_served_where_any_of_them_hears_it():
    links = row_of_inverters()
    works = np.concatenate(list(drawn_works(links, draws=500, seed=2)))
    both = served_runs(links, draws=500, seed=2)
    assert np.array_equal(both.counts, (works[:, :, 0] | works[:, :, 1]).sum(axis=1))
    assert both.mean > max(works[:, :, j].sum(axis=1).mean() for j in (0, 1)) + 1.0


def test_another_gateway_and_another_relay_never_lose_an_inverter_in_any_draw():
    links = row_of_inverters()
    hops = all_pairs(12, 0.6)
    relays = [served_runs(wanting(links, max_relays=n), hops, draws=300, seed=2).counts for n in range(4)]
    assert np.array_equal(relays[0], served_runs(links, draws=300, seed=2).counts)
    assert all(np.all(more >= fewer) for fewer, more in pairwise(relays))
    assert relays[3].sum() > relays[0].sum()


@pytest.mark.parametrize("shadowed", ["by both ends", "each by itself"])
def test_an_inverter_behind_another_is_served_as_often_as_both_links_work(monkeypatch, shadowed):
    """The near one is always heard, the far one never; between them a link of 0.8."""
    if shadowed == "each by itself":
        monkeypatch.setattr(choices, "MOST_CORRELATED", 1)
    links = links_in(yard([(5.0, 0.0), (9_000.0, 0.0)], [(0.0, 0.0)]))
    assert links.reliability[0, 0] > 0.9999
    hops = hops_of_chances([0], [1], [0.8], count=2)
    found = served_runs(wanting(links, max_relays=1), hops, draws=DRAWS, seed=2)
    assert found.mean - 1.0 == pytest.approx(0.8, abs=5.0 * np.sqrt(0.8 * 0.2 / DRAWS))


def test_links_between_inverters_work_as_often_as_their_reliability_says_near_and_far():
    links = links_in(yard([(0.0, 0.0), (0.5, 0.0), (40.0, 0.0)], [(9_000.0, 0.0)]))
    hops = hops_of_chances([0, 0, 1], [1, 2, 2], [0.3, 0.6, 0.9], count=3)
    works = DrawnHops(links, hops, seed=2).works(DRAWS)
    for k, chance in enumerate(hops.reliability):
        assert works[:, k].mean() == pytest.approx(chance, abs=5.0 * np.sqrt(chance * (1.0 - chance) / DRAWS))
    far = np.corrcoef(works[:, 1], works[:, 2])[0, 1]
    assert far > 0.1, "the two long links start half a metre apart, and are shadowed alike"


@pytest.mark.parametrize("most", [1, 2, 5])
def test_who_is_reached_is_who_has_a_chain_of_working_links_in_that_draw(most):
    """Breadth first along the links that all pairs together draw; the program draws only those of who needs them."""
    at = [(3.0 * k, 2.0 * (k % 3)) for k in range(14)] + [(0.0, 0.0)]
    links = links_in(yard(at, [(60.0, 0.0), (0.0, 40.0)]))
    hops = all_pairs(15, 0.35)
    links = wanting(links, max_relays=most)
    direct = np.random.default_rng(4).random((200, 15, 2)) < 0.15
    direct[7] = True
    found = DrawnHops(links, hops, seed=3).reached(direct)
    works = DrawnHops(links, hops, seed=3).works(200)
    told_apart = 0
    for k in range(200):
        near = np.zeros((15, 15), dtype=bool)
        near[hops.start[works[k]], hops.to[works[k]]] = True
        near |= near.T
        for j in range(2):
            reached = direct[k, :, j]
            for _ in range(most):
                reached = reached | (near & reached).any(axis=1)
            assert np.array_equal(found[k, :, j], reached)
            told_apart += int(reached.sum() > direct[k, :, j].sum())
    assert told_apart > 100


@given(st.integers(0, 2**32 - 1), st.integers(1, 4), st.integers(1, 5))
def test_how_many_fit_is_the_greatest_flow(seed, gateways, most):
    """networkx as the oracle: one unit from each inverter, at most so many into each gateway."""
    reached = np.random.default_rng(seed).random((3, 9, gateways)) < 0.4
    found = fitting(reached, most)
    for k in range(3):
        graph = nx.DiGraph()
        graph.add_nodes_from(["from", "to"])
        for i in range(9):
            graph.add_edge("from", ("i", i), capacity=1)
            for j in np.flatnonzero(reached[k, i]).tolist():
                graph.add_edge(("i", i), ("g", j), capacity=1)
        for j in range(gateways):
            graph.add_edge(("g", j), "to", capacity=most)
        assert nx.maximum_flow_value(graph, "from", "to") == found[k]


def test_with_more_gateways_than_can_be_worked_out_the_limit_is_kept_for_all_of_them_together():
    reached = np.ones((1, 50, 9), dtype=bool)
    assert fitting(reached, 5).tolist() == [45]
    assert fitting(reached, 6).tolist() == [50]


def test_a_limit_of_inverters_holds_for_relayed_ones_too():
    links = row_of_inverters(sensitivity_dbm=-90.0).to(np.array([0]))
    assert served_runs(links, draws=50, seed=2).counts.min() == 12
    limited = wanting(links, inverters_per_gateway=5)
    assert served_runs(limited, draws=50, seed=2).counts.tolist() == [5] * 50


def test_a_spot_alone_serves_as_many_in_a_choice_as_in_a_comparison():
    links = row_of_inverters()
    drawn = spot_runs(links, draws=200, seed=2)
    works = np.concatenate(list(drawn_works(links, draws=200, seed=2)))
    assert np.array_equal(drawn.counts, works.sum(axis=1))
    (pair,) = drawn.pairs()
    assert pair == pair_of(drawn.counts[:, 0], drawn.counts[:, 1], one=0, other=1)
    assert pair.one_more + pair.equal + pair.other_more == pytest.approx(1.0)
    more = drawn.counts[:, 0].astype(int) - drawn.counts[:, 1]
    assert pair.one_more * pair.one_by - pair.other_more * pair.other_by == pytest.approx(more.mean())
    assert drawn.served(1).mean == pytest.approx(drawn.counts[:, 1].mean())
