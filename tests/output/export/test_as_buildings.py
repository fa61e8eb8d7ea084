"""A plan in loose sheets written with buildings: a plan that reads, with the same links but for what it says."""

import numpy as np
import pytest
from places import OLD_WORDS, SITES
from plans import MINIMAL, array, roof, wall

from survey.base.errors import SurveyError
from survey.budget import links_between
from survey.inputs.plan_file import parse_text, plan_of, read_plan
from survey.output.export.as_buildings import as_buildings_text
from survey.output.export.sheets import sheets_text
from survey.scene import scene_of


def old(site, *changes):
    text = (OLD_WORDS / f"{site}.toml").read_text(encoding="utf-8")
    for before, after in changes:
        assert text.count(before) == 1, before
        text = text.replace(before, after)
    return plan_of(parse_text(text, site), file=site)


def converted(plan):
    text, lines = as_buildings_text(plan)
    return plan_of(parse_text(text, "new"), file="new"), lines


def path_loss_db(plan, step=1):
    scene = scene_of(plan)
    places = scene.gateways_and_spots
    return links_between(scene, scene.inverters, places.pick(np.arange(0, len(places), step))).path_loss_db


@pytest.mark.parametrize(
    ("site", "building"), [("house", "building 1"), ("farm", "workshop"), ("warehouse", "building 1")]
)
def test_every_name_stays_and_every_place_to_a_millimetre(site, building):
    plan = old(site)
    new, lines = converted(plan)
    assert [one.name for one in new.buildings] == [building]
    assert lines[0].startswith(f'building "{building}" from ')
    before, after = scene_of(plan), scene_of(new)
    index = [after.inverters.names.index(name) for name in before.inverters.names]
    assert len(after.inverters) == len(before.inverters)
    assert np.abs(after.inverters.at_m[index] - before.inverters.at_m).max() < 0.004  # slopes to the degree tenth
    assert after.gateways_and_spots.names == before.gateways_and_spots.names
    assert np.array_equal(after.gateways_and_spots.at_m, before.gateways_and_spots.at_m)


def test_the_links_of_a_building_whose_sheets_close_are_the_same():
    plan = old("farm")
    new, lines = converted(plan)
    assert lines == [
        (
            'building "workshop" from workshop south wall, workshop north wall, workshop west gable, '
            "workshop east gable, workshop south roof, workshop north roof"
        ),
        'array "S" lies on "workshop/south roof"',
    ]
    order = [scene_of(new).inverters.names.index(name) for name in scene_of(plan).inverters.names]
    off_db = np.abs(path_loss_db(new, 3)[order] - path_loss_db(plan, 3))
    assert np.mean(off_db < 0.1) > 0.99
    assert off_db.max() < 0.35  # the roof drawn as one plane is 2 mm off the corners given with two decimals


def test_gables_that_were_missing_are_told():
    new, lines = converted(old("house"))
    assert lines == [
        (
            'building "building 1" from outer wall, west tiles, east tiles, ceiling; its ends under the roof are '
            "closed now, so links through them change"
        ),
        'array "W" lies on "building 1/west roof"',
        'array "E" lies on "building 1/east roof"',
    ]
    assert {one.name for one in new.obstacles if one.table == "roof"} == {"carport roof"}
    assert [(one.name, one.height_m) for one in new.buildings[0].level] == [("ceiling", 2.5)]
    assert new.buildings[0].ridge_m == 4.52


def test_a_parapet_joins_its_wall():
    new, lines = converted(old("warehouse"))
    assert lines[0].endswith("outer walls, parapet, roof deck")
    (building,) = new.buildings
    assert (building.eaves_m, building.parapet_m, building.roof) == (8.0, 0.9, "flat")
    assert len(lines) == 9


@pytest.mark.parametrize(
    "change",
    [
        ("along = [[0.0, 0.0], [24.0, 0.0]]\nheight_m = 4.0", "along = [[0.0, 0.0], [24.0, 0.0]]\nheight_m = 3.9"),
        ("along = [[0.0, 0.0], [24.0, 0.0]]", "along = [[0.0, 0.0], [23.0, 0.0]]"),
        ("along = [[0.0, 0.0], [24.0, 0.0]]", "along = [[0.0, 0.1], [24.0, 0.1]]"),
        ('"workshop north wall"\nmaterial = "steel cladding"', '"workshop north wall"\nmaterial = "brick 110 mm"'),
        ('"workshop north roof"\nmaterial = "steel cladding"', '"workshop north roof"\nmaterial = "tile roof"'),
        ('"workshop north wall"\n', '"workshop north wall"\nspread_db = 1.0\n'),
    ],
    ids=["too low", "too short", "set back", "two materials", "two coverings", "a spread of its own"],
)
def test_walls_and_roofs_that_are_not_certainly_a_building_are_left(change):
    with pytest.raises(SurveyError, match="nothing is certainly a building"):
        as_buildings_text(old("farm", change))


