"""The fewest spots that reach everyone, beside every set of fewer."""

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from worths import sets_of, tables

from survey.siting.covering import cover, fewest_by_prices, fewest_cover, greedy_cover


def by_hand(able, times, fixed=()):
    """How few do: every set of every size."""
    spots = able.shape[1]
    return next(
        number
        for number in range(spots + 1)
        if any((able[:, list(one)].sum(axis=1) >= times).all() for one in sets_of(spots, number, fixed))
    )


@settings(max_examples=60)
@given(tables(most_spots=6), st.sampled_from([1, 1, 2]), st.booleans())
def test_the_fewest_are_the_fewest(table, times, with_fixed):
    able, _ = table
    assume((able.sum(axis=1) >= times).all())
    fixed = (0,) if with_fixed else ()
    few = by_hand(able, times, fixed)
    quick = greedy_cover(able, times=times, fixed=fixed)
    assert (able[:, list(quick)].sum(axis=1) >= times).all()
    assert set(fixed) <= set(quick)
    assert few <= len(quick)
    found = fewest_cover(able, times=times, fixed=fixed, time_limit_s=10.0)
    assert (len(found.spots), found.bound) == (few, few)
    assert (able[:, list(found.spots)].sum(axis=1) >= times).all()
    assert fewest_by_prices(able, times=times, known=len(quick)) <= by_hand(able, times)
    if few:
        assert fewest_cover(able, times=times, fixed=fixed, at_most=few - 1, time_limit_s=10.0).bound >= few


@given(tables(), st.integers(1, 3))
def test_a_cover_by_so_many_is_found_or_there_is_none(table, at_most):
    able, _ = table
    found = cover(able, at_most=at_most, time_limit_s=10.0)
    sets = [one for number in range(min(at_most, able.shape[1]) + 1) for one in sets_of(able.shape[1], number)]
    possible = any(able[:, list(one)].any(axis=1).all() for one in sets)
    assert bool(found) == possible
    assert not found or (len(found) <= at_most and able[:, list(found)].any(axis=1).all())


def test_without_time_nothing_is_claimed():
    able = np.array([[1, 1, 0], [0, 1, 1], [1, 0, 1]], dtype=bool)
    found = fewest_cover(able, time_limit_s=0.0)
    assert (found.spots, found.bound) == (None, 0)
    assert cover(able, at_most=1, time_limit_s=0.0) is None
