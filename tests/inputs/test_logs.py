"""Reading logs: every way in which a row may be written, and every way in which one may be wrong."""

import csv
import random
import re
from datetime import datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.base.errors import FileError
from survey.inputs.csv_files import TOO_LONG
from survey.inputs.logs import NO_ZONE, read_log
from survey.inputs.logs.cells import SPARE_BYTES, Names, numbers_of
from survey.inputs.logs.reader import _row_faults
from survey.inputs.logs.rows import RETURN_WITHIN, Faults
from survey.inputs.logs.stamps import seconds_of, seconds_of_text
from survey.inputs.logs.style import ANSWER_WANTED, LEVEL_WANTED, TIME_WANTED

NAMES = ["i1", "i2", "shed roof 3", "a name of more than eight letters, with a comma"]
DATES = st.datetimes(datetime(1950, 1, 1), datetime(2190, 1, 1))  # noqa: DTZ001  as a clock shows them
ABOVE = "above 0 dBm, too strong for a reading: is it in milliwatts? Write dBm"
FOUR = "the header has 4; write one cell for each column, with a comma between them"
HEADER = "time,inverter,gateway,heard"


def read(folder, text, **more):
    path = folder / "log.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    names = {"inverters": NAMES, "serials": ["S-77", "", "", ""], "gateways": ["office", "barn"]} | more
    return read_log(path, **names)


def faults(folder, text, **more):
    with pytest.raises(FileError) as raised:
        read(folder, text, **more)
    return str(raised.value).replace(str(folder / "log.csv"), "log.csv").splitlines()


def packed(texts):
    """Fields one behind the other, as the reader has them."""
    joined = ",".join(texts).encode()
    buffer = np.frombuffer(joined + bytes(SPARE_BYTES), dtype=np.uint8)
    lengths = np.array([len(text) for text in texts])
    starts = np.concatenate([[0], np.cumsum(lengths + 1)[:-1]])
    return buffer, starts, starts + lengths


TWO = f"{HEADER}\n2026-05-01T10:00,i1,office,1\n2026-05-01T10:00,i2,office,0\n2026-05-01T10:10,i1,office,0\n"


def test_polls_and_answers_are_laid_out_by_link_and_time(tmp_path):
    log = read(tmp_path, TWO)
    assert log.polls.tolist() == [[1, 1], [1, 0]]
    assert log.heard.tolist() == [[1, 0], [0, 0]]
    assert (log.inverter.tolist(), log.step_s, log.rows) == ([0, 1], 600, 3)
    assert (log.stamp(log.time_s[0]), log.offset_min, log.notes) == ("2026-05-01T10:00", NO_ZONE, ())


SAME = {
    "return before the line break": TWO.replace("\n", "\r\n"),
    "no line break at the end": TWO.rstrip("\n"),
    "byte-order mark": b"\xef\xbb\xbf" + TWO.encode(),
    "semicolons": TWO.replace(",", ";"),
    "tabs": TWO.replace(",", "\t"),
    "return for the line break": TWO.replace("\n", "\r"),
    "return for the line break, none at the end": TWO.replace("\n", "\r").rstrip("\r"),
    "quotes": "\n".join(",".join(f'"{one}"' for one in row.split(",")) for row in TWO.split("\n") if row),
    "spaces": TWO.replace(",", " , "),
    "empty lines": TWO.replace("\n", "\n\n"),
    "capitals in the header": TWO.replace(HEADER, HEADER.upper()),
    "a space for the T": TWO.replace("T10", " 10"),
    "seconds": TWO.replace(":00,", ":00:00,").replace(":10,", ":10:00,"),
    "parts of seconds": TWO.replace(":00,", ":00:00.123,").replace(":10,", ":10:00.123,"),
    "the short form": TWO.replace("2026-05-01T10:00", "20260501T1000"),
    "the serial for a name": TWO.replace("i1", "S-77"),
    "a serial here and a name there": TWO.replace("i1", "S-77", 1),
    "a column of serials": TWO.replace("inverter", "serial").replace("i1", "S-77"),
}


@pytest.mark.parametrize("text", SAME.values(), ids=SAME)
def test_ways_of_writing_the_same_log(tmp_path, text):
    one, other = read(tmp_path, text), read(tmp_path, TWO)
    assert one.polls.tolist() == other.polls.tolist()
    assert one.heard.tolist() == other.heard.tolist()
    assert one.stamp(one.time_s[-1]) == other.stamp(other.time_s[-1])


