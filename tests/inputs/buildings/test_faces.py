"""Faces: what they are called, where they lie, and places on them."""

import numpy as np
import pytest
import shapely
from building_shapes import RIGHT_ANGLED, body, built, random_building

from survey.base.units import COMPASS
from survey.inputs.buildings import Building, bearing_of, box_faces, degrees_of, part_names, upright_face, word_of

RECTANGLE = {"corner": [0.0, 0.0], "length_m": 24.0, "width_m": 12.0, "bearing_deg": 90.0, "eaves_m": 4.0}
SHED = Building(name="shed", roof="gable", ridge_m=5.28, wall_material="steel cladding", **RECTANGLE)


def names(one, *kinds):
    return [face.short_name for face in one.faces if face.kind in (kinds or {face.kind})]


def face(one, short_name):
    return next(face for face in one.faces if face.short_name == short_name)


# -------------------------------------------------------------------------------------------------------------- names


def test_a_wall_is_called_after_the_way_it_looks_and_a_roof_after_the_wall_at_its_eaves():
    assert names(body(SHED)) == ["south wall", "east wall", "north wall", "west wall", "south roof", "north roof"]
    assert next(face.name for face in body(SHED).faces) == "shed/south wall"


def test_walls_of_the_same_name_are_numbered_in_the_order_of_the_sides_and_roofs_with_them():
    tee = {"corner": [0.0, 0.0], "bearing_deg": 90.0, "sides_m": RIGHT_ANGLED["ell"], "eaves_m": 3.0}
    one = body(Building(name="b", roof="gable", pitch_deg=20.0, wall_material="x", **tee))
    walls = ["south wall", "east wall 1", "north wall 1", "east wall 2", "north wall 2", "west wall"]
    assert names(one, "wall") == walls
    assert names(one, "roof") == ["south roof", "north roof 1", "east roof 2", "west roof"]


def test_a_plane_with_eaves_in_pieces_takes_the_first_name_and_the_leftmost_left_end():
    """A T: both shoulders look north and are one plane, called after the first of them; seen from outside the eastern
    shoulder is on the left."""
    tee = {"corner": [0.0, 0.0], "bearing_deg": 90.0, "sides_m": RIGHT_ANGLED["tee"], "eaves_m": 3.0}
    one = body(Building(name="b", roof="gable", pitch_deg=20.0, wall_material="x", **tee))
    shoulders = face(one, "north roof 1")
    assert shoulders.frames[0].origin_m == pytest.approx([20.0, 6.0, 3.0])
    assert shoulders.length_m == pytest.approx(20.0)
    assert "north roof 3" not in names(one)


def test_sides_may_have_names_of_their_own():
    one = body(
        Building(name="b", roof="gable", ridge_m=6.0, wall_material="x", **RECTANGLE, side_names=["street", "", "", ""])
    )
    assert names(one) == ["street wall", "east wall", "north wall", "west wall", "street roof", "north roof"]


@pytest.mark.parametrize("roof", [{}, {"roof": "mono-pitch", "falls": "north", "pitch_deg": 10.0}])
def test_a_flat_or_mono_pitch_roof_is_just_roof(roof):
    assert names(body(Building(name="b", wall_material="x", **RECTANGLE, **roof)), "roof") == ["roof"]


def test_a_round_building_has_one_wall_that_begins_due_north():
    one = body(Building(name="silo", centre=[5.0, 5.0], across_m=8.0, eaves_m=9.0, wall_material="welded steel"))
    assert names(one) == ["wall", "roof"]
    wall = face(one, "wall")
    assert len(wall.sheets_m) == 12
    assert wall.frames[0].origin_m == pytest.approx([5.0, 9.0, 0.0])
    assert wall.length_m == pytest.approx(12 * 8.0 * np.sin(np.pi / 12))
    for left_m in np.linspace(0.0, wall.length_m, 25):
        x, y, z = wall.point_m(left_m=left_m, up_m=2.0)
        assert 4.0 * np.cos(np.pi / 12) - 1e-9 <= np.hypot(x - 5.0, y - 5.0) <= 4.0 + 1e-9
        assert z == 2.0


