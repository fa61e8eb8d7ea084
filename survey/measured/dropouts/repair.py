"""Whether a repair has worked: answers of each inverter before and after it, with intervals."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from survey.base.arrays import FloatArray
from survey.measured.dropouts.result import Dropouts

Z = 2.576
"""Of an interval that holds 99 % of a normal distribution."""
MIN_DIFFERENCE = 0.01
"""A smaller difference is none that anybody would notice. [-]"""
BETTER, WORSE, SAME, UNSEEN = "better", "worse", "no different", "not in both logs"


@dataclass(frozen=True, kw_only=True)
class Compared:
    """One inverter before and after.

    Attributes
    ----------
    inverter : str
        Its name.
    before, after : tuple of float
        Share of daytime polls answered, and the ends of its interval; NaN where the log does not have it. [-]
    difference : tuple of float
        After less before, and the ends of its interval. [-]
    verdict : str
        `BETTER`, `WORSE`, `SAME` or `UNSEEN`.
    """

    inverter: str
    before: tuple[float, float, float]
    after: tuple[float, float, float]
    difference: tuple[float, float, float]
    verdict: str


def wilson(answered: float, polls: float, *, z: float = Z) -> tuple[float, float, float]:
    """Return a share with Wilson's score interval (E. B. Wilson 1927, J. Am. Stat. Assoc. 22, 209).

    Examples
    --------
    >>> tuple(round(one, 4) for one in wilson(56, 70, z=1.96))
    (0.8, 0.6918, 0.877)
    """
    share = answered / polls
    middle = (share + z * z / (2.0 * polls)) / (1.0 + z * z / polls)
    half = z * sqrt(share * (1.0 - share) / polls + z * z / (4.0 * polls * polls)) / (1.0 + z * z / polls)
    return share, middle - half, middle + half


def difference(one: tuple[float, float, float], other: tuple[float, float, float]) -> tuple[float, float, float]:
    """Return one share less another with its interval, from their score intervals.

    Notes
    -----
    Method 10 of R. G. Newcombe 1998, Statistics in Medicine 17, 873; its example: 56 of 70 less 48 of 80.

    Examples
    --------
    >>> found = difference(wilson(56, 70, z=1.96), wilson(48, 80, z=1.96))
    >>> tuple(round(one, 4) for one in found)
    (0.2, 0.0524, 0.3339)
    """
    (p1, l1, u1), (p2, l2, u2) = one, other
    return p1 - p2, p1 - p2 - sqrt((p1 - l1) ** 2 + (u2 - p2) ** 2), p1 - p2 + sqrt((u1 - p1) ** 2 + (p2 - l2) ** 2)


def compared(before: Dropouts, after: Dropouts) -> tuple[Compared, ...]:
    """Compare two logs of a site, inverter by inverter, in the order of the plan.

    Only polls by daylight count. Misses come in bursts: the interval counts so many fewer polls as the days of a log
    differ more than chance has it.
    """
    names = [name for name in before.scene.inverters.names if name in {*before.inverters, *after.inverters}]
    return tuple(_compared(name, before, after) for name in names)


def _compared(name: str, before: Dropouts, after: Dropouts) -> Compared:
    shares = [_share(found, name) for found in (before, after)]
    if any(one is None for one in shares):
        nothing = (float("nan"),) * 3
        first, second = (one or nothing for one in shares)
        return Compared(inverter=name, before=first, after=second, difference=nothing, verdict=UNSEEN)
    first, second = (one for one in shares if one is not None)
    change = difference(second, first)
    better = change[1] > 0 and change[0] >= MIN_DIFFERENCE
    worse = change[2] < 0 and -change[0] >= MIN_DIFFERENCE
    verdict = BETTER if better else WORSE if worse else SAME
    return Compared(inverter=name, before=first, after=second, difference=change, verdict=verdict)


def _share(found: Dropouts, name: str) -> tuple[float, float, float] | None:
    if name not in found.inverters:
        return None
    row = found.inverters.index(name)
    polls, missed = found.daily_polls[row], found.daily_missed[row]
    if not polls.sum():
        return None
    count = polls.sum() / _burst(missed, polls)
    return wilson(float(1.0 - missed.sum() / polls.sum()) * float(count), float(count))


def _burst(missed: FloatArray, polls: FloatArray) -> float:
    """By how much days differ more than chance has it, 1 or more."""
    used = polls > 0
    rate = float(np.clip(missed.sum() / polls.sum(), 0.005, 0.995))
    if used.sum() < 3:  # noqa: PLR2004  days that could differ
        return 1.0
    pearson = (missed[used] - rate * polls[used]) ** 2 / (rate * (1.0 - rate) * polls[used])
    return max(1.0, float(pearson.sum()) / float(used.sum() - 1))
