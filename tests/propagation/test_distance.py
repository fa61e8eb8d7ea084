"""Free space and log-distance against published figures."""

import numpy as np
import pytest

from survey.base.units import dbm_from_watt, eirp_dbm_from_erp_dbm
from survey.propagation.distance import free_space_loss_db, log_distance_loss_db

# ITU-R P.525: 20 log10(4 pi d / lambda) at 1, 10, 100, 1000 m; the recommendation's round constant allows 0.06 dB.
P525 = [
    (433.0, [25.178, 45.178, 65.178, 85.178]),
    (868.0, [31.218, 51.218, 71.218, 91.218]),
    (915.0, [31.676, 51.676, 71.676, 91.676]),
    (2440.0, [40.196, 60.196, 80.196, 100.196]),
]


@pytest.mark.parametrize(("frequency_mhz", "losses_db"), P525)
def test_free_space_of_p525(frequency_mhz, losses_db):
    assert free_space_loss_db([1, 10, 100, 1000], frequency_mhz=frequency_mhz) == pytest.approx(losses_db, abs=0.001)


def test_free_space_over_10_km_at_10_ghz():
    """132.4478 dB: worked example on the reference page of a public numerical package's fspl function."""
    assert float(free_space_loss_db(10_000.0, frequency_mhz=10_000.0)) == pytest.approx(132.4478, abs=0.0001)


def test_the_height_difference_is_part_of_the_distance():
    """ITU-R P.1812 equation (8), Study Group 3 validation log, 1 km profile at 95.3 MHz: 72.147 dB at 1.0192 km."""
    slant_m = np.hypot(1000.0, (754.4 + 60.0) - (610.3 + 7.0))
    assert float(free_space_loss_db(slant_m, frequency_mhz=95.3)) == pytest.approx(72.14737981, abs=0.06)


def test_rappaport_example_4_2():
    """Rappaport, Wireless Communications, 2nd ed., example 4.2, from memory: 50 W, 900 MHz, -24.5 and -64.5 dBm."""
    levels_dbm = dbm_from_watt(50.0) - free_space_loss_db([100.0, 10_000.0], frequency_mhz=900.0)
    assert levels_dbm == pytest.approx([-24.5, -64.5], abs=0.05)


def test_friis_vectors_of_a_network_simulator():
    """Friis vectors of the public ns-3 test suite: 0.05035702 W, wavelength 0.125 m, six printed digits."""
    frequency_mhz = 299_792_458.0 / 0.125 / 1e6
    loss_db = free_space_loss_db([100.0, 500.0, 1000.0, 2000.0], frequency_mhz=frequency_mhz)
    received_w = 0.05035702 * 10 ** (-loss_db / 10)
    assert received_w == pytest.approx([4.98265e-10, 1.99306e-11, 4.98265e-12, 1.24566e-12], rel=1e-5)


def test_log_distance_vectors_of_a_network_simulator():
    """Log-distance vectors of the public ns-3 test suite: 17.0206 dBm, 40.045997 dB at 1 m, exponent 3."""
    frequency_mhz = 299_792_458.0 * 10 ** (40.045997 / 20) / (4 * np.pi) / 1e6
    loss_db = log_distance_loss_db(
        [10.0, 20.0, 40.0, 80.0], frequency_mhz=frequency_mhz, path_loss_exponent=3.0, reference_distance_m=1.0
    )
    received_w = 10 ** ((17.0206 - loss_db) / 10) / 1e3
    assert received_w == pytest.approx([4.98265e-09, 6.22831e-10, 7.78539e-11, 9.73173e-12], rel=2e-5)


def test_exponents_for_yards_agree_with_halls_full_of_metal():
    """3GPP TR 38.901, Table 7.4.1-1, indoor factory (seen in public codes): in sight, and sparse clutter."""
    distances_m, frequency_ghz = np.array([10.0, 100.0]), 2.44
    in_sight_db = 31.84 + 21.5 * np.log10(distances_m) + 19.0 * np.log10(frequency_ghz)
    sparse_db = 33.0 + 25.5 * np.log10(distances_m) + 20.0 * np.log10(frequency_ghz)
    for exponent, published_db in ((2.2, in_sight_db), (2.6, sparse_db)):
        loss_db = log_distance_loss_db(
            distances_m, frequency_mhz=2440.0, path_loss_exponent=exponent, reference_distance_m=1.0
        )
        assert loss_db == pytest.approx(published_db, abs=2.5)


