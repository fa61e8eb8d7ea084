"""Slabs of building material against published parameters and a general transfer-matrix library."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tmm import coh_tmm

from survey.inputs.slab import SUBSTANCES, slab_loss_db

# ITU-R P.2040-3, equations (43b), (44) and Table 3, at 433, 868, 915 and 2440 MHz, square on.
AT_MHZ = [433.0, 868.0, 915.0, 2440.0]
SLABS = [
    ("concrete", 0.1, [3.517, 4.844, 5.122, 8.071]),
    ("concrete", 0.15, [3.24, 5.376, 5.743, 11.487]),
    ("concrete", 0.2, [5.284, 7.493, 7.443, 14.764]),
    ("brick", 0.11, [3.181, 3.264, 3.488, 3.976]),
    ("brick", 0.22, [4.93, 5.559, 5.405, 5.74]),
    ("plasterboard", 0.0125, [0.119, 0.299, 0.321, 1.088]),
    ("wood", 0.02, [0.096, 0.249, 0.268, 0.772]),
    ("glass", 0.004, [0.048, 0.176, 0.194, 1.095]),
    ("glass", 0.006, [0.1, 0.368, 0.405, 1.946]),
    ("chipboard", 0.018, [0.387, 0.755, 0.795, 1.674]),
]


@pytest.mark.parametrize(("name", "thickness_m", "losses_db"), SLABS)
def test_slabs_of_p2040_square_on(name, thickness_m, losses_db):
    found = [slab_loss_db(SUBSTANCES[name], thickness_m=thickness_m, frequency_mhz=f) for f in AT_MHZ]
    assert [float(te_db) for te_db, _ in found] == pytest.approx(losses_db, abs=0.01)
    assert [float(tm_db) for _, tm_db in found] == pytest.approx(losses_db, abs=0.01)


def test_a_slab_of_brick_at_an_angle():
    """ITU-R P.2040-3 as above: 110 mm at 2440 MHz, TE and TM at 30, 45 and 60 degrees."""
    te_db, tm_db = slab_loss_db(
        SUBSTANCES["brick"], thickness_m=0.11, frequency_mhz=2440.0, cos_incidence=np.cos(np.deg2rad([30, 45, 60]))
    )
    assert te_db == pytest.approx([4.524, 5.015, 5.639], abs=0.01)
    assert tm_db == pytest.approx([3.62, 3.112, 2.797], abs=0.01)


@given(
    st.sampled_from(sorted(SUBSTANCES)),
    st.floats(0.001, 0.4),
    st.floats(400.0, 6000.0),
    st.floats(0.0, 85.0),
)
def test_a_slab_agrees_with_a_transfer_matrix_library(name, thickness_m, frequency_mhz, angle_deg):
    """tmm 0.2 (S. Byrnes), a general transfer-matrix method for layered media."""
    one, ghz = SUBSTANCES[name], frequency_mhz / 1e3
    # exp(-i w t) there, so the loss has the other sign; 17.98 is P.2040's rounding of 1 / (2 pi eps0 1 GHz).
    index = np.sqrt(one.a * ghz**one.b + 17.98j * one.c * ghz**one.d / ghz)
    wavelength_m, angle_rad = 299_792_458.0 / (frequency_mhz * 1e6), np.deg2rad(angle_deg)
    ours = slab_loss_db(one, thickness_m=thickness_m, frequency_mhz=frequency_mhz, cos_incidence=np.cos(angle_rad))
    for loss_db, polarisation in zip(ours, "sp", strict=True):
        layers = ([1, index, 1], [np.inf, thickness_m, np.inf])
        passed = coh_tmm(polarisation, *layers, angle_rad, wavelength_m)["T"]
        if passed > 1e-12:
            assert float(loss_db) == pytest.approx(-10 * np.log10(passed), abs=1e-6)


# Recommendation ITU-R P.2040-3 (2023), Table 3: where each row holds. [GHz]
RANGES_GHZ = {
    "concrete": (1, 100),
    "brick": (1, 40),
    "plasterboard": (1, 100),
    "wood": (0.001, 100),
    "glass": (0.1, 100),
    "ceiling board": (1, 100),
    "chipboard": (1, 100),
    "plywood": (1, 40),
    "marble": (1, 60),
}


def test_each_substance_holds_where_the_recommendation_says():
    assert {name: (one.low_mhz, one.high_mhz) for name, one in SUBSTANCES.items()} == {
        name: (1e3 * low, 1e3 * high) for name, (low, high) in RANGES_GHZ.items()
    }
