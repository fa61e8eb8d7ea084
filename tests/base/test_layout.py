"""Tables in plain text: as wide as they must be, no wider than the terminal, and straight with any letters."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.base.layout import (
    Column,
    columns_available,
    columns_of,
    counted,
    names_within,
    paragraphs,
    shortened,
    table,
    terminal_of,
    wrapped,
)

NAMES = (Column("spot", text=True), Column("margin dB"), Column("note", text=True))


def test_text_stands_left_and_numbers_stand_right_without_space_at_the_end_of_a_line():
    assert table(NAMES, [["shed", "3.1", "dry"], ["north fence", "-12.0", ""]]).splitlines() == [
        "spot         margin dB  note",
        "-----------  ---------  ----",
        "shed               3.1  dry",
        "north fence      -12.0",
    ]


def test_a_table_without_rows_is_its_headings():
    assert table(NAMES, []) == "spot  margin dB  note\n----  ---------  ----"


def test_a_heading_of_two_lines_stands_on_the_lowest():
    columns = (Column("spot", text=True), Column("margin\ndB"), Column("in the\nstraight line", text=True))
    assert table(columns, [["shed", "-123.4", "hedge"]]).splitlines() == [
        "      margin  in the",
        "spot      dB  straight line",
        "----  ------  -------------",
        "shed  -123.4  hedge",
    ]


def test_the_widest_text_is_cut_until_the_table_fits_and_no_number_is():
    lines = table(NAMES, [["a" * 60, "-123.4", "b" * 30]], width=50).splitlines()
    assert [len(line) for line in lines] == [35, 50, 50]
    assert lines[2] == f"{'a' * 17}…  {'-123.4':>9}  {'b' * 18}…"


def test_where_cutting_cannot_help_a_table_is_wider():
    lines = table([Column("x" * 30), Column("name", text=True)], [["1", "abcdefghij"]], width=20).splitlines()
    assert lines[2] == " " * 29 + "1  abcdefg…"


def test_the_column_that_yields_is_cut_first_and_down_to_its_heading():
    columns = (Column("spot", text=True), Column("in the\nstraight line", text=True, yields=True))
    rows = [["a" * 40, ("b" * 30, "c")]]
    assert table(columns, rows, width=62).splitlines()[3] == f"{'a' * 40}  {'b' * 16}… +1"
    assert table(columns, rows, width=53).splitlines()[3] == f"{'a' * 37}…  {'b' * 9}… +1"


@pytest.mark.parametrize(
    ("wide", "shown"),
    [
        (28, "south fence/10.00,-26.00,3.…"),
        (21, "south fence/10.00,-2…"),
        (13, "south fence/…"),
        (8, "south f…"),
    ],
)
def test_a_spot_of_a_search_is_cut_at_its_end(wide, shown):
    name = "south fence/10.00,-26.00,3.00"
    assert shortened(name, 29) == name
    assert shortened(name, wide) == shown


@pytest.mark.parametrize(
    ("wide", "shown"),
    [(19, "workshop south roof"), (18, "workshop south ro…"), (10, "workshop…"), (8, "worksho…")],
)
def test_a_name_is_cut_at_its_end_so_that_it_can_be_searched_for(wide, shown):
    assert shortened("workshop south roof", wide) == shown


@given(st.text(st.sampled_from("ab ,./-10屋根e\u0301…"), max_size=30), st.integers(4, 40))
def test_a_name_cut_takes_no_more_room_than_there_is(name, wide):
    assert columns_of(shortened(name, wide)) <= wide
    assert shortened(name, wide) == name or "…" in shortened(name, wide)


def test_of_several_names_as_many_are_shown_as_fit_and_the_rest_is_counted():
    names = ("lean-to roof", "west gable", "hedge")
    assert [names_within(names, wide) for wide in (31, 30, 26, 25, 15, 14, 10)] == [
        "lean-to roof, west gable, hedge",
        "lean-to roof, west gable +1",
        "lean-to roof +2",
        "lean-to roof +2",
        "lean-to roof +2",
        "lean-to ro… +2",
        "lean-t… +2",
    ]
    assert names_within((), 10) == ""


@given(st.lists(st.text("abc 屋", min_size=1, max_size=20), max_size=5), st.integers(10, 60))
def test_several_names_take_no_more_room_than_there_is_and_none_is_lost(names, wide):
    text = names_within(tuple(names), wide)
    assert columns_of(text) <= wide
    shown, plus, more = text.rpartition(" +")
    assert len(names) == 0 or (shown if plus else text).count(", ") + 1 + (int(more) if plus else 0) == len(names)


def test_columns_stay_straight_with_letters_that_take_two_columns_or_none():
    lines = table(NAMES, [["屋根", "3.1", ""], ["cafe\u0301", "4.0", ""], ["roof", "5.0", ""]]).splitlines()
    assert {columns_of(line) for line in lines[2:]} == {len("spot  margin dB")}
    assert [line.index(figure) for line, figure in zip(lines[2:], ("3.1", "4.0", "5.0"), strict=True)] == [10, 13, 12]


def test_wide_letters_are_cut_by_the_columns_they_take():
    (*_, line) = table([Column("name", text=True)], [["屋根の上のインバーター"]], width=9).splitlines()
    assert line == "屋根の上…"
    assert columns_of(line) == 9


def test_things_are_counted_in_singular_and_plural():
    assert [counted(1, "box"), counted(2, "box"), counted(0, "wall"), counted(2, "foliage")] == [
        "1 box",
        "2 boxes",
        "0 walls",
        "2 foliage",
    ]


def test_empty_parts_leave_no_gap_between_paragraphs():
    assert paragraphs("one", "", "two") == "one\n\ntwo"


def test_a_sentence_runs_over_lines_with_an_indent_after_the_first():
    text = wrapped("a wall of brick and a fence of steel, well-known", indent="  ", width=20)
    assert text.splitlines() == ["  a wall of brick", "    and a fence of", "    steel,", "    well-known"]
    text = wrapped("wall  of brick and of steel", hang=6, width=20)
    assert text.splitlines() == ["wall  of brick and", "      of steel"]


SPARE = (
    Column("inverter", text=True),
    Column("path loss\ndB", spare=2),
    Column("margin\ndB", spare=1),
    Column("state", text=True),
    Column("best path", text=True, spare=3),
)
ROWS = [["lean-to roof east 1-12", "101.2", "12.5", "marginal", "reflected"]]


@pytest.mark.parametrize(
    ("columns", "heads"),
    [
        (60, "inverter path loss dB margin dB state best path"),
        (49, "inverter path loss dB margin dB state"),
        (38, "inverter margin dB state"),
        (29, "inverter state"),
    ],
)
def test_in_a_narrow_terminal_the_least_needed_columns_are_left_out_and_named(columns, heads):
    text = table(SPARE, ROWS, width=columns)
    lines = text.splitlines()
    rule = next(k for k, line in enumerate(lines) if line.startswith("---"))
    assert max(map(len, lines[: rule + 2])) <= columns
    shown = [
        " ".join(line[start : start + len(dashes)].strip() for line in lines[:rule]).strip()
        for dashes, start in _spans(lines[rule])
    ]
    assert " ".join(shown) == heads
    left_out = [one.heading.replace("\n", " ") for one in sorted(SPARE, key=lambda one: -one.spare) if one.spare]
    left_out = left_out[: len(SPARE) - len(shown)]
    said = " ".join(text.split())
    assert said.endswith(f"Left out in this narrow window: {', '.join(left_out)}.") == bool(left_out)


def _spans(rule):
    start = 0
    for dashes in rule.split("  "):
        yield dashes, start
        start += len(dashes) + 2


def test_no_column_is_left_out_where_there_are_100_columns():
    many = [Column(f"figure {k}", spare=k + 1) for k in range(12)]
    assert "Left out" not in table(many, [["1"] * 12])
    assert "Left out" not in table(many, [["1"] * 12], width=100)
    assert "Left out" in table(many, [["1"] * 12], width=99)


def test_sentences_and_tables_take_the_terminal_they_are_laid_out_for():
    sentence = "word " * 80
    with terminal_of(60):
        assert max(map(len, wrapped(sentence).splitlines())) <= 60
        assert len(table([Column("a", text=True)], [["b" * 90]]).splitlines()[2]) == 60
    with terminal_of(200):
        assert len(table([Column("a", text=True)], [["b" * 190]]).splitlines()[2]) == 190
        assert max(map(len, wrapped(sentence).splitlines())) <= 100
    with terminal_of(20):
        assert columns_available() == 60
    assert columns_available() == 100
