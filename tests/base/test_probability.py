"""The normal distribution against scipy's."""

import numpy as np
import pytest
from scipy.special import ndtr

from survey.base.probability import chance_above, normal_cdf


def test_the_normal_distribution_agrees_with_scipy_far_into_both_tails():
    z = np.linspace(-37.0, 9.0, 2001).reshape(3, -1)
    assert normal_cdf(z) == pytest.approx(ndtr(z), rel=1e-12, abs=0.0)


def test_rappaport_example_4_9_d():
    """Rappaport, 2nd ed., example 4.9(d): -57.24 over -60 dBm, 6.17 dB; 67.4 % from memory (a table; exact 67.27)."""
    assert float(chance_above(-57.24 + 60.0, 6.17)) == pytest.approx(0.674, abs=0.005)


def test_goldsmith_example_2_5():
    """Goldsmith (2005), example 2.5, from memory: outage 0.0121 at 150 m."""
    level_dbm = 10.0 - 31.54 - 37.1 * np.log10(150.0)
    assert 1.0 - float(chance_above(level_dbm + 110.5, 3.65)) == pytest.approx(0.0121, abs=0.0002)


def test_without_any_spread_the_chance_is_nothing_or_certain():
    assert chance_above([-1.0, 0.0, 1.0], 0.0).tolist() == [0.0, 0.5, 1.0]
