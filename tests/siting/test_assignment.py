"""Which inverter talks to which gateway, beside every other way of doing it."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from worths import best_sum, tables

from survey.siting.assignment import assign


@settings(max_examples=60)
@given(tables(most_inverters=6, most_spots=3), st.integers(0, 3), st.floats(0.0, 0.5))
def test_no_other_assignment_has_a_greater_sum(table, capacity, below):
    _, worth = table
    worth = np.where(worth < below, -np.inf, worth)
    gateway_of, price = assign(worth, capacity)
    placed = np.flatnonzero(gateway_of >= 0)
    counts = np.bincount(gateway_of[placed], minlength=worth.shape[1])
    assert np.all(np.isfinite(worth[placed, gateway_of[placed]]))
    assert not capacity or counts.max(initial=0) <= capacity
    assert worth[placed, gateway_of[placed]].sum() == pytest.approx(best_sum(worth, capacity))
    assert np.all(price >= 0.0)
    assert not capacity or np.all(price[counts < capacity] == 0.0), "a place that is free is worth nothing more"


@given(tables(most_inverters=6, most_spots=3), st.integers(1, 2))
def test_a_price_is_what_one_more_place_would_bring_at_least(table, capacity):
    """With one more place at a gateway the sum grows by no more than its price (duality)."""
    _, worth = table
    _, price = assign(worth, capacity)
    for gateway in range(worth.shape[1]):
        more = np.column_stack([worth, worth[:, gateway]])  # a second gateway there, with places of its own
        grown = best_sum(more, capacity) - best_sum(worth, capacity)
        assert grown <= capacity * price[gateway] + 1e-9
