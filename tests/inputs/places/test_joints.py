"""Loose walls give way to what they nearly meet: corner, else edge, else sheet; roofs never, the later wall does."""

import tomllib
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from plans import MINIMAL, changed

from survey.inputs.places import joined
from survey.inputs.plan import Roof, Wall
from survey.inputs.plan_file import plan_of


def wall(name, *along, height_m=3.0, base_m=0.0):
    return Wall(name=name, loss_db=10.0, along=along, height_m=height_m, base_m=base_m)


def roof(*corners):
    return Roof(name="roof", loss_db=10.0, corners=corners)


def corners(one):
    return {tuple(np.round(corner, 6)) for sheet in one.sheets_m() for corner in sheet}


def test_a_corner_is_moved_onto_the_corner_of_an_earlier_wall():
    first, second = joined((wall("a", (0, 0), (4, 0)), wall("b", (4.03, 0.04), (4.03, 5))), joint_m=0.05)
    assert first.along == ((0.0, 0.0), (4.0, 0.0))
    assert corners(second) == {(4, 0, 0), (4, 0, 3), (4.03, 5, 0), (4.03, 5, 3)}
    assert (second.name, second.entry, second.loss_db) == ("b", ("wall", "b"), 10.0)


def test_else_onto_an_edge_and_the_wall_stands_up_to_the_eaves():
    eaves = roof((-1, 0, 3.03), (9, 0, 3.03), (9, 4, 4.0), (-1, 4, 4.0))
    found, _ = joined((wall("a", (0, 0), (4, 0)), eaves), joint_m=0.05)
    assert corners(found) == {(0, 0, 0), (4, 0, 0), (4, 0, 3.03), (0, 0, 3.03)}
    assert len(found.sheets_m()) == 1


def test_else_onto_a_sheet():
    found = joined((wall("a", (0, 0), (9, 0)), wall("b", (4, 0.04), (4, 5), height_m=2, base_m=0.5)), joint_m=0.05)[1]
    assert corners(found) == {(4, 0, 0.5), (4, 0, 2.5), (4, 5, 0.5), (4, 5, 2.5)}


def test_roofs_never_move_and_what_is_farther_stays():
    eaves = roof((-1, 0, 3.06), (9, 0, 3.06), (9, 4, 4.0), (-1, 4, 4.0))
    one = wall("a", (0, 0), (4, 0))
    assert joined((one, eaves), joint_m=0.05) == (one, eaves)


def test_a_sheet_that_is_no_longer_plane_becomes_two_triangles():
    eaves = roof((4.02, 0.03, 3.0), (9, 0.03, 3.0), (9, 4, 4.0), (4.02, 4, 4.0))
    found, _ = joined((wall("a", (0, 0), (4, 0)), eaves), joint_m=0.05)
    assert sorted(map(len, found.sheets_m())) == [3, 3]


@given(st.lists(st.tuples(st.floats(-5, 5), st.floats(-5, 5)), min_size=2, max_size=6, unique=True), st.floats(0, 0.5))
def test_no_corner_moves_farther_than_a_joint(points, joint_m):
    line = [one for one, other in pairwise([*points, (99.0, 99.0)]) if np.hypot(*np.subtract(one, other)) > 1e-3]
    if len(line) < 2:
        return
    before = (wall("a", (-3, 0), (3, 0.5)), wall("b", *line))
    after = joined(before, joint_m=joint_m)
    own = np.concatenate(before[1].sheets_m())
    for corner in np.concatenate(after[1].sheets_m()):
        assert np.linalg.norm(own - corner, axis=1).min() <= joint_m + 1e-6


def test_a_plan_says_so_in_site():
    walls = "".join(
        f'\n[[wall]]\nname = "{name}"\nloss_db = 3\nheight_m = 3\nalong = {along}\n'
        for name, along in (("a", "[[0, 5], [4, 5]]"), ("b", "[[4.04, 5.02], [4, 9]]"))
    )
    plain = plan_of(tomllib.loads(MINIMAL + walls), file="x")
    text = changed(('name = "invented yard"', 'name = "invented yard"\njoint_m = 0.05'), more=walls)
    close = plan_of(tomllib.loads(text), file="x")
    assert plain.obstacles[1].along[0] == (4.04, 5.02)
    moved = next(one for one in close.obstacles if one.name == "b")
    assert (4.0, 5.0, 0.0) in corners(moved)
    assert close.site.joint_m == pytest.approx(0.05)
