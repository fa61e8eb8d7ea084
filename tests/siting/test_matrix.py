"""The matrix of routes by itself: what holds, what a capacity leaves out, and who reports where."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from survey.siting import CoverageMatrix

NONE = -np.inf


@st.composite
def matrices(draw):
    """Small matrices with equal chances here and there, and pairs without a route."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    shape = draw(st.integers(1, 8)), draw(st.integers(1, 4))
    reliability = rng.choice([0.0, 0.3, 0.6, 0.9, 0.95, 0.97, 0.99], shape)
    margin_db = np.where(reliability > 0.0, np.round(rng.normal(0.0, 9.0, shape), 1), NONE)
    return CoverageMatrix(reliability=reliability, margin_db=margin_db, required=0.95, capacity=draw(st.integers(0, 5)))


def test_a_chance_equal_to_the_required_one_holds():
    chance = np.array([[0.95, np.nextafter(0.95, 0.0), 1.0]])
    matrix = CoverageMatrix(reliability=chance, margin_db=chance, required=0.95)
    assert matrix.holds.tolist() == [[True, False, True]]


def test_shapes_that_differ_and_a_negative_capacity_are_refused():
    some = np.full((2, 3), 0.5)
    for margin_db in (some.T, some[0]):
        with pytest.raises(ValueError, match="shapes"):
            CoverageMatrix(reliability=some, margin_db=margin_db, required=0.9)
    with pytest.raises(ValueError, match="shapes"):
        CoverageMatrix(reliability=some[0], margin_db=some[0], required=0.9)
    with pytest.raises(ValueError, match="capacity is -1"):
        CoverageMatrix(reliability=some, margin_db=some, required=0.9, capacity=-1)


def test_a_capacity_that_all_inverters_fit_in_is_no_limit():
    some = np.full((3, 2), 0.5)
    limits = [CoverageMatrix(reliability=some, margin_db=some, required=0.9, capacity=n).limit for n in (0, 1, 2, 3, 9)]
    assert limits == [0, 1, 2, 0, 0]


@given(matrices(), matrices())
def test_columns_come_out_as_they_were_put_in(one, other):
    other = replace(other, reliability=other.reliability[:1], margin_db=other.margin_db[:1])
    one = replace(one, reliability=one.reliability[:1], margin_db=one.margin_db[:1])
    both = one.beside(other)
    spots = one.shape[1]
    assert np.array_equal(both.only(range(spots)).reliability, one.reliability)
    assert np.array_equal(both.only(range(spots, both.shape[1])).margin_db, other.margin_db)
    assert both.only([]).shape == (1, 0)
    assert (both.required, both.capacity) == (one.required, one.capacity)


@given(matrices())
def test_the_best_spot_is_the_likelier_and_of_equals_the_one_of_greater_margin(matrix):
    """By Python's own order of pairs."""
    for i, spot in enumerate(matrix.best_spots.tolist()):
        pairs = list(zip(matrix.reliability[i].tolist(), matrix.margin_db[i].tolist(), strict=True))
        assert pairs[spot] == max(pairs)


@given(matrices())
def test_alone_a_gateway_takes_the_inverters_it_hears_best_and_no_others(matrix):
    alone, within = matrix.alone, matrix.within_capacity
    assert np.all(within.sum(axis=0) == (matrix.limit or matrix.shape[0]))
    for j in range(matrix.shape[1]):
        worst_in = matrix.reliability[within[:, j], j].min()
        assert np.all(matrix.reliability[~within[:, j], j] <= worst_in)
    assert np.array_equal(alone.reliability, np.where(within, matrix.reliability, 0.0))
    assert np.array_equal(np.isnan(alone.margin_db), ~within)
    assert np.array_equal(alone.best_spots[within.any(axis=1)] >= 0, np.ones(within.any(axis=1).sum(), dtype=bool))


@settings(deadline=None)
@given(matrices())
def test_as_many_hold_as_by_a_library_for_assignments(matrix):
    """scipy's assignment with a column for each place at each gateway, worth 0 where nothing arrives."""
    assignment = matrix.assigned(tuple(range(matrix.shape[1])))
    worth = matrix.reliability + 100.0 * matrix.holds
    places = np.repeat(np.arange(matrix.shape[1]), matrix.capacity or matrix.shape[0])
    rows, columns = linear_sum_assignment(worth[:, places], maximize=True)
    taken = worth[rows, places[columns]]
    assert assignment.served == np.count_nonzero(taken >= 100.0)
    assert assignment.expected_served == pytest.approx((taken % 100.0).sum())
    reports = assignment.gateway_of >= 0
    at = np.maximum(assignment.gateway_of, 0)
    assert np.all(matrix.reliability[reports, at[reports]] > 0.0)
    worst_db = matrix.margin_db[np.arange(len(at)), at].min() if reports.all() else NONE
    assert assignment.worst_margin_db == worst_db
    if matrix.limit and matrix.shape[1] > 1:
        assert np.array_equal(matrix.gateway_of, assignment.gateway_of)


def test_an_assignment_names_spots_and_not_columns():
    chance = np.array([[0.99, 0.1, 0.2], [0.1, 0.99, 0.98]])
    matrix = CoverageMatrix(reliability=chance, margin_db=10.0 * chance, required=0.95)
    assignment = matrix.assigned((2, 0))
    assert assignment.gateway_of.tolist() == [0, 2]
    assert (assignment.spots, assignment.served) == ((2, 0), 2)
    assert assignment.key == (2, round(1.97, 6), 9.8)
