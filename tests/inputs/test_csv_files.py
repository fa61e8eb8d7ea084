"""CSV files as spreadsheets write them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.base.errors import TableError
from survey.inputs.csv_files import as_written, inert, number_of, read_table

ROWS = "inverter,gateway,level_dbm\nA-1,office,-64.5\n"


def table(tmp_path, content, **settings):
    path = tmp_path / "day.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return read_table(path, needed=("inverter", "level_dbm"), also=("gateway",), **settings)


@pytest.mark.parametrize(
    "content",
    [
        ROWS,
        ROWS.replace(",", ";"),
        ROWS.replace(",", "\t"),
        b"\xef\xbb\xbf" + ROWS.encode(),
        ROWS.encode("utf-16"),
        ROWS.replace("\n", "\r\n"),
        ROWS.replace("\n", "\r"),
        "# a note\n\n" + ROWS.replace("level_dbm", " Level_dBm ") + ",,\n\n",
    ],
    ids=["comma", "semicolon", "tab", "byte-order mark", "utf-16", "windows", "returns alone", "notes and blanks"],
)
def test_the_same_rows_are_read_however_they_are_written(tmp_path, content):
    found = table(tmp_path, content)
    assert found.columns == {"inverter": ["A-1"], "level_dbm": ["-64.5"], "gateway": ["office"]}
    assert found.ignored == ()


def test_columns_of_no_use_are_named_and_lines_are_those_of_the_file(tmp_path):
    found = table(tmp_path, "# note\ninverter,Mood,level_dbm\n\nA-1,good,-60\n")
    assert (found.ignored, found.lines, found.columns["inverter"]) == (("Mood",), [4], ["A-1"])


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("", "is empty; its first line must name inverter and level_dbm"),
        ("inverter,level_dbm\n", "has a header and no rows"),
        ("inverter,level\nA,-60\n", 'header: level_dbm: no such column; is it "level"?; the first line must name'),
        ("inverter,level_dbm,inverter\nA,-60,B\n", "header: inverter: is there twice"),
        ("inverter,level_dbm\nA,-60\nB,-60,1\n", "line 3: has 3 cells below 2 columns"),
        (
            f"inverter,level_dbm\nA,{'7' * 131_073}\n",
            "line 2: has a cell of more than 131072 characters; is a quote left",
        ),
        (f'inverter,level_dbm\n"A,{"-60," * 40_000}\n', "line 2: has a cell of more than 131072 characters"),
        (b"inverter,level_dbm\n\xff\xe9,-60\n", "is not text in UTF-8"),
        (b"inverter,level_dbm\nA\x00,-60\n", "bytes of value 0"),
    ],
)
def test_what_cannot_be_read_is_told(tmp_path, content, message):
    with pytest.raises(TableError) as caught:
        table(tmp_path, content)
    assert message in str(caught.value)


def test_a_file_that_is_not_there_is_told_with_a_near_name(tmp_path):
    (tmp_path / "readings.csv").write_text(ROWS, encoding="utf-8")
    with pytest.raises(TableError, match="there is no such file; did you mean"):
        read_table(tmp_path / "reading.csv", needed=("inverter",))


@pytest.mark.parametrize(
    ("text", "value"), [("-64,5", -64.5), ("-64.5", -64.5), ("\N{MINUS SIGN}7", -7.0), ("1e1", 10)]
)
def test_numbers_may_have_a_decimal_comma(text, value):
    assert number_of(text, low=-200, high=60) == (value, None)


@pytest.mark.parametrize("text", ["nan", "inf", "-6 4", "1.000,5", "-300", ""])
def test_what_is_no_number_is_told(text):
    value, problem = number_of(text, low=-200, high=60)
    assert problem
    assert math.isnan(value) or not -200 <= value <= 60


@given(st.text(alphabet="'=+-@\t\rab1", max_size=6))
def test_inert_text_is_read_back_as_it_was(text):
    cell = inert(text)
    assert as_written(cell) == text
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r"))
