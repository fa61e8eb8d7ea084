"""Readings between inverters: what they teach of hops, on simulated readings of an invented roof with known truth."""

import json
from dataclasses import replace

import numpy as np
import pytest
from invented_roofs import readings_of, roof

from survey.base.errors import TableError
from survey.budget import links_between
from survey.inputs.readings import read_readings
from survey.measured.calibration import correction_from, fit, names_of
from survey.output.answers.fit import fit_record, fit_table
from survey.routing import hops_of
from survey.scene import corrected

OFF_DB = -14.0
"""By which levels between inverters lie below the plan's, in the simulation, besides what levels at gateways do."""


def drawn(scene, seed, *, hops):
    """Readings of all inverters at a spot and of so many hops, and the true levels of all hops, alike both ways."""
    rng = np.random.default_rng(seed)
    count = len(scene.inverters)
    up = links_between(scene, scene.inverters, scene.spots.pick([0])).uplink_level_dbm[:, 0]
    up = up - 8.0 + rng.normal(0.0, 4.0, count)
    between = links_between(scene, scene.inverters, scene.inverters).uplink_level_dbm - 8.0 + OFF_DB
    shadowing_db = np.triu(rng.normal(0.0, 4.0, (count, count)), 1)
    between = between + shadowing_db + shadowing_db.T
    pairs = np.argwhere(~np.eye(count, dtype=bool))
    read = pairs[rng.choice(len(pairs), hops, replace=False)] if hops else np.zeros((0, 2), dtype=int)
    places = len(scene.gateways_and_spots)
    return between, readings_of(
        np.append(np.arange(count), read[:, 0]),
        np.append(np.zeros(count, dtype=int), read[:, 1] + places),
        np.append(up, between[read[:, 0], read[:, 1]]),
    )


def fitted(scene, readings):
    """The site with the fit of readings, by way of its file."""
    record = json.loads(json.dumps(fit_record(fit(scene, readings))))
    correction, warnings = correction_from(record, scene)
    assert not warnings
    return corrected(scene, correction)


def test_hops_are_predicted_from_readings_between_inverters():
    """Hops that were not read: 14 dB off without such readings, within shadowing with thirty; intervals hold."""
    scene = roof(spots=1, columns=5, rows=4, step_m=8.0)
    squared, held = {0: [], 30: []}, []
    for seed in range(3):
        for hops, squares in squared.items():
            between, readings = drawn(scene, seed, hops=hops)
            site = fitted(scene, readings)
            links = links_between(site, site.inverters, site.inverters)
            new = np.triu(np.ones(links.shape, dtype=bool), 1)
            start, end = readings.inverter[20:], readings.gateway[20:] - 1
            new[start, end] = new[end, start] = False
            new = np.triu(new, 1)
            error_db = (links.uplink_level_dbm - between)[new]
            squares.append(np.mean(error_db**2))
            if hops:
                held.append(np.mean(np.abs(error_db) <= 1.645 * links.sigma_db[new]))
    assert np.sqrt(np.mean(squared[0])) > 11.0
    assert np.sqrt(np.mean(squared[30])) < 5.5
    assert 0.8 <= np.mean(held) <= 0.99


def test_relays_of_a_network_use_them():
    """A hop that was read is as it was read, one link however it was read, and alike both ways within 0.3 dB."""
    scene = roof(spots=1, columns=5, rows=4, step_m=8.0)
    _, readings = drawn(scene, 0, hops=0)
    extra = readings_of([0, 1], [2, 1], [-80.0, -80.0])
    names = ("inverter", "gateway", "level_dbm", "tries", "lines")
    both = replace(readings, **{one: np.append(getattr(readings, one), getattr(extra, one)) for one in names})
    found = fit(scene, both)
    assert len(found.pairs) == 21
    assert "between inverters, dB besides the offset" in fit_table(found)
    site = fitted(scene, both)
    links = links_between(site, site.inverters, site.inverters)
    assert links.uplink_level_dbm[0, 1] == pytest.approx(links.uplink_level_dbm[1, 0], abs=0.3)
    assert abs(links.uplink_level_dbm[0, 1] + 80.0) < abs(links.uplink_level_dbm[2, 3] + 80.0)
    before, after = hops_of(fitted(scene, readings)), hops_of(site)
    assert after.margin_db[after.row(0, 1)] < before.margin_db[before.row(0, 1)] - 5.0


def test_readings_between_inverters_come_from_a_file(tmp_path):
    scene = roof(spots=1)
    path = tmp_path / "hops.csv"
    path.write_text("inverter,gateway,level_dbm\nA-1-1,s0,-60\nA-1-1,A-1-2,-50\n", encoding="utf-8")
    assert read_readings(path, names_of(scene)).gateway.tolist() == [0, 2]
    path.write_text("inverter,gateway,level_dbm\nA-1-2,A-1-2,-60\n", encoding="utf-8")
    with pytest.raises(TableError, match='"A-1-2" is the inverter itself'):
        read_readings(path, names_of(scene))
