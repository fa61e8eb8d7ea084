"""What looks wrong in a plan: each warning with a plan that is wrong, and the right one beside it."""

import time
from pathlib import Path

import numpy as np
import pytest
from places import OLD_WORDS
from plans import MINIMAL, array, entry, roof, wall

from survey.base.errors import PlanError
from survey.decisions.inspection import inspect
from survey.decisions.inspection.obstacles import narrow_openings
from survey.inputs.buildings import Opening
from survey.inputs.plan_file import parse_text, plan_of
from survey.output.export.sheets import sheets_text
from survey.scene import scene_of

SITES = {name: (OLD_WORDS / f"{name}.toml").read_text(encoding="utf-8") for name in ("farm", "house", "warehouse")}
"""In the old words: heights, bearings and sheets are typed there, and can be typed wrong."""

SHED = """
[[building]]
name = "shed"
corner = [10.0, 20.0]
length_m = 8.0
width_m = 6.0
bearing_deg = 90.0
eaves_m = 3.0
roof = "flat"
wall_material = "timber 20 mm"
"""


def warnings(text, *changes):
    """All warnings about a plan but those of materials and of obstacles that no line crosses."""
    for old, new in changes:
        assert text.count(old) >= 1, old
        text = text.replace(old, new, 1)
    scene = scene_of(plan_of(parse_text(text, "plan.toml"), file="plan.toml", folder=Path()))
    found = inspect(scene, met=np.ones(len(scene.obstacles), dtype=bool)).warnings
    return [one for one in found if not one.startswith("loss of")]


def one_about(text, word, *changes):
    """The only warning that has a word in it."""
    (found,) = [one for one in warnings(text, *changes) if word in one]
    return found


OPEN_ENDS = [one for one in warnings(SITES["house"]) if "is open" in one]


def test_the_demo_sites_have_no_warning_but_for_the_gables_that_the_house_lacks():
    assert warnings(SITES["farm"]) == warnings(SITES["warehouse"]) == []
    assert warnings(SITES["house"]) == OPEN_ENDS
    assert [one.partition(" closes")[0] for one in OPEN_ENDS] == [
        (
            '"west tiles" and "east tiles" over "outer wall": the end at [4.5, 14] is open, up to 1.82 m high; a '
            "[[roof]] with corners = [[9, 14, 2.7], [0, 14, 2.7], [4.5, 14, 4.52]]"
        ),
        (
            '"west tiles" and "east tiles" over "outer wall": the end at [4.5, 0] is open, up to 1.82 m high; a '
            "[[roof]] with corners = [[0, 0, 2.7], [9, 0, 2.7], [4.5, 0, 4.52]]"
        ),
    ]


def test_gables_as_the_warning_writes_them_close_the_house():
    gables = "".join(
        roof(f"[{one.partition('corners = [')[2].partition(' closes')[0]}", name=f'"gable {k}"')
        for k, one in enumerate(OPEN_ENDS)
    )
    assert warnings(SITES["house"] + gables) == []


# The roof of the farm's workshop is 4.0 m high at the eaves and 5.28 m at the ridge, 6 m behind: 4.192 m at y = 0.90.
def test_an_array_under_its_roof_is_told_with_the_height_that_puts_it_above():
    assert warnings(SITES["farm"], ("height_m = 4.29", "height_m = 4.12")) == [
        'array "S": 30 of 30 lie 7 cm below "workshop south roof"; above it they would be at height_m = 4.29'
    ]


def test_an_array_in_its_roof_is_told():
    told = warnings(SITES["farm"], ("height_m = 4.29", "height_m = 4.192"), ("tilt_deg = 12.0", "tilt_deg = 12.0425"))
    assert told == ['array "S": 30 of 30 lie in "workshop south roof"; above it they would be at height_m = 4.29']


