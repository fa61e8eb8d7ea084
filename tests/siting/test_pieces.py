"""The pieces of the choice of several gateways, each by itself against the plain way to work it out."""

from itertools import combinations
from time import monotonic

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from survey.siting import CoverageMatrix
from survey.siting.assignment import assign, competing
from survey.siting.bounds import bound_of, picked_columns
from survey.siting.capacity import Shortage, Task
from survey.siting.columns import columns_of, only_entries
from survey.siting.covering import cover, fewest_cover, greedy_cover
from survey.siting.enumeration import sets_worth
from survey.siting.programs import best_set
from survey.siting.proof import _with_bonus
from survey.siting.reduction import reduced
from survey.siting.search import Search, best_pair

SEEDS = st.integers(0, 2**32 - 1)


def chances(seed, *, inverters=(1, 9), spots=(1, 6)):
    """Chances in a matrix of some size, a third of them 0."""
    rng = np.random.default_rng(seed)
    shape = rng.integers(*inverters, endpoint=True), rng.integers(*spots, endpoint=True)
    return np.where(rng.random(shape) < 1 / 3, 0.0, np.round(rng.random(shape), 2))


def worth_of(worth, spots, capacity):
    """The greatest sum of worths, each inverter at one spot at most, by scipy with a column for each place."""
    places = np.repeat(list(spots), capacity or len(worth))
    rows, columns = linear_sum_assignment(worth[:, places], maximize=True)
    return float(worth[rows, places[columns]].sum())


def every_set(spots, number):
    return [some for n in range(1, number + 1) for some in combinations(range(spots), n)]


@given(SEEDS, st.integers(0, 4))
def test_an_assignment_is_worth_the_most_and_its_prices_are_what_one_more_place_brings(seed, capacity):
    worth = chances(seed)
    at, price = assign(np.where(worth > 0, worth, -np.inf), capacity)
    has = np.flatnonzero(at >= 0)
    total = worth[has, at[has]].sum()
    assert total == pytest.approx(worth_of(worth, range(worth.shape[1]), capacity))
    if not capacity:
        assert np.all(price == 0.0)
        return
    assert np.bincount(at[has], minlength=1).max(initial=0) <= capacity
    for j in range(worth.shape[1]):
        places = np.append(np.repeat(np.arange(worth.shape[1]), capacity), j)
        rows, columns = linear_sum_assignment(worth[:, places], maximize=True)
        assert price[j] == pytest.approx(worth[rows, places[columns]].sum() - total, abs=1e-9)


@given(SEEDS, st.integers(1, 3))
def test_the_inverters_that_compete_are_more_than_all_gateways_in_their_reach_take(seed, capacity):
    able = chances(seed) > 0.5
    at, _ = assign(np.where(able, 1.0, -np.inf), capacity)
    unserved = np.flatnonzero(at < 0)
    group = competing(able, at, unserved)
    assert set(unserved) <= set(group)
    reach = able[group].any(axis=0).sum()
    assert len(group) == reach * capacity + len(unserved), "P. Hall's condition fails by just so many"


@given(SEEDS, st.integers(0, 3))
def test_columns_give_back_what_was_put_in_and_what_one_more_gateway_adds(seed, capacity):
    reliability = chances(seed)
    columns, left_out = columns_of(reliability >= 0.8, reliability, 10.0)
    worth = reliability + 10.0 * (reliability >= 0.8)
    assert left_out == 0.0
    assert np.array_equal(columns.dense(range(len(columns))), worth)
    assert np.array_equal(only_entries(columns, columns.worth >= 10.0).dense(range(len(columns))), worth >= 10.0)
    some = np.arange(len(columns))[::-2]
    assert np.array_equal(picked_columns(columns, some).dense(range(len(some))), worth[:, some])
    had = worth[:, 0] * 0.5
    more = np.sort(np.maximum(worth - had[:, None], 0.0), axis=0)[::-1]
    assert columns.gains(had, capacity) == pytest.approx(more[: capacity or len(more)].sum(axis=0))


