"""Where places on a loose roof are counted from: the left end of its eaves, seen from outside."""

import math

import pytest

from survey.inputs.places.loose import roof_face
from survey.inputs.plan import Roof

SLOPING = [(0.0, 0.0, 3.0), (10.0, 0.0, 3.0), (10.0, 4.0, 4.0), (0.0, 4.0, 4.0)]
LEVEL = [(x, y, 3.0) for x, y, _ in SLOPING]


@pytest.mark.parametrize("turn", range(4))
@pytest.mark.parametrize("step", [1, -1])
def test_the_eaves_of_a_sloping_roof_are_its_lowest_edge_in_whatever_order(turn, step):
    """4 m deep and 1 m of rise: root(17) up its slope."""
    corners = [*SLOPING[turn:], *SLOPING[:turn]][::step]
    face = roof_face(Roof(name="r", corners=tuple(corners), material="concrete"))
    assert face.kind == "roof"
    assert face.length_m == pytest.approx(10.0)
    assert face.point_m(left_m=0.0, up_m=0.0) == pytest.approx([0.0, 0.0, 3.0])
    assert face.point_m(left_m=10.0, up_m=math.sqrt(17.0)) == pytest.approx([10.0, 4.0, 4.0])


# From the left end of the first edge, the roof lying ahead: anticlockwise the first corner, clockwise the second.
@pytest.mark.parametrize(
    ("corners", "begin", "far", "size_m"),
    [
        (LEVEL, [0.0, 0.0, 3.0], [10.0, 4.0, 3.0], (10.0, 4.0)),
        ([LEVEL[0], *LEVEL[:0:-1]], [0.0, 4.0, 3.0], [10.0, 0.0, 3.0], (4.0, 10.0)),
    ],
)
def test_of_a_level_roof_the_first_edge_counts(corners, begin, far, size_m):
    face = roof_face(Roof(name="r", corners=tuple(corners), material="concrete"))
    assert face.point_m(left_m=0.0, up_m=0.0) == pytest.approx(begin)
    assert face.point_m(left_m=size_m[0], up_m=size_m[1]) == pytest.approx(far)
