"""Logs in Parquet files: the same log as in CSV, and words where one cannot be read."""

import builtins
import csv
from datetime import UTC, datetime

import pytest
from places import SITES
from plans import write

import survey
from survey.base.errors import FileError


@pytest.fixture
def pa():
    return pytest.importorskip("pyarrow", reason="Parquet needs the extra survey[parquet]")


def columns():
    with (SITES / "farm-week.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {name: [row[name] for row in rows] for name in rows[0]}


def table_of(pa, *, zone=None):
    text = columns()
    times = [datetime.fromisoformat(one).replace(tzinfo=UTC if zone else None) for one in text["time"]]
    return pa.table(
        {
            "time": pa.array(times, pa.timestamp("us", tz=zone)),
            "inverter": pa.array(text["inverter"]).dictionary_encode(),
            "gateway": text["gateway"],
            "heard": [one == "1" for one in text["heard"]],
            "level_dbm": pa.array([float(one) if one else None for one in text["level_dbm"]], pa.float32()),
            "branch": text["branch"],
            "raw": [[1, 2]] * len(times),  # nested: left out
        }
    )


@pytest.mark.parametrize("zone", [None, "UTC"])
def test_a_log_in_parquet_is_the_log_in_csv(pa, tmp_path, zone):
    from pyarrow import parquet  # noqa: PLC0415  an extra

    parquet.write_table(table_of(pa, zone=zone), tmp_path / "week.parquet", row_group_size=1_000)
    there = survey.dropouts(SITES / "farm.toml", tmp_path / "week.parquet").to_dict()
    here = survey.dropouts(SITES / "farm.toml", SITES / "farm-week.csv").to_dict()
    if zone:
        assert there["first"] == here["first"] + "+00:00"
        assert (there["polls"], there["dropouts"]) == (here["polls"], here["dropouts"])
    else:
        assert {**there, "log": ""} == {**here, "log": ""}


def test_a_damaged_file_is_told(pa, tmp_path):
    assert pa
    (tmp_path / "log.parquet").write_bytes(b"PAR1" + b"\0" * 100)
    with pytest.raises(FileError, match="is no Parquet file that can be read"):
        survey.dropouts(write(tmp_path), tmp_path / "log.parquet")


def test_without_the_extra_it_says_what_to_install(tmp_path, monkeypatch):
    real = builtins.__import__

    def without(name, *more):
        if name.partition(".")[0] == "pyarrow":
            raise ImportError(name)
        return real(name, *more)

    (tmp_path / "log.parquet").write_bytes(b"PAR1")
    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(FileError, match=r"is a Parquet file; install survey\[parquet\] to read it"):
        survey.dropouts(write(tmp_path), tmp_path / "log.parquet")
