"""Names beside what they name: the first place that is free, and none over another."""

import numpy as np
import pytest

from survey.output.map.labels import Label, Position, Size, place_labels

FRAME = (0.0, 0.0, 100.0, 100.0)
SIZE = Size(20.0, 10.0, 4.0)
NO_POINTS = np.zeros((0, 2))


def placed(*labels, **changes):
    values = {"frame": FRAME, "points": NO_POINTS, "reach": 3.0} | changes
    return place_labels(labels, sizes=[SIZE] * len(labels), **values)


def at(x, y, **more):
    return Label(text="shed", kind="spot", at=(x, y), **more)


def test_a_name_goes_to_the_right_of_its_point_and_over_it_where_it_may():
    assert placed(at(50.0, 50.0)) == [Position(54.0, 50.0, 1, 0)]
    assert placed(at(50.0, 50.0, over=True)) == [Position(50.0, 50.0, 0, 0)]


def test_a_name_leaves_a_point_and_the_frame_in_sight():
    assert placed(at(50.0, 50.0), points=np.array([[60.0, 50.0]])) == [Position(46.0, 50.0, -1, 0)]
    assert placed(at(90.0, 50.0)) == [Position(86.0, 50.0, -1, 0)]
    assert placed(at(50.0, 50.0), taken=[(55.0, 45.0, 65.0, 55.0)]) == [Position(46.0, 50.0, -1, 0)]


def test_a_name_without_room_is_left_out_unless_it_is_needed():
    spots = placed(*[at(50.0, 50.0)] * 12, at(50.0, 50.0, needed=True))
    assert 1 <= sum(spot is not None for spot in spots[:-1]) < 12
    assert spots[-1] is not None


@pytest.mark.parametrize("farther", [(1.0,), (1.0, 2.2, 4.0)])
def test_no_name_covers_another(farther):
    random = np.random.default_rng(1)
    labels = [at(*point) for point in random.uniform(0, 100, (60, 2)).tolist()]
    spots = [spot for spot in placed(*labels, farther=farther) if spot is not None]
    assert len(spots) > 10
    middle = np.array([[spot.x + spot.across * 10.0, spot.y + spot.up * 5.0] for spot in spots])
    apart = np.abs(middle[:, None] - middle[None])
    meets = (apart[..., 0] < 20.0 - 1e-9) & (apart[..., 1] < 10.0 - 1e-9)
    assert meets.sum() == len(spots), "each with itself alone"