def test_zones_are_brought_to_one_clock(tmp_path):
    rows = ["2026-05-01T10:00:00+02:00,i1,office,1", "2026-05-01T10:10:00+02:00,i1,office,1"]
    rows += ["2026-05-01T08:20:00Z,i1,office,1", "2026-05-01T10:30,i1,office,1", "2026-05-01T03:10-05:30,i1,office,1"]
    log = read(tmp_path, "\n".join([HEADER, *rows]))
    assert [log.stamp(at) for at in log.time_s] == [f"2026-05-01T10:{k}0+02:00" for k in range(5)]
    assert [note for note in log.notes if "zone" in note] == [
        "times without a zone: 1, read in the zone of most others, +02:00",
        "times of 3 zones, all shown in +02:00",
    ]


def test_decimal_commas_stand_between_semicolons(tmp_path):
    text = "time;inverter;gateway;heard;level_dbm\n"
    text += "2026-05-01T10:00;i1;office;1;-81,5\n2026-05-01T10:10;i1;office;1;-82.25\n"
    assert read(tmp_path, text).level_dbm.tolist() == [[-81.5, -82.25]]


def test_a_name_may_be_longer_than_those_read_at_once(tmp_path):
    long = "the inverter " * 20
    assert read(tmp_path, TWO.replace("i1", long), inverters=[long.strip(), "i2"], serials=["", ""]).rows == 3


def test_quotes_within_a_name_are_written_double(tmp_path):
    text = TWO.replace("i1", '"the ""old"" roof"').replace("office", '"office"')
    assert read(tmp_path, text, inverters=['the "old" roof', "i2"], serials=["", ""]).inverter.tolist() == [0, 1]


def test_rows_in_disorder_are_sorted_and_told(tmp_path):
    rows = [f"2026-05-01T{h:02d}:{m}0,{name},office,1" for h in range(24) for m in range(6) for name in ("i1", "i2")]
    random.Random(1).shuffle(rows)  # noqa: S311  no secret
    log = read(tmp_path, "\n".join([HEADER, *rows]))
    assert log.polls.shape == (2, 144)
    assert log.polls.min() == log.polls.max() == 1
    assert log.notes == ("rows are not in the order of time; they were sorted",)


def test_a_poll_told_twice_counts_once_and_heard_once_is_heard(tmp_path):
    log = read(tmp_path, TWO + "2026-05-01T10:10,i1,office,1\n2026-05-01T10:00,i1,office,1\n")
    assert (log.rows, log.repeated) == (3, 2)
    assert log.heard.tolist() == [[1, 1], [0, 0]]
    assert "rows that repeat a poll: 2, merged; a poll counts as answered if any of them was" in log.notes


def test_a_clock_that_jumps_back_is_told(tmp_path):
    minutes = [*range(0, 180, 10), *range(120, 300, 10)]
    rows = [
        f"2026-10-25T{m // 60:02d}:{m % 60:02d}:{k:02d},{name},office,1"
        for k, m in enumerate(minutes)
        for name in NAMES[:2]
    ]
    log = read(tmp_path, "\n".join([HEADER, *rows]))
    assert log.notes == ("the clock jumps back, by 50 minutes or less, first about 2026-10-25T02:00",)
    assert log.rows == len(rows)


def test_rows_of_a_clock_that_was_wrong_by_years_are_left_out_and_told(tmp_path):
    log = read(tmp_path, TWO + "1970-01-01T00:00,i1,office,1\n")
    assert log.rows == 3
    assert log.notes[0].startswith("rows half a year or more from all others: 1, such as 1970-01-01T00:00")


def test_columns_that_are_not_used_are_told(tmp_path):
    text = TWO.replace(HEADER, f"{HEADER},firmware,").replace(",1\n", ",1,v2,\n").replace(",0\n", ",0,v2,\n")
    assert read(tmp_path, text).notes == ("columns not used: firmware, one without a name",)


def test_levels_powers_and_branches(tmp_path):
    text = f"{HEADER},level_dbm,power_w,branch\n"
    text += "2026-05-01T10:00,i1,office,1,-81.5,120,B1\n2026-05-01T10:00,i2,barn,0,,,B2\n"
    log = read(tmp_path, text)
    assert log.level_dbm[0, 0] == -81.5
    assert log.power_w[0, 0] == 120
    assert np.isnan(log.level_dbm[1, 0])
    assert log.branches == ("B1", "B2", "", "")
    assert log.gateway.tolist() == [0, 1]


