"""What readings leave open, in words."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from survey.measured.calibration.model import EXPONENT, LOSSES, OFFSET

if TYPE_CHECKING:
    from survey.measured.calibration.fit import Fit

LITTLE = 0.7
"""Where readings leave more than this of what was unknown before, they say little."""

TIED = 0.9
"""From this correlation on, two figures cannot be told apart."""


def open_questions(found: Fit) -> Iterator[str]:
    """What the readings leave open."""
    names = ["the offset", "the exponent", *(one.name for one in found.units)]
    before, after = found.model.sd[: len(names)], found.stderr[: len(names)]
    if not (found.pairs.heard > 0).any():
        yield "nothing was heard: levels too low, or a gateway or inverters that were not on; the offset is left at 0"
    if not found.plain:
        if after[EXPONENT] > LITTLE * before[EXPONENT]:
            yield "the exponent: the readings say little, so it stays near the plan's; read at more distances"
        little = [names[k] for k in range(LOSSES, len(names)) if after[k] > LITTLE * before[k]]
        if little:
            yield f"the loss of {', '.join(little)}: the readings say little; read in front of it and behind it"
    scale = np.where(after > 0, after, 1.0)
    tied = np.abs(found.covariance[: len(names), : len(names)] / np.outer(scale, scale)) >= TIED
    for i, j in np.argwhere(np.triu(tied, k=1)).tolist():
        yield f"{names[i]} and {names[j]}: only both together are known; {_advice(i, j)}"
    heard = found.pairs.heard > 0
    if found.readings.received is None and np.sum(found.pairs.missed[heard]) > np.sum(found.pairs.heard):
        yield (
            "the share of lost tries: there are more misses than levels on pairs that were heard; where a level is the "
            "mean of several tries, give their number in a column tries"
        )
    below = np.flatnonzero(found.pairs.level_dbm < found.model.need_dbm)
    if len(below):
        yield (
            f"{len(below)} of the levels lie below the sensitivity of the gateway in the plan: what was missed "
            "cannot be weighed rightly before sensitivity_dbm is right"
        )


def _advice(i: int, j: int) -> str:
    if (i, j) == (OFFSET, EXPONENT):
        return "read nearer and farther away"
    if i < LOSSES:
        return "read where it does not stand in the line too"
    return "read where only one of them stands in the line"
