"""A plan written out in sheets: a plan that reads, with the same path losses."""

import numpy as np
import pytest
from places import ROOT, SHARED
from plans import ALSO_ALLOWED, WHOLE_PLAN

from survey.budget import links_of
from survey.inputs.plan_file import parse_text, plan_of, read_plan
from survey.output.export.sheets import sheets_text
from survey.scene import scene_of

EXAMPLES = SHARED / "sites-as-seen"
NAMES = [
    "containers",
    "depot",
    "farm-new",
    "flat-warehouse",
    "ground",
    "house-new",
    "open-shed",
    "warehouse-new",
    "workshop",
]


def path_losses(plan, gateways):
    links = links_of(scene_of(plan), gateways=gateways)
    return dict(zip(links.inverters.names, links.path_loss_db, strict=True))


def check(plan):
    back = plan_of(parse_text(sheets_text(plan), "x"), file="x", folder=plan.folder)
    assert not back.faces
    gateways = scene_of(plan).gateways_and_spots.names[:2]
    one, other = path_losses(plan, gateways), path_losses(back, gateways)
    assert one.keys() == other.keys()
    for name, row in one.items():
        assert other[name] == pytest.approx(row, abs=0.01)
    return back


@pytest.mark.parametrize("name", NAMES)
def test_an_example_written_out_in_sheets_has_the_same_path_losses(name):
    if not EXAMPLES.is_dir():
        pytest.skip("the folder shared/sites-as-seen does not lie beside this checkout")
    plan = read_plan(EXAMPLES / f"{name}.toml")
    back = check(plan)
    assert {one.name for one in back.obstacles} == {one.name for one in plan.obstacles}


def test_a_plan_of_every_old_table_comes_back_as_it_was():
    plan = plan_of(parse_text(WHOLE_PLAN + ALSO_ALLOWED, "x"), file="x")
    back = check(plan)
    assert back.obstacles == plan.obstacles
    assert (back.arrays, back.spots, back.radio) == (plan.arrays, plan.spots, plan.radio)


def test_a_demo_site_comes_back_as_it_was():
    plan = read_plan(ROOT / "sites" / "house.toml")
    back = check(plan)
    assert back.obstacles == plan.obstacles
    assert np.array_equal(scene_of(back).inverters.at_m, scene_of(plan).inverters.at_m)


def test_pieces_of_many_corners_are_cut():
    text = """plan_version = 1
site = { name = "silo" }
[radio]
frequency_mhz = 868.0
inverter = { tx_power_dbm = 8.0, sensitivity_dbm = -96.0 }
gateway = { tx_power_dbm = 8.0, sensitivity_dbm = -96.0 }
[[building]]
name = "silo"
centre = [10.0, 0.0]
across_m = 6.0
eaves_m = 5.0
wall_material = "steel cladding"
[[inverter]]
name = "i"
on = "silo/roof"
[[spot]]
name = "s"
at = [0.0, 0.0]
height_m = 9.0
"""
    back = check(plan_of(parse_text(text, "x"), file="x"))
    (roof,) = [one for one in back.obstacles if one.name == "silo/roof"]
    assert sorted(len(piece) for piece in roof.pieces) == [6, 8]
