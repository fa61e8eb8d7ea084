"""Footprints: every way to say where a building stands."""

import numpy as np
import pytest
import shapely
from building_shapes import RIGHT_ANGLED, body, built, turned, walked

from survey.inputs.buildings import Building
from survey.inputs.buildings.footprints import _aligned

PLAIN = {"name": "b", "eaves_m": 3.0, "wall_material": "brick 110 mm"}
HOST = Building(
    name="workshop",
    corner=[0.0, 0.0],
    length_m=24.0,
    width_m=12.0,
    bearing_deg=90.0,
    eaves_m=4.0,
    wall_material="steel cladding",
)


def corners_of(**values):
    return body(Building(**PLAIN, **values)).footprint.corners_m


def same(one, other):
    return shapely.Polygon(one).symmetric_difference(shapely.Polygon(other)).area < 1e-9


def test_a_rectangle_lies_to_the_left_of_its_length():
    east = corners_of(corner=[1.0, 2.0], length_m=24.0, width_m=12.0, bearing_deg=90.0)
    assert east == pytest.approx(np.array([[1.0, 2.0], [25.0, 2.0], [25.0, 14.0], [1.0, 14.0]]))
    north = corners_of(corner=[1.0, 2.0], length_m=24.0, width_m=12.0, bearing_deg=0.0)
    assert north == pytest.approx(np.array([[1.0, 2.0], [1.0, 26.0], [-11.0, 26.0], [-11.0, 2.0]]))


def test_a_rectangle_may_be_given_by_its_centre():
    corners = corners_of(centre=[13.0, 8.0], length_m=24.0, width_m=12.0, bearing_deg=90.0)
    assert corners == pytest.approx(np.array([[1.0, 2.0], [25.0, 2.0], [25.0, 14.0], [1.0, 14.0]]))


@pytest.mark.parametrize("shape", RIGHT_ANGLED)
@pytest.mark.parametrize("bearing_deg", [90.0, 0.0, 217.0])
def test_sides_are_walked_along_the_bearing_and_to_the_left_of_it(shape, bearing_deg):
    corners = corners_of(corner=[3.0, 4.0], bearing_deg=bearing_deg, sides_m=RIGHT_ANGLED[shape])
    assert same(corners, turned(walked(RIGHT_ANGLED[shape]), 90.0 - bearing_deg, (3.0, 4.0)))


def test_a_walk_may_go_either_way_round():
    corners = corners_of(corner=[0.0, 0.0], bearing_deg=90.0, sides_m=[10.0, -4.0, -10.0, 4.0])
    assert same(corners, [[0, 0], [10, 0], [10, -4], [0, -4]])


def test_a_small_gap_is_spread_over_the_sides_by_length_and_reported():
    sides = [15.23, 7.8, -8.4, 5.6, -6.8, -13.4]
    faces = built(Building(**PLAIN, corner=[0.0, 0.0], bearing_deg=90.0, sides_m=sides))
    lengths = [wall.length_m for wall in faces.faces if wall.kind == "wall"]
    share = 0.03 / (15.23 + 8.4 + 6.8)
    assert lengths == pytest.approx([15.23 * (1 - share), 7.8, 8.4 * (1 + share), 5.6, 6.8 * (1 + share), 13.4])
    assert faces.moved_m == {"b": pytest.approx(0.03)}, "as walked, the last corner misses by the whole gap"


def test_what_closes_is_not_reported():
    assert built(Building(**PLAIN, corner=[0.0, 0.0], bearing_deg=90.0, sides_m=RIGHT_ANGLED["ell"])).moved_m == {}


@pytest.mark.parametrize("seed", range(20))
def test_corners_a_few_centimetres_off_are_squared_where_the_roof_needs_it(seed):
    rng = np.random.default_rng(seed)
    true = turned(walked(RIGHT_ANGLED["tee"]), float(rng.uniform(0.0, 90.0)))
    corners = (true + rng.uniform(-0.03, 0.03, true.shape)).round(3)
    flat = built(Building(**PLAIN, corners=corners.tolist()))
    assert same(flat.bodies["b"].footprint.corners_m, corners), "nothing moves where nothing needs it"
    gable = built(Building(**PLAIN, corners=corners.tolist(), roof="gable", pitch_deg=20.0))
    squared = gable.bodies["b"].footprint.corners_m
    assert np.abs(np.sum(np.diff(squared, axis=0)[1:] * np.diff(squared, axis=0)[:-1], axis=1)).max() < 1e-9
    moved = np.hypot(*(squared - corners).T).max()
    assert gable.moved_m["b"] == pytest.approx(moved, abs=1e-6)
    assert moved < 0.08
    assert len([face for face in gable.faces if face.kind == "roof"]) == 4, "both shoulders are one plane"


def test_a_round_building_has_twelve_corners_the_first_due_north():
    corners = corners_of(centre=[5.0, 5.0], across_m=4.0)
    assert len(corners) == 12
    assert corners[0] == pytest.approx([5.0, 7.0])
    assert np.hypot(*(corners - 5.0).T) == pytest.approx(2.0)


