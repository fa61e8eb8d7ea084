"""Faults that take a rhythm, a slope, or rows that are not there to be seen; for the invented logs of dropout_logs.py.

Everything here is invented, and nothing in it is taken from the sorting that it is to judge.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

DAY_S = 86_400
SHOWS = 1.3


@dataclass(kw_only=True)
class Faults:
    """A log in the making, arrays of shape (links, times), which faults change in place."""

    recipe: Any
    rng: np.random.Generator
    tick: np.ndarray
    light: np.ndarray
    group: np.ndarray
    margin: np.ndarray
    links: Any
    gateway: np.ndarray
    names: tuple[str, ...]
    lit: np.ndarray
    up: np.ndarray
    lost: np.ndarray
    excess: np.ndarray
    row: np.ndarray
    strike: Callable[..., None]
    changed_s: float = 0.0

    @property
    def noon_s(self) -> int:
        """The time of day of most light. [s]"""
        by_slot = self.light[: DAY_S // self.recipe.step_s]
        return int(self.tick[int(np.argmax(by_slot))] % DAY_S)

    @property
    def bearing_deg(self) -> np.ndarray:
        """From the gateway to each inverter. [deg]"""
        way_m = self.links.inverters.at_m[:, :2] - self.links.gateways.at_m[self.gateway, :2]
        return np.rad2deg(np.arctan2(way_m[:, 0], way_m[:, 1]))

    def sector(self) -> np.ndarray:
        """Inverters that lie together as the gateway sees them: 15 to 40 % of all."""
        bearing = self.bearing_deg
        middle = bearing[int(self.rng.integers(len(bearing)))]
        off = np.abs((bearing - middle + 180) % 360 - 180)
        count = int(np.clip(self.rng.uniform(0.15, 0.4) * len(off), 3, 12))
        return np.argsort(off, kind="stable")[: min(count, len(off) // 2)]

    def block(self, which: np.ndarray, times: np.ndarray) -> None:
        """Put something before some inverters at some times: it leaves the middle one near its limit."""
        loss = float(np.median(self.margin[which])) + self.rng.uniform(-4, 3)
        own = loss + self.rng.normal(0, 1.5, len(which))
        self.excess[which] -= own[:, None] * times[None]
        left = self.margin[which] - own
        shown = which[left < max(SHOWS * self.recipe.fading_db, float(left.min()) + 0.1)]
        self.strike("something new in the way", shown, which)


def add_faults(made: Faults) -> None:
    """Add those that the recipe asks for."""
    for cause in made.recipe.causes:
        if cause in MAKERS:
            MAKERS[cause](made)


def obstacle_for_days(made: Faults) -> None:
    """Something in the way for one day or two."""
    days = int(made.rng.integers(1, 3))
    begin_s = made.tick[0] + made.rng.integers(1, made.recipe.days - days) * DAY_S + made.rng.integers(-3, 4) * 3600
    begin_s += made.noon_s - DAY_S // 4
    times = (made.tick >= begin_s) & (made.tick < begin_s + days * DAY_S)
    made.changed_s = float(begin_s)
    made.block(made.sector(), times)


def truck_by_hours(made: Faults) -> None:
    """A truck that stands there every day, or every working day, for some hours about noon."""
    low_s, high_s = made.noon_s - 3 * 3600, made.noon_s + 3 * 3600
    times = (made.tick % DAY_S >= low_s) & (made.tick % DAY_S < high_s)
    if made.rng.random() < 0.4:
        times &= (made.tick // DAY_S) % 7 < 5
    made.block(made.sector(), times)


def branch_off_to_the_end(made: Faults) -> None:
    """A branch that goes off half a day or a quarter before the log ends, in daylight, and stays off."""
    bright = np.flatnonzero(made.light > 0.1)
    last_day = bright[made.tick[bright] // DAY_S == made.tick[bright[-1]] // DAY_S]
    share = float(made.rng.choice([0.5, 0.75]))
    begin = int(last_day[int(share * len(last_day))])
    sizes = np.bincount(made.group)
    one = int(made.rng.choice(np.flatnonzero(sizes >= 2)))
    made.up[made.group == one, begin:] = False
    made.changed_s = float(made.tick[begin])
    made.strike("supply branch", np.flatnonzero(made.group == one))


def interference_at_dusk(made: Faults) -> None:
    """Misses of all in the last two hours of daylight."""
    more = made.rng.uniform(0.25, 0.6)
    for day in np.unique(made.tick // DAY_S):
        own = np.flatnonzero((made.tick // DAY_S == day) & made.lit.any(axis=0))
        if len(own):
            late = own[made.tick[own] > made.tick[own[-1]] - 7_200]
            made.lost[:, late] = 1 - (1 - made.lost[:, late]) * (1 - more)
    made.strike("interference", range(len(made.names)))


def interference_in_a_short_log(made: Faults) -> None:
    """Misses of all in two hours about noon, in a log of three or four days."""
    more = made.rng.uniform(0.3, 0.6)
    begin_s = made.noon_s + made.rng.uniform(-3, 1) * 3600
    times = (made.tick % DAY_S >= begin_s) & (made.tick % DAY_S < begin_s + 7_200)
    made.lost[:, times] = 1 - (1 - made.lost[:, times]) * (1 - more)
    made.strike("interference", range(len(made.names)))


def gateway_moved(made: Faults) -> None:
    """A gateway that hangs elsewhere from a date on: most links worse, some better."""
    bright = np.flatnonzero(made.light > 0.1)
    begin = int(bright[int(made.rng.uniform(0.25, 0.75) * len(bright))])
    loss = np.maximum(made.margin, 0) * made.rng.uniform(0.75, 1.15, len(made.margin))
    loss += made.rng.normal(0, 2, len(made.margin))
    spared = made.rng.random(len(loss)) < made.rng.uniform(0.0, 0.3)
    loss[spared] = made.rng.uniform(-6, 3, int(spared.sum()))
    made.excess[:, begin:] -= loss[:, None]
    made.changed_s = float(made.tick[begin])
    left = made.margin - loss
    worse = np.flatnonzero(left < SHOWS * made.recipe.fading_db)
    made.strike("gateway moved", worse, range(len(loss)))


def fading_unit(made: Faults) -> None:
    """One unit whose level falls day by day until it is hardly heard."""
    one = int(made.rng.integers(len(made.names)))
    start = made.rng.uniform(0.0, 0.4)
    part = np.clip((np.linspace(0, 1, len(made.tick)) - start) / (1 - start), 0, None)
    made.excess[one] -= part * (made.margin[one] + made.rng.uniform(0, 6))
    made.strike("fading", [one])


def rows_cease(made: Faults) -> None:
    """A unit whose rows are no longer written."""
    one = int(made.rng.integers(len(made.names)))
    begin = int(made.rng.uniform(0.2, 0.8) * len(made.tick))
    made.row[one, begin:] = False
    made.up[one, begin:] = False
    made.strike("single unit", [one])


def answers_only(made: Faults) -> None:
    """A log in which only answers have rows, with a unit that dies."""
    one = int(made.rng.integers(len(made.names)))
    made.up[one, int(made.rng.uniform(0.2, 0.7) * len(made.tick)) :] = False
    made.strike("single unit", [one])


def obstacle_not_in_plan(made: Faults) -> None:
    """Something that has always stood before some inverters and that the plan does not know."""
    made.block(made.sector(), np.ones(len(made.tick), dtype=bool))


MAKERS: dict[str, Callable[[Faults], None]] = {
    "obstacle for days": obstacle_for_days,
    "truck by hours": truck_by_hours,
    "branch off to the end": branch_off_to_the_end,
    "branch off to the end, named": branch_off_to_the_end,
    "interference at dusk": interference_at_dusk,
    "interference, short log": interference_in_a_short_log,
    "gateway moved": gateway_moved,
    "fading unit": fading_unit,
    "fading unit, levels": fading_unit,
    "rows cease": rows_cease,
    "answers only": answers_only,
    "obstacle not in plan": obstacle_not_in_plan,
}
