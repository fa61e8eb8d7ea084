"""Kinds of value in a plan: what each takes, how it keeps it, and what it says of the rest."""

import math
from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.base.errors import EntryError
from survey.inputs.fields import Choice, Entry, Number, Numbers, Points, Text, key, keys_of, type_of

HEIGHT = Number(-1.5, 1_000_000.0)
COUNT = Number(1, 20, whole=True)
POINT = Numbers(Number(-10.0, 10.0), least=2, most=2, axes=("x", "y"))
LINE = Points(POINT, least=2, most=3)


@pytest.mark.parametrize("value", [-1.5, 1_000_000.0, 0, -1, 3.25])
def test_a_number_within_its_limits_or_on_them_is_kept_as_a_float(value):
    assert HEIGHT.fault(value) is None
    assert isinstance(HEIGHT.clean(value), float)
    assert HEIGHT.clean(value) == value


@pytest.mark.parametrize("value", [math.nextafter(-1.5, -2), math.nextafter(1e6, 2e6), -2, 10**400, -(10**400)])
def test_a_number_just_beyond_its_limits_is_refused(value):
    assert HEIGHT.fault(value).endswith(" is out of range; write a number from -1.5 to 1000000")


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_to_calculate_with_is_refused(value):
    assert HEIGHT.fault(value) == f"{value} is not a number to calculate with; write a number from -1.5 to 1000000"


@pytest.mark.parametrize("value", ["3", True, None, [3], {}, (3,), b"3"])
def test_what_is_of_another_type_is_no_number(value):
    assert HEIGHT.fault(value) == f"{type_of(value)}; write a number from -1.5 to 1000000"


def test_a_whole_number_is_kept_as_one_and_a_decimal_is_refused():
    assert COUNT.fault(20) is None
    assert isinstance(COUNT.clean(20), int)
    assert COUNT.fault(2.0) == "2.0 is not a whole number; write a whole number from 1 to 20"
    assert COUNT.fault(21) == "21 is out of range; write a whole number from 1 to 20"


@given(st.one_of(st.integers(), st.floats()))
def test_a_number_is_taken_exactly_where_it_lies_within_the_limits(value):
    assert (HEIGHT.fault(value) is None) == (-1.5 <= value <= 1e6)


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("14", '"14" is text'),
        ("x" * 40, f'"{"x" * 40}" is text'),
        ("x" * 41, f'"{"x" * 37}..." is text'),
        (False, "false is a yes-or-no value"),
        (1.5, "1.5 is a number"),
        (-999_999_999_999_999, "-999999999999999 is a number"),
        (10**15, "that is a number"),
        ([1, 2], "is a list"),
        ({"a": 1}, "is a table"),
        (None, "is a NoneType"),
    ],
)
def test_a_type_is_named_in_words(value, words):
    assert type_of(value) == words


def test_text_is_kept_without_the_space_around_it():
    assert Text().fault(" north  fence ") is None
    assert Text().clean(" north  fence ") == "north  fence"


def test_a_note_may_be_empty_and_of_several_lines_and_a_name_may_not():
    note, name = Text(), Text(needed=True)
    assert note.fault("") is note.fault("two\nlines") is None
    assert name.fault(" ") == "is empty; write a name"
    assert name.fault("two\nlines").startswith("holds a line break")
    assert name.fault("tab\there").startswith("holds a line break or another character that cannot be printed")
    assert name.fault(3) == '3 is a number; write text in quotes, "like this"'


def test_a_choice_is_one_of_its_words_to_the_letter():
    kind = Choice(("up", "down"))
    assert kind.fault("up") is None
    assert kind.clean("up") == "up"
    assert kind.fault("Up") == '"Up" is not known; write "up" or "down"; did you mean "up"?'
    assert kind.fault("left") == '"left" is not known; write "up" or "down"'
    assert kind.fault(1) == '1 is a number; write "up" or "down"'


def test_a_choice_with_an_ending_may_also_be_the_name_of_a_file():
    kind = Choice(("up", "down"), ending=".csv")
    allowed = 'write "up" or "down" or the name of a file that ends in .csv'
    assert [kind.fault(name) for name in ("up", "Ways.csv", "a folder/WAYS.CSV")] == [None] * 3
    assert kind.clean("Ways.csv") == "Ways.csv"
    assert kind.fault("ways.txt") == f'"ways.txt" is not known; {allowed}'
    assert kind.fault(True) == f"true is a yes-or-no value; {allowed}"


