"""Fits to simulated readings of an invented yard, whose true figures are known."""

import json
from dataclasses import replace

import numpy as np
import pytest

from survey.budget import links_between
from survey.inputs.plan_file import plan_of
from survey.inputs.readings import Readings
from survey.measured.calibration import Shares, correction_of, fit
from survey.measured.calibration.model import units_of
from survey.output.answers.fit import fit_record
from survey.scene import corrected, scene_of

SPREADS_DB = np.array([3.0, 2.0])


def yard(*, gateways=2, columns=8, rows=5, step_m=3.0, sensitivity_dbm=-130.0):
    """Rows of inverters with two long walls between them, so high that nothing gets around."""
    end = {"tx_power_dbm": 0.0, "sensitivity_dbm": sensitivity_dbm}
    wall = {"height_m": 50.0}
    return scene_of(
        plan_of(
            {
                "plan_version": 1,
                "site": {"name": "invented yard"},
                "radio": {"frequency_mhz": 2440.0, "inverter": end, "gateway": end},
                "environment": {"shadowing_db": 6.0},
                "material": [
                    {"name": "one", "loss_db": 7.0, "spread_db": 3.0},
                    {"name": "other", "loss_db": 5.0, "spread_db": 2.0},
                ],
                "array": [
                    {
                        "name": "A",
                        "first": [0.0, 0.0],
                        "height_m": 3.0,
                        "rows": rows,
                        "per_row": columns,
                        "spacing_m": step_m,
                        "row_spacing_m": step_m,
                    }
                ],
                "wall": [
                    wall | {"name": "w1", "material": "one", "along": [[7.0, -50.0], [7.0, 100.0]]},
                    wall | {"name": "w2", "material": "other", "along": [[16.0, -50.0], [16.0, 100.0]]},
                ],
                "gateway": [
                    {"name": f"g{j}", "at": [-2.0 + 26.0 * j, -3.0 - j], "height_m": 2.0} for j in range(gateways)
                ],
            },
            file="yard",
        )
    )


def readings_of(inverter, gateway, level_dbm):
    count = len(level_dbm)
    return Readings(
        file="made",
        inverter=np.asarray(inverter, dtype=np.int64),
        gateway=np.asarray(gateway, dtype=np.int64),
        level_dbm=np.asarray(level_dbm, dtype=float),
        tries=np.ones(count, dtype=np.int64),
        lines=np.arange(count) + 2,
    )


def simulate(scene, rng, *, offset_db, exponent, changes_db, sigma_db=5.0, gateway_sd_db=2.0, lost=0.0):
    """One reading of every pair, and what its level truly is."""
    links = links_between(scene, scene.inverters, scene.gateways)
    _, unit = units_of(scene)
    passes = links.passes_of(unit, 2).reshape(*links.shape, 2)
    steeper = exponent - scene.plan.environment.path_loss_exponent
    level_dbm = links.uplink_level_dbm + offset_db - passes @ changes_db
    level_dbm -= 10.0 * steeper * np.log10(np.maximum(links.distance_m, 1.0))
    level_dbm += rng.normal(0.0, gateway_sd_db, links.shape[1]) + rng.normal(0.0, sigma_db, links.shape)
    inverter, gateway = (index.ravel() for index in np.indices(links.shape))
    heard = (level_dbm > links.gateways.need_dbm).ravel() & (rng.random(level_dbm.size) >= lost)
    return readings_of(inverter, gateway, np.where(heard, level_dbm.ravel(), np.nan)), level_dbm


def some(readings, chosen):
    names = ("inverter", "gateway", "level_dbm", "tries", "lines")
    return replace(readings, **{name: getattr(readings, name)[chosen] for name in names})


