"""Tables in plain text: as wide as they must be, no wider than the terminal, and straight with any letters."""

from survey.layout import Column, columns_of, counted, paragraphs, table, wrapped

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


def test_the_widest_text_is_cut_until_the_table_fits_and_no_number_is():
    lines = table(NAMES, [["a" * 60, "-123.4", "b" * 30]], width=50).splitlines()
    assert [len(line) for line in lines] == [35, 50, 50]
    assert lines[2] == f"{'a' * 17}…  {'-123.4':>9}  {'b' * 18}…"


def test_where_cutting_cannot_help_a_table_is_wider():
    lines = table([Column("x" * 30), Column("name", text=True)], [["1", "abcdefghij"]], width=20).splitlines()
    assert lines[2] == " " * 29 + "1  abcdefg…"


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