def test_a_point_is_kept_as_floats_and_names_the_coordinate_that_is_wrong():
    assert POINT.fault([1, -10]) is None
    assert POINT.clean([1, -10]) == (1.0, -10.0)
    assert all(isinstance(value, float) for value in POINT.clean([1, -10]))
    assert POINT.fault([1]) == "holds 1 values; write [x, y], numbers from -10 to 10"
    assert POINT.fault([1, 11]) == "y: 11 is out of range; write a number from -10 to 10"
    assert POINT.fault("1, 2") == '"1, 2" is text; write [x, y], numbers from -10 to 10'


def test_a_list_of_numbers_counts_its_values():
    kind = Numbers(Number(0.0, 9.0), least=1, most=3)
    assert kind.fault((1, 2, 3)) is None
    assert kind.fault([]) == "holds 0 values; write a list of 1 to 3 numbers from 0 to 9"
    assert kind.fault([1, 2, 3, 4]) == "holds 4 values; write a list of 1 to 3 numbers from 0 to 9"
    assert kind.fault([1, "x"]) == 'value 2: "x" is text; write a number from 0 to 9'


def test_points_are_kept_as_tuples_and_count_themselves():
    assert LINE.fault([[0, 0], [1, 1]]) is None
    assert LINE.clean([[0, 0], [1, 1]]) == ((0.0, 0.0), (1.0, 1.0))
    assert LINE.fault([[0, 0]]) == "holds 1 points; write 2 to 3 points as [[x, y], [x, y], ...]"
    assert LINE.fault([[0, 0]] * 4) == "holds 4 points; write 2 to 3 points as [[x, y], [x, y], ...]"
    assert LINE.fault([[0, 0], 3]) == "point 2: 3 is a number; write [x, y], numbers from -10 to 10"
    assert LINE.fault(3) == "3 is a number; write 2 to 3 points as [[x, y], [x, y], ...]"


@dataclass(frozen=True, kw_only=True)
class Post(Entry):
    name: str = key(Text(needed=True))
    at: tuple[float, float] = key(POINT)
    height_m: float = key(HEIGHT, default=2.0)
    depth_m: float | None = key(HEIGHT, default=None)

    def inconsistencies(self):
        if self.depth_m is not None and self.depth_m > self.height_m:
            yield "depth_m", "is more than the post is long"


def test_an_entry_keeps_its_values_clean_and_fills_in_its_defaults():
    post = Post(name=" gate ", at=[1, 2])
    assert (post.name, post.at, post.height_m, post.depth_m) == ("gate", (1.0, 2.0), 2.0, None)
    assert [one.name for one in keys_of(Post)] == ["name", "at", "height_m", "depth_m"]


def test_an_entry_tells_everything_that_is_wrong_with_it_at_once():
    with pytest.raises(EntryError) as caught:
        Post(name="", at=[1], height_m=math.nan)
    assert [name for name, _ in caught.value.problems] == ["name", "at", "height_m"]
    assert str(caught.value).startswith("name: is empty; write a name; at: holds 1 values")


def test_values_that_are_each_in_order_may_still_not_fit_together():
    with pytest.raises(EntryError) as caught:
        Post(name="gate", at=[1, 2], depth_m=3)
    assert caught.value.problems == (("depth_m", "is more than the post is long"),)


def test_whoever_makes_an_entry_gives_none_only_where_none_is_the_default():
    with pytest.raises(EntryError, match="height_m: is a NoneType"):
        Post(name="gate", at=[1, 2], height_m=None)


def test_a_decimal_comma_in_quotes_is_told_with_the_point():
    told = '"1,8" is text, with a comma; write 1.8 with a point, without quotes'
    assert Number(0.0, 10.0).fault("1,8") == told
    assert Number(0.0, 10.0).fault(" -1,85 ").endswith("write -1.85 with a point, without quotes")
    assert Number(0.0, 10.0).fault("1,8 m") == '"1,8 m" is text; write a number from 0 to 10'


@pytest.mark.parametrize(
    ("value", "hint"),
    [
        ([1, 5, 2, 5], ". If 1,5 is one number, write 1.5 with a point"),
        ([2, 5, 0], ". If 2,5 is one number, write 2.5 with a point"),
        ([0, 0, 0], ""),
        ([1.5, 2, 5], ""),
        ([1, 2, 3, 4, 5], ""),
    ],
)
def test_a_point_of_too_many_whole_numbers_may_have_decimal_commas(value, hint):
    allowed = "write [x, y], numbers from 0 to 10"
    point = Numbers(Number(0.0, 10.0), least=2, most=2, axes=("x", "y"))
    assert point.fault(value) == f"holds {len(value)} values; {allowed}{hint}"
