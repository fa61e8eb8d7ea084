"""Counts of messages: fading in time and a ceiling come back from simulated counts, and links use them."""

import json
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from survey.budget import links_between
from survey.decisions.simulation import drawn_works
from survey.inputs.plan_file import plan_of
from survey.inputs.readings import Readings, read_readings
from survey.measured.calibration import correction_from, correction_of, fit, names_of
from survey.output.answers.figures import fit_words
from survey.output.answers.fit import fit_record, fit_table
from survey.scene import corrected, scene_of

CEILING, FADE_DB, SENT = 0.93, 6.0, 40


def field_site():
    """An invented field: 60 inverters, three gateways, no obstacles; far links are near what a gateway needs."""
    end = {"tx_power_dbm": 0.0, "sensitivity_dbm": -75.0}
    return scene_of(
        plan_of(
            {
                "plan_version": 1,
                "site": {"name": "invented field"},
                "radio": {"frequency_mhz": 2440.0, "inverter": end, "gateway": end},
                "environment": {"shadowing_db": 5.0, "correlation_m": 3.0},
                "requirement": {"fade_margin_db": 0.0},
                "array": [
                    {
                        "name": "A",
                        "first": [0.0, 0.0],
                        "height_m": 3.0,
                        "rows": 6,
                        "per_row": 10,
                        "spacing_m": 6.0,
                        "row_spacing_m": 6.0,
                    }
                ],
                "gateway": [{"name": f"g{j}", "at": [-2.0 + 30.0 * j, -3.0], "height_m": 2.0} for j in range(3)],
            },
            file="field",
        )
    )


def counts(scene, seed, *, levels=False, sent=SENT):
    """Received of the messages sent on each link, and the chance of each message."""
    rng = np.random.default_rng(seed)
    links = links_between(scene, scene.inverters, scene.gateways)
    level_dbm = links.uplink_level_dbm - 8.0 + rng.normal(0.0, 5.0, links.shape)
    chance = CEILING * norm.cdf((level_dbm + 75.0) / FADE_DB)
    received = rng.binomial(sent, chance)
    inverter, gateway = (one.ravel() for one in np.indices(links.shape))
    read = np.where(received.ravel() > 0, level_dbm.ravel(), np.nan) if levels else np.full(len(inverter), np.nan)
    readings = Readings(
        file="made",
        inverter=inverter,
        gateway=gateway,
        level_dbm=read,
        tries=np.full(len(inverter), sent),
        lines=np.arange(len(inverter)) + 2,
        received=received.ravel(),
        day="2026-03-05",
    )
    return readings, chance


def test_ceiling_and_fading_come_back_from_counts_beside_levels():
    scene = field_site()
    result = fit(scene, counts(scene, 0, levels=True)[0])
    assert result.ceiling == pytest.approx(CEILING, abs=0.03)
    assert result.fade_db == pytest.approx(FADE_DB, abs=2.0)
    assert result.solution.sigma_db == pytest.approx(5.0, abs=1.2)


@pytest.mark.parametrize(
    ("sent", "sites"),
    [(400, 2), *(pytest.param(sent, 6, marks=pytest.mark.slow) for sent in (20, 40, 400))],
)
def test_counts_alone_tell_the_ceiling_and_how_fading_compares_with_shadowing(sent, sites):
    """Without any level only the ratio of the two is known well: the exponent that ties them to dB is known roughly.

    Six sites scatter by some 8 % of the true ratio, so their mean by 3 %. It is 2 to 4 % too high for 20, 40 and 400
    messages. Counted as 20, 40 messages made it 11 % and 400 of them 21 % too high, as the fit then expects more chance
    than there is, and finds shadowing too small."""
    scene = field_site()
    found = [fit(scene, counts(scene, seed, sent=sent)[0]) for seed in range(sites)]
    assert np.mean([one.ceiling for one in found]) == pytest.approx(CEILING, abs=0.03)
    ratios = [one.fade_db / one.solution.sigma_db for one in found]
    assert np.mean(ratios) == pytest.approx(FADE_DB / 5.0, rel=0.08 if sites > 2 else 0.12)