def test_a_bearing_that_runs_the_wrong_way_is_told():
    told = one_about(SITES["house"], "array", ("bearing_deg = 180.0", "bearing_deg = 0.0"))
    assert told == (
        'array "W": 1 of 6 lie 81 cm above "carport roof", 3 of 6 lie over no roof; with bearing_deg = 180 all lie 6 '
        'cm above "west tiles"'
    )


def test_a_slope_that_is_not_the_roof_s_is_told():
    told = one_about(SITES["house"], "array", ("tilt_deg = 22.0", "tilt_deg = 10.0"))
    assert told.endswith('with tilt_deg = 22 all lie 6 cm above "west tiles"')
    told = one_about(SITES["warehouse"], "array", ("row_spacing_m = 2.00", "row_spacing_m = 2.00\ntilt_deg = 10"))
    assert told.startswith('array "S1": 40 of 50 lie 60 cm to 1.64 m above')
    assert "with tilt_deg = 0 all lie 25 cm above" in told


def test_x_and_y_in_the_wrong_order_are_told():
    told = one_about(SITES["house"], "array", ("first = [1.20, 11.00]", "first = [11.00, 1.20]"))
    assert 'with first = [1.2, 11] all lie 6 cm above "west tiles"' in told


def test_an_array_high_over_its_roof_is_told_and_one_on_a_frame_is_not():
    told = warnings(SITES["farm"], ("height_m = 4.29", "height_m = 5.49"))
    assert told == [
        'array "S": 30 of 30 lie 1.30 m above "workshop south roof"; 10 cm above it they would be at height_m = 4.29'
    ]
    assert warnings(SITES["farm"], ("height_m = 4.29", "height_m = 4.60")) == []


def test_an_array_far_from_any_roof_is_not_looked_at():
    ground = array(first="[0, 30]", height_m=0.8, per_row=4)
    assert warnings(SITES["farm"] + ground) == []


@pytest.mark.parametrize(
    ("height_m", "told"),
    [
        (2.95, ['inverter i9 lies 5 cm below "flat"; above it it would be at height_m = 3.10']),
        (3.0, ['inverter i9 lies in "flat"; above it it would be at height_m = 3.10']),
        (3.1, []),
        (2.0, []),
    ],
)
def test_a_single_inverter_under_a_roof_is_told(height_m, told):
    flat = roof("[[20, 0, 3], [26, 0, 3], [26, 6, 3], [20, 6, 3]]", name='"flat"')
    inverter = entry("inverter", name='"i9"', at="[23, 3]", height_m=height_m)
    assert warnings(MINIMAL + flat + inverter) == told


def test_inverters_may_hang_under_a_roof_of_modules():
    canopy = roof("[[20, 0, 3], [26, 0, 3], [26, 6, 3], [20, 6, 3]]", material='"pv module"')
    assert warnings(MINIMAL + canopy + entry("inverter", name='"i9"', at="[23, 3]", height_m=2.9)) == []


def test_inverters_at_the_edge_of_their_roof_are_told_with_how_far_to_move():
    assert warnings(SITES["farm"], ("first = [1.15, 0.90]", "first = [0.30, 0.90]")) == [
        (
            'array "S": 3 of 30 lie nearer to the edge of "workshop south roof" than a quarter of the spacing, 57 cm: '
            "S-1-1 30 cm. The modules would reach beyond the roof. Move the array 28 cm along the rows, or measure the "
            "roof again"
        )
    ]
    assert warnings(SITES["farm"], ("first = [1.15, 0.90]", "first = [0.58, 0.90]")) == []


def test_inverters_beyond_the_edge_of_their_roof_are_told():
    told = one_about(SITES["farm"], 'array "S"', ("first = [1.15, 0.90]", "first = [-0.30, 0.90]"))
    assert told.startswith('array "S": 3 of 30 lie ')


