"""The fewest gateways: brute force agrees, with spare and with a limit per gateway too."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_bipartite_matching

from survey.siting import CoverageMatrix
from survey.siting.covering import fewest_by_prices
from survey.siting.fewest import fewest


def where(holds, *, capacity=0):
    """Inverters that hold at some spots, all equally well."""
    return CoverageMatrix(reliability=holds * 0.97, margin_db=holds * 9.0, required=0.95, capacity=capacity)


def all_find_a_place(able, spots, capacity):
    """Whether everyone holds at one of some spots with room, by scipy's bipartite matching, each place a column."""
    if not len(able):
        return True
    places = able[:, np.repeat(spots, capacity or len(able)).astype(int)]
    if not places.size:
        return False
    return bool(np.all(maximum_bipartite_matching(csr_array(places.astype(int)), perm_type="column") >= 0))


def serves(able, spots, capacity, times):
    if times == 1:
        return all_find_a_place(able, spots, capacity)
    return all(all_find_a_place(able, [s for s in spots if s != out], capacity) for out in spots)


@settings(deadline=None, max_examples=150)
@given(
    st.integers(0, 2**32 - 1), st.integers(1, 10), st.integers(1, 7), st.sampled_from([0, 1, 2, 4]), st.integers(1, 2)
)
def test_brute_force_agrees(seed, inverters, spots, capacity, times):
    rng = np.random.default_rng(seed)
    holds = rng.random((inverters, spots)) < rng.uniform(0.3, 0.9)
    found = fewest(where(holds, capacity=capacity), times=times)
    unservable = np.flatnonzero(holds.sum(axis=1) < times)
    assert found.unservable == tuple(unservable.tolist())
    able = np.delete(holds, unservable, axis=0)
    every = (list(some) for n in range(1, spots + 1) for some in combinations(range(spots), n))
    by_hand = next((len(some) for some in every if serves(able, some, capacity, times)), None)
    if not len(able):
        assert found.chosen == ()
    elif by_hand is None:
        assert found.over_capacity > 0
        assert found.chosen == ()
    else:
        assert len(found.chosen) == by_hand
        assert found.proven
        assert found.served >= len(able)
        assert serves(able, list(found.chosen), capacity, times)


def test_spare_means_that_any_one_may_fail():
    rng = np.random.default_rng(3)
    holds = rng.random((40, 60)) < 0.3
    found = fewest(where(holds), times=2)
    assert found.proven
    for out in found.chosen:
        assert holds[:, [spot for spot in found.chosen if spot != out]].any(axis=1).all()
    assert len(found.chosen) > len(fewest(where(holds)).chosen)


def test_with_spare_and_a_limit_the_rest_have_room_for_all():
    """Ten inverters that hold anywhere, five to a gateway: two take them, and a third stands by."""
    holds = np.ones((10, 6), dtype=bool)
    assert len(fewest(where(holds, capacity=5)).chosen) == 2
    assert len(fewest(where(holds, capacity=5), times=2).chosen) == 3


def test_of_equally_few_the_likelier_are_taken():
    reliability = np.array([[0.96, 0.99, 0.97]] * 3)
    matrix = CoverageMatrix(reliability=reliability, margin_db=np.full((3, 3), 9.0), required=0.95)
    assert fewest(matrix).chosen == (1,)


def test_too_little_room_everywhere_is_told():
    holds = np.array([[True, False]] * 5)
    found = fewest(where(holds, capacity=3))
    assert (found.chosen, found.over_capacity, found.served) == ((), 2, 0)


def test_nobody_to_serve():
    holds = np.zeros((3, 2), dtype=bool)
    found = fewest(where(holds))
    assert (found.chosen, found.unservable, found.over_capacity, found.proven) == ((), (0, 1, 2), 0, True)


def test_without_time_there_is_a_cover_and_a_bound():
    rng = np.random.default_rng(5)
    holds = rng.random((80, 60)) < 0.15
    found = fewest(where(holds), time_limit_s=0.0)
    patient = fewest(where(holds))
    assert found.bound <= len(patient.chosen) <= len(found.chosen)
    assert found.gap == len(found.chosen) - found.bound > 0
    assert found.served == patient.served


def test_a_number_out_of_range_is_told():
    holds = np.ones((2, 2), dtype=bool)
    with pytest.raises(ValueError, match="times is 3"):
        fewest(where(holds), times=3)


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 2**32 - 1), st.integers(1, 2))
def test_the_bound_by_prices_is_one(seed, times):
    """Never above the fewest, and within a gateway or two of it."""
    rng = np.random.default_rng(seed)
    holds = rng.random((30, 20)) < rng.uniform(0.1, 0.5)
    holds = holds[holds.sum(axis=1) >= times]
    found = fewest(where(holds), times=times)
    bound = fewest_by_prices(holds, times=times, known=len(found.chosen))
    assert found.proven
    assert len(found.chosen) - 2 <= bound <= len(found.chosen)
