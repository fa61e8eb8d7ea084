"""Roofs: they cover the footprint once, and their height is the rule of the plan file, worked out another way."""

from itertools import combinations, pairwise

import numpy as np
import pytest
import shapely
from building_shapes import RIGHT_ANGLED, body, convex, random_building, turned, walked

from survey.inputs.buildings import Building
from survey.inputs.plan.opening import Opening

SNAPPED_M = 1e-7
"""Shapely's unions lose whole pieces where corners differ by rounding only, unless it may snap them to a grid."""


def covered(pieces):
    return shapely.union_all([shapely.Polygon(piece) for piece in pieces], grid_size=SNAPPED_M)


def area_of(pieces):
    return sum(shapely.Polygon(piece).area for piece in pieces)


@pytest.mark.parametrize("seed", range(120))
def test_the_planes_cover_the_footprint_once(seed):
    one = body(random_building(seed))
    footprint = shapely.Polygon(one.footprint.corners_m)
    inside = [piece for slope in one.slopes for piece in slope.inside]
    assert area_of(inside) == pytest.approx(footprint.area, abs=1e-6)
    assert covered(inside).symmetric_difference(footprint).area < 1e-4


@pytest.mark.parametrize("seed", range(0, 400, 3))
def test_the_faces_of_a_roof_cover_the_footprint_and_its_overhang_once(seed):
    one = body(random_building(seed))
    footprint = shapely.Polygon(one.footprint.corners_m)
    wide = footprint.buffer(one.building.overhang_m, join_style="mitre", mitre_limit=1_000.0)
    outlines = [sheet[:, :2] for face in one.faces if face.kind == "roof" for sheet in face.sheets_m]
    assert covered(outlines).symmetric_difference(wide).area < 1e-3
    assert area_of(outlines) == pytest.approx(wide.area, rel=1e-6)


def points_in(footprint, rng, count):
    low_x, low_y, high_x, high_y = footprint.bounds
    points = rng.uniform([low_x, low_y], [high_x, high_y], (6 * count, 2))
    return points[shapely.contains_xy(footprint, points)][:count]


def rectangles_in(footprint):
    """Every largest rectangle, by trying all that corners can make."""
    xs, ys = (np.unique(np.round(axis, 6)) for axis in np.array(footprint.exterior.coords).T)
    boxes = [shapely.box(x, y, x_2, y_2) for x, x_2 in combinations(xs, 2) for y, y_2 in combinations(ys, 2)]
    inside = [box for box in boxes if footprint.buffer(1e-6).covers(box)]
    return [box for box in inside if not any(other is not box and other.buffer(1e-6).covers(box) for other in inside)]


def rise_in(footprint, box, points, *, is_hip):
    """How far in from the nearest sloping side of a rectangle, by the rule of the plan file; negative outside."""
    x, y, x_2, y_2 = box.bounds
    along_x = x_2 - x >= y_2 - y
    ends = [((x, y), (x, y_2)), ((x_2, y), (x_2, y_2))] if along_x else [((x, y), (x_2, y)), ((x, y_2), (x_2, y_2))]
    corners = np.round(footprint.exterior.coords, 6).tolist()
    sides = [shapely.LineString(pair) for pair in pairwise(corners)]
    whole = [not is_hip and any(shapely.LineString(end).equals(side) for side in sides) for end in ends]
    from_x = [points[:, 0] - x, x_2 - points[:, 0]]
    from_y = [points[:, 1] - y, y_2 - points[:, 1]]
    long, short = (from_y, from_x) if along_x else (from_x, from_y)
    sloping = [*long, *(one for one, is_gable in zip(short, whole, strict=True) if not is_gable)]
    inside = (np.minimum(*from_x) >= 0) & (np.minimum(*from_y) >= 0)
    return np.where(inside, np.min(sloping, axis=0), -1.0)


@pytest.mark.parametrize("roof", ["gable", "hip"])
@pytest.mark.parametrize("shape", RIGHT_ANGLED)
def test_over_right_angles_the_highest_of_the_largest_rectangles_counts(shape, roof):
    corners = np.round(walked(RIGHT_ANGLED[shape]), 6)
    corners[:, 1] *= 1.0 if shapely.LinearRing(corners).is_ccw else -1.0
    footprint = shapely.Polygon(corners)
    points = points_in(footprint, np.random.default_rng(3), 400)
    rises = [rise_in(footprint, box, points, is_hip=roof == "hip") for box in rectangles_in(footprint)]
    expected_m = 3.0 + np.tan(np.deg2rad(32.0)) * np.max(rises, axis=0)
    for degrees in (0.0, 20.0, 137.0):
        values = {"corners": turned(corners, degrees, (7.0, -4.0)).tolist(), "eaves_m": 3.0, "pitch_deg": 32.0}
        one = body(Building(name="b", roof=roof, wall_material="brick 110 mm", **values))
        assert np.allclose(one.roof_height_m(turned(points, degrees, (7.0, -4.0))), expected_m, atol=1e-6)


