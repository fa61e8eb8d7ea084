"""A bound is never below the best set, and no spot of a better set is dropped."""

from math import inf

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from worths import best_sum, sets_of, tables

from survey.siting.bounds import bound_of
from survey.siting.columns import columns_of


@settings(max_examples=60)
@given(tables(most_inverters=6, most_spots=6), st.integers(1, 3), st.sampled_from([0, 0, 2]), st.booleans())
def test_no_set_is_worth_more_than_the_bound(table, number, capacity, with_fixed):
    holds, reliability = table
    spots = reliability.shape[1]
    number = min(number, spots)
    fixed = (spots - 1,) if with_fixed else ()
    columns, _ = columns_of(holds, reliability, 10.0)
    full = columns.dense(range(spots))
    worths = {one: best_sum(full[:, list(one)], capacity) for one in sets_of(spots, number, fixed)}
    best = max(worths.values())
    found = bound_of(
        columns,
        at_most=number,
        target=best - 1e-6,  # as proofs ask: what rounding may do is left open
        price=np.zeros(len(full)),
        until=inf,
        fixed=fixed,
        capacity=capacity,
    )
    assert found.worth >= best - 1e-9
    for one, worth in worths.items():
        assert worth < best - 1e-9 or set(one) <= set(found.able.tolist()), "a best set is not dropped"


def test_a_target_that_no_set_reaches_is_proven_to_be_out_of_reach():
    """Three inverters, each served by a spot of its own: two spots serve two."""
    holds = np.eye(3, dtype=bool)
    columns, _ = columns_of(holds, holds.astype(float), 10.0)
    found = bound_of(columns, at_most=2, target=22.5, price=np.zeros(3), until=inf)
    assert 22.0 <= found.worth < 22.5
    assert len(found.able) == 0
