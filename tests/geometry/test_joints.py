"""Points over sheets, sheets that miss each other, and sheets in one place, against plain searches."""

import numpy as np
import pytest

from survey.geometry import gaps_between, heights_over, outer_edges, overlaps_of, sheets_of, touched
from survey.geometry.joints import _nearest_m

SQUARE = np.array([[0.0, 0.0, 0.0], [4.0, 0.0, 0.0], [4.0, 0.0, 3.0], [0.0, 0.0, 3.0]])


def sheet_at_random(random):
    """A triangle or a rectangle somewhere in space."""
    origin, one, other = random.normal(size=(3, 3)) * 3.0
    if random.random() < 0.5:
        return np.stack([origin, origin + one, origin + other])
    other -= one * (one @ other) / (one @ one)
    return np.stack([origin, origin + one, origin + one + other, origin + other])


@pytest.mark.parametrize("seed", range(20))
def test_the_nearest_point_of_a_sheet_is_that_of_a_fine_grid_over_it(seed):
    random = np.random.default_rng(seed)
    corners_m = sheet_at_random(random)
    point_m = random.normal(size=(1, 3)) * 4.0
    shares = np.linspace(0.0, 1.0, 301)
    u, v = (one.ravel() for one in np.meshgrid(shares, shares))
    if len(corners_m) == 3:
        u, v = u[u + v <= 1], v[u + v <= 1]
    side, height = corners_m[1] - corners_m[0], corners_m[-1] - corners_m[0]
    grid_m = corners_m[0] + u[:, None] * side + v[:, None] * height
    least_m = np.linalg.norm(grid_m - point_m, axis=1).min()
    sheets = sheets_of([corners_m, SQUARE], [0, 1])
    found_m = np.linalg.norm(_nearest_m(point_m, sheets, np.array([0])) - point_m)
    step_m = (np.linalg.norm(side) + np.linalg.norm(height)) / 300
    assert least_m - step_m <= found_m <= least_m + 1e-9


@pytest.mark.parametrize("seed", range(5))
def test_a_point_over_a_sheet_is_as_high_as_the_plane_there(seed):
    random = np.random.default_rng(seed)
    slope = random.uniform(-1, 1, 2)
    level = np.array([[0.0, 0.0], [6.0, 0.0], [6.0, 5.0], [0.0, 5.0]])
    sheets = sheets_of([np.column_stack([level, 3.0 + level @ slope])], [0])
    points_m = np.column_stack([random.uniform(-2, 8, 200), random.uniform(-2, 7, 200), random.uniform(-9, 20, 200)])
    over = np.all((points_m[:, :2] >= 0) & (points_m[:, :2] <= [6, 5]), axis=1)
    expected_m = np.where(over, points_m[:, 2] - 3.0 - points_m[:, :2] @ slope, np.nan)
    assert heights_over(points_m, sheets)[:, 0] == pytest.approx(expected_m, abs=1e-9, nan_ok=True)


def test_triangles_among_larger_sheets_have_three_edges():
    sheet, start_m, end_m = outer_edges(sheets_of([SQUARE, SQUARE[:3]], [0, 1]))
    assert sheet.tolist() == [0, 0, 0, 0, 1, 1, 1]
    assert np.all(np.linalg.norm(end_m - start_m, axis=1) > 0)
    assert np.allclose(np.sort(np.linalg.norm(end_m - start_m, axis=1)[4:]), [3, 4, 5])


@pytest.mark.parametrize(("off_m", "width_m"), [(0.0, None), (0.0005, None), (0.04, 0.04), (0.3, 0.3), (0.31, None)])
def test_a_gap_is_as_wide_as_the_sheets_are_apart(off_m, width_m):
    other = SQUARE @ np.array([[0.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]) + [4.0 + off_m, 0.0, 0.0]
    sheets = sheets_of([SQUARE, other], [0, 1])
    gaps = gaps_between(sheets, chosen=np.ones(2, dtype=bool), min_m=1e-3, max_m=0.3 + 1e-9)
    assert gaps.width_m == pytest.approx([] if width_m is None else [width_m] * len(gaps))
    assert (len(gaps) > 0) == (width_m is not None)


def test_an_edge_that_a_third_sheet_closes_is_no_gap():
    other = SQUARE @ np.array([[0.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]) + [4.04, 0.0, 0.0]
    third = np.array([[4.0, -1.0, 0.0], [4.0, 1.0, 0.0], [4.0, 1.0, 3.0], [4.0, -1.0, 3.0]])
    gaps = gaps_between(
        sheets_of([SQUARE, other, third], [0, 1, 2]), chosen=np.array([True, True, False]), min_m=1e-3, max_m=0.3
    )
    assert not np.any(gaps.sheet == 0)


def test_a_place_is_touched_by_other_sheets_only():
    sheets = sheets_of([SQUARE, np.add(SQUARE, [4.0, 0.0, 0.0])], [0, 1])
    met = touched(np.array([[4.0, 0.0, 1.0], [0.0, 0.0, 1.0]]), sheets, own=np.array([0, 0]), within_m=0.01)
    assert met.tolist() == [True, False]


def test_sheets_in_one_place_are_found_with_the_length_they_share():
    sheets = sheets_of([SQUARE, np.add(SQUARE, [2.5, 0.01, 0.0]), np.add(SQUARE, [0.0, 0.05, 0.0])], [0, 1, 2])
    one, other, shared_m = overlaps_of(sheets, chosen=np.ones(3, dtype=bool), min_m=0.5)
    assert (one.tolist(), other.tolist()) == ([0], [1])
    assert shared_m == pytest.approx([1.5])


def test_pieces_of_one_wall_on_both_sides_of_a_slope_are_not_in_one_place():
    """A gable end, and what a higher building that is joined to it has above its slopes."""
    gable = [[0.0, 0.0, 0.0], [8.0, 0.0, 0.0], [8.0, 0.0, 3.0], [4.0, 0.0, 5.0], [0.0, 0.0, 3.0]]
    above = [[0.0, 0.0, 3.0], [4.0, 0.0, 5.0], [0.0, 0.0, 5.0]]
    sheets = sheets_of([np.array(gable), np.array(above), np.array(above) - [0.0, 0.0, 1.0]], [0, 1, 2])
    one, other, shared_m = overlaps_of(sheets, chosen=np.ones(3, dtype=bool), min_m=0.5)
    assert (one.tolist(), other.tolist()) == ([0, 1], [2, 2])
    assert shared_m == pytest.approx([4.0, 2.0])
