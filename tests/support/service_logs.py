"""Invented logs of service calls, made otherwise than those of dropout_logs.py, to judge what was built on those.

Everything here is invented. Roofs are blocks of rows and columns at any side of a gateway on a wall, levels fade by
Rice's law, light comes from the height of the sun with clouds that drift over the site, and many nuisances come at
once: rhythms of 5 minutes to an hour, jitter, days of rain, dark noons, strays, levels in steps or none, polls at night
or not, repeated rows, rows in disorder, lost rows, and a clock that changes.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from survey.budget import links_of
from survey.inputs.logs import NO_ZONE, Log
from survey.inputs.logs.columns import Columns
from survey.inputs.logs.grid import Resolved, log_of
from survey.inputs.logs.rows import Block
from survey.inputs.plan import Environment, Inverter, Plan, Radio, RadioEnd, Requirement, Site, Spot
from survey.scene import scene_of

DAY_S, START_S = 86_400, 1_767_225_600  # 2026-01-01
MAX_CELLS = 900_000
"""Polls of a log, for the time that a table of hundreds takes."""
FAULTS = (
    "supply branch", "supply branch, named", "branch off to the end", "branch off to the end, named",
    "gateway or network", "gateway off for a day", "weak link", "obstacle from a date", "obstacle for days",
    "truck by hours", "obstacle not in plan", "interference at noon", "interference at dusk",
    "interference, short log", "gateway moved", "unit dies", "unit now and then", "fading unit",
    "fading unit, levels", "rows cease", "answers only",
)  # fmt: skip
CAUSE_OF = {
    "supply branch": "supply branch", "branch off": "supply branch", "gateway or": "gateway or network",
    "gateway off": "gateway or network", "weak": "weak link", "obstacle": "something new in the way",
    "truck": "something new in the way", "interference": "interference", "gateway moved": "gateway moved",
    "unit": "single unit", "fading": "fading", "rows": "single unit", "answers": "single unit",
}  # fmt: skip


def cause_of(fault: str) -> str:
    """The cause that a fault is of."""
    return next(cause for begin, cause in CAUSE_OF.items() if fault.startswith(begin))


@dataclass(kw_only=True)
class Call:
    """A log in the making; arrays are of shape (inverters, polls)."""

    rng: np.random.Generator
    faults: tuple[str, ...]
    scene: Any = None
    at: np.ndarray | None = None
    margin: np.ndarray | None = None
    group: np.ndarray | None = None
    tick: np.ndarray | None = None
    light: np.ndarray | None = None
    lit: np.ndarray | None = None
    loss: np.ndarray | None = None
    lost: np.ndarray | None = None
    up: np.ndarray | None = None
    row: np.ndarray | None = None
    heard: np.ndarray | None = None
    struck: dict[str, set[str]] = field(default_factory=dict)
    touched: dict[str, set[str]] = field(default_factory=dict)
    settings: dict[str, Any] = field(default_factory=dict)
    made: Log | None = None

    def strike(self, fault: str, which, among=()) -> None:
        names = self.scene.inverters.names
        cause = cause_of(fault)
        self.struck.setdefault(cause, set()).update(names[i] for i in which)
        self.touched.setdefault(cause, set()).update(names[i] for i in [*which, *among])


def settings_of(rng, faults: tuple[str, ...]) -> dict[str, Any]:
    """What a log is like, besides its faults."""
    days = int(rng.choice([5, 7, 10, 14, 21, 28, 40, 60]))
    if "interference, short log" in faults:
        days = int(rng.choice([3, 4]))
    if any(one.startswith("fading") for one in faults):
        days = int(rng.choice([21, 28, 40, 60]))
    step_s = int(rng.choice([300, 600, 900, 1200, 1800, 3600], p=[0.15, 0.2, 0.25, 0.1, 0.2, 0.1]))
    inverters = int(rng.choice([4, 6, 8, 10, 12, 16, 20, 30, 40, 60, 90, 120, 200]))
    if any(cause_of(one) in ("something new in the way", "gateway moved", "interference") for one in faults):
        inverters = max(inverters, 10)
    while inverters * days * DAY_S // step_s > MAX_CELLS:
        inverters = max(10, inverters // 2) if inverters > 20 else inverters
        step_s = step_s * 2 if inverters <= 20 or step_s == 300 else step_s
    return {
        "days": days, "step_s": step_s, "inverters": inverters,
        "latitude_deg": float(rng.uniform(0, 60) * rng.choice([-1, 1])),
        "first_day": int(rng.integers(0, 365)),
        "longitude_s": int(rng.uniform(-3600, 3600)),
        "jitter_s": int(rng.choice([0, 0, 5, 30, step_s // 5])),
        "level_step_db": float(rng.choice([0, 0, 1, 2, 5])) if "fading unit, levels" not in faults
        else float(rng.choice([1, 2, 5])),
        "stray": float(rng.uniform(0.0, 0.06)),
        "rain": bool(rng.random() < 0.4), "nights": bool(rng.random() < 0.6),
        "shuffled": bool(rng.random() < 0.15), "repeated": float(rng.choice([0, 0, 0.02])),
        "lost_rows": float(rng.choice([0, 0, 0.01])),
        "clock_change": bool(rng.random() < 0.15) and not {"rows cease", "answers only"} & set(faults),
        "in_turn": bool(rng.random() < 0.4), "rice_db": float(rng.choice([4, 6, 8])),
        "branches": any("named" in one for one in faults)
        or (bool(rng.random() < 0.3) and not any("branch" in one for one in faults)),
    }  # fmt: skip


def site_of(call: Call) -> None:
    """Blocks of modules at some sides of a wall that carries the gateway."""
    rng, n = call.rng, call.settings["inverters"]
    blocks = int(np.clip(rng.integers(2, 6), 2, max(2, n // 3)))
    group = np.sort(
        np.concatenate([np.repeat(np.arange(blocks), 2)[:n], rng.integers(0, blocks, max(0, n - 2 * blocks))])
    )
    at = np.zeros((n, 3))
    for k in range(blocks):
        own = np.flatnonzero(group == k)
        columns = int(np.ceil(np.sqrt(len(own) * rng.uniform(1, 4))))
        turn, far, side = rng.uniform(0, 2 * np.pi), rng.uniform(8, 40), rng.uniform(0, 2 * np.pi)
        grid = np.column_stack([np.arange(len(own)) % columns * 1.8, np.arange(len(own)) // columns * 1.1])
        grid = (grid - grid.mean(axis=0)) @ np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        at[own, :2] = grid + far * np.array([np.sin(side), np.cos(side)])
        at[own, 2] = rng.uniform(3, 7)
    weak_db = np.zeros(n)
    if "weak link" in call.faults:
        weak_db[rng.choice(n, max(1, int(rng.uniform(0.05, 0.2) * n)), replace=False)] = 1.0
    call.scene = _scene(at, weak_db * 0)
    margin = links_of(call.scene).margin_db[:, 0]
    if weak_db.any():  # the plan knows of a loss that leaves them little
        wanted = np.where(weak_db > 0, rng.uniform(-1, 5, n), margin)
        call.scene = _scene(at, np.clip(margin - wanted, 0.0, 54.0))
        margin = links_of(call.scene).margin_db[:, 0]
    call.at, call.group = at, group
    call.margin = np.where(weak_db > 0, margin, np.maximum(margin + np.clip(rng.normal(0, 4, n), -8, 8), 16.0))
    call.weak = np.flatnonzero(weak_db > 0)


def _scene(at: np.ndarray, more_db: np.ndarray):
    inverters = tuple(
        Inverter(
            name=f"WR {i + 1:03d}", at=tuple(at[i, :2].round(2).tolist()), height_m=float(at[i, 2].round(2)),
            mounting_loss_db=float(5.0 + more_db[i]),
        )
        for i in range(len(at))
    )  # fmt: skip
    radio = Radio(
        frequency_mhz=868.0,
        inverter=RadioEnd(tx_power_dbm=10.0, sensitivity_dbm=-100.0, mounting_loss_db=5.0),
        gateway=RadioEnd(tx_power_dbm=10.0, sensitivity_dbm=-100.0),
    )
    plan = Plan(
        file="call.toml", folder=Path(), site=Site(name="call"), radio=radio,
        environment=Environment(path_loss_exponent=2.8), requirement=Requirement(), inverters=inverters,
        gateways=(Spot(name="hall", at=(0.0, 0.0), height_m=2.5),),
    )  # fmt: skip
    return scene_of(plan)


def weather_of(call: Call) -> None:
    """Light by time and inverter, and what rain costs."""
    rng, s = call.rng, call.settings
    times, n = s["days"] * DAY_S // s["step_s"], s["inverters"]
    tick = START_S + s["first_day"] * DAY_S + np.arange(times) * s["step_s"]
    year = 2 * np.pi * ((tick - START_S) / DAY_S + 10) / 365.25
    tilt, hour = np.deg2rad(-23.44) * np.cos(year), 2 * np.pi * ((tick + s["longitude_s"]) % DAY_S / DAY_S - 0.5)
    latitude = np.deg2rad(s["latitude_deg"])
    height = np.sin(latitude) * np.sin(tilt) + np.cos(latitude) * np.cos(tilt) * np.cos(hour)
    clear = np.clip(height, 0.0, None) ** 1.15
    day = (tick - tick[0]) // DAY_S
    overcast = rng.beta(1.2, 1.8, s["days"])[day]  # 0 clear, 1 thick
    drift = np.interp(
        np.arange(times),
        np.arange(0, times + 4, 4),
        rng.uniform(0, 1, times // 4 + 2)[: len(np.arange(0, times + 4, 4))],
    )
    call.light = clear * (1.0 - 0.85 * overcast * (0.6 + 0.4 * drift))
    facing = rng.choice([-0.5, 0, 0, 0.5], call.group.max() + 1)[call.group]
    wakes = 0.02 * np.exp(rng.normal(0, 0.25, n))
    call.lit = call.light * (1.0 + facing[:, None] * np.sin(hour)) > wakes[:, None]
    call.tick = tick
    call.loss = np.zeros((n, times))
    if s["rain"]:
        wet = rng.random(s["days"]) < 0.3
        call.loss += (wet * rng.uniform(1.0, 3.0, s["days"]))[day]
    call.loss += rng.normal(0, 0.6, s["days"])[day]
    call.lost = np.clip(s["stray"] * rng.gamma(8, 0.125, n), 0, 0.09)[:, None] * np.ones((1, times))
    call.up, call.row = np.ones((n, times), dtype=bool), np.ones((n, times), dtype=bool)


def _bright_days(call: Call) -> np.ndarray:
    """For each day the times of good light."""
    day = (call.tick - call.tick[0]) // DAY_S
    good = call.lit.mean(axis=0) > 0.9
    return [np.flatnonzero((day == k) & good) for k in range(call.settings["days"])]


def _noon_s(call: Call) -> int:
    return int((DAY_S // 2 - call.settings["longitude_s"]) % DAY_S)


def _sector(call: Call) -> np.ndarray:
    rng = call.rng
    bearing = np.rad2deg(np.arctan2(call.at[:, 0], call.at[:, 1]))
    off = np.abs((bearing - bearing[rng.integers(len(bearing))] + 180) % 360 - 180)
    count = int(np.clip(rng.uniform(0.15, 0.4) * len(off), 3, 20))
    return np.argsort(off, kind="stable")[: min(count, len(off) // 2)]


def _block(call: Call, fault: str, which: np.ndarray, times: np.ndarray) -> None:
    own = call.margin[which] + call.rng.normal(call.rng.uniform(-3, 4), 2.5, len(which))
    call.loss[which] += np.maximum(own, 0)[:, None] * times[None]
    left = call.margin[which] - own
    shown = which[left < 5.0]
    call.strike(fault, shown if len(shown) else which[[int(np.argmin(left))]], which)


def add(call: Call, fault: str) -> None:  # noqa: C901, PLR0912, PLR0915  one fault after another
    """Put one fault into a log."""
    rng, s, tick, n = call.rng, call.settings, call.tick, call.settings["inverters"]
    bright = _bright_days(call)
    lit_days = [k for k, one in enumerate(bright) if len(one) >= 4]
    good = np.concatenate([bright[k] for k in lit_days])
    times = len(tick)
    off = np.zeros(times, dtype=bool)
    sizes = np.bincount(call.group)
    branch = call.group == int(rng.choice(np.flatnonzero((sizes >= 2) & (sizes <= n // 2))))
    middle = int(good[int(rng.uniform(0.3, 0.7) * len(good))])
    if fault.startswith("branch off"):
        last = bright[lit_days[-1]]
        call.up[branch, int(last[int(rng.choice([0.5, 0.75]) * len(last))]) :] = False
        call.strike(fault, np.flatnonzero(branch))
    elif fault.startswith("supply branch"):
        for _ in range(int(rng.integers(1, 3))):
            begin = int(rng.choice(good[: max(1, len(good) - 4)]))
            off[begin : begin + max(4, int(rng.uniform(7_200, 1.5 * DAY_S) / s["step_s"]))] = True
        call.up[np.ix_(branch, off)] = False
        call.strike(fault, np.flatnonzero(branch))
    elif fault == "gateway off for a day":
        begin = int(bright[int(rng.choice(lit_days[1:] or lit_days))][0]) - int(rng.uniform(0, 6 * 3600) / s["step_s"])
        call.up[:, max(0, begin) : begin + DAY_S // s["step_s"]] = False
        call.strike(fault, range(n))
    elif fault == "gateway or network":
        for _ in range(int(rng.integers(1, 4))):
            begin = int(rng.choice(good[: max(1, len(good) - 4)]))
            off[begin : begin + max(4, int(rng.uniform(3_600, 5 * 3600) / s["step_s"]))] = True
        call.up[:, off] = False
        call.strike(fault, range(n))
    elif fault == "weak link":
        share = rng.uniform(0.80, 0.97, len(call.weak))  # heard
        call.lost[call.weak] = np.maximum(call.lost[call.weak], 1 - share[:, None])
        call.margin[call.weak] = np.maximum(call.margin[call.weak], 8.0)  # what it loses is in `lost`
        poor = call.weak[share < 0.9]
        call.strike(fault, poor if len(poor) else call.weak[[int(np.argmin(share))]], call.weak)
    elif fault == "obstacle from a date":
        _block(call, fault, _sector(call), np.arange(times) >= middle)
    elif fault == "obstacle for days":
        days = int(rng.integers(1, 3))
        begin = int(bright[int(rng.choice(lit_days[1:-days] or lit_days[:1]))][0])
        begin += int(rng.uniform(-2, 4) * 3600 / s["step_s"])
        _block(
            call,
            fault,
            _sector(call),
            (np.arange(times) >= begin) & (np.arange(times) < begin + days * DAY_S // s["step_s"]),
        )
    elif fault == "truck by hours":
        low = _noon_s(call) - 3 * 3600
        there = (tick - low) % DAY_S < 6 * 3600
        if rng.random() < 0.4:
            there &= (tick // DAY_S) % 7 < 5
        _block(call, fault, _sector(call), there)
    elif fault == "obstacle not in plan":
        _block(call, fault, _sector(call), np.ones(times, dtype=bool))
    elif fault in ("interference at noon", "interference, short log"):
        begin = _noon_s(call) + rng.uniform(-2.5, 0.5) * 3600
        there = (tick - begin) % DAY_S < 7_200
        more = rng.uniform(0.3, 0.6) * rng.uniform(0.7, 1.0, (n, 1))
        call.lost = np.where(there, 1 - (1 - call.lost) * (1 - more), call.lost)
        call.strike(fault, range(n))
    elif fault == "interference at dusk":
        more = rng.uniform(0.3, 0.6)
        day = (tick - tick[0]) // DAY_S
        for k in range(s["days"]):
            own = np.flatnonzero((day == k) & (call.lit.mean(axis=0) > 0.5))
            if len(own):
                late = own[tick[own] > tick[own[-1]] - 7_200]
                call.lost[:, late] = 1 - (1 - call.lost[:, late]) * (1 - more)
        call.strike(fault, range(n))
    elif fault == "gateway moved":
        change = rng.normal(0.85, 0.35, n) * call.margin
        call.loss[:, middle:] += change[:, None]
        call.strike(fault, np.flatnonzero(call.margin - change < 5.0), range(n))
    elif fault in ("unit dies", "rows cease", "answers only"):
        one = int(rng.choice(np.setdiff1d(np.arange(n), call.weak)))
        call.up[one, middle:] = False
        if fault == "rows cease":
            call.row[one, middle:] = False
        call.strike(fault, [one])
    elif fault == "unit now and then":
        one = int(rng.choice(np.setdiff1d(np.arange(n), call.weak)))
        for _ in range(int(rng.integers(3, 7))):
            begin = int(rng.choice(good))
            off[begin : begin + max(4, int(rng.uniform(3, 12) * 3600 / s["step_s"]))] = True
        call.up[one, off] = False
        call.strike(fault, [one])
    elif fault.startswith("fading"):
        one = int(rng.integers(n))
        call.loss[one] += np.linspace(0, 1, times) ** rng.uniform(1.0, 1.6) * (call.margin[one] + rng.uniform(1, 6))
        call.strike(fault, [one])


def call_of(seed: int, faults: tuple[str, ...] = (), **changes: Any) -> Call:
    """A log by its seed and its faults."""
    rng = np.random.default_rng([seed, 99])
    call = Call(rng=rng, faults=faults, settings=settings_of(rng, faults) | changes)
    site_of(call)
    weather_of(call)
    for fault in faults:
        add(call, fault)
    s, (n, times) = call.settings, call.loss.shape
    k = 10 ** (s["rice_db"] / 10)
    wave = np.sqrt(k / (k + 1)) + (rng.normal(size=(n, times)) + 1j * rng.normal(size=(n, times))) / np.sqrt(
        2 * (k + 1)
    )
    level = call.margin[:, None] - call.loss + 20 * np.log10(np.abs(wave))
    call.heard = call.lit & call.up & (level > 0) & (rng.random((n, times)) >= call.lost)
    call.row &= rng.random((n, times)) >= s["lost_rows"]
    if not s["nights"]:
        call.row &= np.convolve(call.light > 0, np.ones(1 + 2 * (3_600 // s["step_s"])), "same") > 0
    if "answers only" in faults:
        call.row &= call.heard
    seconds = call.tick[None] + (np.arange(n) * s["step_s"] // n // 2)[:, None] * s["in_turn"]
    seconds = seconds + rng.integers(-s["jitter_s"], s["jitter_s"] + 1, (n, times))
    if s["clock_change"]:
        seconds = seconds + 3_600 * int(rng.choice([-1, 1])) * (
            call.tick >= call.tick[int(rng.uniform(0.2, 0.8) * times)]
        )
    call.made = _log(call, seconds, level - 100.0)
    return call


def _log(call: Call, seconds: np.ndarray, level_dbm: np.ndarray) -> Log:
    s, rng = call.settings, call.rng
    n, _ = call.heard.shape
    inverter, time = np.nonzero(call.row.T)[::-1]
    if s["repeated"]:
        more = rng.choice(len(inverter), int(s["repeated"] * len(inverter)))
        inverter, time = np.append(inverter, inverter[more]), np.append(time, time[more])
    if s["shuffled"]:
        order = rng.permutation(len(inverter))
        inverter, time = inverter[order], time[order]
    heard, step = call.heard[inverter, time], s["level_step_db"]
    level = np.round(level_dbm[inverter, time] / (step or 1.0)) * (step or 1.0)
    block = Block(
        seconds=seconds[inverter, time], offset_min=np.full(len(inverter), NO_ZONE, dtype=np.int16),
        inverter=inverter.astype(np.int16), gateway=np.zeros(len(inverter), dtype=np.int16), heard=heard,
        level_dbm=np.where(heard, level, np.nan).astype(np.float16),
        power_w=np.full(len(inverter), np.nan, dtype=np.float16),
        branches={(i, int(b)): 1 for i, b in enumerate(call.group)} if s["branches"] else {},
    )  # fmt: skip
    columns = Columns(
        count=4, time=0, inverter=1, gateway=2, heard=3, level=4 if step else -1, power=-1,
        branch=5 if s["branches"] else -1, delimiter=",", decimal=".",
    )  # fmt: skip
    names = tuple(f"F{k + 1}" for k in range(int(call.group.max()) + 1))
    resolved = Resolved(inverter=list(range(n)), gateway=[0], branches=names)
    return log_of([block], resolved, file="call.csv", columns=columns, inverters=n, notes=[])