@given(SEEDS, st.integers(1, 3))
def test_what_is_dropped_changes_nothing_of_how_many_can_be_served(seed, number):
    holds = chances(seed) > 0.4
    small = reduced(holds)
    number = min(number, holds.shape[1])
    most = max(holds[:, list(some)].any(axis=1).sum() for some in every_set(holds.shape[1], number))
    after = [
        small.weight[small.holds[:, list(some)].any(axis=1)].sum()
        for some in every_set(len(small.spots), min(number, len(small.spots)))
    ]
    assert max(after, default=0) == most
    assert small.weight.sum() == holds.any(axis=1).sum()
    for one, other in combinations(range(len(small.spots)), 2):
        a, b = small.holds[:, one], small.holds[:, other]
        assert np.any(a & ~b), "no spot is left that another one replaces"
        assert np.any(b & ~a), "no spot is left that another one replaces"


def test_spots_asked_for_are_kept_and_with_a_capacity_every_inverter_counts_for_itself():
    holds = np.array([[1, 1, 0], [1, 1, 0], [1, 0, 0]], dtype=bool)
    assert reduced(holds).spots.tolist() == [0]
    assert reduced(holds, keep=(2,)).spots.tolist() == [0, 2]
    small = reduced(holds, capacity=1)
    assert (small.spots.tolist(), small.weight.tolist()) == ([0, 1], [1, 1, 1])


@settings(deadline=None)
@given(SEEDS, st.integers(1, 3), st.sampled_from([0, 0, 1, 2]))
def test_a_bound_is_one_and_every_set_worth_the_target_is_found(seed, number, capacity):
    reliability = chances(seed, spots=(2, 6))
    number = min(number, reliability.shape[1])
    columns, _ = columns_of(reliability < 0.0, reliability, 0.0)
    values = {some: worth_of(reliability, some, capacity) for some in combinations(range(len(columns)), number)}
    best = max(values.values())
    target, until = best - 0.1, monotonic() + 60.0
    asked = {"at_most": number, "target": target, "until": until}
    bound = bound_of(columns, price=np.zeros(len(reliability)), capacity=capacity, **asked)
    assert bound.worth >= best - 1e-9
    wanted = {some for some, value in values.items() if value >= target + 1e-9}
    assert {spot for some in wanted for spot in some} <= set(bound.able.tolist())
    if number <= len(bound.able):
        found = sets_worth(columns, bound, **asked)
        assert found.complete
        assert wanted <= {tuple(sorted(some)) for some in found.sets}


@settings(deadline=None, max_examples=30)
@given(SEEDS, st.integers(1, 3), st.sampled_from([0, 1, 2]))
def test_the_solver_finds_the_best_set_or_says_that_there_is_none(seed, number, capacity):
    worth = chances(seed)
    number = min(number, worth.shape[1])
    best = max(worth_of(worth, some, capacity) for some in every_set(worth.shape[1], number))
    asked = {"at_most": number, "no_more": 100.0, "time_limit_s": 30.0, "capacity": capacity}
    solved = best_set(worth, at_least=best - 1e-6, **asked)
    assert worth_of(worth, solved.spots, capacity) == pytest.approx(best, abs=1e-6)
    assert solved.bound == pytest.approx(best, abs=1e-5)
    none = best_set(worth, at_least=best + 0.01, **asked)
    assert none.spots is None
    assert none.bound < best + 0.01
    assert best_set(worth, at_least=0.0, **(asked | {"time_limit_s": 0.0})).bound == 100.0


