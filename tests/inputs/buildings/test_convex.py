"""Convex pieces, with shapely as the oracle."""

import numpy as np
import pytest
import shapely
from building_shapes import convex, lumpy

from survey.inputs.buildings.convex import (
    area_m2,
    beyond_m,
    clip,
    common,
    holds,
    merged,
    outlines,
    parts_of,
    piece_of,
    without,
)


def random_piece(rng):
    return piece_of(convex(rng, int(rng.integers(3, 9))) * rng.uniform(0.3, 1.0) + rng.uniform(-4.0, 4.0, 2))


def total_m2(pieces):
    return sum(area_m2(piece) for piece in pieces)


@pytest.mark.parametrize("seed", range(40))
def test_common_and_without_are_the_intersection_and_the_difference(seed):
    rng = np.random.default_rng(seed)
    one, hole = random_piece(rng), random_piece(rng)
    shape, other = shapely.Polygon(one), shapely.Polygon(hole)
    shared = common(one, hole)
    assert (area_m2(shared) if shared else 0.0) == pytest.approx(shape.intersection(other).area, abs=1e-6)
    left = without([one], hole)
    assert total_m2(left) == pytest.approx(shape.difference(other).area, abs=1e-6)
    assert all(shapely.Polygon(piece).is_valid and shapely.Polygon(piece).exterior.is_ccw for piece in left)


@pytest.mark.parametrize("seed", range(40))
def test_clip_keeps_what_lies_on_one_side_of_a_line(seed):
    rng = np.random.default_rng(seed)
    piece, turn, offset_m = random_piece(rng), rng.uniform(0.0, 2.0 * np.pi), rng.uniform(-5.0, 5.0)
    normal = np.array([np.cos(turn), np.sin(turn)])
    along = np.array([-normal[1], normal[0]])
    middle = offset_m * normal
    side = [
        middle - 99 * along,
        middle - 99 * along + 99 * normal,
        middle + 99 * along + 99 * normal,
        middle + 99 * along,
    ]
    kept = clip(piece, *map(float, normal), offset_m)
    expected_m2 = shapely.Polygon(piece).intersection(shapely.Polygon(side)).area
    assert (area_m2(kept) if kept else 0.0) == pytest.approx(expected_m2, abs=1e-6)


@pytest.mark.parametrize("seed", range(40))
def test_parts_of_a_polygon_are_convex_and_cover_it_once(seed):
    rng = np.random.default_rng(seed)
    corners = lumpy(rng, int(rng.integers(4, 12)))
    parts = parts_of(corners if seed % 2 else corners[::-1])
    assert total_m2(parts) == pytest.approx(shapely.Polygon(corners).area)
    assert all(shapely.Polygon(part).convex_hull.area == pytest.approx(area_m2(part)) for part in parts)


def test_merged_puts_a_cut_rectangle_together_again():
    left, right = ((0.0, 0.0), (1.0, 0.0), (1.0, 3.0), (0.0, 3.0)), ((1.0, 0.0), (4.0, 0.0), (4.0, 3.0), (1.0, 3.0))
    (whole,) = merged([left, right])
    assert sorted(whole) == [(0.0, 0.0), (0.0, 3.0), (4.0, 0.0), (4.0, 3.0)]


@pytest.mark.parametrize("seed", range(30))
def test_outlines_go_around_what_is_left(seed):
    rng = np.random.default_rng(seed)
    wall = [((0.0, 0.0), (20.0, 0.0), (20.0, 5.0), (0.0, 5.0))]
    shape = shapely.box(0.0, 0.0, 20.0, 5.0)
    for left_m in (1.0, 6.0, 12.0):
        low_m, width_m = float(rng.choice([0.0, rng.uniform(0.5, 2.0)])), float(rng.uniform(1.0, 4.0))
        hole = ((left_m, low_m), (left_m + width_m, low_m), (left_m + width_m, 4.0), (left_m, 4.0))
        wall, shape = without(wall, hole), shape.difference(shapely.Polygon(hole))
    lines = outlines(merged(wall))
    assert sum(area_m2(line) for line in lines) == pytest.approx(shape.area)
    assert len(lines) == 1 + len(shape.interiors)
    drawn = shapely.MultiLineString([[*line, line[0]] for line in lines])
    assert drawn.length == pytest.approx(shape.length)


@pytest.mark.parametrize("seed", range(20))
def test_how_far_beyond_is_the_distance_to_the_shape(seed):
    rng = np.random.default_rng(seed)
    corners = lumpy(rng, 8)
    shape, parts = shapely.Polygon(corners), parts_of(corners)
    for x, y in rng.uniform(-12.0, 12.0, (40, 2)).tolist():
        distance_m = shape.distance(shapely.Point(x, y))
        assert beyond_m(parts, (x, y)) == pytest.approx(distance_m, abs=1e-9)
        assert holds(parts, (x, y)) == (distance_m < 1e-6)