@pytest.mark.slow
def test_known_figures_come_back_within_their_standard_errors():
    """200 sites drawn from the prior, 24 readings each: of 95 % intervals, 90 to 99 % hold; of 90 % intervals of
    unseen levels, 80 to 97 %."""
    scene = yard()
    inside, unseen = [], []
    for seed in range(200):
        rng = np.random.default_rng(seed)
        truth = np.array([rng.normal(-30.0, 15.0), rng.normal(2.0, 0.5), *rng.normal(0.0, SPREADS_DB)])
        truth[1] = np.clip(truth[1], 0.8, 4.0)
        readings, level_dbm = simulate(scene, rng, offset_db=truth[0], exponent=truth[1], changes_db=truth[2:])
        taken = some(readings, rng.choice(len(readings), 24, replace=False))
        found = fit(scene, taken)
        if len(found.units) < 2:
            continue
        inside.append(np.abs(found.solution.parameters[:4] - truth) <= 1.96 * found.stderr[:4])
        links = links_between(corrected(scene, correction_of(found)), scene.inverters, scene.gateways)
        new = np.ones(links.shape, dtype=bool)
        new[taken.inverter, taken.gateway] = False
        unseen.append(np.mean((np.abs(links.uplink_level_dbm - level_dbm) <= 1.645 * links.sigma_db)[new]))
    assert len(inside) >= 190
    assert np.all(np.mean(inside, axis=0) >= 0.90)
    assert np.all(np.mean(inside, axis=0) <= 0.995)
    assert 0.80 <= np.mean(unseen) <= 0.97


def test_a_few_wild_readings_do_not_move_the_fit():
    scene = yard()
    readings, _ = simulate(scene, np.random.default_rng(5), offset_db=-20.0, exponent=2.2, changes_db=np.zeros(2))
    clean = fit(scene, readings)
    level_dbm = readings.level_dbm.copy()
    level_dbm[[3, 30, 60]] += [35.0, 35.0, -35.0]
    wild = fit(scene, replace(readings, level_dbm=level_dbm))
    assert wild.solution.sigma_db == pytest.approx(clean.solution.sigma_db, rel=0.1)
    assert wild.solution.parameters[:4] == pytest.approx(clean.solution.parameters[:4], abs=0.8)
    assert {3, 30, 60} <= set(np.flatnonzero(wild.suspect).tolist())


@pytest.mark.parametrize("share", [0.1, 0.5])
def test_misses_by_level_and_by_chance_are_told_apart(share):
    """A tenth of the tries, or half of them, is lost by chance, the others lie below what the gateway needs."""
    scene = yard(columns=20, rows=10, sensitivity_dbm=-95.0)
    settings = {"offset_db": -5.0, "exponent": 2.2, "changes_db": np.zeros(2), "lost": share}
    lost, sigma_db = [], []
    for seed in range(5):
        readings, _ = simulate(scene, np.random.default_rng(seed), **settings)
        assert np.isnan(readings.level_dbm).mean() > 0.15
        found = fit(scene, readings)
        lost.append(found.solution.shares.lost)
        sigma_db.append(found.solution.sigma_db)
    assert np.mean(lost) == pytest.approx(share, abs=0.02)
    assert np.mean(sigma_db) == pytest.approx(5.0, abs=0.3)


@pytest.mark.slow
def test_with_half_the_tries_lost_standard_errors_still_hold():
    """Levels near what the gateway needs, 40 sites drawn from the prior: of 95 % intervals at least 85 % hold."""
    scene, inside = yard(sensitivity_dbm=-95.0), []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        truth = np.array([rng.normal(-8.0, 4.0), rng.normal(2.0, 0.5), *rng.normal(0.0, SPREADS_DB)])
        truth[1] = np.clip(truth[1], 0.8, 4.0)
        readings, _ = simulate(scene, rng, offset_db=truth[0], exponent=truth[1], changes_db=truth[2:], lost=0.5)
        found = fit(scene, readings)
        inside.append(np.abs(found.solution.parameters[:4] - truth) <= 1.96 * found.stderr[:4])
    assert np.all(np.mean(inside, axis=0) >= 0.85)


def test_repeats_on_one_pair_count_once():
    """190 packets at one place are not 190 readings."""
    scene = yard()
    readings, _ = simulate(scene, np.random.default_rng(2), offset_db=-20.0, exponent=2.0, changes_db=np.zeros(2))
    few = some(readings, np.arange(0, 40, 4))
    often = some(readings, np.concatenate([np.arange(0, 40, 4), np.zeros(189, dtype=int)]))
    once, many = fit(scene, few), fit(scene, often)
    assert many.solution.parameters == pytest.approx(once.solution.parameters, abs=0.02)
    assert many.stderr == pytest.approx(once.stderr, rel=0.02)


