"""Work shared by threads: the same answer, in the same order, and faults are told."""

import numpy as np
import pytest
from plans import SPOTS, WALL, array, search, write

from survey.base.workers import in_order
from survey.budget import working
from survey.inputs.plan_file import read_plan
from survey.routing import cover_spots
from survey.scene import scene_of


def test_results_come_in_order_and_only_when_asked_for():
    begun = []

    def work(part):
        begun.append(part)
        return -part

    found = in_order(work, range(20))
    assert next(found) == 0
    assert len(begun) <= 4, "few parts are held at a time"
    assert list(found) == list(range(-1, -20, -1))


@pytest.mark.parametrize("workers", [1, 2])
def test_a_fault_in_a_thread_is_told_and_ends_the_work(workers):
    begun = []

    def work(part):
        begun.append(part)
        return 1 // (3 - part)

    with pytest.raises(ZeroDivisionError):
        list(in_order(work, range(50), workers=workers))
    assert len(begun) < 10


def test_spots_score_the_same_to_the_last_bit_with_one_thread_and_with_two(tmp_path, monkeypatch):
    monkeypatch.setattr(working, "PAIRS_AT_ONCE", 20)
    scene = scene_of(
        read_plan(
            write(
                tmp_path,
                more=SPOTS + WALL + array(per_row=9) + search(within="[[0, 0], [9, 0], [9, 9], [0, 9]]", step_m=1.5),
            )
        )
    )
    told = []
    one = cover_spots(scene, workers=1)
    two = cover_spots(scene, workers=2, progress=lambda *at: told.append(at))
    assert len(told) > 3
    assert told[-1] == (len(scene.spots), len(scene.spots))
    assert np.array_equal(one.matrix.reliability, two.matrix.reliability)
    assert np.array_equal(one.matrix.margin_db, two.matrix.margin_db)
    assert np.array_equal(one.crossed, two.crossed)
    assert one.crossed.any()
