"""Help with names, and messages that stay on their lines."""

import difflib

import pytest

from survey.base import errors
from survey.base.errors import (
    EntryError,
    Fault,
    PlanError,
    UnknownNameError,
    check_names,
    did_you_mean,
    nearest,
    one_line,
)


@pytest.mark.parametrize(
    ("word", "candidates", "near"),
    [
        ("heigth_m", ["height_m", "base_m"], "height_m"),
        ("NORTH FENCE", ["south fence", "North fence"], "North fence"),
        ("colour", ["height_m", "base_m"], None),
        ("", ["height_m"], None),
        ("height_m", [], None),
    ],
)
def test_the_nearest_name_is_found_without_regard_to_case(word, candidates, near):
    assert nearest(word, candidates) == near
    assert did_you_mean(word, candidates) == (f'; did you mean "{near}"?' if near else "")


def test_among_very_many_names_only_those_that_begin_alike_are_compared(monkeypatch):
    compared = []

    def close_matches(word, candidates, **settings):
        compared.append(len(candidates))
        return real(word, candidates, **settings)

    real = difflib.get_close_matches
    monkeypatch.setattr(difflib, "get_close_matches", close_matches)
    monkeypatch.setattr(errors, "MOST_COMPARED", 50)
    names = [f"{fence}/{x}.00,0.00,1.50" for fence in ("north", "south", "west") for x in range(100)]
    assert nearest("south/42.00,0.00,1.60", names) == "south/42.00,0.00,1.50"
    assert compared == [50]


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("plain and Süd, 屋根", "plain and Süd, 屋根"),
        ("two\nlines\r\n", "two\\nlines\\r\\n"),
        ("\x1b[31mred", "\\x1b[31mred"),
        ("\udcff", "\\udcff"),
        ("a\u2028b", "a\\u2028b"),
    ],
)
def test_what_cannot_be_printed_on_one_line_is_escaped(text, shown):
    assert one_line(text) == shown
    assert one_line(text).isprintable()


def test_a_fault_names_only_the_parts_of_its_place_that_there_are():
    assert str(Fault(file="a.toml", problem="is empty")) == "a.toml: is empty"
    assert str(Fault(file="a.toml", key="x", problem="is missing")) == "a.toml: x: is missing"
    assert str(Fault(file="a.toml", place="[x]", key="y", problem="is\nbad")) == "a.toml: [x]: y: is\\nbad"


def test_an_error_of_a_plan_has_a_line_for_every_fault():
    error = PlanError(Fault(file="a.toml", problem=f"is {word}") for word in ("bad", "worse"))
    assert str(error) == "a.toml: is bad\na.toml: is worse"
    assert [fault.problem for fault in error.faults] == ["is bad", "is worse"]


def test_an_error_of_an_entry_keeps_its_pairs():
    error = EntryError([("at", "is far"), ("", "is odd")])
    assert str(error) == "at: is far; is odd"
    assert error.problems == (("at", "is far"), ("", "is odd"))


def test_every_unknown_name_is_told_once_and_known_ones_are_not():
    with pytest.raises(UnknownNameError) as caught:
        check_names(["shed", "shd", "x", "shd"], ["shed"], file="a.toml", what="spot")
    assert str(caught.value).splitlines() == [
        'a.toml: no spot is named "shd"; did you mean "shed"?',
        'a.toml: no spot is named "x"',
    ]
    check_names(["shed"], ["shed"], file="a.toml", what="spot")