def test_an_outline_is_handed_in():
    faces = built(
        Building(**PLAIN, from_="map/hall"), outline=lambda name: np.array([[0, 0], [9, 0], [9, len(name)], [0, 8]])
    )
    assert same(faces.bodies["b"].footprint.corners_m, [[0, 0], [9, 0], [9, 8], [0, 8]])


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ({}, [[-6, 0], [0, 0], [0, 12], [-6, 12]]),
        ({"length_m": 4.0}, [[-6, 4], [0, 4], [0, 8], [-6, 8]]),
        ({"length_m": 4.0, "left_m": 1.0}, [[-6, 7], [0, 7], [0, 11], [-6, 11]]),
        ({"length_m": 4.0, "right_m": 1.0}, [[-6, 1], [0, 1], [0, 5], [-6, 5]]),
    ],
)
def test_a_joined_building_stands_out_from_the_wall(values, expected):
    faces = built(Building(**PLAIN, against="workshop/west wall", depth_m=6.0, **values), HOST)
    assert same(faces.bodies["b"].footprint.corners_m, expected)
    walls = [face.short_name for face in faces.bodies["b"].faces if face.kind == "wall"]
    assert walls == ["west wall", "south wall", "north wall"], (
        "side 1 is away from the other; the shared wall is not its"
    )
    assert faces.bodies["b"].shared == {"east wall": "workshop/west wall"}


def test_a_building_beside_another_stands_free_and_parallel():
    free = Building(**PLAIN, beside="workshop/south wall", gap_m=2.0, length_m=5.0, depth_m=3.0, left_m=-0.0)
    faces = built(free, HOST)
    assert same(faces.bodies["b"].footprint.corners_m, [[0, -5], [5, -5], [5, -2], [0, -2]])
    assert next(face.short_name for face in faces.bodies["b"].faces) == "south wall"
    assert faces.bodies["b"].carrier == "workshop"


def test_a_building_on_a_roof_follows_its_bearing_and_stands_on_its_lowest_point_there():
    stair = Building(**PLAIN, on="workshop/roof", centre=[12.0, 6.0], length_m=5.0, width_m=3.0)
    faces = built(stair, HOST)
    assert faces.bodies["b"].base_m == 4.0
    assert same(faces.bodies["b"].footprint.corners_m, [[9.5, 4.5], [14.5, 4.5], [14.5, 7.5], [9.5, 7.5]])
    sloped = Building(**{**vars(HOST), "roof": "gable", "ridge_m": 7.0})
    stair = Building(**PLAIN, on="workshop/north roof", centre=[12.0, 9.0], length_m=2.0, width_m=2.0)
    faces = built(stair, sloped)
    assert faces.bodies["b"].base_m == pytest.approx(4.0 + 2.0 * 0.5)


def test_the_order_in_the_file_does_not_matter():
    third = Building(
        name="third", beside="b/south wall", gap_m=1.0, length_m=2.0, depth_m=2.0, eaves_m=2.0, wall_material="x"
    )
    second = Building(**PLAIN, against="workshop/west wall", depth_m=6.0)
    both = [built(*order) for order in ((HOST, second, third), (third, second, HOST))]
    for name in ("workshop", "b", "third"):
        one, other = (faces.bodies[name] for faces in both)
        assert [face.name for face in one.faces] == [face.name for face in other.faces]
        assert np.array_equal(one.footprint.corners_m, other.footprint.corners_m)


def test_a_long_row_of_buildings_one_beside_the_other_is_built():
    """Far more of them than calls may nest."""
    row = [
        Building(
            name=f"b{number}",
            beside=f"b{number - 1}/east wall",
            gap_m=1.0,
            length_m=3.0,
            depth_m=3.0,
            eaves_m=2.0,
            wall_material="x",
        )
        for number in range(1, 400)
    ]
    first = Building(
        name="b0", corner=[0.0, 0.0], length_m=3.0, width_m=3.0, bearing_deg=90.0, eaves_m=2.0, wall_material="x"
    )
    last = built(*reversed(row), first).bodies["b399"].footprint.corners_m
    assert last.min(axis=0) == pytest.approx([399 * 4.0, 0.0])


def test_sides_nearly_in_line_are_put_in_one_by_their_lengths():
    """A U whose two arms end at 5 and at 5.05 m: 4 and 2 m wide, so in one line at 5.0167 m."""
    corners_m = np.array([[0, 0], [10, 0], [10, 5], [6, 5], [6, 2], [2, 2], [2, 5.05], [0, 5.05]], dtype=float)
    facing = np.array([0, 1, 2, 3, 2, 1, 2, 3])
    found = _aligned(corners_m, corners_m, facing, 0.1)
    wanted = corners_m.copy()
    wanted[[2, 3, 6, 7], 1] = (4.0 * 5.0 + 2.0 * 5.05) / 6.0
    assert found == pytest.approx(wanted)
    assert np.array_equal(_aligned(corners_m, corners_m, facing, 0.04), corners_m)


def test_no_side_is_lost_by_putting_others_in_line():
    """A step of 5 cm between two sides: in one line it would have no length."""
    corners_m = np.array([[0, 0], [10, 0], [10, 5], [5, 5], [5, 5.05], [0, 5.05]], dtype=float)
    assert np.array_equal(_aligned(corners_m, corners_m, np.array([0, 1, 2, 1, 2, 3]), 0.1), corners_m)
