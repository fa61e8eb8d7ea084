"""Openings: holes in faces, each with a face of its own."""

import numpy as np
import pytest
import shapely
from building_shapes import body, sheets

from survey.geometry import crossings
from survey.inputs.buildings import Building, Opening, box_faces, numbered, upright_face, with_openings

RECTANGLE = {"corner": [0.0, 0.0], "length_m": 30.0, "width_m": 15.0, "bearing_deg": 110.0, "eaves_m": 4.5}


def workshop(*openings, **more):
    values = {"roof": "gable", "pitch_deg": 10.0, "wall_material": "steel cladding", **more}
    return body(Building(name="workshop", **RECTANGLE, **values, opening=list(openings)))


def face(one, short_name):
    return next(face for face in one.faces if face.short_name == short_name)


def area_m2(one):
    return sum(shapely.Polygon(piece).area for _, piece in one.patches)


DOORS = {
    "on": "south wall",
    "name": "roller door",
    "left_m": 4.0,
    "width_m": 5.0,
    "height_m": 4.2,
    "count": 2,
    "every_m": 9.0,
}


def test_a_wall_with_doors_is_one_face_less_their_area_and_each_door_is_a_face():
    one = workshop(DOORS)
    wall = face(one, "south wall")
    assert area_m2(wall) == pytest.approx(30.0 * 4.5 - 2 * 5.0 * 4.2)
    holes = shapely.union_all([shapely.box(4.0, 0.0, 9.0, 4.2), shapely.box(13.0, 0.0, 18.0, 4.2)])
    left = shapely.union_all([shapely.Polygon(piece) for _, piece in wall.patches], grid_size=1e-7)
    assert left.symmetric_difference(shapely.box(0.0, 0.0, 30.0, 4.5).difference(holes)).area < 1e-5
    doors = [one for one in one.faces if one.kind == "opening"]
    assert [(door.name, door.material) for door in doors] == [
        ("workshop/roller door 1", "open"),
        ("workshop/roller door 2", "open"),
    ]
    assert doors[1].frames[0].origin_m == pytest.approx(wall.point_m(left_m=13.0, up_m=0.0))
    assert (doors[1].length_m, doors[1].height_m) == pytest.approx((5.0, 4.2))


def test_a_line_through_an_open_door_crosses_nothing_and_through_a_leaf_the_leaf():
    for material, expected in (("open", []), ("timber 20 mm", ["workshop/roller door 1"])):
        one = workshop({**DOORS, "material": material})
        shut = [face for face in one.faces if not face.is_open]
        wall = face(one, "south wall")
        starts, ends = (wall.point_m(left_m=6.0, up_m=1.5, out_m=out_m)[None] for out_m in (3.0, -3.0))
        made = sheets(one.faces)
        found = crossings(starts, ends, made)
        assert [shut[made.owner[sheet]].name for sheet in found.sheet] == expected


def test_without_a_position_an_opening_is_in_the_middle_and_a_row_too():
    one = workshop(
        {"on": "north wall", "name": "strip", "up_m": 3.0, "width_m": 20.0, "height_m": 0.8},
        {"on": "south roof", "name": "light", "width_m": 1.0, "height_m": 5.0, "count": 3, "every_m": 8.0},
    )
    assert face(one, "strip").frames[0].origin_m == pytest.approx(face(one, "north wall").point_m(left_m=5.0, up_m=3.0))
    roof = face(one, "south roof")
    up_m = (roof.height_m - 5.0) / 2.0
    assert face(one, "light 1").frames[0].origin_m == pytest.approx(roof.point_m(left_m=6.5, up_m=up_m))
    assert face(one, "light 3").frames[0].origin_m == pytest.approx(roof.point_m(left_m=22.5, up_m=up_m))


def test_from_the_right_end_the_nearer_edge_counts_and_the_row_goes_on_to_the_left():
    door = {"on": "east wall", "name": "d", "right_m": 1.5, "width_m": 1.0, "height_m": 2.1}
    assert face(workshop(door), "d").frames[0].origin_m == pytest.approx(
        face(workshop(), "east wall").point_m(left_m=12.5, up_m=0.0)
    )
    row = workshop({**door, "count": 2, "every_m": 3.0})
    assert face(row, "d 2").frames[0].origin_m == pytest.approx(face(row, "east wall").point_m(left_m=9.5, up_m=0.0))