def test_rappaport_example_4_9_c():
    """Rappaport, 2nd ed., example 4.9(c), printed figure from memory: n = 4.4 from 0 dBm at 100 m gives -57.24 dBm."""
    at_100_m, at_2_km = log_distance_loss_db(
        [100.0, 2000.0], frequency_mhz=900.0, path_loss_exponent=4.4, reference_distance_m=100.0
    )
    assert float(at_100_m - at_2_km) == pytest.approx(-57.24, abs=0.02)


def test_goldsmith_example_2_3():
    """Goldsmith, Wireless Communications (2005), example 2.3: K = -31.54 dB, gamma = 3.71; -112.27 dBm from memory."""
    frequency_mhz = 299_792_458.0 * 10 ** (31.54 / 20) / (4 * np.pi) / 1e6
    loss_db = log_distance_loss_db(
        150.0, frequency_mhz=frequency_mhz, path_loss_exponent=3.71, reference_distance_m=1.0
    )
    assert float(-loss_db) == pytest.approx(-112.27, abs=0.02)
    assert frequency_mhz == pytest.approx(900.0, rel=0.002), "K is free space at 1 m and 900 MHz"


def fitted(distances_m, levels_dbm, *, anchor_m, anchor_dbm=None):
    """Least squares of level on 10 log10 of distance through the program's own loss: exponent, level, sigma (1/N)."""
    one, two = (
        log_distance_loss_db(distances_m, frequency_mhz=900.0, path_loss_exponent=n, reference_distance_m=anchor_m)
        for n in (1.0, 2.0)
    )
    slope = two - one
    levels = np.asarray(levels_dbm, dtype=float)
    if anchor_dbm is not None:
        exponent = float(slope @ (anchor_dbm - levels) / (slope @ slope))
        level = anchor_dbm
    else:
        (level, exponent), *_ = np.linalg.lstsq(np.column_stack([np.ones(len(slope)), -slope]), levels, rcond=None)
    return exponent, level, float(np.sqrt(np.mean((levels - level + exponent * slope) ** 2)))


RAPPAPORT_4_9 = ([100.0, 200.0, 1000.0, 3000.0], [0.0, -20.0, -35.0, -70.0])


def test_rappaport_example_4_9_fit_anchored_at_the_first_reading():
    """Rappaport, 2nd ed., example 4.9(a): n = 4.4; exact 4.4131, the book rounds its logarithms."""
    exponent, _, sigma_db = fitted(*RAPPAPORT_4_9, anchor_m=100.0, anchor_dbm=0.0)
    assert exponent == pytest.approx(4.4, abs=0.03)
    assert sigma_db == pytest.approx(6.17, abs=0.02)


def test_rappaport_example_4_9_fit_with_a_free_intercept():
    """Own ordinary least squares on the points of example 4.9: 4.28912, -1.46042 dBm at 100 m, 6.08554 dB (1/N)."""
    assert fitted(*RAPPAPORT_4_9, anchor_m=100.0) == pytest.approx((4.28912, -1.46042, 6.08554), abs=0.001)


def test_goldsmith_example_2_3_fit():
    """Goldsmith (2005), example 2.3 and 2.4: gamma = 3.71, sigma 3.65 dB (1/N)."""
    distances_m, ratios_db = [10.0, 20.0, 50.0, 100.0, 300.0], [-70.0, -75.0, -90.0, -110.0, -125.0]
    exponent, _, sigma_db = fitted(distances_m, ratios_db, anchor_m=1.0, anchor_dbm=-31.54)
    assert exponent == pytest.approx(3.71, abs=0.005)
    assert sigma_db == pytest.approx(3.65, abs=0.01)


def test_nearer_than_the_reference_distance_the_loss_stays():
    loss_db = log_distance_loss_db(
        [0.0, 0.5, 1.0], frequency_mhz=868.0, path_loss_exponent=3.0, reference_distance_m=1.0
    )
    assert loss_db == pytest.approx([31.218] * 3, abs=0.001)


def test_radiated_power_relative_to_a_dipole():
    """ERC Recommendation 70-03: 25 mW e.r.p. is 16.13 dBm e.i.r.p., 10 mW 12.15, 500 mW 29.14."""
    eirp_dbm = [eirp_dbm_from_erp_dbm(float(dbm_from_watt(watt))) for watt in (0.025, 0.010, 0.5)]
    assert eirp_dbm == pytest.approx([16.13, 12.15, 29.14], abs=0.02)
