"""Choices of gateways: brute force agrees, more never hurts, and what cannot be is told."""

import subprocess
import sys
from dataclasses import replace
from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from survey.siting import CoverageMatrix
from survey.siting.choosing import choose, choose_each


def matrix_of(reliability, margin_db=None, *, required=0.9, capacity=0):
    """Routes whose margins go with their chances where nothing else is said."""
    margin_db = 10.0 * reliability if margin_db is None else margin_db
    return CoverageMatrix(reliability=reliability, margin_db=margin_db, required=required, capacity=capacity)


@st.composite
def sites(draw):
    """Small sites: margins at random or in steps of 4 dB with many ties, some pairs without any route."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    inverters, spots = draw(st.integers(1, 12)), draw(st.integers(1, 7))
    margin_db = rng.normal(draw(st.sampled_from([-6.0, 0.0, 6.0])), 8.0, (inverters, spots))
    if draw(st.booleans()):
        margin_db = np.round(margin_db / 4.0) * 4.0
    reliability = 1.0 / (1.0 + np.exp(-margin_db / 3.0))
    if draw(st.booleans()):
        lost = rng.random(margin_db.shape) < 0.3
        margin_db[lost], reliability[lost] = -np.inf, 0.0
    return matrix_of(reliability, margin_db, required=0.8)


def figures(site, spots, capacity):
    """Served, and expected number served, by a plain maximum or scipy's assignment with each place a column."""
    worth = site.reliability[:, spots] + 100.0 * site.holds[:, spots]
    if capacity:
        places = np.repeat(np.arange(len(spots)), capacity)
        rows, columns = linear_sum_assignment(worth[:, places], maximize=True)
        taken = worth[rows, places[columns]]
    else:
        taken = worth.max(axis=1)
    return int((taken >= 100.0).sum()), float((taken % 100.0).sum())


def best_by_hand(site, number, capacity):
    spots = range(site.shape[1])
    every = [figures(site, list(some), capacity) for n in range(1, number + 1) for some in combinations(spots, n)]
    served = max(one[0] for one in every)
    return served, max(one[1] for one in every if one[0] == served)


@settings(deadline=None, max_examples=100)
@given(sites(), st.integers(1, 3), st.sampled_from([0, 0, 1, 2, 3, 5]))
def test_brute_force_over_all_pairs_and_triples_agrees(site, number, capacity):
    number = min(number, site.shape[1])
    found = choose(replace(site, capacity=capacity), at_most=number)
    served, expected = best_by_hand(site, number, capacity)
    assert found.served == served
    assert found.expected_served == pytest.approx(expected, abs=1e-5)
    assert found.proven
    assert figures(site, list(found.chosen), capacity) == (served, pytest.approx(found.expected_served, abs=1e-9))


@settings(deadline=None, max_examples=60)
@given(sites(), st.integers(1, 3))
def test_the_best_worst_margin_among_equals(site, number):
    """Where it is said to be proven, no set with the same two figures has a better one."""
    number = min(number, site.shape[1])
    found = choose(site, at_most=number, thrifty=False)
    if not found.proven_worst:
        return
    for n in range(1, number + 1):
        for spots in combinations(range(site.shape[1]), n):
            served, expected = figures(site, list(spots), 0)
            if served == found.served and abs(expected - found.expected_served) < 1e-9:
                nobody_worse = site.margin_db[:, list(spots)].max(axis=1).min()
                assert nobody_worse <= found.worst_margin_db + 1e-6


@settings(deadline=None, max_examples=40)
@given(sites(), st.sampled_from([0, 1, 3]))
def test_another_gateway_never_loses_an_inverter(site, capacity):
    found = list(choose_each(replace(site, capacity=capacity), at_most=site.shape[1]))
    assert len(found) == site.shape[1]
    for fewer, more in pairwise(found):
        assert more.served >= fewer.served
        assert more.served > fewer.served or more.expected_served >= fewer.expected_served - 1e-6
        assert len(more.chosen) >= len(fewer.chosen)


@settings(deadline=None, max_examples=40)
@given(sites(), st.integers(1, 3), st.sampled_from([0, 1, 2, 4]))
def test_the_assignment_is_what_the_figures_say(site, number, capacity):
    holds, reliability, margin_db = site.holds, site.reliability, site.margin_db
    found = choose(replace(site, capacity=capacity), at_most=min(number, site.shape[1]))
    has = np.flatnonzero(found.gateway_of >= 0)
    at = found.gateway_of[has]
    assert set(at.tolist()) <= set(found.chosen)
    assert holds[has, at].sum() == found.served
    assert reliability[has, at].sum() == pytest.approx(found.expected_served)
    assert not capacity or np.bincount(at, minlength=1).max() <= capacity
    worst_db = margin_db[has, at].min() if len(has) == len(holds) else -np.inf
    assert found.worst_margin_db == worst_db


