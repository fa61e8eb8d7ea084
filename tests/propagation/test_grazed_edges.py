"""Edges close below a line, and close beside one another: limits that hold whatever the rule."""

import numpy as np
import pytest
from one_link import excess_db, link, steel


@pytest.mark.parametrize("frequency_mhz", [433.0, 868.0, 2440.0])
@pytest.mark.parametrize("gap_m", [0.03, 0.1, 0.3, 0.6])
def test_a_lower_wall_close_behind_another_costs_next_to_nothing(gap_m, frequency_mhz):
    """It lies in the shadow of the first, whose loss is that of one edge: so it adds little.

    Closed form of two grazing edges (orthant 1/4 + arcsin(rho) / 2 pi), 0.67 m apart at the least, as the quadrature
    takes them: 0.87 dB.
    """
    most_db = 0.87
    for top_m in (9.55, 9.7, 9.9, 10.0):
        first = steel((0.0, -300.0), (0.0, 300.0), name="first", height_m=top_m)
        alone = excess_db(link(first, frequency_mhz=frequency_mhz, heights_m=(10.0, 10.0)))
        for lower_m in (0.02, 0.1, 0.4):
            second = steel((gap_m, -300.0), (gap_m, 300.0), name="second", height_m=top_m - lower_m)
            both = excess_db(link(first, second, frequency_mhz=frequency_mhz, heights_m=(10.0, 10.0)))
            assert -0.3 < both - alone < most_db


@pytest.mark.slow
def test_nothing_jumps_as_a_wall_rises_behind_another():
    """Steps of a centimetre past the depth at which the higher one hides it, and past equal heights."""
    for gap_m in (0.05, 0.4, 1.5):
        first = steel((0.0, -300.0), (0.0, 300.0), name="first", height_m=9.8)
        losses_db = [
            excess_db(
                link(
                    first,
                    steel((gap_m, -300.0), (gap_m, 300.0), name="second", height_m=float(top_m)),
                    frequency_mhz=2440.0,
                    heights_m=(10.0, 10.0),
                )
            )
            for top_m in np.arange(8.8, 10.2, 0.01)
        ]
        assert np.abs(np.diff(losses_db)).max() < 1.0
