"""Draws of shadowing have the correlation asked for. Bounds are five standard errors, by the size of the sample."""

import itertools

import numpy as np
import pytest

from survey.decisions.simulation import Shadowing, end_correlation, shadowing

STARTS_M = np.array([[0.0, 0.0, 3.0], [2.3, 0.0, 3.0], [0.0, 9.0, 4.0]])
ENDS_M = np.array([[30.0, 0.0, 2.0], [30.0, 4.0, 2.0], [-50.0, 4.0, 2.0]])
DRAWS = 20_000


def drawn(draws=DRAWS, *, starts_m=STARTS_M, ends_m=ENDS_M, seed=1, correlation_m=5.0):
    return Shadowing(starts_m, ends_m, correlation_m=correlation_m, seed=seed).next(draws)


def asked_for(one, other, correlation_m=5.0):
    """Gudmundson (1991) at both ends: the distances of the starts and of the ends, each over correlation_m."""
    start_m = np.linalg.norm(STARTS_M[one[0]] - STARTS_M[other[0]])
    end_m = np.linalg.norm(ENDS_M[one[1]] - ENDS_M[other[1]])
    return np.exp(-start_m / correlation_m) * np.exp(-end_m / correlation_m)


def test_every_two_links_have_the_correlation_asked_for():
    found = drawn()
    links = list(itertools.product(range(3), range(3)))
    for one, other in itertools.combinations(links, 2):
        rho = asked_for(one, other)
        sample = np.corrcoef(found[:, *one], found[:, *other])[0, 1]
        assert abs(sample - rho) < 5.0 * (1.0 - rho**2) / np.sqrt(DRAWS), (one, other)


def test_every_link_has_mean_0_and_standard_deviation_1():
    found = drawn()
    assert np.abs(found.mean(axis=0)).max() < 5.0 / np.sqrt(DRAWS)
    assert np.abs(found.var(axis=0) - 1.0).max() < 5.0 * np.sqrt(2.0 / DRAWS)


def test_correlation_falls_to_one_in_e_over_its_length():
    points_m = np.array([[0.0, 0.0, 0.0], [0.0, 3.0, 4.0], [0.0, 6.0, 8.0]])
    expected = np.exp([[0.0, -1.0, -2.0], [-1.0, 0.0, -1.0], [-2.0, -1.0, 0.0]])
    assert end_correlation(points_m, correlation_m=5.0) == pytest.approx(expected)


def test_the_same_places_give_the_same_draws_in_whatever_order():
    turned, other = [2, 0, 1], [1, 2, 0]
    found = drawn(50, starts_m=STARTS_M[turned], ends_m=ENDS_M[other])
    assert np.array_equal(found, drawn(50)[:, turned][:, :, other])


def test_the_first_draws_are_the_same_however_they_are_fetched():
    shadowing = Shadowing(STARTS_M, ENDS_M, correlation_m=5.0, seed=1)
    pieces = [shadowing.next(7), shadowing.next(1), shadowing.next(12)]
    assert np.array_equal(np.concatenate(pieces), drawn(20))
    assert not np.array_equal(drawn(20, seed=2), drawn(20))


def test_ends_at_one_place_are_shadowed_alike():
    ends_m = ENDS_M[[0, 1, 0]] + [[0.0, 0.0, 0.0], [0.0, 0.0, 0.0], [0.0, 0.0, 1e-6]]
    found = drawn(20, ends_m=ends_m)
    assert np.array_equal(found[:, :, 0], found[:, :, 2])


@pytest.mark.parametrize("correlation_m", [0.01, 1_000.0])
def test_many_close_points_and_any_length_that_a_plan_allows_can_be_drawn(correlation_m):
    points_m = np.column_stack([np.arange(200) * 0.01, np.zeros(200), np.full(200, 3.0)])
    found = drawn(3, starts_m=points_m, ends_m=points_m, correlation_m=correlation_m)
    assert np.isfinite(found).all()


def implied(points_m, correlation_m):
    """The correlation that a factor makes, in the order of the points."""
    factor = shadowing.Factor(points_m, correlation_m=correlation_m)
    whole = factor.times(np.eye(factor.size))
    return (whole @ whole.T)[factor.place[:, None], factor.place[None]]


FIELDS = {
    "a line": (np.column_stack([np.zeros(300), np.arange(300) * 0.7, np.full(300, 3.0)]), 1e-9),
    "a roof": (np.array([[x * 2.0, y * 2.0, 3.0] for y in range(40) for x in range(10)]), 1e-3),
}


@pytest.mark.parametrize(("points_m", "within"), FIELDS.values(), ids=FIELDS)
@pytest.mark.slow
def test_many_places_are_drawn_in_blocks_and_keep_the_correlation_asked_for(monkeypatch, points_m, within):
    expected = end_correlation(points_m, correlation_m=5.0)
    assert implied(points_m, 5.0) == pytest.approx(expected, abs=1e-9), "in one go"
    monkeypatch.setattr(shadowing, "MOST_EXACT", 99)
    monkeypatch.setattr(shadowing, "BLOCK", 50)
    assert len(shadowing.Factor(points_m, correlation_m=5.0).blocks) >= 6
    assert implied(points_m, 5.0) == pytest.approx(expected, abs=within)
