"""Dropouts by cause: on invented logs whose causes are known, and what must hold for any log.

The whole confusion table, over hundreds of logs, stands in tests/benchmarks/test_dropouts_benchmark.py.
"""

import dataclasses

import numpy as np
import pytest
import service_logs
from dropout_logs import FAULTS, HARD, HEALTHY, any_recipe, make
from dropout_scores import judged
from hypothesis import given, settings
from hypothesis import strategies as st

from survey.measured.dropouts import CAUSES, INTERFERENCE, LOW_LIGHT, MOVED, NO_FAULTS, OBSTACLE, UNKNOWN
from survey.measured.dropouts.chances import affected, log_ratio
from survey.measured.dropouts.shares import FADING_DB, odds_of_weak
from survey.measured.dropouts.sorting import dropouts_of
from survey.measured.dropouts.weighing import Shared, arc_deg, shared_direction, shared_obstacle, weigh

ONE_OF_EACH = [(fault, seed) for fault in FAULTS for seed in (7_001, 7_002, 7_003)]


def found_in(made):
    return dropouts_of(made.scene, made.log())


def faults(found):
    return [one for one in found.findings if one.cause not in NO_FAULTS]


def is_right(fault, seed, *, wild):
    """Whether the one fault of a log is found as its first, with those that it struck, and with few others."""
    made = make(any_recipe(seed, (fault,), wild=wild))
    found = faults(found_in(made))
    named = set().union(*(one.inverters for one in found if one.cause == fault))
    struck, touched = made.struck[fault], made.touched[fault]
    whom = len(named & struck) >= 0.6 * len(struck) and len(named - touched) <= 0.2 * len(named)
    return bool(found) and found[0].cause == fault and whom


@pytest.mark.parametrize("wild", [False, True], ids=["plain", "wild"])
def test_the_one_fault_of_a_log_is_its_first_cause_and_strikes_whom_it_struck(wild):
    wrong = [(fault, seed) for fault, seed in ONE_OF_EACH if not is_right(fault, seed, wild=wild)]
    assert len(wrong) <= 0.1 * len(ONE_OF_EACH), wrong


@pytest.mark.parametrize("fault", HARD)
def test_a_fault_that_takes_a_rhythm_a_slope_or_lost_rows_is_found(fault):
    wrong = [seed for seed in range(71_000, 71_005) if not judged((fault, "hard"), seed)[1]]
    assert len(wrong) <= 1, wrong


@pytest.mark.parametrize("kind", HEALTHY)
def test_a_hard_log_without_a_fault_has_none(kind):
    dark = kind == "dark noons"  # one of twenty of these may be taken for a fault: docs/dropouts.md says how many are
    wrong = [seed for seed in range(72_000, 72_020 if dark else 72_004) if not judged(("", kind), seed)[1]]
    assert len(wrong) <= 1 * dark, wrong


def test_faults_of_the_other_generator_are_found():
    wrong = [fault for fault in service_logs.FAULTS if not judged((fault, "other"), 73_001)[1]]
    assert len(wrong) <= 2, wrong


def test_interference_in_three_days_of_a_dark_season_is_told_from_clouds():
    """Lost polls come and go; what lacks light stays silent."""
    seeds = (7_713_002, 7_713_013, 7_713_022)
    assert all(judged(("interference, short log", "other"), seed)[1] for seed in seeds)


def test_a_log_whose_missed_polls_are_all_explained_has_no_unknown_ones():
    call = service_logs.call_of(7_713_019, ("interference, short log",))
    found = dropouts_of(call.scene, call.made)
    assert [one.cause for one in faults(found)] == [INTERFERENCE]


def test_a_rhythm_of_hours_is_no_moved_gateway():
    group = {
        "answers": 600, "polls": 900, "share": 0.9, "direction": 1.0, "weakest": 0.5, "obstacle": "", "crossing": 1.0,
        "one_branch": None, "fall_db": float("nan"), "unevenness": 0.5, "margin_db": 20.0, "days": 5.0,
    }  # fmt: skip
    assert next(iter(weigh(Shared(**group)))) == MOVED
    assert weigh(Shared(**group, by_hours=True))[MOVED] < 0.1


@pytest.mark.parametrize("seed", [7_725_005, 7_725_008, 7_725_045])
def test_rows_that_a_dark_day_puts_back_by_an_hour_are_no_branch(seed):
    assert judged(("", "wild"), seed)[1]


@pytest.mark.parametrize("seed", range(7_100, 7_112))
def test_a_clean_log_has_no_fault(seed):
    found = found_in(make(any_recipe(seed, ())))
    assert faults(found) == []
    assert {one.cause for one in found.findings} <= {LOW_LIGHT, UNKNOWN}


@pytest.mark.parametrize("seed", range(7_200, 7_206))
def test_every_dropout_has_one_cause(seed):
    rng = np.random.default_rng(seed)
    found = found_in(make(any_recipe(seed, tuple(rng.choice(FAULTS, 3, replace=False)))))
    by_inverter = sum(found.by_cause.values())
    assert by_inverter == pytest.approx(found.missed_by, abs=1e-6)
    assert sum(one.dropouts for one in found.findings) == pytest.approx(found.missed, abs=len(found.findings))
    assert sum(found.share(one) for one in found.findings) == pytest.approx(1.0, abs=0.01)
    assert {one.cause for one in found.findings} <= set(CAUSES)
    assert found.polls == found.polls_by.sum() == found.heard + found.missed


