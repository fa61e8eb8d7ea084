"""Levels and inner walls."""

import numpy as np
import pytest
import shapely
from building_shapes import RIGHT_ANGLED, body

from survey.inputs.buildings import Building

HOUSE = {"name": "house", "corners": [[0.0, 0.0], [9.0, 0.0], [9.0, 14.0], [0.0, 14.0]], "eaves_m": 2.7}
ROOFED = {**HOUSE, "roof": "gable", "ridge_m": 4.5, "wall_material": "brick 110 mm"}
CEILING = {"name": "ceiling", "height_m": 2.5, "material": "plasterboard 12.5 mm"}
PLASTER = "plasterboard 25 mm"


def face(one, short_name):
    return next(face for face in one.faces if face.short_name == short_name)


def area_m2(one):
    return sum(shapely.Polygon(piece).area for _, piece in one.patches)


def test_a_level_goes_right_through():
    ceiling = face(body(Building(**ROOFED, level=[CEILING])), "ceiling")
    assert (area_m2(ceiling), ceiling.kind, ceiling.material) == (pytest.approx(126.0), "level", "plasterboard 12.5 mm")
    assert ceiling.point_m(left_m=1.0, up_m=2.0) == pytest.approx([1.0, 2.0, 2.5])


def test_above_the_eaves_a_level_is_as_wide_as_the_roof_leaves():
    """0.9 m above the eaves, of 1.8 m to the ridge: half as wide."""
    loft = face(body(Building(**ROOFED, level=[{**CEILING, "height_m": 3.6}])), "ceiling")
    assert area_m2(loft) == pytest.approx(126.0 / 2.0)
    corners = np.vstack(loft.sheets_m)
    assert (corners[:, 0].min(), corners[:, 0].max()) == pytest.approx((2.25, 6.75))


def test_an_inner_wall_goes_right_through_up_to_the_next_level():
    hall = {"name": "hall wall", "parallel_to": "west wall", "in_m": 5.2, "material": PLASTER}
    wall = face(body(Building(**ROOFED, level=[CEILING], inner_wall=[hall])), "hall wall")
    assert wall.frames[0].origin_m == pytest.approx([5.2, 14.0, 0.0]), "left as of the wall named"
    assert wall.frames[0].outside == pytest.approx([-1.0, 0.0, 0.0])
    assert (wall.length_m, wall.height_m) == pytest.approx((14.0, 2.5))


def test_without_a_level_above_it_goes_up_to_the_roof():
    hall = {"name": "hall wall", "parallel_to": "south wall", "in_m": 5.2, "material": PLASTER}
    wall = face(body(Building(**ROOFED, level=[CEILING], inner_wall=[{**hall, "foot_m": 2.5}])), "hall wall")
    assert area_m2(wall) == pytest.approx(9.0 * 0.2 + 9.0 * 1.8 / 2.0)
    assert wall.frames[0].origin_m == pytest.approx([0.0, 5.2, 2.5])


def test_a_part_of_an_inner_wall_is_measured_from_its_left_end_and_may_have_its_own_height():
    part = {"name": "p", "parallel_to": "west wall", "in_m": 5.2, "left_m": 3.0, "length_m": 4.0, "material": PLASTER}
    wall = face(body(Building(**ROOFED, inner_wall=[{**part, "height_m": 1.2}])), "p")
    assert wall.frames[0].origin_m == pytest.approx([5.2, 11.0, 0.0])
    assert (wall.length_m, wall.height_m) == pytest.approx((4.0, 1.2))


def test_an_inner_wall_may_stand_along_a_line_and_have_openings():
    along = {"name": "cupboard", "along": [[1.0, 1.0], [4.0, 1.0], [4.0, 3.0]], "material": PLASTER, "height_m": 2.0}
    door = {"name": "door", "left_m": 3.5, "width_m": 0.8, "height_m": 1.9}
    one = body(Building(**ROOFED, inner_wall=[{**along, "opening": [door]}]))
    assert (face(one, "cupboard").length_m, area_m2(face(one, "cupboard"))) == pytest.approx((5.0, 10.0 - 0.8 * 1.9))
    assert face(one, "door").point_m(left_m=0.0, up_m=0.0) == pytest.approx([4.0, 1.5, 0.0])


@pytest.mark.parametrize("short_m", [-0.06, 0.0, 0.06])
def test_ends_that_nearly_meet_a_wall_end_on_it(short_m):
    part = {"name": "p", "parallel_to": "south wall", "in_m": 5.0, "left_m": 0.0, "length_m": 5.2 + short_m}
    hall = {"name": "hall wall", "parallel_to": "west wall", "in_m": 5.2, "material": PLASTER}
    one = body(Building(**ROOFED, inner_wall=[{**part, "material": PLASTER}, hall]))
    assert face(one, "p").length_m == pytest.approx(5.2, abs=1e-9)
    free = {"name": "free", "along": [[0.07, 2.0], [3.0, 2.0]], "material": PLASTER}
    wall = face(body(Building(**ROOFED, inner_wall=[free])), "free")
    assert wall.frames[0].origin_m == pytest.approx([0.0, 2.0, 0.0])
    assert wall.length_m == pytest.approx(3.0)


def test_two_free_ends_that_nearly_meet_make_a_corner():
    walls = [
        {"name": "a", "along": [[2.0, 2.0], [4.97, 2.0]], "material": PLASTER, "height_m": 2.0},
        {"name": "b", "along": [[5.0, 2.05], [5.0, 6.0]], "material": PLASTER, "height_m": 2.0},
    ]
    one = body(Building(**ROOFED, inner_wall=walls))
    assert face(one, "a").point_m(left_m=face(one, "a").length_m, up_m=0.0) == pytest.approx([5.0, 2.0, 0.0])
    assert face(one, "b").frames[0].origin_m == pytest.approx([5.0, 2.0, 0.0])


def test_in_a_footprint_with_a_notch_an_inner_wall_stands_on_both_sides_of_it():
    u = {"corner": [0.0, 0.0], "bearing_deg": 90.0, "sides_m": RIGHT_ANGLED["u"], "eaves_m": 3.0}
    wall = {"name": "w", "parallel_to": "south wall", "in_m": 8.0, "material": PLASTER}
    one = face(body(Building(name="b", wall_material="x", **u, inner_wall=[wall])), "w")
    assert area_m2(one) == pytest.approx((5.0 + 6.0) * 3.0)
    assert one.length_m == pytest.approx(18.0)
