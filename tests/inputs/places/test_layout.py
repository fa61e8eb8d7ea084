"""The example sites beside the project are read, with everything where arithmetic by hand puts it."""

import math
import tomllib

import numpy as np
import pytest
from places import SHARED
from plans import MINIMAL

from survey.budget import links_of
from survey.inputs.plan_file import parse_text, plan_of, read_plan
from survey.scene import scene_of

EXAMPLES = SHARED / "sites-as-seen"


def example(name):
    if not EXAMPLES.is_dir():
        pytest.skip("the folder shared/sites-as-seen does not lie beside this checkout")
    return read_plan(EXAMPLES / f"{name}.toml")


def at(plan, name):
    scene = scene_of(plan)
    ends = next(ends for ends in (scene.inverters, scene.gateways_and_spots) if name in ends.names)
    return ends.at_m[ends.names.index(name)]


NUMBERS = {
    "containers": (8, 2, 6),
    "depot": (28, 2, 20),
    "farm-new": (40, 62, 15),
    "flat-warehouse": (5 * 24 * 2 - 2, 12, 18),
    "ground": (120, 24, 14),
    "house-new": (12, 33, 12),
    "open-shed": (28, 3, 4),
    "warehouse-new": (400, 110, 12),
    "workshop": (50, 23, 13),
}
"""Inverters, spots and obstacles."""


@pytest.mark.parametrize("name", NUMBERS)
def test_every_example_is_read(name):
    scene = scene_of(example(name))
    assert (len(scene.inverters), len(scene.spots), len(scene.obstacles)) == NUMBERS[name]


def turned(point, bearing_deg):
    """A point so far along a bearing and so far to its left."""
    angle = math.radians(bearing_deg)
    along, left = point
    return [along * math.sin(angle) - left * math.cos(angle), along * math.cos(angle) + left * math.sin(angle)]


# By hand: the workshop's length runs along 110 degrees from 0, 0, and its south wall is side 1.
def test_the_spots_of_the_turned_workshop():
    plan = example("workshop")
    assert at(plan, "between the doors") == pytest.approx([*turned((11.0, -0.15), 110.0), 3.0], abs=1e-9)
    # seen from outside the east wall's left end is its south end; 2 m from the north end, 15 cm inside
    assert at(plan, "office") == pytest.approx([*turned((30.0 - 0.15, 13.0), 110.0), 1.8], abs=1e-9)
    # in the middle of the west wall, outside
    assert at(plan, "west gable") == pytest.approx([*turned((-0.15, 7.5), 110.0), 5.0], abs=1e-9)
    # 7.4 m up a slope of 10 degrees from the eaves at 4.5 m, and 1.5 m up from there
    slope = math.radians(10.0)
    ridge = [*turned((15.0, 7.4 * math.cos(slope)), 110.0), 4.5 + 7.4 * math.sin(slope) + 1.5]
    assert at(plan, "ridge mast") == pytest.approx(ridge, abs=1e-9)


def test_an_array_in_the_middle_of_a_roof_lies_its_gap_above_it_square_to_it():
    plan = example("workshop")
    slope = math.radians(10.0)
    up = 7.5 / math.cos(slope) / 2.0 - 1.8  # row 1 of three in the middle of the slope
    along = 15.0 - 11 * 2.3 / 2.0
    inward, high = up * math.cos(slope) - 0.1 * math.sin(slope), 4.5 + up * math.sin(slope) + 0.1 * math.cos(slope)
    assert at(plan, "S-1-1") == pytest.approx([*turned((along, inward), 110.0), high], abs=1e-6)
    frame = next(face for face in plan.faces if face.name == "workshop/south roof").frames[0]
    out_m = frame.places_m(scene_of(plan).inverters.at_m[:36])[:, 2]
    assert out_m == pytest.approx(np.full(36, 0.1), abs=1e-6)


def test_a_search_on_a_wall_begins_and_ends_before_its_corners():
    plan = example("workshop")
    (search,) = plan.searches
    # the north wall seen from outside runs back along the bearing: its left end is the east end
    assert np.array(search.along) == pytest.approx(
        np.array([turned((30.0 - 0.15, 15.15), 110.0), turned((0.15, 15.15), 110.0)]), abs=1e-9
    )
    assert search.heights_m == (2.0, 4.2)


