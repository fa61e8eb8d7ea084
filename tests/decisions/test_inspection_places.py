"""What looks wrong with where things stand: beyond their roof, over its edge, exactly on a sheet."""

from pathlib import Path

import numpy as np
import pytest
from plans import MINIMAL, array, entry, roof, wall

from survey.decisions.inspection import inspect
from survey.inputs.plan_file import parse_text, plan_of
from survey.scene import scene_of

SOUTH = roof("[[0, 0, 4], [24, 0, 4], [24, 6, 5.275], [0, 6, 5.275]]", name='"south roof"')
NORTH = roof("[[0, 12, 4], [24, 12, 4], [24, 6, 5.275], [0, 6, 5.275]]", name='"north roof"')
SITE = MINIMAL.replace("[10.0, 0.0]", "[-40.0, 0.0]").replace("[0.0, 0.0]", "[-60.0, 0.0]") + SOUTH + NORTH

SHED = """
[[building]]
name = "shed"
corner = [10.0, 20.0]
length_m = 8.0
width_m = 6.0
bearing_deg = 90.0
eaves_m = 3.0
wall_material = "timber 20 mm"
"""


def warnings(text):
    """All warnings about a plan but those of materials and of obstacles that no line crosses."""
    scene = scene_of(plan_of(parse_text(text, "plan.toml"), file="plan.toml", folder=Path()))
    found = inspect(scene, met=np.ones(len(scene.obstacles), dtype=bool)).warnings
    return [one for one in found if not one.startswith("loss of")]


def one_about(text, word):
    """The only warning that has a word in it."""
    (found,) = [one for one in warnings(text) if word in one]
    return found


def rows(**values):
    """Two rows of eight that lie 19 cm above the south roof, but for what is changed."""
    place = {"first": "[2, 1]", "height_m": 4.4, "bearing_deg": 90, "tilt_deg": 12}
    shape = {"rows": 2, "per_row": 8, "spacing_m": 2.3, "row_spacing_m": 1.8}
    return array(name='"A"', **(place | shape | values))


def test_an_array_on_its_roof_is_not_told():
    assert warnings(SITE + rows()) == []


def test_an_array_that_reaches_beyond_an_end_is_told_where_it_would_fit():
    assert warnings(SITE + rows(first="[8, 1]")) == [
        'array "A": 2 of 16 lie over no roof; with first = [7.32, 1] all lie 19 cm above "south roof"'
    ]
    assert warnings(SITE + rows(first="[7.32, 1]")) == []


def test_an_array_half_beyond_the_eaves_is_told_though_the_other_half_lies_high():
    told = one_about(SITE + rows(first="[2, -0.5]"), "array")
    assert told == (
        'array "A": 8 of 16 lie 51 cm above "south roof", 8 of 16 lie over no roof; with first = [2, 0.45] all lie '
        '30 cm above "south roof"'
    )
    assert warnings(SITE + rows(first="[2, 0.45]")) == []


def test_an_array_beside_the_roof_along_whose_plane_it_runs_is_told():
    told = one_about(SITE + rows(first="[2, -2.5]"), "array")
    assert told.startswith('array "A": 16 of 16 lie over no roof; with first = [2, 0.45]')
    told = one_about(SITE + rows(first="[2, -2.5]", height_m=4.1, spacing_m=3.4), "over no roof")
    assert told.startswith('array "A": 16 of 16 lie over no roof, up to 2.50 m beyond the edge of "south roof"; check')


def test_an_array_that_stands_beside_a_building_on_its_own_is_not_told():
    assert warnings(SITE + rows(first="[2, -9]")) == []
    assert warnings(SITE + rows(first="[2, -2.5]", height_m=1.0)) == []
    assert warnings(SITE + rows(first="[2, -2.5]", tilt_deg=35)) == []


def test_an_array_that_rises_the_wrong_way_is_told_with_its_other_corner():
    told = one_about(SITE + rows(first="[2, 7]", height_m=5.1), "array")
    assert "with first = [18.1, 8.76] and bearing_deg = 270 all lie 41 cm above" in told
    assert warnings(SITE + rows(first="[18.1, 8.76]", bearing_deg=270, height_m=4.9)) == []


def test_a_height_in_another_unit_is_told():
    told = one_about(SITE + rows(height_m=440), "array")
    assert told == (
        'array "A": 16 of 16 lie 435.79 m above "south roof"; 10 cm above it they would be at height_m = 4.31'
    )


