"""Conversions beside known figures."""

import numpy as np
import pytest
from scipy.constants import speed_of_light

from survey.base.units import (
    db_from_ratio,
    dbm_from_watt,
    direction_of_bearing,
    eirp_dbm_from_erp_dbm,
    elevation_deg,
    ratio_from_db,
    wavelength_m,
)


def test_a_wavelength_is_the_speed_of_light_over_the_frequency():
    assert wavelength_m([433.0, 868.0, 2440.0]) == pytest.approx(speed_of_light / np.array([433e6, 868e6, 2440e6]))


def test_decibels_and_ratios_are_each_others_inverse():
    levels_db = np.linspace(-120.0, 60.0, 37)
    assert db_from_ratio(ratio_from_db(levels_db)) == pytest.approx(levels_db)
    assert ratio_from_db([0.0, 3.0103, 10.0]) == pytest.approx([1.0, 2.0, 10.0], rel=1e-6)
    assert db_from_ratio(0.0) == -np.inf


def test_limits_of_radiated_power_in_both_forms():
    """25 mW e.r.p., a limit of the 868 MHz band: 13.98 dBm, or 16.13 dBm e.i.r.p. (a dipole has 2.15 dBi)."""
    assert float(dbm_from_watt(0.025)) == pytest.approx(13.979, abs=1e-3)
    assert eirp_dbm_from_erp_dbm(13.979) == pytest.approx(16.129, abs=0.005)


@pytest.mark.parametrize(("bearing_deg", "direction"), [(0, (0, 1)), (90, (1, 0)), (180, (0, -1)), (270, (-1, 0))])
def test_a_bearing_turns_clockwise_from_north(bearing_deg, direction):
    assert direction_of_bearing(bearing_deg) == pytest.approx(direction, abs=1e-12)


def test_an_elevation_is_measured_from_the_level():
    assert elevation_deg([[1, 0, 1], [0, 1, 0], [0, 0, -2], [3, 4, 5]]) == pytest.approx([45.0, 0.0, -90.0, 45.0])