def test_containers_beside_and_on_each_other():
    plan = example("containers")
    boxes = {one.name: one for one in plan.obstacles if one.kind == "box"}
    a2, a3, b1, b2 = (boxes[name] for name in ("A2", "A3", "B1", "B2"))
    assert a2.centre == pytest.approx((10.0, 5.0 + 2.438 + 0.10))
    # ISO 668: 12.192 m long, 2.896 m high; A3's middle is 3.029 m from the left end of the top's first side
    assert (a3.centre, a3.base_m) == (pytest.approx((10.0 - 6.096 + 3.029, 5.0)), pytest.approx(2.896))
    assert b1.centre == pytest.approx((10.0 + 6.096 + 6.0 + 3.029, 5.0))
    assert b2.centre == pytest.approx((b1.centre[0], 5.0 + 2.438))
    assert b2.bearing_deg % 180.0 == pytest.approx(90.0)
    assert boxes["A1"].closed_m() is None  # its doors stand open
    assert boxes["A1"].removed_as == "A1"
    assert at(plan, "on B2") == pytest.approx([b2.centre[0], b2.centre[1] + 1.219 + 0.15, 2.2])
    assert at(plan, "K-1-3") == pytest.approx([10.0, a2.centre[1], 2.591 + 0.10])
    assert at(plan, "M-1-2") == pytest.approx([19.1, 5.0, 3.1])


def test_plant_on_a_flat_roof_and_places_left_out():
    plan = example("flat-warehouse")
    boxes = {one.name: one for one in plan.obstacles if one.kind == "box"}
    unit, other = boxes["air handling unit 1"], boxes["air handling unit 2"]
    assert (unit.base_m, unit.bearing_deg) == (pytest.approx(8.3), pytest.approx(90.0))
    assert other.centre == pytest.approx((15.0 + 3.0 + 14.0 + 3.0, 18.0))
    assert other.base_m == pytest.approx(8.3)
    names = scene_of(plan).inverters.names
    assert "B-3-6" in names
    assert "B-3-7" not in names
    assert at(plan, "B-3-9") == pytest.approx([4.0 + 8 * 2.2, 24.0 + 2 * 2.0, 8.25])
    assert at(plan, "stair house wall") == pytest.approx([48.0, 18.0 + 1.5 + 0.15, 9.8])
    assert plan.attached["stair house"].carrier == "warehouse"
    (search,) = plan.searches
    assert np.array(search.along) == pytest.approx(np.array([[0.3, 0.3], [59.7, 0.3]]))
    assert search.heights_m == (9.8,)


def test_rows_on_the_ground_stand_level_and_their_modules_lean():
    plan = example("ground")
    (array,) = plan.arrays
    assert (array.bearing_deg, array.tilt_deg, array.height_m) == (67.5, 0.0, 0.9)
    back = turned((0.0, 6.0), 67.5)
    assert at(plan, "F-2-1") == pytest.approx([*back, 0.9])
    corners = np.array(array.module_rows()[0].corners)
    assert np.ptp(corners[:, 2]) == pytest.approx(4.2 * math.sin(math.radians(25.0)))
    assert corners[:, 2].mean() == pytest.approx(0.9 + 0.15)
    assert corners[2] @ [*turned((0.0, 1.0), 67.5), 0.0] > corners[1] @ [*turned((0.0, 1.0), 67.5), 0.0]


def test_the_open_side_of_a_shed_has_no_sheet_to_stand_off():
    plan = example("open-shed")
    assert "hay shed/north-east wall" not in scene_of(plan).obstacles.names
    # side 1 looks right of 135: south-west; the open side lies 9 m to the left of the bearing
    assert at(plan, "post at the open side") == pytest.approx([*turned((9.0, 9.0), 135.0), 3.0])
    assert at(plan, "back wall inside") == pytest.approx([*turned((9.0, 0.15), 135.0), 3.0])
    assert at(plan, "back wall outside") == pytest.approx([*turned((9.0, -0.15), 135.0), 3.0])


def test_positions_of_a_list_lie_on_their_roof():
    plan = example("depot")
    roof = next(face for face in plan.faces if face.name == "hall/south roof")
    places = roof.frames[0].places_m(np.array([[*one.at, one.height_m - 0.15] for one in plan.inverters]))
    assert places[0] == pytest.approx([3.0, 1.2, 0.0], abs=1e-9)
    assert places[-1] == pytest.approx([40.7, 3.0, 0.0], abs=1e-9)
    assert plan.attached["H01"].face == "hall/south roof"
    assert set(plan.moved_m) <= {"hall", "weighbridge hut"}


CUT = """
[[wall]]
name = "w"
material = "steel cladding"
along = [[5.0, -50.0], [5.0, 50.0]]
height_m = 50.0
opening = [{ name = "gate", left_m = 49.0, width_m = 2.0, height_m = 4.0%s }]
"""


def crossed(more):
    links = links_of(scene_of(plan_of(tomllib.loads(MINIMAL + more), file="x")))
    return [name for name, _ in links.met_by(0, 0)], float(links.straight_db[0, 0])


def test_a_wall_with_a_gate_stays_one_obstacle_and_its_leaf_is_another():
    names, loss_db = crossed(CUT % "")
    assert (names, loss_db) == ([], pytest.approx(0.0, abs=0.2))
    names, _ = crossed(CUT % ', material = "glass 6 mm"')
    assert names == ["w/gate"]
    plan = plan_of(tomllib.loads(MINIMAL + CUT % ', material = "glass 6 mm"'), file="x")
    assert {one.name: (one.entry, one.removed_as) for one in plan.obstacles} == {
        "w": (("wall", "w"), "w"),
        "w/gate": (("wall", "w"), "w"),
    }