@pytest.mark.parametrize(("height_m", "slit"), [(3.97, "3 cm"), (3.72, "28 cm"), (3.998, "2 mm")])
def test_a_wall_too_low_for_its_roof_leaves_a_slit(height_m, slit):
    joint = {"3 cm": "0.05", "28 cm": "0.30", "2 mm": "0.05"}[slit]
    assert warnings(SITES["farm"], ("height_m = 4.0\n", f"height_m = {height_m}\n")) == [
        f'{slit} between "workshop south wall" and "workshop south roof": joint_m = {joint} closes it'
    ]


def test_a_wall_that_ends_in_front_of_another_leaves_a_slit():
    both = wall(name='"a"', along="[[20, 0], [20, 5]]") + wall(name='"b"', along="[[20.04, 5], [26, 5]]")
    assert warnings(MINIMAL + both) == ['4 cm between "a" and "b": joint_m = 0.05 closes it']
    assert warnings(MINIMAL + both.replace("20.04", "20")) == []
    assert warnings(MINIMAL + both.replace("20.04", "20.4")) == []


def test_two_pieces_of_roof_that_miss_each_other_are_told_where():
    one = roof("[[20, 0, 3], [26, 0, 3], [26, 6, 3], [20, 6, 3]]", name='"one"')
    other = roof("[[26.1, 0, 3], [30, 0, 3], [30, 6, 3], [26.1, 6, 3]]", name='"other"')
    told = warnings(MINIMAL + one + other)
    assert len(told) == 1
    assert told[0].startswith('10 cm between "one" and "other": move the edge of "one" from [26, ')
    assert warnings(MINIMAL + one + other.replace("26.1", "26")) == []


@pytest.mark.parametrize(
    ("eaves_y", "height_m", "slits"),
    [
        (-0.3, 3.0, 0),  # a roof that overhangs a wall which meets it: its plane is 3 m high over y = 0
        (-0.3, 2.95, 1),
        (0.0, 3.5, 0),  # a parapet above the roof's edge
    ],
)
def test_overhangs_and_parapets_are_no_slits(eaves_y, height_m, slits):
    fall = 0.2
    low_m = 3.0 + fall * eaves_y
    corners = f"[[20, {eaves_y}, {low_m}], [26, {eaves_y}, {low_m}], [26, 5, 4], [20, 5, 4]]"
    plan = MINIMAL + roof(corners) + wall(along="[[20, 0], [26, 0]]", height_m=height_m)
    assert sum("between" in one for one in warnings(plan)) == slits


def test_sheets_side_by_side_are_no_slit():
    lining = wall(name='"a"', along="[[20, 0], [20, 5]]") + wall(name='"b"', along="[[20.1, 0.5], [20.1, 4.5]]")
    assert warnings(MINIMAL + lining) == []


def test_walls_in_one_line_are_told_and_walls_end_to_end_are_not():
    both = wall(name='"a"', along="[[20, 0], [20, 5]]") + wall(name='"b"', along="[[20.01, 2], [20.01, 9]]")
    assert warnings(MINIMAL + both) == [
        '"a" and "b" stand in one line over 3.00 m: a line through both pays twice there. Write the wall once'
    ]
    assert warnings(MINIMAL + both.replace("[20.01, 2]", "[20, 5]").replace("20.01", "20")) == []


def test_modules_drawn_as_sheets_close_over_steel_are_told_and_high_over_it_they_are_not():
    drawn = ("tilt_deg = 12.0", "tilt_deg = 12.0\nmodule_depth_m = 1.7")
    assert warnings(SITES["farm"], drawn) == [
        (
            'array "S": module_depth_m draws its modules as sheets 20 cm above "workshop south roof", which is metal: '
            "links lose about 10 dB too much. Leave module_depth_m out and give the loss as mounting_loss_db"
        )
    ]
    assert warnings(SITES["farm"], drawn, ("height_m = 4.29", "height_m = 4.90")) == []
    assert warnings(SITES["house"], ("tilt_deg = 22.0", "tilt_deg = 22.0\nmodule_depth_m = 1.7")) == OPEN_ENDS


