"""Slabs at an angle and foliage, through the whole program."""

import numpy as np
import pytest
from one_link import link

from survey.inputs.materials import vegetation_loss
from survey.inputs.plan import Foliage, Wall


def test_a_brick_wall_at_an_angle_is_the_mean_of_both_polarisations():
    """ITU-R P.2040-3: brick 110 mm at 2440 MHz, TE and TM at 30, 45 and 60 degrees; the mean is by power."""
    for angle_deg, te_db, tm_db in ((30.0, 4.524, 3.62), (45.0, 5.015, 3.112), (60.0, 5.639, 2.797)):
        lean = 20.0 * np.tan(np.deg2rad(angle_deg))
        wall = Wall(name="wall", material="brick 110 mm", along=((-lean, -20.0), (lean, 20.0)), height_m=9.0)
        found = link(wall, frequency_mhz=2440.0)
        expected = -10 * np.log10((10 ** (-te_db / 10) + 10 ** (-tm_db / 10)) / 2)
        assert found.straight_db[0, 0] == pytest.approx(expected, abs=0.01)


def hedge(depth_m, **more):
    footprint = ((0.0, -9.0), (depth_m, -9.0), (depth_m, 9.0), (0.0, 9.0))
    return Foliage(name="hedge", footprint=footprint, height_m=9.0, **more)


# ITU-R P.833-9, section 2.1: A = Am (1 - exp(-d gamma / Am)) at 949 MHz: 0.17 dB/m, at most 26.5 dB.
WOODLAND = [(5.0, 0.837), (10.0, 1.647), (20.0, 3.191), (50.0, 7.272)]


@pytest.mark.parametrize(("depth_m", "loss_db"), WOODLAND)
def test_woodland_of_p833(depth_m, loss_db):
    ends = ((-5.0, 0.0), (60.0, 0.0))
    given = link(hedge(depth_m, loss_db_per_m=0.17, most_loss_db=26.5), ends=ends, frequency_mhz=949.0)
    assert given.straight_db[0, 0] == pytest.approx(loss_db, abs=0.005)
    usual = link(hedge(depth_m), ends=ends, frequency_mhz=949.0)
    assert usual.straight_db[0, 0] == pytest.approx(loss_db, abs=0.005), "the table stands in where the plan is silent"


def test_a_hedge_that_is_not_convex_has_one_most_and_not_one_for_each_part():
    comb = ((0.0, -9.0), (50.0, -9.0), (50.0, 9.0), (30.0, 9.0), (30.0, 1.0), (20.0, 1.0), (20.0, 9.0), (0.0, 9.0))
    whole = Foliage(name="hedge", footprint=comb, height_m=9.0, loss_db_per_m=0.17, most_loss_db=26.5)
    found = link(whole, ends=((-5.0, 0.0), (60.0, 0.0)))
    assert found.straight_db[0, 0] == pytest.approx(7.272, abs=0.005)


def test_vegetation_between_the_given_frequencies():
    """The points of P.833-9 interpolated on logarithms: 0.163 dB/m and 25.2 dB at 868 MHz; held beyond the last."""
    assert vegetation_loss(868.0) == pytest.approx((0.163, 25.2), abs=0.05)
    assert vegetation_loss(2440.0) == (0.34, 34.1)
    assert vegetation_loss(50.0) == (0.04, 9.4)