def test_openings_without_a_name_are_numbered_on_their_face():
    door = {"on": "east wall", "width_m": 1.0, "height_m": 2.1}
    one = workshop({**door, "left_m": 1.0}, {**door, "left_m": 4.0, "count": 2, "every_m": 2.0})
    names = [face.short_name for face in one.faces if face.kind == "opening"]
    assert names == [f"east wall opening {number}" for number in (1, 2, 3)]


def test_an_opening_may_reach_into_the_gable():
    one = workshop({"on": "east wall", "name": "hatch", "up_m": 3.0, "width_m": 2.0, "height_m": 2.5})
    assert area_m2(face(one, "east wall")) == pytest.approx(15.0 * 4.5 + 7.5**2 * np.tan(np.deg2rad(10.0)) - 5.0)


def test_an_opening_may_bend_around_a_round_wall():
    silo = Building(
        name="silo",
        centre=[0.0, 0.0],
        across_m=8.0,
        eaves_m=6.0,
        wall_material="welded steel",
        opening=[{"on": "wall", "name": "hatch", "left_m": 1.0, "up_m": 1.0, "width_m": 3.0, "height_m": 2.0}],
    )
    one = body(silo)
    hatch, wall = face(one, "hatch"), face(one, "wall")
    assert (hatch.length_m, hatch.height_m) == pytest.approx((3.0, 2.0))
    assert len(hatch.frames) == 2
    for left_m in (0.1, 1.0, 1.2, 2.9):
        assert hatch.point_m(left_m=left_m, up_m=0.5) == pytest.approx(wall.point_m(left_m=1.0 + left_m, up_m=1.5))
    assert area_m2(wall) == pytest.approx(wall.length_m * 6.0 - 6.0)


def test_the_same_cutter_serves_loose_walls_and_boxes():
    line = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 5.0]])
    wall = upright_face("w", "wall", "brick 110 mm", line_m=line, foot_m=0.0, height_m=3.0)
    whole, leaves, problems = with_openings(
        wall, numbered([Opening(name="gate", left_m=8.0, width_m=4.0, height_m=2.0)])
    )
    assert problems == []
    assert area_m2(whole) == pytest.approx(45.0 - 8.0)
    assert [leaf.name for leaf in leaves] == ["gate"]
    assert leaves[0].point_m(left_m=3.0, up_m=0.0) == pytest.approx([10.0, 1.0, 0.0])
    corners = np.array([[0.0, 0.0], [6.0, 0.0], [6.0, 2.4], [0.0, 2.4]])
    side = box_faces("A1", "welded steel", corners_m=corners, base_m=0.0, height_m=2.6)[1]
    _, leaves, _ = with_openings(side, numbered([Opening(name="A1 doors", width_m=2.3, height_m=2.5)]))
    assert [(leaf.name, leaf.owner) for leaf in leaves] == [("A1/A1 doors", "A1")]
    _, _, problems = with_openings(side, numbered([Opening(name="A1 doors", width_m=2.5, height_m=2.5)]))
    assert problems == [('opening "A1 doors"', '2.50 m wide, but "east side" is 2.40 m long')]


def test_the_top_of_a_box_begins_over_its_first_corner():
    corners = np.array([[1.0, 2.0], [7.0, 2.0], [7.0, 4.4], [1.0, 4.4]])
    top = box_faces("A1", "welded steel", corners_m=corners, base_m=0.5, height_m=2.6)[-1]
    assert top.point_m(left_m=0.0, up_m=0.0) == pytest.approx([1.0, 2.0, 3.1])
    assert top.point_m(left_m=6.0, up_m=2.4) == pytest.approx([7.0, 4.4, 3.1])
    (sheet,) = top.sheets_m
    assert sheet == pytest.approx(np.column_stack([corners, np.full(4, 3.1)]))


def test_an_opening_may_be_as_wide_as_its_wall_and_no_wider():
    line = np.array([[0.0, 0.0], [10.0, 0.0]])
    wall = upright_face("w", "wall", "brick 110 mm", line_m=line, foot_m=0.0, height_m=3.0)
    whole, _, problems = with_openings(wall, numbered([Opening(name="gate", width_m=10.0, height_m=2.0)]))
    assert problems == []
    assert area_m2(whole) == pytest.approx(10.0)
    assert with_openings(wall, numbered([Opening(name="gate", width_m=10.001, height_m=2.0)]))[2]
