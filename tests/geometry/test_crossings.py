"""Lines against sheets: shapely as the oracle in plan, hand-worked cases in space, and what must always hold."""

from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from survey.geometry import crossings, on_sheet, sheets_of
from survey.geometry.plain import plain_crossings


def wall(x1, y1, x2, y2, *, low=0.0, high=3.0):
    return np.array([[x1, y1, low], [x2, y2, low], [x2, y2, high], [x1, y1, high]])


def box(x1, y1, x2, y2, *, low=0.0, high=2.5):
    corners = [(x1, y1), (x2, y1), (x2, y2), (x1, y2)]
    sides = [wall(*corners[i - 1], *corners[i], low=low, high=high) for i in range(4)]
    return [*sides, *(np.array([[x, y, z] for x, y in corners]) for z in (low, high))]


def count(start, end, outlines, owners=None):
    """How often one line goes through one obstacle."""
    sheets = sheets_of(outlines, owners if owners is not None else [0] * len(outlines))
    return len(crossings(np.array([start], dtype=float), np.array([end], dtype=float), sheets))


def matrix(starts, ends, sheets):
    """Crossings of every pair, counted."""
    met = crossings(starts, ends, sheets)
    counts = np.zeros((len(starts), len(ends)), dtype=int)
    np.add.at(counts, (met.start, met.end), 1)
    return counts


# Hand-worked in space. The wall stands on y = 0 from x = -5 to 5, 3 m high; the lines run from y = -10 to y = 10.
WALL = [wall(-5, 0, 5, 0)]
IN_SPACE = [
    pytest.param((0, -10, 1), (0, 10, 1), 1, id="straight through the middle"),
    pytest.param((0, -10, 2), (0, 10, 6), 0, id="rises to 4 m at the wall: over it"),
    pytest.param((0, -10, 2), (0, 10, 3.9), 1, id="rises to 2.95 m at the wall: just below its top"),
    pytest.param((0, -10, 2), (0, 10, 4.0), 1, id="touches the top edge: counts once"),
    pytest.param((0, -10, 2), (0, 10, 4.002), 0, id="a millimetre over the top"),
    pytest.param((5, -10, 1), (5, 10, 1), 1, id="touches the end of the wall: counts once"),
    pytest.param((5.001, -10, 1), (5.001, 10, 1), 0, id="a millimetre past the end"),
    pytest.param((0, -10, 1), (0, -1, 1), 0, id="ends before the wall"),
    pytest.param((0, -10, 1), (0, 0, 1), 0, id="ends on the wall: not crossed at its own end"),
    pytest.param((0, 0, 1), (3, 0, 2), 0, id="both ends on the wall"),
    pytest.param((0, 0, 3.5), (0, -10, 1), 0, id="starts in the plane of the wall, above it"),
    pytest.param((-10, 0, 1), (10, 0, 1), 1, id="runs along within the wall: counts once"),
    pytest.param((-10, 0, 3.5), (10, 0, 3.5), 0, id="runs along above the wall"),
    pytest.param((-10, 0, 1), (-6, 0, 1), 0, id="in its plane, ends before it"),
    pytest.param((0, 0, 10), (0, 0, 1), 0, id="from above down onto it: it stands on the wall"),
]


@pytest.mark.parametrize(("start", "end", "expected"), IN_SPACE)
def test_a_wall_in_space(start, end, expected):
    assert count(start, end, WALL) == expected
    assert count(end, start, WALL) == expected


BOX = box(-1, -1, 1, 1)
THROUGH_A_BOX = [
    pytest.param((-9, 0, 1), (9, 0, 1), 2, id="in and out by opposite faces"),
    pytest.param((-9, 0, 1), (0, 0, 9), 0, id="over it"),
    pytest.param((0, 0, 9), (9, 0, 1), 0, id="past its top edge"),
    pytest.param((0, 0, 9), (1.5, 0, -3), 2, id="in by the top, out by a side"),
    pytest.param((0.2, 0.1, 9), (0.1, 0.2, -9), 2, id="in by the top, out by the bottom"),
    pytest.param((-9, -9, 1), (9, 9, 1), 2, id="in and out by opposite upright edges: once each"),
    pytest.param((-2, 0, 1), (0, 2, 1), 1, id="touches an upright edge from outside: once"),
    pytest.param((-9, -9, 1), (0, 0, 1), 1, id="ends inside: one face"),
    pytest.param((-1, 0, 1), (9, 0, 1), 1, id="starts on one face, leaves by the other"),
    pytest.param((-1, 0, 1), (-9, 0, 1), 0, id="starts on a face and goes away from it"),
    pytest.param((-1, -1, 1), (9, 9, 1), 1, id="starts on the upright edge of two faces, leaves by the opposite one"),
    pytest.param((0.5, 0, 1), (-0.5, 0, 1), 0, id="both ends inside"),
    pytest.param(
        (-9, -9, -9), (9, 9, 9 + 2.5 - 0), 2, id="from under one corner to over the other, through the inside"
    ),
]