@pytest.mark.slow
def test_chances_with_the_fit_are_nearer_to_delivery_than_a_share_of_all():
    """Half of the links is read, the other half predicted: the log-loss of its messages beside that of one share."""
    scene = field_site()
    readings, chance = counts(scene, 5)
    half = np.random.default_rng(0).random(len(readings)) < 0.5
    names = ("inverter", "gateway", "level_dbm", "tries", "lines", "received")
    taken = replace(readings, **{name: getattr(readings, name)[half] for name in names})
    correction = correction_of(fit(scene, taken))
    links = links_between(corrected(scene, correction), scene.inverters, scene.gateways)
    true, said = chance.ravel()[~half], links.reliability.ravel()[~half]
    share = np.full(len(true), chance.ravel()[half].mean())

    def log_loss(guess):
        guess = np.clip(guess, 1e-4, 1 - 1e-4)
        return -np.mean(true * np.log(guess) + (1 - true) * np.log1p(-guess))

    assert log_loss(said) < 0.9 * log_loss(share)
    assert links.reliability.max() <= correction.ceiling


def test_an_answer_says_the_ceiling_and_which_fit_it_uses():
    scene = field_site()
    found = fit(scene, counts(scene, 1, levels=True)[0])
    correction, _ = correction_from(json.loads(json.dumps(fit_record(found))), scene, file="f.json")
    links = links_between(corrected(scene, correction), scene.inverters, scene.gateways)
    words = " ".join(fit_words(links.scene, links))
    assert "f.json, from 180 readings of 2026-03-05, up to " in words
    assert f"at most {found.ceiling:.2f} by what was counted" in words
    assert "a chance of at most" in fit_table(found).replace("\n  ", " ")


def test_a_fit_of_before_is_still_read():
    """Without what later versions say: no ceiling, no fading, nothing of links beside those that were read."""
    scene = field_site()
    record = json.loads(json.dumps(fit_record(fit(scene, counts(scene, 1, levels=True)[0]))))
    for name in ("ceiling", "fading_db", "shadowing_alike", "correlation_m", "fitted_on"):
        del record[name]
    correction, warnings = correction_from(record, scene)
    assert (correction.read, correction.ceiling, correction.fade_db, warnings) == (None, 1.0, 0.0, ())


def test_counts_are_read_from_a_file(tmp_path):
    path = tmp_path / "counts.csv"
    path.write_text("inverter,gateway,level_dbm,sent,received\nA-1-1,g0,-60,20,19\nA-1-2,g0,,20,5\nA-1-3,g0,heard,,\n")
    readings = read_readings(path, names_of(field_site()))
    assert readings.heard.tolist() == [19, 5, 1]
    assert readings.tries.tolist() == [20, 20, 1]
    path.write_text("inverter,gateway,sent,received\nA-1-1,g0,20,21\n")
    with pytest.raises(Exception, match="21 of 20 sent"):
        read_readings(path, names_of(field_site()))


def test_heavy_tails_do_not_make_shadowing_too_small():
    """Levels spread by Student's t with 4 degrees of freedom: shadowing is within 10 % of their standard deviation, and
    the mean log density of new levels within 0.03 of that by this standard deviation."""
    scene, log_losses = field_site(), []
    links = links_between(scene, scene.inverters, scene.gateways)
    inverter, gateway = (one.ravel() for one in np.indices(links.shape))
    for seed in range(2):
        rng = np.random.default_rng(seed)
        off_db = rng.standard_t(4, (2, len(inverter))) * 6.1 / np.sqrt(2.0)
        level_dbm = links.uplink_level_dbm.ravel() + off_db
        readings = Readings(
            file="made",
            inverter=inverter,
            gateway=gateway,
            level_dbm=level_dbm[0],
            tries=np.ones(len(inverter), dtype=np.int64),
            lines=np.arange(len(inverter)) + 2,
        )
        sigma_db = fit(scene, readings).solution.sigma_db
        log_losses.append(-norm.logpdf(off_db[1], 0.0, sigma_db).mean() + norm.logpdf(off_db[1], 0.0, 6.1).mean())
    assert np.mean(log_losses) <= 0.03


def test_misses_beside_strong_levels_are_told():
    scene = field_site()
    readings, _ = counts(scene, 1, levels=True)
    level_dbm = np.where(np.arange(len(readings)) < 25, np.nan, readings.level_dbm + 40.0)
    found = fit(scene, replace(readings, level_dbm=level_dbm, received=None))
    assert "missed readings may contradict the levels" in fit_table(found).replace("\n  ", " ")


def test_simulation_runs_have_the_fading_and_the_ceiling_of_the_fit():
    """The share of 2,000 runs in which a link works is its chance, within 0.05; a run without them is not."""
    scene = field_site()
    correction = correction_of(fit(scene, counts(scene, 1, levels=True)[0]))
    links = links_between(corrected(scene, correction), scene.inverters, scene.gateways)
    share = np.mean(np.concatenate(list(drawn_works(links, draws=2_000, seed=0))), axis=0)
    assert share == pytest.approx(links.reliability, abs=0.05)
    assert share.max() < correction.ceiling + 0.03 < 1.0
