"""Coverage over a grid: each point has the margin and the chance that its own links have."""

from dataclasses import replace

import numpy as np
import pytest
from places import SITES
from plans import write
from scipy.special import ndtr

from survey.budget import coverage, links_between
from survey.budget.coverage import chosen_gateways, coverage_of, usual_points
from survey.budget.coverage.heights import inverter_heights_m
from survey.inputs.plan_file import read_plan
from survey.output.pictures import field_m
from survey.scene import radios_at, scene_of


def site(name):
    return scene_of(read_plan(SITES / f"{name}.toml"))


PLACES = [("farm", "office"), ("house", "behind the shed"), ("warehouse", "chiller panel")]


@pytest.mark.parametrize(("name", "place"), PLACES)
def test_every_point_has_the_margin_and_the_chance_of_its_own_links(name, place):
    scene = site(name)
    ends = chosen_gateways(scene, (place,))
    found = coverage_of(scene, ends, area_m=field_m(scene), points=900)
    across_m, up_m = (one.ravel() for one in np.meshgrid(found.x_m, found.y_m))
    at_m = np.column_stack([across_m, up_m, found.heights_m.ravel()])
    alone = links_between(scene, radios_at(scene.plan, scene.plan.radio.inverter, at_m), ends)
    assert np.ptp(alone.margin_db) > 20.0
    assert np.array_equal(found.margin_db.ravel(), alone.margin_db[:, 0])
    assert np.array_equal(found.reliability.ravel(), alone.reliability[:, 0])
    assert found.reliability == pytest.approx(ndtr(found.certainty), abs=1e-6), "a normal distribution's"


AGREED = [*PLACES, ("farm", "north gate"), ("house", "carport post")]


@pytest.mark.parametrize(
    ("name", "place"),
    [pytest.param(*one, marks=pytest.mark.slow if one[0] == "warehouse" else ()) for one in AGREED],  # 400 inverters
)
def test_the_cell_under_an_inverter_says_what_its_link_says(name, place):
    """Where a cell has another state, the inverter moved to the middle of that cell has that state too."""
    scene = site(name)
    ends = chosen_gateways(scene, (place,))
    found = coverage_of(scene, ends, area_m=field_m(scene), points=10_000)
    at_m, own = scene.inverters.at_m, links_between(scene, scene.inverters, ends)
    cell = np.abs(found.y_m - at_m[:, 1:2]).argmin(axis=1), np.abs(found.x_m - at_m[:, :1]).argmin(axis=1)
    state = found.state[cell]
    assert np.mean(state != own.state[:, 0]) < 0.1
    inside_m = np.column_stack([found.x_m[cell[1]], found.y_m[cell[0]], found.heights_m[cell]])
    assert np.abs(inside_m[:, 2] - at_m[:, 2]).max() < 0.1
    moved = links_between(scene, replace(scene.inverters, at_m=inside_m), ends)
    assert np.array_equal(moved.state[:, 0], state)


def test_points_follow_the_roofs_with_inverters_alone():
    """The lean-to's sheet and the gap of 10 cm by hand; beside it, and over the containers, the median height."""
    scene = site("farm")
    row, column = (next(k for k, name in enumerate(scene.inverters.names) if name == one) for one in ("L-1-1", "L-2-1"))
    low_m, high_m = scene.inverters.at_m[row], scene.inverters.at_m[column]
    share = np.array([[0.0], [0.5], [1.0]])
    between_m = low_m + share * (high_m - low_m)
    assert inverter_heights_m(scene, between_m[:, :2]) == pytest.approx(between_m[:, 2], abs=1e-6)
    median_m = round(float(np.median(scene.inverters.at_m[:, 2])), 2)
    assert inverter_heights_m(scene, np.array([[4.0, -21.0], [-40.0, 0.0]])).tolist() == [median_m, median_m]


def test_inverters_on_no_roof_lend_their_height_and_their_radio_to_what_is_near(tmp_path):
    other = """
[[inverter]]
name = "on a pole"
at = [40.0, 0.0]
height_m = 6.0
tx_power_dbm = -20.0
"""
    scene = scene_of(read_plan(write(tmp_path, more=other)))
    near_m = np.array([[0.0, 0.0], [40.0, 1.0]])
    assert inverter_heights_m(scene, near_m).tolist() == [scene.inverters.at_m[0, 2], 6.0]
    found = coverage_of(scene, scene.gateways, area_m=(np.array([-1.0, -1.0]), np.array([41.0, 1.0])), points=42)
    alone = links_between(scene, scene.inverters, scene.gateways)
    assert found.margin_db[0, -1] == pytest.approx(alone.margin_db[-1, 0], abs=1.0)


def test_the_place_of_a_gateway_is_worth_its_worst_link():
    scene = site("farm")
    few = replace(scene, inverters=scene.inverters.pick([0, 17, 35]))
    found = coverage_of(few, None, area_m=field_m(scene), height_m=2.5, points=400)
    across_m, up_m = (one.ravel() for one in np.meshgrid(found.x_m, found.y_m))
    at_m = np.column_stack([across_m, up_m, np.full(len(across_m), 2.5)])
    alone = links_between(few, few.inverters, radios_at(scene.plan, scene.plan.radio.gateway, at_m))
    assert np.array_equal(found.margin_db.ravel(), alone.margin_db.min(axis=0))


def test_bands_of_rows_and_any_number_of_workers_give_the_same(monkeypatch):
    scene = site("farm")
    both_ends = chosen_gateways(scene, ("office", "roller door"))
    options = {"area_m": field_m(scene), "points": 900}
    one, two = (coverage_of(scene, both_ends, **options, workers=workers) for workers in (1, 2))
    monkeypatch.setattr(coverage, "POINTS_AT_ONCE", 100)
    for other in (two, coverage_of(scene, both_ends, **options)):
        assert np.array_equal(one.margin_db, other.margin_db)
        assert np.array_equal(one.certainty, other.certainty)


def test_usual_points_are_fewer_where_there_are_more_links_for_each_or_no_kernel(monkeypatch):
    monkeypatch.setattr(coverage, "library", lambda: None)
    assert [usual_points(others) for others in (1, 3, 400)] == [320, 200, 200]
    monkeypatch.setattr(coverage, "library", lambda: "a kernel")
    assert [usual_points(others) for others in (0, 1, 3, 400)] == [16_000, 16_000, 5_333, 200]
