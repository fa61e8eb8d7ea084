"""One legend for all pictures and the page: words, colours and marks of states, places and chances."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from survey.base.arrays import FloatArray
from survey.budget import MARGINAL_RELIABILITY, STATES


@dataclass(frozen=True, slots=True)
class Mark:
    """How a state looks: in black and white, to colour-blind eyes and in the legend.

    The colours go back to three of the eight of Okabe and Ito (2008), which people with any kind of colour blindness
    tell apart, darkened until letters in them have a contrast of 4.5 on white; those on dark paper are lighter. Shape,
    filling and the line's dashes say the same without colour.
    """

    word: str
    shape: str
    colour: str
    on_dark: str
    filled: bool
    dashes: str
    width_pt: float


MARKS = (
    Mark("fails", "X", "#b84300", "#ff9a66", filled=True, dashes=":", width_pt=1.2),
    Mark("marginal", "^", "#8a5800", "#e8b04a", filled=False, dashes="--", width_pt=0.9),
    Mark("holds", "o", "#0072b2", "#6cbcf0", filled=True, dashes="-", width_pt=0.6),
)
"""By index into `survey.budget.STATES`."""
PLACE_WORDS = {
    "chosen": "gateway shown",
    "advised": "recommended spot",
    "today": "existing gateway",
    "spot": "spot",
    "search": "search",
}
"""What legends call each kind of place."""
SPOT_COLOUR = "#8b2f6b"
"""Of spots and searches: no state has it, and on white it has a contrast of 4.5."""
TINTS = (("#c9764e", "#dfa286"), ("#ecc77c", "#f3dfae"), ("#d3e8f6", "#f0f7fc"))
"""Colours of places of each state, the worse half first: lighter is better, in black and white too. By eye."""
WITHIN = ((0.2,), (0.8,), (0.99,))
"""Chance at which the colour changes within each state; left out where the state does not reach so far."""


@dataclass(frozen=True, kw_only=True)
class ChanceScale:
    """Colours of chances: `steps` has one entry more than `colours` and than `states`; it breaks where states do."""

    steps: tuple[float, ...]
    colours: tuple[str, ...]
    states: tuple[int, ...]

    def index(self, chance: FloatArray) -> FloatArray:
        """Return which colour each chance has."""
        return np.clip(np.searchsorted(self.steps, chance, side="right") - 1, 0, len(self.colours) - 1)


def chance_scale(required: float) -> ChanceScale:
    """Return the colours of chances under a required chance.

    Examples
    --------
    >>> chance_scale(0.95).steps
    (0.0, 0.2, 0.5, 0.8, 0.95, 0.99, 1.0)
    >>> chance_scale(0.7).steps
    (0.0, 0.2, 0.5, 0.7, 0.99, 1.0)
    """
    limits = (0.0, MARGINAL_RELIABILITY, max(required, MARGINAL_RELIABILITY), 1.0)
    steps: list[float] = []
    colours: list[str] = []
    states: list[int] = []
    for state, (low, high) in enumerate(pairwise(limits)):
        inside = [one for one in WITHIN[state] if low < one < high]
        if low == high:
            continue
        steps += [low, *inside]
        colours += TINTS[state][: 1 + len(inside)]
        states += [state] * (1 + len(inside))
    return ChanceScale(steps=(*steps, 1.0), colours=tuple(colours), states=tuple(states))


def chance_words(required: float) -> tuple[str, ...]:
    """Return what the colours of each state mean, by index into `STATES`."""
    low, high = f"{100 * MARGINAL_RELIABILITY:g}", f"{100 * required:g}"
    spans = (f"chance below {low} %", f"{low} to {high} %", f"{high} % or more")
    return tuple(f"{state}: {span}" for state, span in zip(STATES, spans, strict=True))
