"""Coverage over a grid: told by neighbouring points, it must be what each point's own links would say."""

from dataclasses import replace

import numpy as np
import pytest
from places import SITES
from plans import entry, foliage, roof, spot, wall, write

from survey.budget import coverage, links_between
from survey.budget.coverage import chosen_gateways, coverage_of, usual_points
from survey.budget.coverage.refining import tell_between
from survey.inputs.plan_file import read_plan
from survey.output.pictures import field_m
from survey.scene import corrected, radios_at, scene_of
from survey.scene.correction import Correction

WIDE = np.full(2, -30.0), np.full(2, 30.0)


def site(name):
    return scene_of(read_plan(SITES / f"{name}.toml"))


def both(monkeypatch, scene, gateways, **options):
    """Coverage as it is worked out, and with the ways around of every point worked out."""
    found = coverage_of(scene, gateways, **options)
    monkeypatch.setattr(coverage, "ALL_POINTS", np.inf)
    whole = coverage_of(scene, gateways, **options)
    assert whole.told_share == 0
    return found, whole


def holding(found):
    return np.mean(found.certainty >= found.wanted_certainty)


def assert_told_well(found, whole):
    """99 points of 100 within half a decibel, 998 of 1000 within 3, and the share that holds within half a percent."""
    off_db = np.abs(found.margin_db - whole.margin_db)
    assert np.mean(off_db <= 0.5) >= 0.99
    assert np.mean(off_db <= 3.0) >= 0.998
    assert np.mean(np.abs(found.reliability - whole.reliability) <= 0.02) >= 0.99
    assert abs(holding(found) - holding(whole)) <= 0.005


@pytest.mark.parametrize(
    ("name", "place", "least_share"),
    [
        ("farm", "office", 0.5),
        ("farm", "roller door", 0.1),
        ("house", "behind the shed", 0.3),
        ("warehouse", "switch room", 0.5),
        ("warehouse", "chiller panel", 0.05),
    ],
)
def test_points_told_by_their_neighbours_have_the_margin_of_their_own_links(monkeypatch, name, place, least_share):
    scene = site(name)
    ends = chosen_gateways(scene, (place,))
    found, whole = both(monkeypatch, scene, ends, area_m=field_m(scene), points=3_600)
    assert_told_well(found, whole)
    assert found.told_share >= least_share


def test_the_place_of_a_gateway_is_told_as_well(monkeypatch):
    scene = site("farm")
    few = replace(scene, inverters=scene.inverters.pick([0, 17, 35]))
    found, whole = both(monkeypatch, few, None, area_m=field_m(scene), height_m=2.5, points=3_600)
    assert_told_well(found, whole)
    assert found.told_share > 0.1


@pytest.mark.slow
def test_bands_of_rows_and_any_number_of_workers_tell_the_same_story(monkeypatch):
    scene = site("farm")
    both_ends = chosen_gateways(scene, ("office", "roller door"))
    options = {"area_m": field_m(scene), "points": 3_600}
    one, two = (coverage_of(scene, both_ends, **options, workers=workers) for workers in (1, 2))
    alone, shared = (coverage_of(scene, both_ends.pick([0]), **options, workers=workers) for workers in (1, 2))
    for first, second in ((one, two), (alone, shared)):
        assert np.array_equal(first.margin_db, second.margin_db)
        assert np.array_equal(first.certainty, second.certainty)
        assert first.told_share == second.told_share
    monkeypatch.setattr(coverage, "POINTS_AT_ONCE", 1_000)
    assert_told_well(coverage_of(scene, both_ends.pick([0]), **options), alone)


def test_in_the_open_and_behind_what_is_no_screen_every_point_is_its_own(monkeypatch, tmp_path):
    hedge = foliage("[[-30, 4], [30, 4], [30, 6], [-30, 6]]")
    more = hedge + wall(along="[[5, -30], [5, 30]]", height_m=9, loss_db=9)
    scene = scene_of(read_plan(write(tmp_path, more=more)))
    found, whole = both(monkeypatch, scene, scene.gateways, area_m=WIDE, points=3_600)
    assert found.told_share == 0
    assert found.margin_db == pytest.approx(whole.margin_db, abs=1e-9)
    assert np.ptp(whole.margin_db[:, whole.x_m > 6] - whole.margin_db[:, whole.x_m > 6].mean()) > 5


def test_a_pole_between_the_first_points_still_has_its_shadow(monkeypatch, tmp_path):
    """It is half a metre wide where the points first looked at lie 10 m apart."""
    pole = {"name": '"pole"', "material": '"welded steel"', "height_m": 9, "length_m": 0.5, "width_m": 0.5}
    bare, scene = (
        scene_of(read_plan(write(tmp_path, more=more))) for more in ("", entry("box", **pole, centre="[3.3, 2.9]"))
    )
    found, whole = both(monkeypatch, scene, scene.gateways, area_m=WIDE, points=9_025)
    assert_told_well(found, whole)
    open_db = coverage_of(bare, scene.gateways, area_m=WIDE, points=9_025).margin_db
    shadow = whole.margin_db < open_db - 6
    assert 10 < shadow.sum() < 900
    assert np.abs(found.margin_db - whole.margin_db)[shadow].max() < 1.0