@pytest.mark.parametrize(("start", "end", "expected"), THROUGH_A_BOX)
def test_a_box_is_crossed_once_for_every_face(start, end, expected):
    assert count(start, end, BOX) == expected
    assert count(end, start, BOX) == expected


def test_a_raised_box_can_be_passed_below():
    raised = box(-1, -1, 1, 1, low=2.0, high=4.5)
    assert count((-9, 0, 1.9), (9, 0, 1.9), raised) == 0
    assert count((-9, 0, 2.1), (9, 0, 2.1), raised) == 2


def test_a_wall_crossed_at_two_of_its_segments_counts_twice_and_at_their_shared_corner_once():
    corner = [wall(0, -5, 0, 0), wall(0, 0, 5, 0)]  # an L with its corner at the origin
    assert count((-3, -2, 1), (4, 2, 1), corner) == 2
    assert count((-3, 3, 1), (3, -3, 1), corner) == 1
    assert count((-3, 3, 1), (3, -3, 1), corner, owners=[0, 1]) == 2, "two walls that meet are still two"


def test_a_sloping_roof_met_at_a_hand_worked_place():
    # Rises from 3 m at y = 10 to 5.1 m at y = 18; at y = 14 it is 4.05 m high.
    roof = sheets_of([np.array([[0, 10, 3.0], [20, 10, 3.0], [20, 18, 5.1], [0, 18, 5.1]])], [0])
    met = crossings(np.array([[5.0, 14.0, 0.0]]), np.array([[5.0, 14.0, 8.1]]), roof)
    assert met.fraction == pytest.approx([0.5])
    assert len(crossings(np.array([[5.0, 14.0, 4.1]]), np.array([[5.0, 14.0, 8.1]]), roof)) == 0
    assert len(crossings(np.array([[5.0, 14.0, 4.0]]), np.array([[30.0, 14.0, 4.0]]), roof)) == 0, "below it, level"


def test_a_roof_that_is_not_convex_is_open_where_it_has_a_notch_and_whole_along_its_inner_seams():
    ell = [np.array([[0, 0, 3.0], [4, 0, 3.0], [4, 2, 3.0], [2, 2, 3.0], [2, 4, 3.0], [0, 4, 3.0]])]
    for x, y, expected in [(1, 1, 1), (3, 1, 1), (1, 3, 1), (3, 3, 0), (2, 1, 1), (1, 2, 1), (2, 2, 1)]:
        assert count((x, y, 1), (x, y, 5), ell) == expected, (x, y)


def test_an_end_within_a_millimetre_stands_on_its_sheet_and_one_farther_off_does_not():
    sheets = sheets_of(WALL, [0])
    near = on_sheet(np.array([[0, 0.0009, 1.0], [0, 0.0011, 1.0], [5.5, 0, 1.0]]), sheets)
    assert near[:, 0].tolist() == [True, False, False]
    assert count((0, 0.0009, 1), (0, -10, 1), WALL) == 0
    assert count((0, 0.0011, 1), (0, -10, 1), WALL) == 1