def test_a_list_of_points_makes_arrays_and_serials_run_on():
    more = """
[[building]]
name = "hall"
corner = [0.0, 20.0]
length_m = 40.0
width_m = 20.0
bearing_deg = 90.0
eaves_m = 5.0
wall_material = "steel cladding"
[[array]]
name = "A"
on = "hall/roof"
first = [[2.0, 22.0], [20.0, 22.0]]
per_row = [3, 1]
spacing_m = 2.0
row_spacing_m = 2.0
skip = ["1-2"]
serials = ["a", "b", "c", "d", "e", "f"]
[[array]]
name = "R"
on = "hall/roof"
faces = "south-west"
per_row = 3
spacing_m = 1.0
"""
    plan = plan_of(tomllib.loads(MINIMAL + more), file="x")
    scene = scene_of(plan)
    found = dict(zip(scene.inverters.names, scene.inverters.serials, strict=True))
    assert [found[name] for name in ("A1-1-1", "A1-1-3", "A1-2-1", "A2-1-1", "A2-1-3", "A2-2-1")] == [*"abcdef"]
    assert at(plan, "A1-2-1") == pytest.approx([4.0, 24.0, 5.1])  # the shorter row stands in the middle
    assert at(plan, "R-1-2") == pytest.approx([20.0, 30.0, 5.1])
    step = at(plan, "R-1-3") - at(plan, "R-1-2")
    assert step == pytest.approx([math.sqrt(0.5), -math.sqrt(0.5), 0.0])  # 90 degrees left of where they face


def test_a_search_inside_and_a_spot_on_a_floor():
    more = """
[[building]]
name = "flats"
corner = [0.0, 20.0]
length_m = 12.0
width_m = 10.0
bearing_deg = 90.0
eaves_m = 9.0
base_m = 1.0
wall_material = "brick 220 mm"
level = [{ name = "floor 3", height_m = 6.0, material = "concrete 200 mm" }]
[[spot]]
name = "hall"
inside = "flats/floor 3"
up_m = 1.5
[[search]]
name = "any"
inside = "flats"
ups_m = [2.0]
step_m = 3.0
"""
    plan = plan_of(tomllib.loads(MINIMAL + more), file="x")
    assert at(plan, "hall") == pytest.approx([6.0, 25.0, 1.0 + 6.0 + 1.5])
    (search,) = plan.searches
    corners = sorted(tuple(np.round(corner, 9)) for corner in search.within)
    assert corners == [(0.5, 20.5), (0.5, 29.5), (11.5, 20.5), (11.5, 29.5)]
    assert search.heights_m == (3.0,)


def test_the_order_of_things_in_the_file_does_not_matter():
    text = (EXAMPLES / "containers.toml").read_text(encoding="utf-8") if EXAMPLES.is_dir() else None
    if text is None:
        pytest.skip("the folder shared/sites-as-seen does not lie beside this checkout")
    tables = parse_text(text, "x")
    backwards = {name: value[::-1] if isinstance(value, list) else value for name, value in tables.items()}
    one, other = (scene_of(plan_of(dict(t), file="x")) for t in (tables, backwards))
    assert dict(zip(one.inverters.names, one.inverters.at_m.tolist(), strict=True)) == dict(
        zip(other.inverters.names, other.inverters.at_m.tolist(), strict=True)
    )


def test_a_long_row_of_boxes_does_not_nest():
    boxes = '[[box]]\nname = "b0"\nsize = "20 ft"\ncentre = [0, 90]\nbearing_deg = 90\n'
    boxes += "".join(
        f'[[box]]\nname = "b{i}"\nsize = "20 ft"\nbeside = "b{i - 1}/north side"\n' for i in range(1, 1200)
    )
    tables = tomllib.loads(MINIMAL + boxes)
    tables["box"] = tables["box"][::-1]
    plan = plan_of(tables, file="x")
    assert next(b for b in plan.obstacles if b.name == "b1199").centre[1] == pytest.approx(90 + 1199 * 2.438)


def test_a_box_on_a_roof_stands_in_its_middle_where_nothing_else_is_said():
    more = """
[[building]]
name = "hall"
corner = [0.0, 20.0]
length_m = 40.0
width_m = 20.0
bearing_deg = 90.0
eaves_m = 5.0
wall_material = "steel cladding"
[[box]]
name = "unit"
on = "hall/roof"
length_m = 2.0
width_m = 1.0
height_m = 1.5
material = "steel cladding"
"""
    plan = plan_of(tomllib.loads(MINIMAL + more), file="x")
    box = next(one for one in plan.obstacles if one.name == "unit")
    assert box.centre == pytest.approx((20.0, 30.0))
    assert box.base_m == pytest.approx(5.0)