def test_coordinates_in_degrees_are_told():
    text = MINIMAL.replace("[10.0, 0.0]", "[48.12, 11.56]").replace("[0.0, 0.0]", "[48.1203, 11.561]")
    assert one_about(text, "degrees") == (
        'coordinates look like degrees: "i1" [48.12, 11.56], "office" [48.1203, 11.561]. The plan takes them as '
        'metres, x east and y north. With "i1" as the zero point, "office" would be at [74.31, 33.4] if latitude '
        "comes first"
    )
    metres = MINIMAL.replace("[10.0, 0.0]", "[48.12, 11.56]").replace("[0.0, 0.0]", "[49.12, 11.56]")
    assert warnings(metres) == []


def test_coordinates_of_a_national_grid_are_told():
    text = MINIMAL.replace("[10.0, 0.0]", "[69161, 53348]").replace("[0.0, 0.0]", "[69160, 53350]")
    assert warnings(text) == [
        (
            'coordinates look like those of a national grid: "i1" [69161, 53348]. Losses are right, but take '
            '[69100, 53300] off all of them to make figures that can be read: "i1" would be at [61, 48]'
        )
    ]
    with pytest.raises(PlanError, match="from -100000 to 100000, in metres from a zero point on the site"):
        warnings(MINIMAL.replace("[10.0, 0.0]", "[691610, 5334800]"))
    assert warnings(MINIMAL.replace("[10.0, 0.0]", "[9161, 5348]").replace("[0.0, 0.0]", "[9160, 5348]")) == []


@pytest.mark.parametrize("wrong", ["1,8", "-1,85", "12,0 # to the eaves"])
def test_a_decimal_comma_is_told(wrong):
    number = wrong.partition(" ")[0]
    with pytest.raises(PlanError) as told:
        parse_text(MINIMAL.replace("height_m = 2.0", f"height_m = {wrong}", 1), "plan.toml")
    assert str(told.value).startswith("plan.toml: line 20, column ")
    assert str(told.value).endswith(f': "{number}" has a comma; write {number.replace(",", ".")} with a point')


def test_a_decimal_comma_in_an_opening_is_told():
    shed = SHED + 'opening = [{ on = "south wall", width_m = 1,2, height_m = 2.0 }]\n'
    with pytest.raises(PlanError, match=r'"1,2" has a comma; write 1\.2 with a point'):
        parse_text(MINIMAL + shed, "plan.toml")


def test_another_slip_in_the_file_is_told_as_before():
    with pytest.raises(PlanError, match="is not TOML: Invalid value"):
        parse_text("a = x", "plan.toml")


def test_openings_narrower_than_half_a_wavelength_are_told():
    slot = Opening(on="south wall", name="slot", width_m=0.1, height_m=2.0)
    (told,) = narrow_openings([("hall/slot", slot)], frequency_mhz=868.0)
    assert told.startswith('opening "hall/slot" is 10 cm wide, less than half a wavelength (17 cm)')
    assert list(narrow_openings([("hall/slot", slot)], frequency_mhz=2440.0)) == []


@pytest.mark.parametrize(
    "text",
    [
        wall(along="[[5, -5], [5, 5]]", height_m=3, opening='[{ name = "slot", width_m = 0.1, height_m = 2.0 }]'),
        SHED + 'opening = [{ on = "south wall", name = "slot", width_m = 0.1, height_m = 2.0 }]\n',
        SHED + 'inner_wall = [{ name = "w", material = "timber 20 mm", parallel_to = "west wall", in_m = 3.0, '
        'opening = [{ name = "slot", width_m = 0.1, height_m = 2.0 }] }]\n',
    ],
    ids=["a loose wall", "a building", "an inner wall"],
)
def test_narrow_openings_are_told_wherever_they_are(text):
    assert [one for one in warnings(MINIMAL + text) if '/slot" is 10 cm wide' in one]