def test_a_gateway_that_brings_nothing_is_left_out():
    reliability = np.array([[0.99, 0.99, 0.2], [0.98, 0.98, 0.3]])
    found = choose(matrix_of(reliability), at_most=3)
    assert (len(found.chosen), found.served, found.proven) == (1, 2, True)


def test_one_that_brings_a_better_worst_margin_is_taken_where_asked():
    matrix = matrix_of(np.ones((2, 2)), np.array([[30.0, 20.0], [20.0, 30.0]]))
    thrifty = choose(matrix, at_most=2)
    lavish = choose(matrix, at_most=2, thrifty=False)
    assert (len(thrifty.chosen), thrifty.worst_margin_db) == (1, 20.0)
    assert (len(lavish.chosen), lavish.worst_margin_db, lavish.proven_worst) == (2, 30.0, True)


def test_fixed_spots_stay():
    reliability = np.array([[0.99, 0.1, 0.0], [0.99, 0.1, 0.0], [0.0, 0.1, 0.99]])
    found = choose(matrix_of(reliability), at_most=2, fixed=(1,))
    assert set(found.chosen) == {1, 0}
    assert (found.served, found.proven) == (2, True)


def test_a_limit_per_gateway_sends_the_one_with_a_choice_elsewhere():
    """Both want the first gateway; only one of them can use the other."""
    reliability = np.array([[0.99, 0.96], [0.98, 0.0]])
    found = choose(matrix_of(reliability, capacity=1), at_most=2)
    assert found.gateway_of.tolist() == [1, 0]
    assert (found.served, found.expected_served) == (2, pytest.approx(1.94))


def test_where_there_is_no_room_for_all_the_bound_says_so():
    found = choose(matrix_of(np.full((10, 4), 0.99), capacity=3), at_most=2)
    assert (found.served, found.bound_served, found.proven, found.gap) == (6, 6, True, 0)
    assert (found.gateway_of == -1).sum() == 4


def test_where_nothing_reaches_anything_there_is_an_answer():
    nothing = np.zeros((3, 2))
    found = choose(matrix_of(nothing, nothing - np.inf), at_most=2)
    assert (found.served, found.expected_served, found.proven) == (0, 0.0, True)
    assert found.gateway_of.tolist() == [-1, -1, -1]


def test_without_any_time_the_good_answer_still_comes():
    rng = np.random.default_rng(4)
    reliability = rng.random((60, 80))
    matrix = matrix_of(reliability)
    hurried, patient = choose(matrix, at_most=4, time_limit_s=0.0), choose(matrix, at_most=4)
    assert not hurried.proven
    assert hurried.bound_served >= patient.served >= hurried.served > 0
    assert hurried.gap == hurried.bound_served - hurried.served
    assert len(hurried.chosen) == 4


def test_the_same_question_has_the_same_answer():
    reliability = np.random.default_rng(7).random((50, 70))
    first, again = (choose(matrix_of(reliability), at_most=3) for _ in range(2))
    assert first.chosen == again.chosen
    assert np.array_equal(first.gateway_of, again.gateway_of)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"at_most": 4}, "at_most is 4; there are 3 spots"),
        ({"at_most": 0}, "at_most is 0"),
        ({"at_most": 2, "fixed": (1, 1)}, "different spots"),
        ({"at_most": 2, "fixed": (7,)}, "from 0 to 2"),
    ],
)
def test_what_cannot_be_asked_is_told(asked, words):
    some = np.full((2, 3), 0.5)
    with pytest.raises(ValueError, match=words):
        choose(matrix_of(some), **asked)


def test_a_matrix_without_spots_and_one_of_no_chances_are_refused():
    some = np.full((2, 3), 0.5)
    with pytest.raises(ValueError, match="an inverter and a spot"):
        choose(matrix_of(some[:, :0]), at_most=1)
    for wrong in (some * 3.0, some * np.nan, -some):
        with pytest.raises(ValueError, match="from 0 to 1"):
            choose(matrix_of(wrong), at_most=1)


def test_a_small_site_is_proven_without_the_solver():
    """Loading it takes longer than the answer."""
    script = (
        "import sys, numpy as np; from survey.siting import CoverageMatrix; from survey.siting.choosing import choose;"
        "r = np.random.default_rng(1).random((20, 30)); m = CoverageMatrix(reliability=r, margin_db=r, required=0.8);"
        "found = choose(m, at_most=3);"
        "assert found.proven; assert not {'scipy', 'click'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", script], check=True)