BAD = {
    "empty": ("", ["log.csv: is empty; a log begins with time,inverter,gateway,heard"]),
    "no rows": (HEADER + "\n", ["log.csv: has a header but no rows"]),
    "another header": (
        "tme,inverter,gateway,hear\n",
        [
            'log.csv: row 1: time: no such column; did you mean "tme"?; say which it is: --column time="NAME"',
            'log.csv: row 1: heard: no such column; did you mean "hear"?; say which it is: --column heard="NAME"',
        ],
    ),
    "a column twice": (f"{HEADER},heard\n", ["log.csv: row 1: heard: is there twice"]),
    "names": (
        TWO.replace("i2", "i22").replace("office", "offise").replace("i1", "roof"),
        [
            'log.csv: row 2: gateway: no gateway of the plan is named "offise"; did you mean "office"?',
            (
                'log.csv: row 2: inverter: no inverter of the plan is named "roof"; it has "i1", "i2", "shed roof 3", '
                '"a name of more than eight letters, wi..."'
            ),
            'log.csv: row 3: inverter: no inverter of the plan is named "i22"; did you mean "i2"?',
        ],
    ),
    "fields": (
        TWO + "2026-13-01T10:00,i1,office,1\n2026-05-01,i1,office,2\n2026-05-01T11:00,i1\n",
        [
            'log.csv: row 5: time: "2026-13-01T10:00" is ' + TIME_WANTED,
            'log.csv: row 6: time: "2026-05-01" is ' + TIME_WANTED,
            'log.csv: row 6: heard: "2" is ' + ANSWER_WANTED,
            "log.csv: row 7: 2026-05-01T11:00,i1: 2 cells: " + FOUR,
        ],
    ),
    "levels": (
        f"{HEADER},level_dbm\n2026-05-01T10:00,i1,office,1,weak\n2026-05-01T10:10,i1,office,1,0.002\n",
        [
            'log.csv: row 2: level_dbm: "weak" is ' + LEVEL_WANTED,
            f'log.csv: row 3: level_dbm: "0.002" is {ABOVE}',
        ],
    ),
    "a return amid the fields": (
        TWO + "2026-05-01T11:00,i1,office,1\r2026-05-01T11:10,i1,office,1\n",
        [
            r"log.csv: row 5: 2026-05-01T11:00,i1,office,1\r2026-05-...: " + RETURN_WITHIN,
        ],
    ),
    "an endless name": (
        TWO + f"2026-05-01T11:00,{'x' * 131_073},office,1\n",
        [f"log.csv: row 5: 2026-05-01T11:00,{'x' * 20}...: {TOO_LONG}"],
    ),
    "an endless field": (
        TWO + f"2026-05-01T11:00,i1,office,{'x' * 131_073}\n",
        [f"log.csv: row 5: 2026-05-01T11:00,i1,office,{'x' * 10}...: {TOO_LONG}"],
    ),
    "a quote left open": (
        TWO + f'"2026-05-01T11:00,i1,office,1{" " * 131_073}\n',
        [f'log.csv: row 5: "2026-05-01T11:00,i1,office,1{" " * 8}...: {TOO_LONG}'],
    ),
    "no text": (bytes(range(256)), ["log.csv: is not plain text; save it as CSV"]),
}


@pytest.mark.parametrize(("text", "told"), BAD.values(), ids=BAD)
def test_what_is_wrong_with_a_log_is_told(tmp_path, text, told):
    assert faults(tmp_path, text) == told


def test_many_bad_rows_are_told_by_the_first_and_their_number(tmp_path):
    told = faults(tmp_path, HEADER + "\n" + "yesterday,i1,office,1\n" * 1_000)
    assert told[0].startswith('log.csv: row 2: time: "yesterday" is not a time')
    assert len(told) == 6
    assert told[-1] == "log.csv: time: and 995 more rows like these"


def test_a_log_that_is_wrong_all_through_is_not_read_to_its_end(tmp_path, monkeypatch):
    monkeypatch.setattr("survey.inputs.logs.source.BLOCK_BYTES", 50_000)
    told = faults(tmp_path, HEADER + "\n" + "yesterday,i1,office,1\n" * 60_000)
    more = int(told[-1].split()[3])
    assert told[-1] == f"log.csv: time: and {more} more rows like these as far as it was read"
    assert 9_995 < more < 30_000


def test_a_level_may_have_a_true_minus_sign_and_a_decimal_comma_between_tabs(tmp_path):
    text = f"{HEADER},level_dbm\n2026-05-01T10:00,i1,office,1,\N{MINUS SIGN}71;5\n2026-05-01T10:10,i1,office,1,-72;25\n"
    log = read(tmp_path, text.replace(",", "\t").replace(";", ","))
    assert log.level_dbm.tolist() == [[-71.5, -72.25]]


def test_a_serial_that_two_inverters_have_is_told(tmp_path):
    told = faults(tmp_path, TWO.replace("i1", "S-77"), serials=["S-77", "", "S-77", ""])
    assert told == ['log.csv: row 2: inverter: serial "S-77" belongs to "i1" and "shed roof 3" in the plan']


