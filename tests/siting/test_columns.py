"""The sparse table of worths does what the full one does."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from worths import tables

from survey.siting import columns as module
from survey.siting.columns import columns_of


@given(tables(), st.sampled_from([0, 1, 2]), st.integers(0, 2**32 - 1))
def test_gains_are_those_of_the_full_table(table, capacity, seed):
    holds, reliability = table
    columns, left_out = columns_of(holds, reliability, 10.0)
    full = reliability + 10.0 * holds
    assert left_out == 0.0
    np.testing.assert_array_equal(columns.dense(range(len(columns))), full)
    had = np.random.default_rng(seed).random(len(full)) * 5.0
    gained = np.sort(np.maximum(full - had[:, None], 0.0), axis=0)[::-1]
    assert columns.gains(had, capacity) == pytest.approx((gained[:capacity] if capacity else gained).sum(axis=0))


def test_blocks_change_nothing(monkeypatch):
    rng = np.random.default_rng(2)
    reliability = rng.random((30, 40))
    whole, _ = columns_of(reliability > 0.8, reliability, 10.0)
    had = rng.random(30)
    expected = whole.gains(had, 3)
    monkeypatch.setattr(module, "AT_ONCE", 64)
    parts, _ = columns_of(reliability > 0.8, reliability, 10.0)
    np.testing.assert_array_equal(parts.dense(range(40)), whole.dense(range(40)))
    assert parts.gains(had, 3) == pytest.approx(expected)


def test_on_a_very_large_site_what_is_left_out_is_told(monkeypatch):
    monkeypatch.setattr(module, "KEPT_WHOLE", 10)
    reliability = np.array([[0.5, 1e-4], [0.0, 0.9], [1e-4, 0.2], [0.3, 0.0]] * 3)
    columns, left_out = columns_of(reliability > 0.8, reliability, 10.0)
    difference = reliability + 10.0 * (reliability > 0.8) - columns.dense([0, 1])
    assert 0.0 < difference.max() <= left_out == module.SMALLEST