def test_a_gable_is_apart_from_its_wall_only_where_it_is_named():
    one = body(
        Building(
            name="b", roof="gable", ridge_m=6.0, wall_material="brick", **RECTANGLE, materials={"west gable": "timber"}
        )
    )
    assert names(one, "wall", "gable") == ["south wall", "east wall", "north wall", "west wall", "west gable"]
    gable = face(one, "west gable")
    assert (gable.material, gable.frames[0].origin_m[2], gable.height_m) == ("timber", 4.0, 2.0)
    assert (face(one, "west wall").height_m, face(one, "east wall").height_m) == (4.0, 6.0)


@pytest.mark.parametrize("word", COMPASS)
def test_a_compass_word_is_that_of_its_own_bearing(word):
    assert word_of(degrees_of(word)) == word
    assert word_of(degrees_of(word) - 22.5) == word, "between two words the next clockwise"
    assert word_of(degrees_of(word) - 22.51) != word


def test_part_names_follow_the_sides_of_a_box_turned_like_the_shed():
    assert part_names([200.0, 110.0, 20.0, 290.0], "side") == ["south side", "east side", "north side", "west side"]


# ------------------------------------------------------------------------------------------------------------- frames


@pytest.mark.parametrize("seed", range(40))
def test_a_place_on_a_face_lies_on_it_and_a_gap_stands_off_it(seed):
    rng = np.random.default_rng(seed)
    for one in body(random_building(seed)).faces:
        frame = one.frames[0]
        assert np.linalg.det([frame.along, frame.up, frame.outside]) == pytest.approx(1.0)
        sheet = one.sheets_m[int(rng.integers(len(one.sheets_m)))]
        target = rng.dirichlet(np.ones(len(sheet))) @ sheet
        left_m, up_m, out_m = frame.places_m(target)[0]
        assert out_m == pytest.approx(0.0, abs=1e-6)
        assert one.point_m(left_m=left_m, up_m=up_m) == pytest.approx(target, abs=1e-6)
        assert one.beyond_m(left_m=left_m, up_m=up_m) < 1e-6
        off = one.point_m(left_m=left_m, up_m=up_m, out_m=0.15) - target
        assert np.linalg.norm(off) == pytest.approx(0.15, abs=1e-5)


@pytest.mark.parametrize("seed", range(40))
def test_outside_is_away_from_the_building(seed):
    one = body(random_building(seed))
    footprint = shapely.Polygon(one.footprint.corners_m)
    for wall in (wall for wall in one.faces if wall.kind == "wall"):
        for out_m, expected in ((0.01, False), (-0.01, True)):
            point = wall.point_m(left_m=wall.length_m / 2.0, up_m=1.0, out_m=out_m)
            assert footprint.contains(shapely.Point(point[:2])) == expected
    assert all(roof.frames[0].outside[2] > 0 for roof in one.faces if roof.kind == "roof")


def test_left_is_left_as_one_stands_outside_before_the_wall_or_looks_up_the_slope():
    one = body(SHED)
    assert face(one, "south wall").point_m(left_m=18.0, up_m=2.6, out_m=0.15) == pytest.approx([18.0, -0.15, 2.6])
    assert face(one, "east wall").point_m(left_m=6.0, up_m=4.8, out_m=0.15) == pytest.approx([24.15, 6.0, 4.8])
    assert face(one, "north wall").point_m(left_m=1.0, up_m=1.0) == pytest.approx([23.0, 12.0, 1.0])
    assert face(one, "west wall").point_m(left_m=1.0, up_m=1.0) == pytest.approx([0.0, 11.0, 1.0])
    south, rise = face(one, "south roof"), 1.28 / 6.0
    cos = 1.0 / np.hypot(1.0, rise)
    assert south.point_m(left_m=1.15, up_m=0.92) == pytest.approx([1.15, 0.92 * cos, 4.0 + 0.92 * cos * rise])
    assert south.frames[0].slope_deg == pytest.approx(np.rad2deg(np.arctan(rise)))
    assert (south.length_m, south.height_m) == pytest.approx((24.0, 6.0 / cos))
    ((left_m, up_m),) = south.frames[0].places_over_m([(1.15, 0.92 * cos)])
    assert (left_m, up_m) == pytest.approx((1.15, 0.92))
    north = face(one, "north roof")
    assert bearing_of(north.frames[0].along[:2]) == 270.0
    assert north.frames[0].origin_m == pytest.approx([24.0, 12.0, 4.0])


