"""A building joined to another: what is shared, and where the other's overhang ends."""

import pytest
import shapely
from building_shapes import built

from survey.inputs.buildings import Building

HOST = {"name": "host", "corner": [0.0, 0.0], "length_m": 20.0, "width_m": 10.0, "bearing_deg": 90.0, "eaves_m": 4.0}


def both(joined, **host):
    values = {
        "name": "b",
        "against": "host/north wall",
        "depth_m": 5.0,
        "eaves_m": 2.5,
        "wall_material": "brick 110 mm",
    }
    return built(Building(**{**values, **joined}), Building(**HOST, **{"wall_material": "steel cladding", **host}))


def face(faces, name):
    return next((face for face in faces.faces if face.name == name), None)


def area_m2(one):
    return sum(shapely.Polygon(piece).area for _, piece in one.patches)


def test_higher_up_the_joined_building_has_its_own_wall():
    faces = both({"eaves_m": 6.0, "length_m": 8.0})
    own = face(faces, "b/south wall")
    assert area_m2(own) == pytest.approx(8.0 * 2.0)
    assert (min(up for _, up in own.outlines_m()[0]), own.material) == (4.0, "brick 110 mm")
    assert area_m2(face(faces, "host/north wall")) == pytest.approx(20.0 * 4.0)


def test_a_gable_end_against_a_wall_goes_on_above_it():
    faces = both({"eaves_m": 3.0, "length_m": 8.0, "depth_m": 12.0, "roof": "gable", "ridge_m": 5.0})
    assert area_m2(face(faces, "b/south wall")) == pytest.approx(4.0 / 2.0)  # 1 m high, 4 m wide, a triangle


def test_under_the_gable_of_the_other_nothing_is_left_over():
    faces = both({"against": "host/east wall", "roof": "mono-pitch", "ridge_m": 4.0}, roof="gable", ridge_m=6.0)
    assert face(faces, "b/west wall") is None
    named = both(
        {"against": "host/east wall", "eaves_m": 4.5, "length_m": 4.0},
        roof="gable",
        ridge_m=6.0,
        materials={"east gable": "timber 20 mm"},
    )
    assert face(named, "b/west wall") is None, "wall and gable of the other are in the same plane"


def test_the_others_overhang_ends_where_a_building_is_joined():
    plain, joined = (
        both({"length_m": length_m}, roof="gable", ridge_m=6.0, overhang_m=0.5) for length_m in (None, 8.0)
    )
    whole = built(Building(**HOST, wall_material="steel cladding", roof="gable", ridge_m=6.0, overhang_m=0.5))
    strip_m2 = 0.5 * (1.0 + 0.4**2) ** 0.5
    lost = [
        area_m2(face(whole, "host/north roof")) - area_m2(face(faces, "host/north roof")) for faces in (joined, plain)
    ]
    assert lost == pytest.approx([8.0 * strip_m2, 20.0 * strip_m2])
    assert area_m2(face(joined, "host/south roof")) == pytest.approx(area_m2(face(whole, "host/south roof")))


def test_a_joined_roof_has_no_overhang_over_the_shared_wall():
    faces = both({"length_m": 8.0, "roof": "mono-pitch", "ridge_m": 3.5, "overhang_m": 0.4})
    outline = shapely.MultiPoint([point for sheet in face(faces, "b/roof").sheets_m for point in sheet[:, :2]]).bounds
    assert outline == pytest.approx((6.0 - 0.4, 10.0, 14.0 + 0.4, 15.4))


def test_a_door_between_the_two_is_the_others():
    faces = both({}, opening=[{"on": "north wall", "name": "door", "width_m": 1.0, "height_m": 2.0}])
    assert face(faces, "host/door").owner == "host"
    with pytest.raises(Exception, match='"b/south wall" is shared; write "host/north wall"'):
        faces.face("b/south wall")


def test_it_stands_on_the_foot_of_the_other():
    faces = both({"roof": "mono-pitch", "ridge_m": 3.5}, base_m=1.2)
    assert faces.bodies["b"].base_m == 1.2
    assert face(faces, "b/roof").frames[0].origin_m[2] == pytest.approx(3.7)