@settings(deadline=None, max_examples=60)
@given(SEEDS, st.integers(1, 2))
def test_covers_reach_every_inverter_and_the_fewest_are_the_fewest(seed, times):
    able = chances(seed, spots=(2, 7)) > 0.3
    able = able[able.sum(axis=1) >= times]
    if not len(able):
        return
    sets = [some for some in every_set(able.shape[1], able.shape[1]) if np.all(able[:, some].sum(axis=1) >= times)]
    fewest = min(map(len, sets))
    greedy = greedy_cover(able, times=times)
    assert tuple(sorted(greedy)) in sets
    solved = fewest_cover(able, times=times, time_limit_s=30.0)
    assert (len(solved.spots), solved.bound) == (fewest, fewest)
    assert tuple(sorted(solved.spots)) in sets
    fixed = greedy_cover(able, times=times, fixed=(1,))
    assert 1 in fixed
    if times == 1:
        assert len(cover(able, at_most=fewest, time_limit_s=30.0)) == fewest
        if fewest > 1:
            assert cover(able, at_most=fewest - 1, time_limit_s=30.0) == ()


@settings(deadline=None)
@given(SEEDS, st.integers(0, 3), st.integers(1, 2))
def test_a_task_knows_which_sets_serve_by_the_greatest_flow(seed, capacity, times):
    """networkx as the oracle: a unit from each inverter, so many into each gateway that works."""
    able = chances(seed, inverters=(2, 6), spots=(2, 4)) > 0.3
    able = able[able.sum(axis=1) >= times]
    task = Task(able=able, times=times, capacity=capacity, fixed=())

    def all_fit(spots):
        graph = nx.DiGraph()
        graph.add_nodes_from(["from", "to"])
        for i, row in enumerate(able):
            graph.add_edge("from", f"i{i}", capacity=1)
            for spot in spots:
                if row[spot]:
                    graph.add_edge(f"i{i}", f"s{spot}", capacity=1)
        for spot in spots:
            graph.add_edge(f"s{spot}", "to", capacity=capacity or len(able))
        return nx.maximum_flow_value(graph, "from", "to") == len(able)

    for spots in every_set(able.shape[1], able.shape[1]):
        without = [spots] if times == 1 else [tuple(one for one in spots if one != out) for out in spots]
        assert task.serves(spots) == all(map(all_fit, without))
    answer = task.greedy_set()
    if isinstance(answer, Shortage):
        assert not task.serves(tuple(range(able.shape[1])))
        assert 0 < answer.missing <= len(answer.inverters)
    else:
        assert task.serves(answer) or not len(able)


@settings(deadline=None)
@given(SEEDS)
def test_the_best_pair_is_the_best_of_all_pairs_and_swaps_lose_nothing(seed):
    chance = chances(seed, spots=(2, 6))
    matrix = CoverageMatrix(reliability=chance, margin_db=chance, required=0.6)
    pair, served = best_pair(matrix)
    counts = {two: int(matrix.holds[:, two].any(axis=1).sum()) for two in combinations(range(matrix.shape[1]), 2)}
    assert served == counts[tuple(sorted(pair))] == max(counts.values())
    columns, _ = columns_of(matrix.holds, chance, len(chance) + 1.0)
    search = Search(columns=columns)
    grown = search.grown((), 2)
    better = search.swapped(grown, until=monotonic() + 60.0)
    assert search.had(better)[0] >= search.had(grown)[0] - 1e-9
    assert len(better) == len(grown) <= 2


def test_of_pairs_that_serve_as_many_the_likeliest_are_compared(monkeypatch):
    """With one such pair left to compare it is the one whose chances add up to most: the last two spots."""
    monkeypatch.setattr("survey.siting.search.TIED_PAIRS", 1)
    chance = np.array([[0.9, 0.0, 0.95, 0.0], [0.0, 0.9, 0.0, 0.96]])
    matrix = CoverageMatrix(reliability=chance, margin_db=chance, required=0.8)
    assert best_pair(matrix) == ((2, 3), 2)


def test_another_bonus_takes_the_place_of_the_first_where_an_inverter_holds():
    columns, _ = columns_of(np.array([[True, False], [False, True]]), np.array([[0.9, 0.5], [0.0, 0.8]]), 3.0)
    changed = _with_bonus(Search(columns=columns), 3.0, 1.5)
    assert np.sort(changed.columns.worth[changed.columns.worth > 0]) == pytest.approx([0.5, 2.3, 2.4])