@pytest.mark.parametrize("seed", range(12))
def test_a_hip_over_a_footprint_without_inner_corners_rises_with_the_distance_to_the_nearest_side(seed):
    rng = np.random.default_rng(seed)
    corners = np.round(convex(rng, 3 + seed % 6), 3)
    footprint = shapely.Polygon(corners)
    points = points_in(footprint, rng, 300)
    nearest_m = shapely.distance(footprint.exterior, shapely.points(points))  # without inner corners the nearest line
    values = {"corners": corners.tolist(), "eaves_m": 2.5, "pitch_deg": 25.0}
    one = body(Building(name="b", roof="hip", wall_material="brick 110 mm", **values))
    assert np.allclose(one.roof_height_m(points), 2.5 + np.tan(np.deg2rad(25.0)) * nearest_m, atol=1e-6)


@pytest.mark.parametrize("shape", RIGHT_ANGLED)
@pytest.mark.parametrize("roof", ["gable", "hip"])
def test_the_ridge_that_is_written_is_the_highest_point(shape, roof):
    values = {"corner": [0.0, 0.0], "bearing_deg": 33.0, "sides_m": RIGHT_ANGLED[shape], "eaves_m": 3.0}
    one = body(Building(name="b", roof=roof, ridge_m=5.4, wall_material="brick 110 mm", **values))
    tops = [float(sheet[:, 2].max()) for face in one.faces for sheet in face.sheets_m]
    assert max(tops) == pytest.approx(5.4, abs=1e-9)


def test_a_mono_pitch_runs_from_the_eaves_to_the_ridge():
    values = {"corner": [0.0, 0.0], "length_m": 18.0, "width_m": 9.0, "bearing_deg": 135.0, "eaves_m": 3.6}
    one = body(Building(name="b", roof="mono-pitch", falls="south-west", ridge_m=4.8, wall_material="x", **values))
    assert one.roof_height_m(one.footprint.corners_m) == pytest.approx([3.6, 3.6, 4.8, 4.8])


def test_the_gutter_hangs_lower_by_the_overhang():
    """An overhang of 0.6 m at 30 degrees: the gutter hangs 0.6 x tan 30 = 0.346 m below the eaves."""
    values = {"corner": [0.0, 0.0], "length_m": 12.0, "width_m": 8.0, "bearing_deg": 90.0, "eaves_m": 3.0}
    one = body(Building(name="b", roof="gable", pitch_deg=30.0, overhang_m=0.6, wall_material="x", **values))
    south = next(face for face in one.faces if face.short_name == "south roof")
    assert south.frames[0].origin_m == pytest.approx([-0.6, -0.6, 3.0 - 0.6 * np.tan(np.deg2rad(30.0))])
    assert south.length_m == pytest.approx(13.2)
    assert south.height_m == pytest.approx(4.6 / np.cos(np.deg2rad(30.0)))
    walls = [face for face in one.faces if face.kind == "wall"]
    assert [face.height_m for face in walls] == pytest.approx([3.0, 3.0 + 4.0 * np.tan(np.deg2rad(30.0))] * 2)


def test_saw_teeth_rise_from_the_low_side_each_with_its_upright():
    values = {"corner": [0.0, 0.0], "length_m": 12.0, "width_m": 9.0, "bearing_deg": 90.0, "eaves_m": 4.0}
    saw = Building(name="b", roof="saw-tooth", falls="south", teeth=3, ridge_m=5.5, wall_material="x", **values)
    one = body(saw)
    points = np.array([[6.0, 0.001], [6.0, 2.999], [6.0, 3.001], [6.0, 8.999]])
    assert one.roof_height_m(points) == pytest.approx([4.0, 5.5, 4.0, 5.5], abs=1e-3)
    names = [face.short_name for face in one.faces if face.kind in {"roof", "glazing"}]
    assert names == [f"south roof {n}" for n in (1, 2, 3)] + [f"north glazing {n}" for n in (1, 2, 3)]
    glazing = [face for face in one.faces if face.kind == "glazing"]
    assert {face.material for face in glazing} == {"glass 6 mm"}
    assert [float(face.frames[0].origin_m[1]) for face in glazing] == pytest.approx([3.0, 6.0, 9.0])
    assert all(face.frames[0].outside == pytest.approx([0.0, 1.0, 0.0]) for face in glazing)


def test_walls_go_on_to_the_parapet_or_to_the_roof_where_that_is_higher():
    values = {"corner": [0.0, 0.0], "length_m": 12.0, "width_m": 8.0, "bearing_deg": 90.0, "eaves_m": 3.0}
    one = body(Building(name="b", roof="gable", ridge_m=5.0, parapet_m=0.5, wall_material="x", **values))
    south, east = (next(face for face in one.faces if face.short_name == f"{way} wall") for way in ("south", "east"))
    assert south.height_m == pytest.approx(3.5)
    assert [east.top_m(left_m) for left_m in (0.0, 1.0, 2.0, 4.0)] == pytest.approx([3.5, 3.5, 4.0, 5.0])


