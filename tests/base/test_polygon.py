"""Polygons in a plane, against figures worked by hand and against shapely on random ones."""

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from survey.base.polygon import contains, convex_parts, crosses_itself, signed_area_m2

# Corners anticlockwise and the area by hand: 3-4-5 triangle; L of three squares; a U of seven; an arrow head.
SHAPES = {
    "triangle": ([(0, 0), (4, 0), (4, 3)], 6.0),
    "square": ([(0, 0), (2, 0), (2, 2), (0, 2)], 4.0),
    "ell": ([(0, 0), (2, 0), (2, 1), (1, 1), (1, 2), (0, 2)], 3.0),
    "u": ([(0, 0), (3, 0), (3, 3), (2, 3), (2, 1), (1, 1), (1, 3), (0, 3)], 7.0),
    "arrow head": ([(0, 0), (4, 2), (0, 4), (2, 2)], 4.0),
    "corner in a straight side": ([(0, 0), (1, 0), (2, 0), (2, 2), (0, 2)], 4.0),
}
every_shape = pytest.mark.parametrize("corners", [corners for corners, _ in SHAPES.values()], ids=SHAPES)
every_area = pytest.mark.parametrize(("corners", "area_m2"), SHAPES.values(), ids=SHAPES)


def random_polygon(seed, *, lumpy):
    """A simple polygon of 3 to 12 corners: a star about its middle; lumpy ones are mostly not convex."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(3, 13))
    angles = (np.arange(count) + rng.uniform(0.05, 0.95, count)) * 2.0 * np.pi / count
    radii_m = rng.uniform(0.3, 3.0, count) if lumpy else np.full(count, 2.0)
    corners = radii_m[:, None] * np.column_stack([np.cos(angles), np.sin(angles)]) + rng.uniform(-5, 5, 2)
    return corners[::-1] if rng.random() < 0.5 else corners


def simple(corners):
    return shapely.Polygon(corners).is_valid


def is_convex(corners):
    sides = np.roll(corners, -1, axis=0) - corners
    after = np.roll(sides, -1, axis=0)
    turns = sides[:, 0] * after[:, 1] - sides[:, 1] * after[:, 0]
    return bool(np.all(turns >= -1e-9))


SEEDS = st.integers(0, 2**32 - 1)
GRID_CORNERS = st.lists(st.tuples(st.integers(-3, 3), st.integers(-3, 3)), min_size=3, max_size=8, unique=True)
"""Corners on a small grid, where they often fall in line, on sides, and sides on each other."""


@every_area
def test_areas_worked_by_hand_are_positive_anticlockwise_and_negative_clockwise(corners, area_m2):
    assert signed_area_m2(np.array(corners, dtype=float)) == pytest.approx(area_m2)
    assert signed_area_m2(np.array(corners[::-1], dtype=float)) == pytest.approx(-area_m2)


@settings(max_examples=60, deadline=None)
@given(SEEDS)
def test_areas_are_those_of_shapely(seed):
    corners = random_polygon(seed, lumpy=True)
    assert abs(signed_area_m2(corners)) == pytest.approx(shapely.Polygon(corners).area)


@every_area
def test_parts_are_convex_anticlockwise_and_make_up_the_whole(corners, area_m2):
    parts = convex_parts(np.array(corners[::-1], dtype=float))
    assert all(is_convex(part) and signed_area_m2(part) > 0 for part in parts)
    assert sum(map(signed_area_m2, parts)) == pytest.approx(area_m2)


@pytest.mark.parametrize("shape", ["triangle", "square", "corner in a straight side"])
def test_a_convex_polygon_stays_whole_without_corners_in_its_sides(shape):
    corners, _ = SHAPES[shape]
    (part,) = convex_parts(np.array(corners, dtype=float))
    assert {tuple(corner) for corner in part.tolist()} == set(corners) - {(1, 0)}


@settings(max_examples=80, deadline=None)
@given(SEEDS)
def test_the_parts_of_random_polygons_are_convex_and_do_not_overlap_and_cover_all(seed):
    corners = random_polygon(seed, lumpy=True)
    assume(simple(corners))
    parts = convex_parts(corners)
    assert all(is_convex(part) for part in parts)
    assert sum(map(signed_area_m2, parts)) == pytest.approx(shapely.Polygon(corners).area)
    joined = shapely.union_all([shapely.Polygon(part) for part in parts])
    assert joined.symmetric_difference(shapely.Polygon(corners)).area == pytest.approx(0.0, abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(SEEDS, st.booleans())
def test_the_points_within_are_those_of_shapely(seed, lumpy):
    corners = random_polygon(seed, lumpy=lumpy)
    assume(simple(corners))
    points = np.random.default_rng(seed + 1).uniform(corners.min(axis=0) - 0.5, corners.max(axis=0) + 0.5, (300, 2))
    polygon = shapely.Polygon(corners)
    assert contains(corners, points).tolist() == shapely.covers(polygon, shapely.points(points)).tolist()


@settings(max_examples=60, deadline=None)
@given(SEEDS)
def test_a_point_within_lies_in_one_of_the_parts_and_one_outside_in_none(seed):
    corners = random_polygon(seed, lumpy=True)
    assume(simple(corners))
    points = np.random.default_rng(seed + 1).uniform(corners.min(axis=0), corners.max(axis=0), (300, 2))
    in_a_part = np.any([contains(part, points) for part in convex_parts(corners)], axis=0)
    assert in_a_part.tolist() == contains(corners, points).tolist()


@every_shape
def test_corners_and_middles_of_sides_lie_within(corners):
    corners = np.array(corners, dtype=float)
    middles = (corners + np.roll(corners, -1, axis=0)) / 2.0
    assert contains(corners, np.vstack([corners, middles])).all()


def test_how_near_the_edge_still_counts_can_be_said():
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    near = np.array([[1.005, 0.5], [1.02, 0.5]])
    assert contains(square, near).tolist() == [False, False]
    assert contains(square, near, edge_m=0.01).tolist() == [True, False]


@pytest.mark.parametrize("turned", range(4))
def test_a_ray_through_corners_counts_them_once(turned):
    """Points level with corners are where a careless ray test goes wrong, from whichever side it looks."""
    turn = np.linalg.matrix_power(np.array([[0.0, -1.0], [1.0, 0.0]]), turned)
    diamond = np.array([[0.0, -2.0], [2.0, 0.0], [0.0, 2.0], [-2.0, 0.0]]) @ turn.T
    points = np.array([[-3.0, 0.0], [0.0, 0.0], [3.0, 0.0], [-1.0, 2.0], [1.0, -2.0], [0.0, 1.0]])
    assert contains(diamond, points @ turn.T).tolist() == [False, True, False, False, False, True]


@every_shape
def test_a_simple_polygon_does_not_cross_itself(corners):
    assert not crosses_itself(np.array(corners, dtype=float))
    assert simple(corners)


CROSSING = {
    "bow tie": [(0, 0), (1, 1), (1, 0), (0, 1)],
    "a corner on another side": [(0, 0), (4, 0), (4, 4), (2, 0), (0, 4)],
    "two corners in one place": [(0, 0), (2, 2), (4, 0), (4, 4), (2, 2), (0, 4)],
    "a side that folds back": [(0, 0), (4, 0), (2, 0), (2, 2)],
    "a triangle folded flat": [(0, 0), (4, 0), (2, 0)],
    "sides upon each other": [(0, 0), (4, 0), (4, 2), (3, 0), (1, 0), (0, 2)],
    "five-pointed star": [(0, 3), (2, -3), (-3, 1), (3, 1), (-2, -3)],
}


@pytest.mark.parametrize("corners", CROSSING.values(), ids=CROSSING)
def test_a_polygon_that_meets_itself_is_found_out(corners):
    assert crosses_itself(np.array(corners, dtype=float))
    assert not simple(corners)


@settings(max_examples=150, deadline=None)
@given(GRID_CORNERS)
def test_whether_a_polygon_crosses_itself_is_what_shapely_says(corners):
    array = np.array(corners, dtype=float)
    assume(signed_area_m2(array) != 0)
    assert crosses_itself(array) == (not simple(corners))


@settings(max_examples=150, deadline=None)
@given(GRID_CORNERS)
def test_the_parts_of_polygons_with_corners_in_line_cover_all(corners):
    assume(simple(corners))
    parts = convex_parts(np.array(corners, dtype=float))
    assert all(is_convex(part) for part in parts)
    joined = shapely.union_all([shapely.Polygon(part) for part in parts])
    assert sum(map(signed_area_m2, parts)) == pytest.approx(shapely.Polygon(corners).area)
    assert joined.symmetric_difference(shapely.Polygon(corners)).area == pytest.approx(0.0, abs=1e-9)
