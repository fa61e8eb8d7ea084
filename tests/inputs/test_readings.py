"""Readings: which names, levels and times are taken, and what is told of the others."""

import numpy as np
import pytest

from survey.base.errors import TableError
from survey.inputs.readings import Names, read_readings

NAMES = Names(
    plan_file="barn.toml",
    inverters=("A-1", "A-2", "shed", "annex"),
    serials=("", "S100", "S200", "S200"),
    places=("office", "gate post"),
)


@pytest.fixture
def read(tmp_path):
    def written(text):
        path = tmp_path / "day.csv"
        path.write_text(text, encoding="utf-8")
        return read_readings(path, NAMES)

    return written


def told(read, text):
    with pytest.raises(TableError) as caught:
        read(text)
    return [line.partition("day.csv: ")[2] for line in str(caught.value).splitlines()]


def test_levels_misses_serials_and_repeats(read):
    found = read(
        "inverter;serial;gateway;level_dbm;time;note\n"
        "A-1;;office;-64,5;2026-03-05T14:30+10:00;by hand\n"
        ";S100;gate post;missed;;\n"
        "S100;;office;;2026-03-05;\n"
        "A-1;;office;-66;;\n"
    )
    assert found.inverter.tolist() == [0, 1, 1, 0]
    assert found.gateway.tolist() == [0, 1, 0, 0]
    np.testing.assert_array_equal(found.level_dbm, [-64.5, np.nan, np.nan, -66.0])
    assert found.notes == ()


def test_columns_of_no_use_are_noted(read):
    assert read("inverter,gateway,level_dbm,mood\nA-1,office,-60,good\n").notes == ("columns ignored: mood",)


def test_every_unknown_name_is_told_once_with_the_nearest(read):
    assert told(read, "inverter,gateway,level_dbm\nA-3,ofice,-60\nA-3,office,-60\nA-1,nowhere,-70\n") == [
        'line 2: inverter: no inverter of barn.toml has the name or serial "A-3"; did you mean "A-2"?',
        'line 2: gateway: no gateway, spot or inverter of barn.toml is named "ofice"; did you mean "office"?',
        'line 4: gateway: no gateway, spot or inverter of barn.toml is named "nowhere"',
    ]


def test_serials_that_are_unknown_doubled_or_of_another_inverter_are_told(read):
    rows = "inverter,serial,gateway,level_dbm\n,S1000,office,-60\n,S200,office,-60\nA-1,S100,office,-60\n"
    assert told(read, rows) == [
        'line 2: serial: no inverter of barn.toml has the serial "S1000"; did you mean "S100"?',
        'line 3: serial: "S200" is in barn.toml more than once: shed and annex',
        'line 4: serial: "S100" belongs to A-2 in barn.toml, not to A-1',
    ]


def test_levels_above_zero_are_asked_about_all_at_once(read):
    (line,) = told(read, "inverter,gateway,level_dbm\nA-1,office,64\nA-2,office,0.5\nA-2,office,-60\n")
    assert line.startswith("level_dbm: is above 0 dBm on line 2, 3: is it in mW")


def test_what_is_no_number_no_time_and_no_count_is_told_by_line(read):
    text = "inverter,gateway,level_dbm,time,tries\nA-1,office,loud,,\nA-1,office,-60,yesterday,\nA-1,office,-60,,1.5\n"
    lines = told(read, text)
    assert [line.split(":")[0:2] for line in lines] == [
        ["line 2", " level_dbm"],
        ["line 4", " tries"],
        ["line 3", " time"],
    ]


def test_a_file_that_names_no_inverter_is_told(read):
    assert told(read, "gateway,level_dbm\noffice,-60\n") == [
        "header: inverter: no such column; the first line must name inverter (or serial), gateway and level_dbm"
    ]
