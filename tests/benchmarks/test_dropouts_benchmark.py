"""How long a log takes to read, and how often causes come out right; each run checks its answer.

Run ``python -m pytest tests/benchmarks --benchmark-enable -k dropouts`` for the whole confusion table, and with
``SURVEY_LARGE_LOG=1`` for a year of 10-minute polls of 400 inverters: 21 million rows, a file of a gigabyte.
"""

import os
from datetime import datetime, timedelta

import numpy as np
import pytest
from dropout_logs import FAULTS, any_recipe, make

from survey.inputs.logs import read_log
from survey.measured.dropouts import NO_FAULTS
from survey.measured.dropouts.sorting import dropouts_of

LARGE = bool(os.environ.get("SURVEY_LARGE_LOG"))
SIZES = {"small": (40, 2), "year": (400, 365)}
EACH = 30


def write_log(path, *, inverters, days, seed=1):
    """A plain log, and how many polls in it were heard."""
    rng = np.random.default_rng(seed)
    heard_in_all = 0
    with path.open("w", encoding="utf-8") as file:
        file.write("time,inverter,gateway,heard,level_dbm,power_w,branch\n")
        for k in range(days * 144):
            at = (datetime(2026, 1, 1) + timedelta(minutes=10 * k)).isoformat()  # noqa: DTZ001  the site's clock
            heard = (rng.random(inverters) > 0.03) & (36 <= k % 144 < 108)
            level_dbm, power_w = rng.normal(-75, 4, inverters), rng.uniform(5, 300, inverters)
            heard_in_all += int(heard.sum())
            file.writelines(
                f"{at},inv-{i},office,1,{level_dbm[i]:.1f},{power_w[i]:.0f},B{i // 20}\n"
                if heard[i]
                else f"{at},inv-{i},office,0,,,B{i // 20}\n"
                for i in range(inverters)
            )
    return heard_in_all


@pytest.mark.parametrize("size", SIZES)
def test_dropouts_reading_a_log(benchmark, size, tmp_path):
    if size == "year" and not (LARGE and benchmark.enabled):
        pytest.skip("the year runs with --benchmark-enable and SURVEY_LARGE_LOG=1 only")
    inverters, days = SIZES[size]
    path = tmp_path / "log.csv"
    heard = write_log(path, inverters=inverters, days=days)
    names = [f"inv-{i}" for i in range(inverters)]

    def read():
        return read_log(path, inverters=names, serials=[""] * inverters, gateways=["office"])

    log = benchmark.pedantic(read, rounds=1)
    assert log.polls.shape == (inverters, days * 144)
    assert int(log.polls.sum(dtype=np.int64)) == log.rows == inverters * days * 144
    assert int(log.heard.sum(dtype=np.int64)) == heard
    assert np.isfinite(log.level_dbm).sum() == heard


def causes_of(seed, causes, *, wild):
    made = make(any_recipe(seed, causes, wild=wild))
    found = dropouts_of(made.scene, made.log()).findings
    return list(dict.fromkeys(one.cause for one in found if one.cause not in NO_FAULTS))


@pytest.mark.parametrize("wild", [False, True], ids=["plain", "wild"])
def test_dropouts_confusion_table(benchmark, wild, capsys):
    """Logs of one fault or none: which cause comes first. The bar: nine of ten right, one false alarm in fifty."""
    each = EACH if benchmark.enabled else 2
    kinds = ("", *FAULTS)

    def table():
        first = {}
        for k, fault in enumerate(kinds):
            for seed in range(each if fault else 2 * each):
                causes = causes_of(40_000 + 1_000 * k + seed, (fault,) if fault else (), wild=wild)
                pair = fault, causes[0] if causes else ""
                first[pair] = first.get(pair, 0) + 1
        return first

    first = benchmark.pedantic(table, rounds=1)
    with capsys.disabled():
        if benchmark.enabled:
            print(f"\n{'made':28s} first cause found", "(wild)" if wild else "(plain)")
            for fault in kinds:
                row = {found or "none": count for (made, found), count in first.items() if made == fault}
                print(f"{fault or 'nothing':28s} {row}")
    if benchmark.enabled:
        for fault in FAULTS:
            assert first.get((fault, fault), 0) >= 0.9 * each, fault
        assert sum(count for (made, found), count in first.items() if not made and found) <= 0.02 * 2 * each
    else:
        assert sum(count for (made, found), count in first.items() if made == found) >= 0.9 * 8 * each
