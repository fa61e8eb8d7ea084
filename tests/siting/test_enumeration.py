"""Every set that might be worth the target is found, and no other."""

from math import inf

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from worths import best_sum, sets_of, tables

from survey.siting.bounds import bound_of
from survey.siting.columns import columns_of
from survey.siting.enumeration import sets_worth


@settings(max_examples=80)
@given(tables(most_inverters=6), st.integers(1, 4), st.floats(0.0, 3.0), st.booleans())
def test_the_sets_worth_the_target_are_those_found_by_trying_all(table, number, less, with_fixed):
    holds, reliability = table
    spots = reliability.shape[1]
    number = min(number, spots)
    fixed = (0,) if with_fixed else ()
    columns, _ = columns_of(holds, reliability, 10.0)
    full = columns.dense(range(spots))
    worths = {one: best_sum(full[:, list(one)], 0) for one in sets_of(spots, number, fixed)}
    target = max(worths.values()) - less - 1e-6
    bound = bound_of(columns, at_most=number, target=target, price=np.zeros(len(full)), until=inf, fixed=fixed)
    found = sets_worth(columns, bound, at_most=number, target=target, until=inf, fixed=fixed)
    assert found.complete
    assert sorted(tuple(sorted(one)) for one in found.sets) == sorted(
        one for one, worth in worths.items() if worth >= target
    )


def test_with_too_many_or_no_time_it_says_that_there_may_be_others():
    holds = np.ones((2, 8), dtype=bool)
    columns, _ = columns_of(holds, holds.astype(float), 10.0)
    bound = bound_of(columns, at_most=3, target=21.0, price=np.zeros(2), until=inf)
    assert not sets_worth(columns, bound, at_most=3, target=21.0, until=inf, most_sets=5).complete
    assert not sets_worth(columns, bound, at_most=3, target=21.0, until=0.0).complete
    assert len(sets_worth(columns, bound, at_most=3, target=21.0, until=inf).sets) == 56
