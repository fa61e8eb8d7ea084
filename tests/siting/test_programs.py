"""The set that is worth most by mixed-integer programming, beside every set."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from worths import best_sum, sets_of, tables

from survey.siting.programs import best_set


@settings(max_examples=40)
@given(tables(most_inverters=5, most_spots=5), st.integers(1, 3), st.sampled_from([0, 1, 2]), st.booleans())
def test_no_set_is_worth_more(table, number, capacity, with_fixed):
    holds, reliability = table
    worth = reliability + 10.0 * holds
    spots = worth.shape[1]
    number = min(number, spots)
    fixed = (0,) if with_fixed else ()
    best = max(best_sum(worth[:, list(one)], capacity) for one in sets_of(spots, number, fixed))
    settings_of_it = {"at_most": number, "fixed": fixed, "capacity": capacity, "time_limit_s": 10.0, "no_more": 1e6}
    found = best_set(worth, at_least=best - 0.01, **settings_of_it)
    assert found.bound == pytest.approx(best, abs=1e-5)
    assert set(fixed) <= set(found.spots)
    assert best_sum(worth[:, list(found.spots)], capacity) == pytest.approx(best)
    none = best_set(worth, at_least=best + 0.01, **settings_of_it)
    assert none.spots is None
    assert none.bound < best + 0.01
