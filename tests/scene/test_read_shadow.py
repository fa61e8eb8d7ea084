"""What readings nearby show of shadowing, against the conditional normal distribution of a textbook."""

import numpy as np
import pytest

from survey.scene.correction import Correction
from survey.scene.read_shadow import ReadShadow

RNG = np.random.default_rng(5)
READ_STARTS_M, READ_ENDS_M = RNG.uniform(0.0, 12.0, (2, 6, 3))
OFF_DB, TOLD = RNG.normal(0.0, 5.0, 6), RNG.uniform(0.4, 1.0, 6)
STARTS_M, ENDS_M = RNG.uniform(0.0, 12.0, (3, 3)), RNG.uniform(0.0, 12.0, (2, 3))
READ = ReadShadow(starts_m=READ_STARTS_M, ends_m=READ_ENDS_M, off_db=OFF_DB, told=TOLD, alike=0.8, correlation_m=7.0)


def test_near_read_links_it_is_the_conditional_mean_and_variance():
    """Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), equations 2.25 and 2.26."""
    mean_db, left = READ.near(STARTS_M, ENDS_M)
    for i, start in enumerate(STARTS_M):
        for j, end in enumerate(ENDS_M):
            at = np.vstack([np.hstack([READ_STARTS_M, READ_ENDS_M]), [*start, *end]])
            apart_m = sum(
                np.sqrt(((at[:, None, part] - at[None, :, part]) ** 2).sum(axis=2)) for part in (slice(3), slice(3, 6))
            )
            alike = 0.8 * np.exp(-apart_m / 7.0)
            among, across = alike[:6, :6], alike[:6, 6]
            np.fill_diagonal(among, 1.0 / TOLD)
            assert mean_db[i, j] == pytest.approx(across @ np.linalg.solve(among, OFF_DB))
            assert left[i, j] == pytest.approx(1.0 - across @ np.linalg.solve(among, across))


def test_far_from_all_that_was_read_nothing_is_known():
    """Where either end is more than four correlation distances from every read one."""
    for starts_m, ends_m in ((STARTS_M + 100.0, ENDS_M), (STARTS_M, ENDS_M + 100.0)):
        mean_db, left = READ.near(starts_m, ends_m)
        assert np.all(mean_db == 0.0)
        assert np.all(left == 1.0)


def correction():
    return Correction(
        file="fit.json",
        offset_db=-2.0,
        path_loss_exponent=2.0,
        exponent_sd=0.2,
        shadowing_db=3.0,
        nearest_m=5.0,
        farthest_m=40.0,
        unit=np.zeros(0, dtype=np.int64),
        change_db=np.zeros(0),
        covariance=np.diag([4.0, 0.04, 1.0, 2.0, 3.0]),
        deviation_db=np.array([1.5, -0.5, 0.25]),
        gateways={"g0": 0, "g1": 1},
        inverters={"i0": 2},
        unread_sd_db=2.0,
    )


def test_ends_that_were_read_have_their_deviation_and_others_none():
    found_db = correction().offsets_db(["i0", "other"], ["g0", "g1", "new"])
    assert found_db == pytest.approx(np.array([[-0.25, -2.25, -1.75], [-0.5, -2.5, -2.0]]))
    ends, unread_db2 = correction().ends_of(["i0", "other"], ["g0", "g1", "new"])
    assert ends.tolist() == [[1, 0, 1], [0, 1, 1], [0, 0, 1], [1, 0, 0], [0, 1, 0], [0, 0, 0]]
    assert unread_db2.tolist() == [0.0, 0.0, 4.0, 0.0, 0.0, 4.0]


def test_the_variance_of_a_level_by_hand():
    """At 400 m, ten times as far as any reading and 400 times the reference distance of 1 m, past one end."""
    found_db2 = correction().variance_db2(
        distance_m=np.array([400.0, 0.5, 2.5]),
        reference_distance_m=1.0,
        passes=np.zeros((3, 0)),
        ends=np.array([[1.0, 0.0, 1.0], [0.0, 0.0, 0.0], [0.0, 1.0, 0.0]]),
    )
    decades = np.log10(400.0), 0.0, np.log10(2.5)
    beyond = 1.0, np.log10(5.0), np.log10(2.0)  # below the reference distance nothing changes with distance
    ends_db2 = 1.0 + 3.0, 0.0, 2.0
    wanted = [
        4.0 + 0.04 * (10.0 * a) ** 2 + (10.0 * 0.2 * b) ** 2 + c
        for a, b, c in zip(decades, beyond, ends_db2, strict=True)
    ]
    assert found_db2 == pytest.approx(wanted)