def test_a_parapet_is_a_piece_of_its_own_since_nothing_on_the_deck_sees_the_wall_below():
    values = {"corner": [0.0, 0.0], "length_m": 12.0, "width_m": 8.0, "bearing_deg": 90.0, "eaves_m": 3.0}
    door = Opening(on="south wall", name="door", width_m=1.0, height_m=2.1, material="open")
    one = body(Building(name="b", roof="flat", parapet_m=0.9, wall_material="x", opening=(door,), **values))
    for face in one.faces:
        if face.kind == "wall":
            tops = [(sheet_m[:, 2].min(), sheet_m[:, 2].max()) for sheet_m in face.sheets_m]
            assert all(high <= 3.0 or (low, high) == pytest.approx((3.0, 3.9)) for low, high in tops)
            assert sum(low == pytest.approx(3.0) for low, _ in tops) == 1
    bare = body(Building(name="b", roof="none", parapet_m=0.9, wall_material="x", **values))
    assert all(len(face.sheets_m) == 1 for face in bare.faces), "without a deck it is one wall"


def test_a_hip_roof_may_have_gables_all_the_same():
    values = {"corner": [0.0, 0.0], "length_m": 12.0, "width_m": 8.0, "bearing_deg": 90.0, "eaves_m": 3.0}
    one = body(Building(name="b", roof="hip", ridge_m=5.0, gables=["west wall"], wall_material="x", **values))
    heights = {face.short_name: face.height_m for face in one.faces if face.kind == "wall"}
    assert heights == pytest.approx({"south wall": 3.0, "east wall": 3.0, "north wall": 3.0, "west wall": 5.0})
    assert [face.short_name for face in one.faces if face.kind == "roof"] == ["south roof", "east roof", "north roof"]


@pytest.mark.parametrize(
    ("runs", "high"), [("east", ["east wall", "west wall"]), ("north", ["south wall", "north wall"])]
)
def test_the_ends_of_a_square_hip_roof_are_where_its_ridge_would_end(runs, high):
    values = {"corner": [0.0, 0.0], "length_m": 9.0, "width_m": 9.0, "bearing_deg": 90.0, "eaves_m": 3.0}
    hip = {"name": "b", "roof": "hip", "ridge_m": 5.0, "ridge_runs": runs, "wall_material": "x"} | values
    one = body(Building(**hip, gables=high[:1]))
    assert [face.short_name for face in one.faces if face.kind == "wall" and face.height_m > 4.0] == high[:1]


@pytest.mark.parametrize(
    ("runs", "high"), [("east", ["east wall", "west wall"]), ("north", ["south wall", "north wall"])]
)
def test_the_ridge_runs_the_way_that_is_written(runs, high):
    values = {"corner": [0.0, 0.0], "length_m": 9.0, "width_m": 9.0, "bearing_deg": 90.0, "eaves_m": 3.0}
    one = body(Building(name="b", roof="gable", ridge_m=5.0, ridge_runs=runs, wall_material="x", **values))
    assert [face.short_name for face in one.faces if face.kind == "wall" and face.height_m > 4.0] == high


def test_a_corner_in_a_straight_side_changes_nothing_about_a_hip_roof():
    plain = [[0.0, 0.0], [9.0, 1.0], [7.0, 8.0], [1.0, 6.0]]
    values = {"eaves_m": 3.0, "pitch_deg": 30.0, "roof": "hip", "wall_material": "x", "overhang_m": 0.4}
    one = body(Building(name="b", corners=plain, **values))
    other = body(Building(name="b", corners=[*plain[:1], [4.5, 0.5], *plain[1:]], **values))
    assert [len(body.slopes) for body in (one, other)] == [4, 4]
    for first, second in zip(one.slopes, other.slopes, strict=True):
        assert covered(first.pieces).symmetric_difference(covered(second.pieces)).area < 1e-4
        assert first.gradient == pytest.approx(second.gradient)


def test_a_rectangle_drawn_a_few_centimetres_off_is_squared_for_the_gable_of_a_hip_roof():
    values = {"corners": [[0.0, 0.02], [12.0, 0.0], [12.03, 8.0], [0.0, 8.0]], "eaves_m": 3.0, "pitch_deg": 30.0}
    plain = body(Building(name="b", roof="hip", wall_material="x", **values))
    assert plain.footprint.moved_m == 0.0
    gabled = body(Building(name="b", roof="hip", gables=["east wall"], wall_material="x", **values))
    assert 0.005 < gabled.footprint.moved_m < 0.04
    with pytest.raises(Exception, match='gables: "south wall" is not the end'):
        body(Building(name="b", roof="hip", gables=["south wall"], wall_material="x", **values))


def test_a_roof_that_falls_to_a_corner_has_its_left_end_where_it_begins():
    """The side that looks south lies 2 m north of the lowest corner; places still run over the whole roof."""
    corners = [[0.0, 2.0], [4.0, 2.0], [7.0, 0.0], [9.0, 8.0], [0.0, 8.0]]
    values = {"corners": corners, "eaves_m": 3.0, "roof": "mono-pitch", "falls": "south", "pitch_deg": 10.0}
    one = body(Building(name="b", wall_material="x", **values))
    roof = next(face for face in one.faces if face.kind == "roof")
    assert roof.frames[0].origin_m == pytest.approx([0.0, 0.0, 3.0])
    assert roof.length_m == pytest.approx(9.0)