def test_no_sheets_no_crossings():
    assert count((0, 0, 0), (1, 1, 1), []) == 0


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_in_plan_the_kernel_agrees_with_shapely(seed):
    """Random level lines and upright walls: shapely 2 decides whether two segments cross."""
    rng = np.random.default_rng(seed)
    starts, ends = (np.column_stack([rng.uniform(-20, 20, (12, 2)), np.full(12, 1.5)]) for _ in range(2))
    feet = rng.uniform(-20, 20, (15, 4))
    counts = matrix(starts, ends, sheets_of([wall(*foot) for foot in feet], range(15)))
    lines = shapely.linestrings(
        [[(s[:2], e[:2]) for e in ends] for s in starts],
    )
    walls = shapely.linestrings(feet.reshape(-1, 2, 2))
    apart = (
        shapely.distance(shapely.points(points), walls[:, None]) > 0.001 for points in (starts[:, :2], ends[:, :2])
    )
    from_start, to_end = apart  # a line that starts on a wall does not cross it: the rule is ours, not shapely's
    crossed = shapely.intersects(lines[..., None], walls) & from_start.T[:, None] & to_end.T[None]
    expected = crossed.sum(axis=-1)
    assert counts.tolist() == expected.tolist()


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(-np.pi, np.pi), st.floats(-1000, 1000), st.floats(-1000, 1000))
def test_moving_and_turning_the_site_or_swapping_the_ends_changes_nothing(seed, angle, east, north):
    """On a grid of whole metres, so that lines run into corners and along walls."""
    rng = np.random.default_rng(seed)
    points = np.column_stack([rng.integers(-5, 6, (24, 2)), rng.integers(0, 4, 24)]).astype(float)
    starts, ends = points[:12], points[12:]
    outlines, owners = [], []
    for owner in range(6):
        x, y = rng.integers(-4, 4, 2)
        if owner % 2:
            outlines += box(x, y, x + 2, y + 1, high=2.0)
            owners += [owner] * 6
        else:
            corners = np.cumsum(np.vstack([[x, y], rng.integers(1, 3, (3, 2))]), axis=0)
            outlines += [wall(*one, *other, high=2.0) for one, other in pairwise(corners)]
            owners += [owner] * 3
    turn = np.array([[np.cos(angle), np.sin(angle), 0], [-np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
    move = np.array([east, north, 0])
    before = matrix(starts, ends, sheets_of(outlines, owners))
    moved = sheets_of([outline @ turn + move for outline in outlines], owners)
    assert matrix(starts @ turn + move, ends @ turn + move, moved).tolist() == before.tolist()
    assert matrix(ends, starts, sheets_of(outlines, owners)).T.tolist() == before.tolist()


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_fractions_lie_on_the_sheet(seed):
    """The point that a crossing names lies in the plane of its sheet and inside all its edges."""
    rng = np.random.default_rng(seed)
    starts, ends = (rng.uniform(-10, 10, (20, 3)) for _ in range(2))
    centre, one, other = rng.uniform(-5, 5, (3, 8, 3))
    outlines = [c + np.array([-a - b, a - b, a + b, b - a]) for c, a, b in zip(centre, one, other, strict=True)]
    sheets = sheets_of(outlines, range(8))
    met = crossings(starts, ends, sheets)
    points = starts[met.start] + met.fraction[:, None] * (ends[met.end] - starts[met.start])
    assert np.all(on_sheet(points, sheets, within_m=1e-9)[np.arange(len(met)), met.sheet])


def site(rng, *, whole_metres):
    """Walls with corners, boxes and sloping roofs; on a grid of whole metres lines run into corners and along walls."""

    def draw(low, high, count):
        return rng.integers(low, high, count).astype(float) if whole_metres else rng.uniform(low, high, count)

    outlines, owners = [], []
    for owner in range(8):
        x, y = draw(-6, 6, 2)
        wide, deep = draw(1, 4, 2)
        if owner % 3 == 0:
            corners = np.cumsum(np.vstack([[x, y], draw(1, 4, (3, 2))]), axis=0)
            added = [wall(*one, *other, high=2.0) for one, other in pairwise(corners)]
        elif owner % 3 == 1:
            added = box(x, y, x + wide, y + deep, high=3.0)
        else:
            eaves_m, ridge_m = draw(1, 4, 2)
            corners = [(x, y, eaves_m), (x + wide, y, eaves_m), (x + wide, y + deep, ridge_m), (x, y + deep, ridge_m)]
            added = [np.array(corners)]
        outlines += added
        owners += [owner] * len(added)
    points = np.column_stack([draw(-7, 8, 80), draw(-7, 8, 80), draw(0, 5, 80)])
    points[:5, :2] = points[-5:, :2]  # some stand one above the other
    groups = rng.integers(0, 8, 8) if rng.random() < 0.5 else np.arange(8)  # some obstacles are one building
    return points, sheets_of(outlines, owners, groups=groups[owners], costs_db=rng.integers(0, 3, 8)[owners])


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 2**32 - 1), st.booleans(), st.sampled_from([1, 20, 40, 60, 79]))
def test_the_kernel_agrees_with_the_plain_formula_in_every_crossing(seed, whole_metres, count):
    """To the last bit."""
    rng = np.random.default_rng(seed)
    points, sheets = site(rng, whole_metres=whole_metres)
    met = crossings(points[:count], points[count:], sheets)
    ours = np.column_stack([met.start, met.end, met.sheet, met.fraction, met.inside_m])
    theirs = np.column_stack(plain_crossings(points[:count], points[count:], sheets))
    one, other = (rows[np.lexsort(rows[:, 2::-1].T)] for rows in (ours, theirs))
    assert one.tolist() == other.tolist()


def test_a_line_comes_out_the_same_alone_and_among_others():
    """To the last bit, and in the same order, whichever of its ends the others share."""
    points, sheets = site(np.random.default_rng(3), whole_metres=True)
    starts_m, ends_m = points[:30], points[30:]
    every = crossings(starts_m, ends_m, sheets)
    assert len(every) > 500
    for one, other in [(0, 0), (7, 3), (12, 49), (29, 20)]:
        alone = crossings(starts_m[[one]], ends_m[[other]], sheets)
        beside = crossings(starts_m[[one]], ends_m, sheets).to(np.array([other]))
        among = every.pick((every.start == one) & (every.end == other))
        for met in (beside, among):
            assert met.sheet.tolist() == alone.sheet.tolist()
            assert met.fraction.tolist() == alone.fraction.tolist()
