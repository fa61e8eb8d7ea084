"""The likelihood of readings: its derivatives beside differences, and what scipy says of its pieces."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import comb
from scipy.stats import binom, norm, uniform

from survey.measured.calibration.likelihood import WILD_RANGE_DB, Shares, better_shares, log_prior, score
from survey.measured.calibration.pairs import Pairs

NEED_DBM = -95.0
STEP_DB = 1e-4


def pairs(level_dbm, heard, missed):
    index = np.zeros(len(heard), dtype=np.int64)
    return Pairs(
        inverter=index,
        gateway=index,
        level_dbm=np.array(level_dbm),
        heard=np.array(heard),
        missed=np.array(missed),
        starts_m=np.zeros((len(heard), 3)),
        ends_m=np.zeros((len(heard), 3)),
        fade_db=3.0,
    )


READ = pairs([-70.0, -88.0, np.nan, np.nan, np.nan, np.nan], [1, 3, 0, 0, 1, 14], [0, 2, 1, 6, 0, 6])


def scored(predicted_dbm, *, sigma_db=6.0, wild=0.02, shares=None):
    needs = np.full(len(READ), NEED_DBM)
    level = np.broadcast_to(np.asarray(predicted_dbm, dtype=float), (len(READ),))
    return score(READ, level, needs, sigma_db=sigma_db, shares=shares or Shares(), wild=wild)


@given(st.floats(-120.0, -50.0), st.floats(1.0, 12.0), st.sampled_from([0.0, 0.02]))
def test_slope_and_bend_are_the_derivatives(predicted_dbm, sigma_db, wild):
    at = scored(predicted_dbm, sigma_db=sigma_db, wild=wild)
    above, below = (scored(predicted_dbm + step, sigma_db=sigma_db, wild=wild) for step in (STEP_DB, -STEP_DB))
    slope, bend = (above.value - below.value) / (2 * STEP_DB), -(above.slope - below.slope) / (2 * STEP_DB)
    assert at.slope == pytest.approx(slope, rel=1e-4, abs=1e-5)
    assert at.bend == pytest.approx(bend, rel=1e-4, abs=1e-5)


def test_a_level_is_normal_about_the_prediction_or_anywhere():
    shares, wild = Shares(), 0.02
    found = scored(-75.0, wild=wild)
    for k, level_dbm in enumerate(READ.level_dbm[:2]):
        good = (1.0 - wild) * norm.pdf(level_dbm, -75.0, 6.0)
        anywhere = wild * uniform.pdf(0.0, -WILD_RANGE_DB / 2, WILD_RANGE_DB)
        assert found.value[k] == pytest.approx(np.log(good + anywhere))
        assert found.trust[k] == pytest.approx(good / (good + anywhere))
    for k in (2, 3):  # never heard: too weak, or lost by chance each time, or silent for another reason
        weak = norm.cdf(NEED_DBM, -75.0, 6.0)
        lost = shares.silent + (1.0 - shares.silent) * shares.lost ** READ.missed[k]
        assert found.value[k] == pytest.approx(np.log(weak + (1.0 - weak) * lost))


def test_a_count_is_binomial_through_fading_and_a_ceiling():
    """Beside scipy's binomial distribution, averaged over the level by scipy's adaptive quadrature."""
    shares = Shares(lost=0.08, silent=0.01)
    needs, level = np.full(len(READ), NEED_DBM), np.full(len(READ), -93.0)
    found = score(replace(READ, is_counted=True), level, needs, sigma_db=6.0, shares=shares, wild=0.0)
    for k in range(2, 6):
        heard, tries = int(READ.heard[k]), int(READ.heard[k] + READ.missed[k])

        def chance(level_dbm, heard=heard, tries=tries):
            reaches = (1.0 - shares.lost) * norm.cdf((level_dbm - NEED_DBM) / READ.fade_db)
            return binom.pmf(heard, tries, reaches) * norm.pdf(level_dbm, -93.0, 6.0)

        working = (
            (1.0 - shares.silent) * quad(chance, -145.0, -40.0, points=[-93.0], epsabs=1e-13)[0] / comb(tries, heard)
        )
        assert found.value[k] == pytest.approx(np.log(working + shares.silent * (heard == 0)), abs=1e-9)


def test_far_from_what_was_read_an_outlier_does_not_pull():
    near, far = scored(-75.0), scored(-20.0)
    assert abs(far.slope[0]) < 1e-6 < abs(near.slope[0])
    assert far.trust[0] < 1e-6
    assert abs(scored(-20.0, wild=0.0).slope[0]) == pytest.approx(50.0 / 36.0)


def test_given_shares_and_plain_fits_have_no_prior():
    assert log_prior(Shares(), plain=True) == log_prior(Shares(fixed=True), plain=False) == 0.0
    assert log_prior(Shares(lost=0.5), plain=False) < log_prior(Shares(lost=0.05), plain=False)


def test_the_share_of_lost_tries_is_the_likeliest_under_its_prior():
    """One of 13 tries is missed at levels far above what is needed: the mode of a beta distribution, by hand.

    Of Beta(1.2 + 1, 5 + 12) it is (2.2 - 1) / (2.2 + 17 - 2), and with an even prior 1/13.
    """
    strong = pairs([-50.0, -50.0], [5, 7], [1, 0])
    level_dbm, need_dbm = np.full(2, -50.0), np.full(2, NEED_DBM)
    for plain, wanted in ((False, 1.2 / 17.2), (True, 1.0 / 13.0)):
        found = better_shares(strong, level_dbm, need_dbm, sigma_db=6.0, shares=Shares(), plain=plain)
        assert found.lost == pytest.approx(wanted)
        assert found.silent == 0.0, "single tries do not tell the two shares apart"


def test_a_pair_that_is_silent_again_and_again_tells_the_share_of_silent_ones():
    """One of three pairs was missed 20 times at a level far above what is needed: by chance with 0.05^20, so silent.

    The mode of Beta(1.05 + 1, 20 + 2).
    """
    found = better_shares(
        pairs([-50.0, -50.0, np.nan], [5, 7, 0], [0, 0, 20]),
        np.full(3, -50.0),
        np.full(3, NEED_DBM),
        sigma_db=6.0,
        shares=Shares(),
        plain=False,
    )
    assert found.silent == pytest.approx(1.05 / (3 + 21.05 - 2))
    assert found.lost == pytest.approx(0.2 / (12 + 6.2 - 2))