def test_one_reading_moves_little_but_the_offset():
    scene = yard()
    found = fit(scene, readings_of([4], [0], [-90.0]))
    assert found.solution.parameters[1] == pytest.approx(2.0, abs=0.1)
    assert found.stderr[1] == pytest.approx(0.5, abs=0.05)
    assert abs(found.residual_db[0]) < 2.0
    assert (found.places_left_out.rmse_db, found.places_left_out.groups) == (None, 0)
    assert any("exponent" in one for one in found.cannot_tell)


def test_all_missed_says_only_that_nothing_was_heard():
    found = fit(yard(), readings_of([0, 5, 9], [0, 0, 1], [np.nan] * 3))
    assert "nothing was heard" in found.cannot_tell[0]
    assert found.rmse_db is None
    assert found.solution.parameters[0] == 0.0
    assert found.solution.parameters[1] == pytest.approx(2.0, abs=0.3)
    json.dumps(fit_record(found), allow_nan=False)


def test_all_equal_levels_give_a_finite_fit():
    found = fit(yard(), readings_of(range(30), [0] * 30, [-70.0] * 30))
    assert np.all(np.isfinite([*found.solution.parameters, *found.stderr, found.solution.sigma_db]))


@pytest.mark.parametrize("offset_db", [14.0, -58.0])
def test_offsets_of_any_size_are_found(offset_db):
    scene = yard()
    settings = {"exponent": 2.0, "changes_db": np.zeros(2), "gateway_sd_db": 0.0}
    readings, _ = simulate(scene, np.random.default_rng(3), offset_db=offset_db, **settings)
    found = fit(scene, readings)
    assert abs(found.solution.parameters[0] - offset_db) <= 3.0 * found.stderr[0]


def test_beyond_the_farthest_reading_the_prediction_widens():
    scene = yard()
    readings, _ = simulate(scene, np.random.default_rng(4), offset_db=-20.0, exponent=2.0, changes_db=np.zeros(2))
    links = links_between(scene, scene.inverters, scene.gateways)
    near = links.distance_m[readings.inverter, readings.gateway] < 12.0
    found = corrected(scene, correction_of(fit(scene, some(readings, near))))
    sigma_db = links_between(found, scene.inverters, scene.gateways).sigma_db
    assert sigma_db[links.distance_m > 25.0].mean() > sigma_db[links.distance_m < 12.0].mean() + 0.5


def test_a_wall_that_every_reading_crosses_is_not_told_from_the_offset():
    scene = yard(gateways=1)
    links = links_between(scene, scene.inverters, scene.gateways)
    _, unit = units_of(scene)
    passes = links.passes_of(unit, 2)
    behind = np.flatnonzero((passes[:, 0] == 1) & (passes[:, 1] == 0))
    found = fit(scene, readings_of(behind, [0] * len(behind), links.uplink_level_dbm[behind, 0]))
    assert [one.name for one in found.units] == ["one"]
    assert any(one.startswith("the loss of one: the readings say little") for one in found.cannot_tell)
    assert found.stderr[2] == pytest.approx(3.0, rel=0.05)


def test_the_check_finds_the_weak_the_strong_and_the_swapped():
    scene = yard()
    links = links_between(scene, scene.inverters, scene.gateways)
    near, far = int(np.argmin(links.distance_m[:, 0])), int(np.argmax(links.distance_m[:, 0]))
    settings = {"offset_db": -20.0, "exponent": 2.5, "changes_db": np.zeros(2), "sigma_db": 2.0, "gateway_sd_db": 0.0}
    readings, _ = simulate(scene, np.random.default_rng(7), **settings)
    level_dbm = readings.level_dbm.reshape(links.shape).copy()
    level_dbm[[near, far]] = level_dbm[[far, near]]
    level_dbm[12] = np.nan
    level_dbm[20] -= 25.0
    found = fit(scene, replace(readings, level_dbm=level_dbm.ravel()))
    verdicts = {one.inverter: one for one in found.findings}
    assert verdicts[12].verdict == verdicts[20].verdict == "weaker"
    assert verdicts[12].difference_db is None
    assert verdicts[near].swapped_with == far
    others = [one.verdict for key, one in verdicts.items() if key not in {12, 20, near, far}]
    assert others.count("as expected") >= len(others) - 2


def test_given_shares_are_kept():
    found = fit(yard(), readings_of([0, 1], [0, 0], [-70, np.nan]), shares=Shares(lost=0.3, silent=0.0, fixed=True))
    assert found.solution.shares.lost == 0.3
