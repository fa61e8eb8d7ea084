"""The one legend: chances change colour where states change, and every colour can be read."""

from itertools import pairwise

import pytest

from survey.budget import STATES
from survey.output.map.legend import MARKS, PLACE_WORDS, SPOT_COLOUR, TINTS, chance_scale, chance_words


def luminance(colour):
    """Relative luminance after WCAG 2.2."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in parts]
    return sum(weight * one for weight, one in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("required", [0.5, 0.7, 0.8, 0.95, 0.99, 0.9999])
def test_colours_of_chances_change_where_states_do(required):
    scale = chance_scale(required)
    assert list(scale.steps) == sorted(set(scale.steps))
    assert len(scale.steps) == len(scale.colours) + 1 == len(scale.states) + 1
    assert set(scale.colours) <= {tint for tints in TINTS for tint in tints}
    for chance in (0.0, 0.3, 0.4999, 0.5, required - 1e-6, required, 1.0):
        state = int(chance >= 0.5) + int(chance >= required)
        assert scale.states[int(scale.index(chance))] == state


def test_better_is_lighter_in_black_and_white_too():
    greys = [luminance(tint) for tints in TINTS for tint in tints]
    assert greys == sorted(greys)
    assert min(after - before for before, after in pairwise(greys)) > 0.02


def test_words_in_the_colours_of_states_can_be_read():
    """WCAG 2.2, 1.4.3: contrast 4.5 for text; on white and on the dark paper of the page."""
    assert [mark.word for mark in MARKS] == list(STATES)
    assert min(contrast(mark.colour, "#ffffff") for mark in MARKS) >= 4.5
    assert contrast(SPOT_COLOUR, "#ffffff") >= 4.5
    assert min(contrast(mark.on_dark, "#15181b") for mark in MARKS) >= 4.5


def test_words_of_chances_name_the_state_and_its_limits():
    assert chance_words(0.95) == ("fails: chance below 50 %", "marginal: 50 to 95 %", "holds: 95 % or more")
    assert len(set(PLACE_WORDS.values())) == len(PLACE_WORDS)
