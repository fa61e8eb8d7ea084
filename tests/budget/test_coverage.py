"""Coverage over a grid: each point has the margin and the chance that its own links have."""

from dataclasses import replace

import numpy as np
import pytest
from places import SITES

from survey.budget import coverage, links_between
from survey.budget.coverage import chosen_gateways, coverage_of, usual_points
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
    at_m = np.column_stack([across_m, up_m, np.full(len(across_m), found.height_m)])
    alone = links_between(scene, radios_at(scene.plan, scene.plan.radio.inverter, at_m), ends)
    assert np.ptp(alone.margin_db) > 20.0
    assert np.array_equal(found.margin_db.ravel(), alone.margin_db[:, 0])
    assert np.array_equal(found.reliability.ravel(), alone.reliability[:, 0])


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
    assert [usual_points(others) for others in (1, 3, 400)] == [800, 266, 200]
    monkeypatch.setattr(coverage, "library", lambda: "a kernel")
    assert [usual_points(others) for others in (0, 1, 3, 400)] == [40_000, 40_000, 13_333, 200]