def test_a_file_that_is_not_there_is_told_with_the_nearest(tmp_path):
    (tmp_path / "lok.csv").write_text("")
    with pytest.raises(FileError, match=r'log.csv: there is no such file; did you mean "lok.csv"'):
        read_log(tmp_path / "log.csv", inverters=[], serials=[], gateways=[])


def test_faults_of_several_kinds_are_told_in_the_order_of_their_rows_whichever_thread_finds_them_first():
    found = Faults()
    found.add(9, "heard", ANSWER_WANTED, "x")
    found.add(4, "time", "no time", "noon")
    assert [one.place for one in _row_faults(found, "log.csv")] == ["row 4", "row 9"]


@given(
    st.lists(DATES, min_size=1, max_size=20),
    st.sampled_from(["minutes", "seconds", "milliseconds"]),
    st.sampled_from(["", "Z", "+05:45", "-11:00"]),
)
def test_times_read_in_bulk_are_those_that_python_reads(times, precision, zone):
    texts = [one.isoformat(timespec=precision) + zone for one in times]
    seconds, offset, good = seconds_of(*packed(texts))
    assert good.all()
    assert list(zip(seconds.tolist(), offset.tolist(), strict=True)) == [seconds_of_text(text) for text in texts]


@given(st.lists(st.text("0123456789-:TZ+. ", min_size=0, max_size=30), min_size=1, max_size=20))
def test_no_time_is_read_in_bulk_that_python_does_not_read(texts):
    seconds, offset, good = seconds_of(*packed(texts))
    for k in np.flatnonzero(good).tolist():
        assert (int(seconds[k]), int(offset[k])) == seconds_of_text(texts[k])


@given(
    st.lists(
        st.decimals(-9999, 9999, places=2).map(str) | st.just("") | st.text("0123456789-+.e", max_size=6), min_size=1
    )
)
def test_numbers_read_in_bulk_are_those_that_python_reads(texts):
    values, good = numbers_of(*packed(texts), decimal=".")
    for text, value, fine in zip(texts, values.tolist(), good.tolist(), strict=True):
        if fine and text:
            assert value == pytest.approx(float(text), abs=1e-9)
        if not fine and text:
            assert not re.fullmatch(r"[+-]?[0-9]+\.?[0-9]*", text)


def test_a_log_with_odd_rows_among_plain_ones_reads_as_the_csv_module_reads_it(tmp_path):
    random_ = random.Random(3)  # noqa: S311  no secret
    rows, expected = [], {}
    for k in range(2_000):
        name, heard = random_.choice(NAMES), random_.choice("01")
        at = datetime.fromtimestamp(1_777_000_000 + 600 * (k // 4)).isoformat()  # noqa: DTZ006  any time
        rows.append([at, name, random_.choice(["office", "barn"]), heard])
    path = tmp_path / "log.csv"
    with path.open("w", newline="") as file:
        csv.writer(file, quoting=csv.QUOTE_MINIMAL).writerows([HEADER.split(","), *rows])
    log = read_log(path, inverters=NAMES, serials=[""] * 4, gateways=["office", "barn"])
    for at, name, gateway, heard in rows:
        expected[at, name, gateway] = max(int(heard), expected.get((at, name, gateway), 0))
    assert log.heard.sum() == sum(expected.values())
    assert log.polls.sum() == len(expected)
    assert (log.rows, log.repeated) == (len(expected), len(rows) - len(expected))


def test_names_that_another_thread_learns_meanwhile_change_no_number():
    """A block of rows looks names up in one table, although the next block may put a longer one in its place."""
    waiting = []

    class Interrupted(Names):
        def _find(self, mixed):
            found = super()._find(mixed)
            while waiting:
                self.numbers(*waiting.pop())
            return found

    names, mine, others = Interrupted(), packed(["i1", "i2", "i1"]), packed([f"other {k}" for k in range(50)])
    assert names.numbers(*mine)[0].tolist() == [0, 1, 0]
    waiting.append(others)
    assert names.numbers(*mine)[0].tolist() == [0, 1, 0]
    assert names.numbers(*others)[0].tolist() == list(range(2, 52))


def test_a_last_row_without_a_line_break_is_read_the_same_each_time(tmp_path):
    """Such a row is a block of its own, read while the first still is."""
    rows = [f"2026-05-01T{k // 6:02d}:{k % 6}0,{name},office,1" for k in range(40) for name in NAMES[:2]]
    found = {read(tmp_path, "\n".join([HEADER, *rows])).polls.tobytes() for _ in range(300)}
    assert found == {bytes([1] * 80)}
