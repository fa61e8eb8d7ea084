"""Slabs at an angle and foliage, through the whole program."""

import numpy as np
import pytest
from one_link import link

from survey.inputs.materials import foliage_loss
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


def test_a_hedge_that_is_not_convex_has_one_most_and_not_one_for_each_part():
    comb = ((0.0, -9.0), (50.0, -9.0), (50.0, 9.0), (30.0, 9.0), (30.0, 1.0), (20.0, 1.0), (20.0, 9.0), (0.0, 9.0))
    whole = Foliage(name="hedge", footprint=comb, height_m=9.0, loss_db_per_m=0.17, most_loss_db=26.5)
    found = link(whole, ends=((-5.0, 0.0), (60.0, 0.0)))
    assert found.straight_db[0, 0] == pytest.approx(7.272, abs=0.005)


def tree(across_m, **more):
    corners = ((-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5))
    crown = tuple((across_m * x, across_m * y) for x, y in corners)
    return Foliage(name="tree", footprint=crown, height_m=7.0, base_m=2.0, **more)


@pytest.mark.parametrize("across_m", [8.0, 9.2, 10.0])
def test_a_tree_without_a_figure_costs_what_single_trees_were_measured_at(across_m):
    """W. J. Vogel, J. Goldhirsh, IEEE Trans. Antennas Propag. AP-34(12), 1986: 10 to 20 dB at 869 MHz (abstract)."""
    found = link(tree(across_m), heights_m=(4.0, 4.0), frequency_mhz=869.0)
    assert 10.0 <= found.straight_db[0, 0] <= 20.0


def test_a_crown_of_twelve_db_at_the_measured_loss_of_a_metre_costs_twelve_db():
    """The same: 12 dB, the average of the medians; 1.3 dB for each metre of crown is from memory."""
    found = link(tree(12.0 / 1.3), heights_m=(4.0, 4.0), frequency_mhz=869.0)
    assert found.straight_db[0, 0] == pytest.approx(12.0, abs=0.2)


def test_short_depths_cost_more_than_in_the_mildest_model_and_less_than_in_the_most_severe():
    """Weissberger 1982 up to 14 m, 0.45 f^0.284 d, and COST 235 in leaf, 15.6 f^-0.009 d^0.26 (from memory), in dB."""
    for depth_m in (2.0, 5.0, 10.0, 14.0):
        found = link(hedge(depth_m), frequency_mhz=868.0, ends=((-5.0, 0.0), (60.0, 0.0))).straight_db[0, 0]
        assert 0.45 * 0.868**0.284 * depth_m < found < 15.6 * 868.0**-0.009 * depth_m**0.26


def test_foliage_at_other_frequencies():
    """The most by P.833-9, section 2.1, interpolated on logarithms and held beyond its points; a metre by sqrt(f)."""
    assert foliage_loss(868.0) == pytest.approx((1.80, 25.24, 0.60), abs=0.005)
    assert foliage_loss(2440.0) == pytest.approx((1.8 * np.sqrt(2440.0 / 869.0), 34.1, 0.6 * np.sqrt(2440.0 / 869.0)))
    assert [foliage_loss(f).most_loss_db for f in (50.0, 466.475, 949.0)] == pytest.approx([9.4, 18.0, 26.5])


def test_the_spread_of_a_tree_takes_in_the_measured_ones():
    """10 to 20 dB lie within two standard deviations of what a crown of 9.2 m costs; 6 dB of shadowing come on top."""
    found = link(tree(9.2), heights_m=(4.0, 4.0), frequency_mhz=869.0)
    loss_db, spread_db = found.straight_db[0, 0], np.sqrt(found.spread_squared_db2[0, 0])
    assert spread_db == pytest.approx(loss_db / 3.0)
    assert loss_db - 2.0 * spread_db < 10.0
    assert loss_db + 2.0 * spread_db > 20.0
    assert found.sigma_db[0, 0] == pytest.approx(np.hypot(6.0, spread_db))


def test_foliage_with_a_figure_of_its_own_is_taken_as_certain_unless_the_plan_gives_a_spread():
    certain = link(hedge(10.0, loss_db_per_m=0.5), ends=((-5.0, 0.0), (60.0, 0.0)))
    assert certain.spread_squared_db2[0, 0] == 0.0
    rough = link(hedge(10.0, loss_db_per_m=0.5, spread_db_per_m=0.2), ends=((-5.0, 0.0), (60.0, 0.0)))
    assert rough.spread_squared_db2[0, 0] == pytest.approx(2.0**2)
    nothing = link(hedge(10.0, loss_db_per_m=0.0, spread_db_per_m=0.2), ends=((-5.0, 0.0), (60.0, 0.0)))
    assert (nothing.straight_db[0, 0], nothing.spread_squared_db2[0, 0]) == pytest.approx((0.0, 2.0**2))


def test_a_plant_in_two_pieces_is_off_as_one():
    comb = ((0.0, -9.0), (50.0, -9.0), (50.0, 9.0), (30.0, 9.0), (30.0, -1.0), (20.0, -1.0), (20.0, 9.0), (0.0, 9.0))
    plant = Foliage(name="hedge", footprint=comb, height_m=9.0, loss_db_per_m=0.5, spread_db_per_m=0.1)
    found = link(plant, ends=((-5.0, 0.0), (60.0, 0.0)))
    assert found.straight_db[0, 0] == pytest.approx(0.5 * 40.0)
    assert found.spread_squared_db2[0, 0] == pytest.approx((0.1 * 40.0) ** 2)