def test_a_narrow_opening_without_a_name_is_told_by_its_face_and_whether_it_is_wide_or_high():
    shed = SHED + 'opening = [{ on = "south wall", width_m = 2.0, height_m = 0.1 }]\n'
    (told,) = [one for one in warnings(MINIMAL + shed) if "wavelength" in one]
    assert told.startswith('opening "shed/south wall opening" is 10 cm high, less than half a wavelength')


def test_a_gap_between_a_building_and_a_box_with_a_door_is_no_slit():
    """A roof on posts 15 cm over a container; a loose sheet in its place is told of."""
    roofed = SHED.replace('"timber 20 mm"', '"open"\nroof_material = "timber 20 mm"')
    under = (
        '[[box]]\nname = "c"\nmaterial = "welded steel"\ncentre = [14.0, 23.0]\nlength_m = 2.0\nwidth_m = 2.0\n'
        'height_m = 2.85\nopening = [{ on = "top", name = "hatch", width_m = 1.0, height_m = 1.0 }]\n'
    )
    assert [one for one in warnings(MINIMAL + roofed + under) if "between" in one] == []
    loose = wall(along="[[13.0, 23.0], [15.0, 23.0]]", height_m=2.85)
    assert [one for one in warnings(MINIMAL + roofed + loose) if one.startswith("15 cm between")] != []


def test_an_end_of_a_building_is_open_where_its_plan_says_so():
    """The loose shed that it equals is told of."""
    gabled = SHED.replace('roof = "flat"', 'roof = "gable"\nridge_m = 4.5')
    opened = gabled + 'materials = { "west wall" = "open", "east gable" = "open" }\n'
    assert [one for one in warnings(MINIMAL + opened) if "is open" in one] == []
    loose = sheets_text(plan_of(parse_text(MINIMAL + opened, "plan.toml"), file="plan.toml"))
    assert [one for one in warnings(loose) if "is open" in one] != []


@pytest.mark.parametrize(("off_m", "near"), [(0.03, True), (0.08, True), (0.10, False)])
def test_a_gateway_a_little_off_a_wall_is_told(off_m, near):
    told = warnings(MINIMAL + wall(along=f"[[{-off_m}, -5], [{-off_m}, 5]]", height_m=3))
    assert [one.partition(". The")[0] for one in told] == (
        [f'"office" is {off_m * 100:.1f} cm from "w"'] if near else []
    )


def test_five_thousand_inverters_and_two_hundred_sheets_are_looked_over_within_a_second():
    """A plan in which everything is wrong: the links are left out, which are worked out all the same."""
    ring = "[[{0}, 0], [{1}, 0], [{1}, 40], [{0}, 40], [{0}, 0]]"
    halls = "".join(
        roof(f"[[{x}, 0, 5], [{x + 40}, 0, 5], [{x + 40}, 20, 9], [{x}, 20, 9]]", name=f'"south {x}"')
        + roof(f"[[{x}, 40, 5], [{x + 40}, 40, 5], [{x + 40}, 20, 9], [{x}, 20, 9]]", name=f'"north {x}"')
        + wall(name=f'"wall {x}"', along=ring.format(x, x + 40), height_m=4.97)
        + array(
            name=f'"A{x}"',
            first=f"[{x + 3}, 3]",
            bearing_deg=270,
            tilt_deg=11,
            height_m=5.6,
            rows=6,
            per_row=25,
            spacing_m=1.4,
            row_spacing_m=2,
        )
        for x in range(0, 50 * 34, 50)
    )
    scene = scene_of(plan_of(parse_text(MINIMAL + halls, "plan.toml"), file="plan.toml", folder=Path()))
    assert (len(scene.inverters), len(scene.sheets)) == (5101, 204)
    met = np.ones(len(scene.obstacles), dtype=bool)
    start = time.process_time()  # other work on the machine does not count
    found = inspect(scene, met=met).warnings
    assert time.process_time() - start < 1.0
    for word, count in (("with ", 34), ("between", 68), ("is open", 68)):
        assert sum(word in one for one in found) >= count