@pytest.mark.parametrize(
    ("at", "height_m", "told"),
    [
        ("[5, -0.5]", 4.1, "50 cm"),
        ("[24.3, 2]", 4.6, "30 cm"),
        ("[5, -1.5]", 4.1, ""),
        ("[5, -0.5]", 3.6, ""),
        ("[5, -0.5]", 5.0, ""),
    ],
)
def test_a_single_inverter_close_above_the_plane_of_a_roof_but_beyond_its_edge_is_told(at, height_m, told):
    line = f'inverter u lies over no roof, {told} beyond the edge of "south roof"; move it, or measure the roof again'
    assert warnings(SITE + entry("inverter", name='"u"', at=at, height_m=height_m)) == ([line] if told else [])


def test_a_single_inverter_on_a_wall_beside_a_lower_roof_is_not_told():
    high = wall(name='"high"', along="[[24.1, -5], [24.1, 15]]", height_m=9)
    told = warnings(SITE + high + entry("inverter", name='"u"', at="[24.2, 2]", height_m=4.6))
    assert [one for one in told if "inverter u" in one] == []


def test_a_gateway_exactly_on_a_sheet_is_told():
    sheet = wall(along="[[0, -5], [0, 5]]", height_m=3)
    assert warnings(MINIMAL + sheet) == [
        (
            '"office" is exactly on "w": its links lose nothing through it, on either side. For a bracket, give a '
            "position 10 cm or more in front"
        )
    ]


def test_a_spot_that_stands_on_an_open_face_is_not_told():
    door = SHED + 'opening = [{ on = "south wall", name = "door", width_m = 1.0, height_m = 2.0 }]\n'
    glass = door.replace("height_m = 2.0", 'height_m = 2.0, material = "glass 6 mm"')
    for shed in (door, glass):
        assert warnings(MINIMAL + shed + entry("spot", name='"p"', on='"shed/door"', up_m=1.0)) == []


@pytest.mark.parametrize(("left_m", "told"), [(7.9, "90 cm"), (7.0, ""), (7.04, ""), (0.5, "50 cm")])
def test_a_box_that_reaches_beyond_its_roof_is_told(left_m, told):
    box = entry(
        "box", name='"b"', material='"welded steel"', on='"shed/roof"', left_m=left_m, length_m=2, width_m=1, height_m=1
    )
    line = f'box "b" reaches {told} beyond the edge of "shed/roof"; move it in, or measure again'
    assert warnings(MINIMAL + SHED + box) == ([line] if told else [])


def test_a_long_box_on_two_side_by_side_is_not_told():
    pair = entry("box", name='"a"', size='"20 ft"', centre="[20, 20]") + entry(
        "box", name='"b"', size='"20 ft"', beside='"a/east side"'
    )
    across = entry("box", name='"c"', size='"20 ft"', on='"a/top"', left_m=3.03, up_m=1.219)
    moved = across.replace("left_m = 3.03", "left_m = 4.5")
    assert [one for one in warnings(MINIMAL + pair + across) if "reaches" in one] == []
    assert [one for one in warnings(MINIMAL + pair + moved) if "reaches" in one] != []


@pytest.mark.parametrize(
    ("walls", "told"), [("", True), ('materials = { "north wall" = "open" }\n', True), (None, False)]
)
def test_a_row_through_a_building_is_told(walls, told):
    shed = SHED if walls is None else SHED + walls
    if walls is None:  # a canopy
        shed = SHED.replace('"timber 20 mm"', '"open"\nroof_material = "timber 20 mm"')
    row = array(name='"A"', first="[4, 23]", height_m=0.9, per_row=8, spacing_m=2.5, bearing_deg=90)
    line = (
        'array "A": 3 of 8 stand inside "shed": A-1-4, A-1-5, A-1-6. Move the array or the building, or skip these '
        "places"
    )
    assert [one for one in warnings(MINIMAL + shed + row) if one.startswith("array")] == ([line] if told else [])


def test_arrays_on_a_roof_and_beside_a_building_are_not_indoors():
    on = entry("array", name='"A"', on='"shed/roof"', per_row=3, spacing_m=2)
    beside = array(name='"B"', first="[4, 19]", height_m=0.9, per_row=8, spacing_m=2.5, bearing_deg=90)
    assert [one for one in warnings(MINIMAL + SHED + on + beside) if "inside" in one] == []
