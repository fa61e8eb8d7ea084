"""What is dropped does not matter to how many are served."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from worths import sets_of, tables

from survey.siting.reduction import reduced


@given(tables(), st.integers(1, 3))
def test_as_many_are_served_by_what_is_left(table, number):
    holds, _ = table
    small = reduced(holds)
    number = min(number, holds.shape[1])
    best = max(int(holds[:, list(one)].any(axis=1).sum()) for one in sets_of(holds.shape[1], number))
    left = len(small.spots)
    served = [
        int(small.weight[small.holds[:, list(one)].any(axis=1)].sum()) for one in sets_of(left, min(number, left))
    ]
    assert max(served, default=0) == best


@given(tables(), st.data())
def test_spots_to_be_kept_are_kept_and_with_a_limit_only_useless_ones_go(table, data):
    holds, _ = table
    keep = data.draw(st.lists(st.integers(0, holds.shape[1] - 1), unique=True))
    assert set(keep) <= set(reduced(holds, keep=keep).spots.tolist())
    limited = reduced(holds, keep=keep, capacity=2)
    assert set(limited.spots.tolist()) == set(keep) | set(np.flatnonzero(holds.any(axis=0)).tolist())
    assert limited.weight.tolist() == [1] * int(holds.any(axis=1).sum())
