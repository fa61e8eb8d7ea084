"""The demo sites are sound plans, and each of them poses a real question."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from places import SITES

from survey.base import polygon
from survey.budget import HOLDS, links_of
from survey.decisions.inspection import inspect
from survey.decisions.placement import best_of_each_place, place
from survey.geometry.sheets import plane_of
from survey.inputs.plan_file import read_plan
from survey.scene import scene_of

INVERTERS = {"house": 12, "farm": 40, "warehouse": 400}

AT_2440 = ["loss of steel cladding: found at 815 MHz, used at 2440 MHz; take a reading, or give your own loss_db"]
MEANT = {"house": AT_2440, "farm": [], "warehouse": AT_2440}
"""The warnings that are meant: no figure for steel cladding was found at 2.4 GHz."""

every_site = pytest.mark.parametrize("name", INVERTERS)
every_site_in_full = pytest.mark.parametrize(
    "name", ["house", "farm", pytest.param("warehouse", marks=pytest.mark.slow)]
)
"""For what takes all links of a site to all its spots."""


@cache
def scene(name):
    return scene_of(read_plan(SITES / f"{name}.toml"))


@cache
def placement(name):
    return place(scene(name))


def test_there_is_no_site_that_is_not_tested():
    assert {path.stem for path in SITES.glob("*.toml")} == set(INVERTERS)


@every_site
def test_a_site_has_as_many_inverters_as_it_says(name):
    assert len(scene(name).inverters) == INVERTERS[name]


@every_site_in_full
def test_a_site_has_no_warning_that_is_not_meant(name):
    assert list(inspect(scene(name)).warnings) == MEANT[name]


@every_site
def test_no_inverter_and_no_spot_is_inside_a_box(name):
    points_m = np.concatenate([scene(name).inverters.at_m, scene(name).gateways_and_spots.at_m])
    for box in (one for one in scene(name).plan.obstacles if one.kind == "box"):
        low_m, high_m = box.base_m, box.base_m + box.height_m
        level = (points_m[:, 2] >= low_m) & (points_m[:, 2] <= high_m)
        assert not np.any(level & polygon.contains(box.footprint_m(), points_m[:, :2])), box.name


def height_over_m(corners_m, points_m):
    """How far points are above a roof, NaN where it is not below or above them."""
    centre_m, axes = plane_of(np.array(corners_m))
    normal = axes[2]
    if abs(normal[2]) < 0.1:  # a gable
        return np.full(len(points_m), np.nan)
    under = polygon.contains(np.array(corners_m)[:, :2], points_m[:, :2])
    roof_m = centre_m[2] - (points_m[:, :2] - centre_m[:2]) @ normal[:2] / normal[2]
    return np.where(under, points_m[:, 2] - roof_m, np.nan)


@every_site
def test_every_inverter_lies_a_hand_or_so_above_a_roof_and_below_none(name):
    points_m = scene(name).inverters.at_m
    roofs = [one for one in scene(name).plan.obstacles if one.kind == "roof"]
    heights_m = np.array([height_over_m(sheet_m, points_m) for roof in roofs for sheet_m in roof.sheets_m()])
    assert np.all(np.nanmin(heights_m, axis=0) > 0.05)
    assert np.all(np.nanmin(heights_m, axis=0) < 0.3)


@every_site_in_full
def test_the_recommended_spot_beats_others_by_inverters_that_hold(name):
    found = placement(name)
    served = found.scores.served[best_of_each_place(found.scores, found.order)]
    assert served[0] > 0.7 * INVERTERS[name]
    assert served[-1] < served[0]


def test_a_gateway_stands_on_the_farm_and_it_is_not_good():
    now = links_of(scene("farm"))
    assert now.gateways.names == ("office",)
    assert np.sum(now.state == HOLDS) < 0.8 * placement("farm").scores.served.max()


def test_on_the_farm_the_height_of_a_fence_post_matters():
    scores = placement("farm").scores
    expected = dict(zip(scores.spots.names, scores.expected_served.tolist(), strict=True))
    assert expected["south fence/10.00,-26.00,1.50"] < expected["south fence/10.00,-26.00,3.00"]
