"""How long a log takes to read, and how often causes come out right; each run checks its answer.

Run ``python -m pytest tests/benchmarks --benchmark-enable -k dropouts`` for the whole confusion table, and with
``SURVEY_LARGE_LOG=1`` for a year of 10-minute polls of 400 inverters: 21 million rows, a file of a gigabyte.
"""

import os
from datetime import datetime, timedelta

import numpy as np
import pytest
from dropout_scores import kinds, renewed, scores, table

from survey.inputs.logs import read_log

LARGE = bool(os.environ.get("SURVEY_LARGE_LOG"))
SIZES = {"small": (40, 2), "year": (400, 365)}
EACH = 24


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


def test_dropouts_confusion_table(benchmark, capsys):
    """Logs of one fault or none: which cause comes first, as the table of docs/dropouts.md has it, on other seeds.

    The bars: eight of ten right for each fault, nine of ten over all, and 6 false alarms in 300 healthy logs.
    """
    each, healthy = (EACH, 2 * EACH) if benchmark.enabled else (1, 2)
    results = benchmark.pedantic(lambda: scores("benchmark", each, healthy), rounds=1)
    faulty = [one for one in results if one[0][0]]
    alarms = sum(not one[3] for one in results if not one[0][0])
    assert sum(one[3] for one in faulty) >= (0.9 if benchmark.enabled else 0.8) * len(faulty)
    if benchmark.enabled:
        with capsys.disabled():
            print("\n" + "\n".join(table(results)))
        for kind in kinds():
            own = [one[3] for one in results if one[0] == kind]
            assert sum(own) >= 0.8 * len(own), kind
        assert alarms <= 0.02 * (len(results) - len(faulty))
    else:
        assert alarms <= 1


def test_the_table_of_the_docs_is_renewed_in_its_place():
    page = "before\n\n| fault made | kind | right | first cause found |\n| --- |\n| old |\n\nafter\n"
    lines = table([(("weak link", "plain"), 1, "weak link", True, ("weak link",))])
    assert renewed(page, lines) == (
        "before\n\n| fault made | kind | right | first cause found |\n| --- | --- | --- | --- |\n"
        "| weak link | plain | 1 of 1 | weak link 1 |\n\nafter\n"
    )
