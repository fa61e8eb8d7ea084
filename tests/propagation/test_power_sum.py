"""Several ways at once."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.propagation import power_sum_loss_db

LOSS = st.floats(0.0, 200.0)


def test_metal_and_a_way_around_it_join_by_power():
    """ITU-R P.526-15 section 5.1: 15.007 dB around beside 21 dB through is 14.03, beside 60 dB through 15.007."""
    around = np.array([15.007, 15.007])
    assert power_sum_loss_db([np.array([21.0, 60.0]), around]) == pytest.approx([14.03, 15.007], abs=0.005)


def test_a_way_that_is_not_there_adds_nothing():
    assert float(power_sum_loss_db([np.array(7.0), np.array(np.nan)])) == pytest.approx(7.0)
    assert float(power_sum_loss_db([np.array(np.nan)])) == np.inf


@given(st.lists(LOSS, min_size=1, max_size=5), LOSS)
def test_one_more_way_never_costs(ways, more):
    before = float(power_sum_loss_db([np.array(way) for way in ways]))
    after = float(power_sum_loss_db([np.array(way) for way in [*ways, more]]))
    assert after <= before + 1e-9
    assert before <= min(ways) + 1e-9
