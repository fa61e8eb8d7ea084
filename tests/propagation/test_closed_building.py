"""A building closed all round lets nothing out but through its sheets, by whatever way."""

import numpy as np
import pytest
from one_link import closed_building, link
from places import ROOT

from survey.base.units import wavelength_m
from survey.inputs.plan_file import read_plan
from survey.propagation import Way
from survey.propagation.around import Polarisation, ways_around
from survey.propagation.around.of_scene import scene_bodies
from survey.scene import scene_of


@pytest.mark.parametrize("inside", [(6.0, 3.0), (1.0, 7.0), (11.0, 1.5), (0.5, 4.0)])
@pytest.mark.parametrize("outside", [((-10.0, 4.0), 1.5), ((20.0, -7.0), 3.5), ((-2.8, 1.6), 3.1), ((6.0, 30.0), 9.0)])
def test_nothing_leaks_out_of_a_closed_building(inside, outside):
    place, height_m = outside
    found = link(*closed_building(26.0), ends=(place, inside), heights_m=(height_m, 1.8))
    assert found.straight_db[0, 0] == pytest.approx(26.0, abs=9.0), "one sheet, and perhaps an edge grazed"
    assert not np.any(found.around_db[: Way.REFLECTED] <= 26.0)
    assert not np.any(found.around_db[Way.REFLECTED] <= 21.2), "three reflected paths at most, each through a sheet"
    assert found.obstacle_loss_db[0, 0] > 20.0


def test_nothing_leaks_through_the_joint_of_a_wall_that_stands_in_two_parts():
    """The warehouse's walls are cut at their roof: 26 dB a pass, from beside the parapet to a far corner inside.

    The edges of both parts are moved on over each other, by just as much as what is joined: rounding decided.
    """
    scene = scene_of(read_plan(ROOT / "sites" / "warehouse.toml"))
    outside = [(14.52881356, -1.25423729, 8.25), (15.5, -1.25, 8.25), (14.5, -1.25, 8.3)]
    starts_m, ends_m = np.array(outside), np.tile((2.0, 38.0, 2.2), (3, 1))
    words = {"wavelength_m": float(wavelength_m(868.0)), "polarisation": Polarisation.UNKNOWN}
    for pair in ((starts_m, ends_m), (ends_m, starts_m)):
        assert np.nanmin(ways_around(scene_bodies(scene), *pair, **words).loss_db) > 40.0