def test_a_flat_roof_has_its_first_side_as_eaves():
    one = body(Building(name="b", wall_material="x", **RECTANGLE))
    assert face(one, "roof").point_m(left_m=3.0, up_m=2.0) == pytest.approx([3.0, 2.0, 4.0])


def test_sides_count_as_written_also_clockwise():
    corners = [[0.0, 0.0], [0.0, 14.0], [9.0, 14.0], [9.0, 0.0]]
    one = body(Building(name="b", corners=corners, eaves_m=3.0, wall_material="x"))
    assert names(one, "wall") == ["west wall", "north wall", "east wall", "south wall"]
    assert face(one, "west wall").frames[0].origin_m == pytest.approx([0.0, 14.0, 0.0])
    assert face(one, "roof").frames[0].origin_m == pytest.approx([0.0, 14.0, 3.0])


def test_how_far_up_and_how_far_beyond():
    wall = face(body(SHED), "west wall")
    assert [wall.top_m(left_m) for left_m in (0.0, 3.0, 6.0, 12.0)] == pytest.approx([4.0, 4.64, 5.28, 4.0])
    assert wall.top_m(12.5) is None
    assert wall.beyond_m(left_m=12.35, up_m=2.0) == pytest.approx(0.35)


def test_all_heights_are_from_the_foot_of_the_building():
    one = body(Building(name="b", wall_material="x", **RECTANGLE, base_m=1.5))
    assert face(one, "south wall").frames[0].origin_m[2] == 1.5
    assert face(one, "roof").frames[0].origin_m[2] == 5.5


def test_the_faces_of_a_box():
    corners = np.array([[0.0, 0.0], [0.0, -2.0], [6.0, -2.0], [6.0, 0.0]])
    faces = box_faces("A1", "welded steel", corners_m=corners, base_m=0.5, height_m=2.5)
    assert [one.name for one in faces] == ["A1/west side", "A1/south side", "A1/east side", "A1/north side", "A1/top"]
    assert faces[3].point_m(left_m=0.5, up_m=2.2, out_m=0.15) == pytest.approx([5.5, 0.15, 2.7])
    assert faces[4].point_m(left_m=0.5, up_m=1.0) == pytest.approx([1.0, -0.5, 3.0])


def test_the_face_of_a_loose_wall_runs_from_its_first_point():
    line = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 5.0]])
    wall = upright_face("w", "wall", "brick 110 mm", line_m=line, foot_m=0.0, height_m=3.0)
    assert (wall.name, wall.length_m, wall.height_m, len(wall.sheets_m)) == ("w", 15.0, 3.0, 2)
    assert wall.point_m(left_m=12.0, up_m=1.0, out_m=0.2) == pytest.approx([10.2, 2.0, 1.0])


def test_an_unknown_or_ambiguous_face_is_told_as_such():
    two = {"corner": [0.0, 0.0], "bearing_deg": 90.0, "sides_m": RIGHT_ANGLED["step"], "eaves_m": 3.0}
    faces = built(Building(name="hall", roof="hip", pitch_deg=10.0, wall_material="x", **two))
    with pytest.raises(
        Exception, match=r'^"hall" has three east roofs: "east roof 1" at 12\.0, 0\.0 \(4\.0 m long\), '
    ):
        faces.face("hall/east roof")
    with pytest.raises(Exception, match='"hall": "west rof" is not known; did you mean "west roof"'):
        faces.face("hall/west rof")
    with pytest.raises(Exception, match='"hull/west roof" is not known; did you mean "hall"'):
        faces.face("hull/west roof")
    assert faces.face("hall/west roof").kind == "roof"