BOX_OF_WALLS = wall(
    name='"ring"', material='"timber 20 mm"', along="[[0,0],[9,0],[9,6],[0,6],[0,0]]", height_m=3
).replace("loss_db = 3\n", "") + roof(
    "[[0,0,3],[9,0,3],[9,6,3],[0,6,3]]", name='"deck"', material='"timber 20 mm"'
).replace("loss_db = 3\n", "")


@pytest.mark.parametrize(
    ("height_m", "bearing_deg", "lies"),
    [(3.1, 90, True), (3.01, 90, False), (3.6, 90, False), (3.1, 45, False), (3.1, 270, False)],
)
def test_an_array_lies_on_a_roof_that_it_is_close_over_and_along(height_m, bearing_deg, lies):
    text = MINIMAL + BOX_OF_WALLS + array(first="[3, 3]", height_m=height_m, bearing_deg=bearing_deg)
    new, lines = converted(plan_of(parse_text(text, "x"), file="x"))
    assert (len(lines) == 2) == lies
    assert new.arrays[0].height_m == pytest.approx(height_m)


ROOF_KINDS = {
    "flat": "",
    "mono-pitch": 'falls = "south"\npitch_deg = 8.0\n',
    "gable": 'ridge_runs = "east"\npitch_deg = 25.0\n',
    "hip": 'ridge_runs = "east"\npitch_deg = 25.0\n',
}


@pytest.mark.parametrize(("length_m", "width_m"), [(12.0, 8.0), (9.0, 9.0)])
@pytest.mark.parametrize("overhang_m", [0.0, 0.4])
@pytest.mark.parametrize("bearing_deg", [90.0, 123.0])
@pytest.mark.parametrize("kind", ROOF_KINDS)
def test_a_building_written_in_loose_sheets_is_found_again(kind, bearing_deg, overhang_m, length_m, width_m):
    """Over a square as over a rectangle, turned, and with a roof that reaches beyond its walls."""
    turned = ROOF_KINDS[kind]
    if kind == "mono-pitch":
        turned = f"falls_deg = {bearing_deg + 90.0}\npitch_deg = 8.0\n"
    building = (
        f'\n[[building]]\nname = "h"\ncorner = [20.0, 20.0]\nlength_m = {length_m}\nwidth_m = {width_m}\n'
        f'bearing_deg = {bearing_deg}\neaves_m = 3.0\nroof = "{kind}"\noverhang_m = {overhang_m}\n'
        f'wall_material = "brick 220 mm"\nroof_material = "tile roof"\n{turned}'
    )
    before = plan_of(parse_text(MINIMAL + building, "x"), file="x")
    loose = "".join(line for line in sheets_text(before).splitlines(keepends=True) if not line.startswith("part_of"))
    after, lines = converted(plan_of(parse_text(loose, "x"), file="x"))
    assert len(lines) == 1
    (made,) = after.buildings
    assert made.overhang_m == pytest.approx(overhang_m, abs=0.001)
    assert made.eaves_m == pytest.approx(3.0, abs=0.001)
    corners = [
        np.unique(np.vstack([sheet for one in plan.obstacles for sheet in one.sheets_m()]).round(2), axis=0)
        for plan in (before, after)
    ]
    apart_m = np.abs(corners[0][:, None] - corners[1][None]).max(axis=2)
    assert max(apart_m.min(axis=0).max(), apart_m.min(axis=1).max()) < 0.011


def test_walls_unevenly_far_inside_their_roof_are_left():
    walls = wall(name='"ring"', material='"timber 20 mm"', along="[[0,0],[9,0],[9,6],[0,6],[0,0]]", height_m=3).replace(
        "loss_db = 3\n", ""
    )
    deck = roof("[[-0.4,-0.4,3],[9.4,-0.4,3],[9.4,6.8,3],[-0.4,6.8,3]]", name='"deck"', material='"timber 20 mm"')
    uneven = MINIMAL + walls + deck.replace("loss_db = 3\n", "")
    with pytest.raises(SurveyError, match="nothing is certainly a building"):
        as_buildings_text(plan_of(parse_text(uneven, "x"), file="x"))
    even = uneven.replace("6.8", "6.4")
    new, _ = converted(plan_of(parse_text(even, "x"), file="x"))
    assert [(one.overhang_m, one.eaves_m) for one in new.buildings] == [(0.4, 3.0)]


def test_a_plan_with_buildings_is_refused():
    with pytest.raises(SurveyError, match="has buildings already"):
        as_buildings_text(read_plan(SITES / "house.toml"))
