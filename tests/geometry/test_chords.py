"""Metres inside foliage: shapely as the oracle in plan, and hand-worked slopes."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from survey.geometry import chords, prisms_of

HEDGE = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 1.0], [0.0, 1.0]])


def metres(start, end, footprint=HEDGE, base=0.0, top=2.0):
    met = chords(
        np.array([start], dtype=float), np.array([end], dtype=float), prisms_of([footprint], [base], [top], [0])
    )
    return float(met.length_m.sum())


@pytest.mark.parametrize(
    ("start", "end", "expected"),
    [
        pytest.param((5, -5, 1), (5, 5, 1), 1.0, id="straight across"),
        pytest.param((-5, 0.5, 1), (15, 0.5, 1), 10.0, id="along it"),
        pytest.param((5, -5, 2.5), (5, 5, 2.5), 0.0, id="over it"),
        pytest.param((5, 0.5, 1), (5, 9, 1), 0.5, id="starts inside"),
        pytest.param((4, 0.5, 1), (7, 0.5, 1), 3.0, id="both ends inside"),
        pytest.param((5, 0.5, 0), (5, 0.5, 9), 2.0, id="straight up"),
        pytest.param((0, 0.5, 4), (8, 0.5, 0), np.hypot(4, 2), id="down into it: inside from 2 m high to the ground"),
        pytest.param((5, -3, 1), (5, -1, 1), 0.0, id="ends before it"),
        pytest.param((-5, 1.0, 1), (15, 1.0, 1), 10.0, id="along its very edge"),
    ],
)
def test_a_hedge(start, end, expected):
    assert metres(start, end) == pytest.approx(expected, abs=1e-9)
    assert metres(end, start) == pytest.approx(expected, abs=1e-9)


@settings(max_examples=80, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_in_plan_the_metres_agree_with_shapely_for_any_simple_footprint(seed):
    """Star-shaped random polygons, most of them not convex; shapely measures the part of a line inside."""
    rng = np.random.default_rng(seed)
    corners = int(rng.integers(4, 12))
    angles = np.sort(rng.uniform(0, 2 * np.pi, corners))
    footprint = (rng.uniform(1, 6, corners) * np.array([np.cos(angles), np.sin(angles)])).T
    area = shapely.Polygon(footprint)
    if not area.is_valid or area.area < 1e-3:
        return
    starts, ends = (np.column_stack([rng.uniform(-8, 8, (6, 2)), np.full(6, 1.0)]) for _ in range(2))
    met = chords(starts, ends, prisms_of([footprint], [0.0], [2.0], [0]))
    total = np.zeros((6, 6))
    np.add.at(total, (met.start, met.end), met.length_m)
    expected = [[shapely.LineString([s[:2], e[:2]]).intersection(area).length for e in ends] for s in starts]
    assert total == pytest.approx(np.array(expected), abs=1e-6)