@pytest.mark.parametrize("fitted", [False, True])
def test_ways_out_of_a_building_carry_what_is_not_known_of_its_sheets(tmp_path, fitted):
    """Points that are told and points worked out have the sigma and the chance of their links alone."""
    sheet = {"name": '"shed"', "loss_db": 12.0, "spread_db": 4.0, "height_m": 3, "length_m": 8, "width_m": 6}
    container = {"name": '"c"', "material": '"welded steel"', "height_m": 2.6, "length_m": 12, "width_m": 2.4}
    more = entry("box", **sheet, centre="[0, 0]") + entry("box", **container, centre="[8, 2]", bearing_deg=0)
    scene = scene_of(read_plan(write(tmp_path, more=more)))
    if fitted:
        unit = np.array([0 if name == "shed" else -1 for name in scene.obstacles.names])
        known = Correction(
            file="made",
            offset_db=1.0,
            path_loss_exponent=2.2,
            exponent_sd=0.2,
            shadowing_db=3.0,
            nearest_m=5.0,
            farthest_m=40.0,
            unit=unit,
            change_db=np.where(unit >= 0, 3.0, 0.0),
            covariance=np.diag([1.0, 0.01, 16.0]),
        )
        scene = corrected(scene, known)
    found = coverage_of(scene, scene.gateways, area_m=WIDE, height_m=1.5, points=6_400)
    assert found.told_share > 0.1
    across_m, up_m = (one.ravel() for one in np.meshgrid(found.x_m, found.y_m))
    at_m = np.column_stack([across_m, up_m, np.full(len(across_m), 1.5)])
    alone = links_between(scene, radios_at(scene.plan, scene.plan.radio.inverter, at_m), scene.gateways)
    leaky = np.bincount(alone.leaks.link, alone.leak_share, minlength=len(at_m)) > 0.5
    assert leaky.sum() > 400, "many points are heard by what leaves the shed and goes around the container"
    excess_db = alone.margin_db - scene.plan.requirement.fade_margin_db
    certainty = found.certainty.ravel()
    assert np.mean(np.abs(certainty - (excess_db / alone.sigma_db)[:, 0])[leaky] <= 0.1) >= 0.99
    sure = replace(alone, leaks=alone.leaks.pick(np.zeros(0, dtype=np.int64)))
    assert np.mean(np.abs(certainty - (excess_db / sure.sigma_db)[:, 0])[leaky] <= 0.1) < 0.5, "and the spread counts"


PANE = {"name": '"pane"', "loss_db": 3.0, "spread_db": 9.0}


@pytest.mark.parametrize(
    "pane",
    [
        pytest.param(wall(along="[[15, -30], [15, 30]]", height_m=9, **PANE), id="before the shed in the plan"),
        pytest.param(roof("[[15, -30, 0], [15, 30, 0], [15, 30, 9], [15, -30, 9]]", **PANE), id="after the shed"),
    ],
)
def test_ways_out_of_a_building_also_go_through_what_is_no_screen(tmp_path, pane):
    """A way that leaves the shed and goes around the container meets a pane of glass: each keeps its own spread."""
    sheet = {"name": '"shed"', "loss_db": 12.0, "spread_db": 0.5, "height_m": 3, "length_m": 8, "width_m": 6}
    container = {"name": '"c"', "material": '"welded steel"', "height_m": 2.6, "length_m": 12, "width_m": 2.4}
    more = pane + entry("box", **sheet, centre="[0, 0]") + entry("box", **container, centre="[8, 2]", bearing_deg=0)
    scene = scene_of(read_plan(write(tmp_path, more=more)))
    found = coverage_of(scene, scene.gateways, area_m=WIDE, height_m=1.5, points=6_400)
    assert found.told_share > 0.1
    across_m, up_m = (one.ravel() for one in np.meshgrid(found.x_m, found.y_m))
    at_m = np.column_stack([across_m, up_m, np.full(len(across_m), 1.5)])
    alone = links_between(scene, radios_at(scene.plan, scene.plan.radio.inverter, at_m), scene.gateways)
    leaks = alone.leaks.pick(alone.leaks.owner == scene.obstacles.names.index("pane"))
    beyond = np.bincount(leaks.link, leaks.passes, minlength=len(at_m)) > 0.5
    assert beyond.sum() > 200, "many points lie beyond the pane"
    excess_db = alone.margin_db - scene.plan.requirement.fade_margin_db
    off = np.abs(found.certainty.ravel() - (excess_db / alone.sigma_db)[:, 0])
    assert np.mean(off[beyond] <= 0.1) >= 0.98


def test_the_pattern_of_an_antenna_is_told_too(monkeypatch, tmp_path):
    change = ("[radio.gateway]", '[radio.gateway]\nantenna = "dipole"')
    container = {"name": '"c"', "material": '"welded steel"', "height_m": 2.6, "length_m": 6, "width_m": 2.4}
    more = entry("box", **container, centre="[6, 3]") + wall(along="[[-8, -8], [-8, 8]]", height_m=5, loss_db=25)
    scene = scene_of(read_plan(write(tmp_path, change, more=more)))
    found, whole = both(monkeypatch, scene, scene.gateways, area_m=WIDE, height_m=4.0, points=3_600)
    assert_told_well(found, whole)
    assert found.told_share > 0.1


def test_a_point_between_is_the_mean_of_its_neighbours():
    values = np.arange(2.0)[:, None, None] * 100.0 + np.arange(9.0)[None, :, None] * 10.0 + np.arange(17.0)
    told = np.full_like(values, np.nan)
    told[:, ::4, ::4] = values[:, ::4, ::4]
    tell_between(told, 4)
    tell_between(told, 2)
    assert told == pytest.approx(values)


def test_usual_points_are_fewer_where_there_is_more_to_work_out(tmp_path):
    open_yard = scene_of(read_plan(write(tmp_path, more=spot("post"))))
    assert usual_points(open_yard, 1) == 40_000
    assert usual_points(site("farm"), 1) > 10_000 > usual_points(site("farm"), 3)
    assert usual_points(site("farm"), 400) == 200
