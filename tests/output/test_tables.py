"""Figures as tables show them: rounding that hides nothing."""

from types import SimpleNamespace

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from survey.decisions.simulation import CriticalPosition
from survey.output.answers.drawing import measure_words
from survey.output.answers.explain import next_step
from survey.output.answers.figures import db, letter, margin, percent
from survey.output.answers.joint import joint_text

WANTED = [0.5, 0.7, 0.9, 0.95, 0.975, 0.99, 0.995, 0.999, 0.9999, 0.8765, 0.123456]
chances = st.floats(0.0, 1.0)


def lowest(shown):
    """The least chance that a figure in a table can stand for."""
    figure = float(shown.strip("<> %"))
    return 0.0 if shown.startswith("<") else figure / 100.0


@given(chances, st.sampled_from(WANTED))
@example(0.9499, 0.95)
@example(0.95, 0.95)
@example(0.57, 0.57)
@example(0.9949, 0.995)
def test_a_chance_looks_like_enough_only_where_it_is(chance, wanted):
    enough = chance >= wanted
    assert abs(chance - wanted) < 1e-9 or (lowest(percent(chance, wanted=wanted)) >= wanted - 1e-9) == enough


@given(chances, st.sampled_from(WANTED))
def test_a_chance_is_never_shown_better_than_it_is_nor_much_worse(chance, wanted):
    shown = percent(chance, wanted=wanted)
    assert lowest(shown) <= chance + 1e-9
    assert chance - lowest(shown) < 0.0100001


@given(chances, st.sampled_from(WANTED))
def test_nothing_looks_certain_or_impossible(chance, wanted):
    shown = percent(chance, wanted=wanted)
    assert shown.startswith("<") or float(shown.strip("<> %")) > 0
    assert not shown.startswith("100")


def test_one_decimal_is_enough_and_zero_has_no_sign():
    assert [db(value) for value in (-0.04, 12.345, -60.06, float("inf"), float("nan"))] == [
        "0.0",
        "12.3",
        "-60.1",
        "none",
        "none",
    ]


def test_below_sixty_decibels_short_there_is_no_margin():
    assert [margin(value) for value in (-59.99, -60.0, -60.01, -300.0)] == ["-60.0", "-60.0", "none", "none"]


def test_letters_go_on_after_z():
    assert [letter(j) for j in (0, 25, 26, 51, 52, 701, 702)] == ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]


@pytest.mark.parametrize(
    ("helped", "harmed", "words"),
    [
        (1, 7, "add a spot nearer to i1 to the plan, then run survey place: no remedy tried makes the link hold, and "),
        (7, 1, "raise it; the link then still is marginal (remedy 1 below). That makes 1 other inverter worse"),
        (0, 0, "raise it; the link then still is marginal (remedy 1 below)"),
    ],
)
def test_a_remedy_that_harms_more_than_it_helps_is_no_next_step(helped, harmed, words):
    remedy = SimpleNamespace(action="raise it", state=1, helped=(0,) * helped, harmed=(0,) * harmed)
    one = SimpleNamespace(holds=False, remedies=(remedy,), budget=SimpleNamespace(inverter="i1"))
    assert next_step(one).startswith(words)


def test_an_effect_has_its_unit():
    one = CriticalPosition(name="hut", direction="height", within_m=0.5, lead=True, effect=4.3, explained=0.5)
    assert measure_words((one,)) == (
        "the height of hut (off by 50 cm, it changes the lead over the next best location by up to 4.3 inverters)"
    )


def joint(*remedies):
    """Remedies for two inverters together: action, inverters covered then, others better and worse."""
    found = [
        SimpleNamespace(
            remedy=SimpleNamespace(action=action, about="", cautions=()), hold=hold, better=better, worse=worse
        )
        for action, hold, better, worse in remedies
    ]
    return SimpleNamespace(inverters=("i1", "i2"), hold_today=(), gateways=("g",), remedies=found)


def test_a_change_that_brings_none_up_and_harms_others_is_not_listed():
    words = joint_text(joint(("raise it", ("i1",), 0, 0), ("lower it", (), 0, 24)))
    assert "raise it" in words
    assert "lower it" not in words
    assert "No remedy that was tried helps" in joint_text(joint(("lower it", (), 0, 24)))
