"""Where faces of one building meet: a line through the very edge crosses the costlier of them, once."""

import numpy as np

from survey.geometry.crossings import crossings
from survey.geometry.sheets import sheets_of

SOUTH = np.array([[0.0, 0, 0], [4, 0, 0], [4, 0, 3], [0, 0, 3]])
EAST = np.array([[4.0, 0, 0], [4, 4, 0], [4, 4, 3], [4, 0, 3]])
AROUND = np.array([[3.0, -1.0, 1.5]])
"""From here a line through the corner at 4, 0 ends at 5, 1."""
BEHIND = np.array([[5.0, 1.0, 1.5]])


def owners(sheets, *, start=AROUND, end=BEHIND):
    found = crossings(start, end, sheets)
    return sorted(sheets.owner[found.sheet].tolist())


def test_the_costlier_of_two_walls_is_crossed_once_in_their_corner():
    for costs in ([10.0, 3.0], [3.0, 10.0]):
        sheets = sheets_of([SOUTH, EAST], [0, 1], groups=[0, 0], costs_db=costs)
        assert owners(sheets) == [int(np.argmax(costs))]


def test_walls_of_two_buildings_are_both_crossed():
    assert owners(sheets_of([SOUTH, EAST], [0, 1])) == [0, 1]


def test_beside_the_corner_each_is_crossed():
    sheets = sheets_of([SOUTH, EAST], [0, 1], groups=[0, 0], costs_db=[10.0, 3.0])
    assert owners(sheets, start=np.subtract(AROUND, [0.5, 0, 0]), end=np.add(BEHIND, [0.0, 1.0, 0])) == [0, 1]


def test_at_the_edge_of_a_door_the_costlier_of_wall_and_leaf_is_crossed_once():
    wall = np.array([[0.0, 0, 0], [2, 0, 0], [2, 0, 3], [0, 0, 3]])
    leaf = np.add(wall, [2.0, 0, 0])
    for costs in ([10.0, 3.0], [3.0, 10.0]):
        sheets = sheets_of([wall, leaf], [0, 1], groups=[0, 0], costs_db=costs)
        found = owners(sheets, start=np.array([[2.0, -1, 1]]), end=np.array([[2.0, 1, 1]]))
        assert found == [int(np.argmax(costs))]


def test_pieces_of_one_wall_and_a_run_within_their_plane_count_once():
    pieces = [SOUTH, np.add(SOUTH, [4.0, 0, 0])]
    sheets = sheets_of(pieces, [0, 1], groups=[0, 0], costs_db=[2.0, 5.0])
    assert owners(sheets, start=np.array([[-1.0, 0, 1]]), end=np.array([[9.0, 0, 1]])) == [1]