def test_night_is_no_dropout():
    made = make(dataclasses.replace(any_recipe(3, ()), days=10, latitude_deg=40.0, stray=0.0, step_s=600))
    found = found_in(made)
    lit = made.heard.any(axis=0)
    assert lit.mean() < 0.6
    assert found.polls < 1.25 * lit.sum() * len(made.heard)
    assert found.missed < 0.15 * found.polls


@pytest.mark.parametrize("shift_h", [-9, 4, 11])
def test_the_zone_of_the_clock_changes_nothing(shift_h):
    recipe = dataclasses.replace(any_recipe(5, ("supply branch", "single unit")), days=14, utc_shift_s=0, step_s=900)
    one = found_in(make(recipe))
    other = found_in(make(dataclasses.replace(recipe, utc_shift_s=3_600 * shift_h)))
    assert [(a.cause, a.inverters) for a in faults(one)] == [(b.cause, b.inverters) for b in faults(other)]


def test_the_date_of_a_new_obstacle_lies_within_its_uncertainty():
    inside = 0
    for seed in range(7_300, 7_310):
        made = make(any_recipe(seed, (OBSTACLE,)))
        first = next((one for one in faults(found_in(made)) if one.cause == OBSTACLE), None)
        assert first is not None
        inside += abs(first.first_s - made.changed_s) < 0.03 * made.recipe.days * 86_400 + 2 * made.recipe.step_s
    assert inside >= 9


def test_a_log_of_one_day_is_sorted_as_far_as_it_goes():
    recipe = dataclasses.replace(any_recipe(11, ("gateway or network",)), days=1, inverters=12, step_s=600, gateways=1)
    assert "gateway or network" in {one.cause for one in found_in(make(recipe)).findings}


@given(st.integers(0, 10_000), st.sampled_from([0.0, 0.5, 1.0]), st.integers(1, 3), st.integers(1, 40))
@settings(max_examples=40, deadline=None)
def test_no_log_is_too_odd(seed, share, inverters, times):
    """Nothing heard, all heard, one inverter, a handful of polls: an answer, and every dropout in it."""
    recipe = dataclasses.replace(any_recipe(1, ()), days=1, inverters=max(inverters, 3), gateways=1, with_level=True)
    made = make(recipe)
    rng = np.random.default_rng(seed)
    kept = np.sort(rng.choice(made.heard.shape[1], times, replace=False))
    made.heard = rng.random((len(made.heard), times)) < share
    made.seconds, made.level_dbm, made.power_w = (one[:, kept] for one in (made.seconds, made.level_dbm, made.power_w))
    made.row = None
    found = found_in(made)
    assert sum(one.dropouts for one in found.findings) == pytest.approx(found.missed, abs=len(found.findings))


def test_a_weak_link_is_likelier_than_a_faulty_unit_where_the_margin_says_so():
    odds = odds_of_weak(np.array([0.3, 0.3, 1.0, 1.0]), np.array([2.0, 30.0, -10.0, 30.0]), np.full(4, 6.0))
    assert (odds > 1).tolist() == [True, False, True, False]
    # A link at its limit misses half: the density of a normal margin about 0 dB there, over half the chance of a fault.
    assert float(odds_of_weak(np.array([0.5]), np.array([0.0]), np.array([6.0]))[0]) == pytest.approx(
        FADING_DB / 6.0 / 0.01
    )


def test_sectors_and_obstacles_that_a_group_shares():
    bearings = np.arange(0.0, 360.0, 15.0)
    every = np.arange(24)
    assert float(arc_deg(bearings[[23, 0, 1]])) == 30.0
    assert shared_direction(bearings, np.array([23, 0, 1]), every) < 0.02
    assert shared_direction(bearings, np.array([0, 8, 16]), every) > 0.9
    met = tuple(frozenset({"shed"} if i < 4 else {"wall"}) for i in range(24))
    name, chance = shared_obstacle(met, np.array([0, 1, 2, 3]), every)
    # Four of four that meet the shed, of 24: one draw of 10,626.
    assert (name, chance) == ("shed", pytest.approx(1 / 10_626))


def test_a_mixture_tells_how_many_links_are_struck():
    rng = np.random.default_rng(2)
    polls = np.full(200, 60.0)
    misses = rng.binomial(60, np.where(np.arange(200) < 140, 0.03 + 0.97 * 0.3, 0.03)).astype(float)
    share, more = affected(misses, polls, np.full(200, 0.03))
    assert share == pytest.approx(0.7, abs=0.02)
    assert more == pytest.approx(0.3, abs=0.03)


def test_the_log_ratio_of_counts_is_that_of_poisson():
    # 10 where 2 are expected: 10 ln 5 - 8.
    assert float(log_ratio(10, 2.0)) == pytest.approx(10 * np.log(5) - 8)
