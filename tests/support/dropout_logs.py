"""Invented logs with known causes, for the tests of `survey dropouts`: sites, days, weather and faults by a seed.

Everything here is invented. A log is made poll by poll: the sun rises and sets by latitude and season, weather dims it,
each inverter answers if it has light, if its supply and its gateway are up, and if its level suffices on that poll.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from dropout_faults import Faults, add_faults

from survey.budget import links_of
from survey.inputs.logs.grid import Resolved, log_of
from survey.inputs.logs.rows import Block, Columns
from survey.inputs.logs.stamps import NO_ZONE, stamp
from survey.inputs.plan import Environment, Inverter, Plan, Radio, RadioEnd, Requirement, Site, Spot
from survey.scene import scene_of

FAULTS = (
    "supply branch",
    "gateway or network",
    "weak link",
    "something new in the way",
    "interference",
    "single unit",
)
HARD = (
    "obstacle for days",
    "truck by hours",
    "branch off to the end",
    "branch off to the end, named",
    "interference at dusk",
    "interference, short log",
    "gateway moved",
    "fading unit",
    "fading unit, levels",
    "rows cease",
    "answers only",
    "obstacle not in plan",
)
"""Faults that take a rhythm, a slope, or rows that are not there to be seen; made in dropout_faults.py."""
HEALTHY = ("plain", "wild", "dark noons", "rain", "strays")
"""Kinds of logs without a fault."""
DAY_S = 86_400
SHOWS = 1.3
"""A margin of less than so many standard deviations of fading loses a poll in ten or more."""
START_S = 1_735_689_600  # 2025-01-01


@dataclass(kw_only=True)
class Recipe:
    """What a log is made of."""

    seed: int
    causes: tuple[str, ...] = ()
    days: int = 20
    step_s: int = 600
    inverters: int = 24
    gateways: int = 1
    latitude_deg: float = 45.0
    first_day: int = 100
    stray: float = 0.03
    fading_db: float = 4.0
    with_level: bool = False
    with_power: bool = False
    with_branch: bool = True
    jitter_s: int = 0
    utc_shift_s: int = 0
    layout: str = "around"
    """Where rows of modules stand: around the gateway, on one side of it, or row behind row in a field."""
    rows_only: str = ""
    """"heard": only answers have rows; else a row stands for every poll."""
    missing: float = 0.0
    """Share of rows that the file has lost, one by one. [-]"""
    gap_h: float = 0.0
    """Length of a stretch without any row. [h]"""
    clock_back: bool = False
    """Whether the clock goes back by an hour amid the log, as at the end of daylight saving."""
    level_step_db: float = 0.1
    healthy: str = "plain"
    obstacles: tuple = ()
    """Entries of the plan that stand on the site."""
    wild: bool = False
    """Otherwise made: sides of roofs, rows by day only, polls in turn, wet days, misses in bursts, other faults."""


@dataclass(kw_only=True)
class Made:
    """A site, its log by poll, and what was done to it: whom each cause touched, and whom so much that it must show."""

    recipe: Recipe
    scene: object
    seconds: np.ndarray
    heard: np.ndarray
    level_dbm: np.ndarray
    power_w: np.ndarray
    branch: np.ndarray
    gateway: np.ndarray
    struck: dict[str, set[str]] = field(default_factory=dict)
    touched: dict[str, set[str]] = field(default_factory=dict)
    changed_s: float = 0.0
    row: np.ndarray | None = None
    """Which polls have a row in the file, shape (links, times)."""
    up: np.ndarray | None = None
    lit: np.ndarray | None = None

    def log(self):
        """As if it had been read from a file."""
        links, times = self.heard.shape
        recipe = self.recipe
        there = (np.ones(self.heard.shape, dtype=bool) if self.row is None else self.row).T.ravel()
        inverter = np.tile(np.arange(links, dtype=np.int16), times)[there]
        flat = self.heard.T.ravel()[there]
        block = Block(
            seconds=self.seconds.T.ravel()[there],
            offset_min=np.full(flat.size, NO_ZONE, dtype=np.int16),
            inverter=inverter,
            gateway=self.gateway[inverter].astype(np.int16),
            heard=flat,
            level_dbm=np.where(flat, self.level_dbm.T.ravel()[there], np.nan).astype(np.float16),
            power_w=np.where(flat, self.power_w.T.ravel()[there], np.nan).astype(np.float16),
            branches={(i, int(b)): times for i, b in enumerate(self.branch)} if recipe.with_branch else {},
        )
        columns = Columns(
            count=4, time=0, inverter=1, gateway=2, heard=3, level=4 if recipe.with_level else -1,
            power=5 if recipe.with_power else -1, branch=6 if recipe.with_branch else -1, delimiter=",", decimal=".",
        )  # fmt: skip
        names = tuple(f"B{k + 1}" for k in range(int(self.branch.max()) + 1))
        resolved = Resolved(inverter=list(range(links)), gateway=list(range(recipe.gateways)), branches=names)
        return log_of([block], resolved, file="invented.csv", columns=columns, inverters=links, notes=[])

    def csv(self) -> str:
        """The same as a file."""
        recipe = self.recipe
        names = self.scene.inverters.names
        more = [
            (",level_dbm", recipe.with_level), (",power_w", recipe.with_power), (",branch", recipe.with_branch)
        ]  # fmt: skip
        rows = ["time,inverter,gateway,heard" + "".join(text for text, there in more if there)]
        for t in range(self.heard.shape[1]):
            for i, name in enumerate(names):
                if self.row is not None and not self.row[i, t]:
                    continue
                heard = bool(self.heard[i, t])
                row = (
                    f"{stamp(int(self.seconds[i, t]))},{name},{self.scene.gateways.names[self.gateway[i]]},{int(heard)}"
                )
                row += f",{self.level_dbm[i, t]:.1f}" * recipe.with_level if heard else "," * recipe.with_level
                row += f",{self.power_w[i, t]:.0f}" * recipe.with_power if heard else "," * recipe.with_power
                rows.append(row + f",B{self.branch[i] + 1}" * recipe.with_branch)
        return "\n".join(rows) + "\n"


DAYS = {
    "interference, short log": (3, 4),
    "fading unit": (21, 30, 45, 60, 90),
    "fading unit, levels": (21, 30, 45, 60, 90),
}


def any_recipe(seed: int, causes: tuple[str, ...], *, wild: bool = False, healthy: str = "plain") -> Recipe:
    """Settings of a log of any kind."""
    rng = np.random.default_rng([seed, 7])
    some = next((DAYS[one] for one in causes if one in DAYS), (7, 10, 14, 21, 30, 45, 60, 90))
    days = int(rng.choice(some))
    hard = bool(set(causes) & set(HARD)) or healthy not in ("plain", "wild")
    recipe = Recipe(
        wild=wild or healthy == "wild" or (hard and seed % 2 == 1),
        seed=seed,
        causes=causes,
        healthy=healthy,
        days=days,
        step_s=int(rng.choice([300, 600, 600, 900])),
        inverters=int(rng.choice([8, 12, 16, 24, 40, 60])) if days <= 45 else int(rng.choice([8, 12, 20, 30])),
        gateways=int(rng.choice([1, 1, 1, 2])),
        latitude_deg=float(rng.uniform(-45, 55)),
        first_day=int(rng.integers(0, 365)),
        stray=float(rng.uniform(0.01, 0.05)),
        fading_db=float(rng.uniform(2.5, 5.0)),
        with_level=bool(rng.random() < 0.5),
        with_power=bool(rng.random() < 0.5),
        with_branch=bool(rng.random() < 0.6),
        jitter_s=int(rng.choice([0, 0, 20, 90])),
        utc_shift_s=int(rng.choice([0, 0, 3, -8])) * 3600,
    )
    if not hard:
        return recipe
    more = {
        "layout": str(rng.choice(["around", "one side", "field"])),
        "missing": float(rng.choice([0.0, 0.0, 0.01, 0.03])),
        "gap_h": float(rng.choice([0.0, 0.0, 5.0, 30.0])) if days > 6 else 0.0,
        "clock_back": bool(rng.random() < 0.2),
        "level_step_db": float(rng.choice([0.1, 0.5, 1.0, 2.0])),
        "step_s": int(rng.choice([300, 600, 900, 900, 1800])),
    }
    if "rows cease" in causes or "answers only" in causes:
        more["clock_back"] = False
    if "answers only" in causes:
        more |= {"rows_only": "heard", "gap_h": 0.0, "missing": 0.0}
    if "branch off to the end" in causes or "obstacle not in plan" in causes or "fading unit" in causes:
        more["with_level"] = False
    if "branch off to the end" in causes:
        more |= {"with_branch": False, "gap_h": 0.0}
    if "branch off to the end, named" in causes:
        more |= {"with_branch": True, "gap_h": 0.0}
    if "fading unit, levels" in causes:
        more["with_level"] = True
    if {"gateway moved", "obstacle for days", "truck by hours", "obstacle not in plan"} & set(causes):
        more["gateways"] = 1
        more["inverters"] = max(12, recipe.inverters)
    if healthy == "dark noons":  # far north, about midwinter
        more |= {"latitude_deg": float(rng.uniform(55, 62)), "first_day": int(rng.integers(310, 385)) % 365}
    return dataclasses.replace(recipe, **more)


def site(recipe: Recipe, rng, more_loss_db: np.ndarray):
    """Rows of modules round about one gateway or two, in the open; some inverters in deep steel where wanted."""
    arrays = int(rng.integers(3, 6))
    middle_deg = np.sort(rng.uniform(0, 360, arrays))
    group = np.sort(np.arange(recipe.inverters) % arrays)
    far_m, across = rng.uniform(12, 35, arrays), np.zeros(recipe.inverters)
    for k in range(arrays):
        own = np.flatnonzero(group == k)
        across[own] = (np.arange(len(own)) - len(own) / 2) * 2.2
    if recipe.layout != "around":  # all rows lie within a quarter of the circle, or one behind the other
        middle_deg = middle_deg / 4.0 if recipe.layout == "one side" else np.full(arrays, 0.0)
        far_m = np.sort(far_m) if recipe.layout == "one side" else 10.0 + 6.0 * np.arange(arrays)
    angle = np.deg2rad(middle_deg[group])
    at_m = far_m[group][:, None] * np.column_stack([np.sin(angle), np.cos(angle)])
    at_m += across[:, None] * np.column_stack([np.cos(angle), -np.sin(angle)])
    inverters = tuple(
        Inverter(
            name=f"{'ABCDEF'[group[i]]}-{i + 1}",
            at=tuple(at_m[i].round(2).tolist()),
            height_m=3.0,
            mounting_loss_db=float(6.0 + more_loss_db[i]),
        )
        for i in range(recipe.inverters)
    )
    radio = Radio(
        frequency_mhz=868.0,
        inverter=RadioEnd(tx_power_dbm=8.0, sensitivity_dbm=-98.0, mounting_loss_db=6.0),
        gateway=RadioEnd(tx_power_dbm=10.0, sensitivity_dbm=-98.0),
    )
    spots = [Spot(name=f"box {k + 1}", at=(4.0 * k, 0.0), height_m=2.0) for k in range(recipe.gateways)]
    plan = Plan(
        file="invented.toml", folder=Path(), site=Site(name="invented"), radio=radio,
        environment=Environment(path_loss_exponent=2.6), requirement=Requirement(), inverters=inverters,
        gateways=tuple(spots), obstacles=recipe.obstacles,
    )  # fmt: skip
    return scene_of(plan), group


def sun(recipe: Recipe, seconds: np.ndarray, rng) -> np.ndarray:
    """Light on the level, 0 to 1, with weather: dark days, and clouds that come and go."""
    day = recipe.first_day + (seconds - START_S) // DAY_S
    declination = np.deg2rad(-23.4) * np.cos(2 * np.pi * (day + 10) / 365.25)
    hour = 2 * np.pi * ((seconds % DAY_S) / DAY_S - 0.5)
    latitude = np.deg2rad(recipe.latitude_deg)
    height = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(hour)
    number = (seconds - START_S) // DAY_S
    cloud = rng.choice([1.0, 0.8, 0.5, 0.25], int(number.max()) + 2, p=[0.4, 0.3, 0.2, 0.1])
    if recipe.healthy == "dark noons":
        cloud = rng.choice([1.0, 0.5, 0.25, 0.12], int(number.max()) + 2, p=[0.3, 0.25, 0.25, 0.2])
    quick = np.repeat(rng.uniform(0.6, 1.0, len(seconds) // 6 + 1), 6)[: len(seconds)]
    return np.clip(height, 0.0, None) * cloud[number] * quick


def stretches(rng, times: int, step_s: int, *, count: int, shortest_s: float, longest_s: float, light) -> np.ndarray:
    """Some stretches of time, each with its middle in good light."""
    found = np.zeros(times, dtype=bool)
    bright = np.flatnonzero(light > 0.15)
    for _ in range(count):
        length = max(2, int(np.exp(rng.uniform(np.log(shortest_s), np.log(longest_s))) / step_s))
        begin = int(rng.choice(bright)) - length // 2
        found[max(0, begin) : begin + length] = True
    return found


def make(recipe: Recipe) -> Made:  # noqa: C901, PLR0912, PLR0915  one fault after another
    """A log by its recipe."""
    rng = np.random.default_rng(recipe.seed)
    n, times = recipe.inverters, recipe.days * DAY_S // recipe.step_s
    weak = (
        set(rng.choice(n, max(1, int(n * rng.uniform(0.08, 0.25))), replace=False).tolist())
        if "weak link" in recipe.causes
        else set()
    )
    layout = int(rng.integers(0, 1 << 30))
    scene, group = site(recipe, np.random.default_rng(layout), np.zeros(n))
    gateway = rng.integers(0, recipe.gateways, n) if recipe.gateways > 1 else np.zeros(n, dtype=int)
    at = np.arange(n), gateway
    if weak:  # so much more loss that the plan foresees a poor link
        wanted_db = np.where([i in weak for i in range(n)], rng.uniform(-4, 5, n), np.inf)
        more_loss_db = np.clip(links_of(scene).margin_db[at] - wanted_db, 0.0, None)
        scene, group = site(recipe, np.random.default_rng(layout), more_loss_db)
    links = links_of(scene)
    shadow = np.clip(rng.normal(0, 4, n), -8, 8)
    margin = links.margin_db[at] + np.where([i in weak for i in range(n)], np.clip(shadow, -4, 2), shadow)
    margin = np.where([i in weak for i in range(n)], margin, np.maximum(margin, 3.0 * recipe.fading_db))
    changed_s = 0.0
    tick = START_S + np.arange(times) * recipe.step_s
    light = sun(recipe, tick, rng)
    needed = 0.03 * np.exp(rng.normal(0, 0.2, n))
    sides = np.ones((n, 1))
    if recipe.wild:  # a roof to the west sees less of the morning
        sides = (
            1.0
            + 0.6 * np.sin(2 * np.pi * ((tick % DAY_S) / DAY_S - 0.5))[None] * rng.choice([-1, 0, 1], 6)[group][:, None]
        )
    lit = light[None] * sides * rng.uniform(0.9, 1.1, (n, 1)) > needed[:, None]
    excess = np.broadcast_to(margin[:, None], (n, times)).copy()
    excess += np.repeat(rng.normal(0, 0.7, (1, recipe.days)), DAY_S // recipe.step_s, axis=1)[:, :times]
    if recipe.wild:
        wet = np.repeat(rng.random(recipe.days) < 0.25, DAY_S // recipe.step_s)[:times]
        excess -= wet[None] * rng.uniform(1.0, 3.0)
    if recipe.healthy == "rain":  # showers of some hours cost all links some dB
        shower = np.repeat(rng.random(recipe.days * 8) < 0.15, max(1, DAY_S // recipe.step_s // 8) + 1)[:times]
        excess -= shower[None] * rng.uniform(2.0, 5.0)
    up = np.ones((n, times), dtype=bool)
    lost = np.clip(recipe.stray * np.exp(rng.normal(0, 0.2, (n, 1))), 0, 0.08) * np.ones((1, times))
    if recipe.wild:
        lost = np.broadcast_to(rng.uniform(0.01, 0.05, (n, 1)), (n, times))
    if recipe.healthy == "strays":
        lost = np.broadcast_to(rng.uniform(0.02, 0.09, (n, 1)), (n, times))
    struck: dict[str, set[str]] = {}
    touched: dict[str, set[str]] = {}

    def strike(cause, which, among=()):
        struck.setdefault(cause, set()).update(scene.inverters.names[i] for i in which)
        touched.setdefault(cause, set()).update(scene.inverters.names[i] for i in [*which, *among])

    span = {"step_s": recipe.step_s, "light": light}
    branch = group
    if "supply branch" in recipe.causes:
        sizes = np.bincount(branch)
        one = int(rng.choice(np.flatnonzero(sizes >= 2)))
        out = stretches(rng, times, count=int(rng.integers(1, 4)), shortest_s=5_400, longest_s=2 * DAY_S, **span)
        up[branch == one] &= ~out
        strike("supply branch", np.flatnonzero(branch == one))
    if "gateway or network" in recipe.causes:
        one = int(rng.integers(0, recipe.gateways))
        count, longest_s = (int(rng.integers(6, 15)), 7_200) if recipe.wild else (int(rng.integers(1, 5)), DAY_S / 2)
        out = stretches(rng, times, count=count, shortest_s=2_400, longest_s=longest_s, **span)
        up[gateway == one] &= ~out
        strike("gateway or network", np.flatnonzero(gateway == one))
    if "something new in the way" in recipe.causes:
        ways = links.inverters.at_m[:, :2] - links.gateways.at_m[gateway, :2]
        bearing = np.rad2deg(np.arctan2(ways[:, 0], ways[:, 1]))
        hub = int(rng.integers(0, recipe.gateways))
        own = np.flatnonzero(gateway == hub)
        middle = bearing[int(rng.choice(own))]
        off = np.abs((bearing - middle + 180) % 360 - 180)
        wanted = int(np.clip(rng.uniform(0.15, 0.4) * len(own), 3, 12))
        which = own[np.argsort(off[own])[: min(wanted, max(2, len(own) // 2))]]
        bright = np.flatnonzero(light > 0.1)
        begin = int(bright[int(rng.uniform(0.25, 0.75) * len(bright))])
        changed_s = float(tick[begin] + recipe.utc_shift_s)
        # So much that the middle one of the group is left close to what it needs.
        loss = float(np.median(margin[which])) + rng.uniform(-4, 3)
        end = times if not recipe.wild or rng.random() < 0.5 else begin + int(0.6 * (times - begin))
        excess[which, begin:end] -= loss + rng.normal(0, 1.5, (len(which), 1))
        left = excess[which, begin:end].mean(axis=1)
        strike("something new in the way", which[left < max(SHOWS * recipe.fading_db, float(left.min()) + 0.1)], which)
    if "interference" in recipe.causes:
        more = rng.uniform(0.2, 0.6)
        if rng.random() < 0.6:
            noon = tick[np.argmax(light)] % DAY_S
            begin = (noon + rng.uniform(-4, 3) * 3600) % DAY_S
            hours = (tick % DAY_S - begin) % DAY_S < rng.uniform(1, 3) * 3600
        else:
            hours = stretches(rng, times, count=int(rng.integers(3, 7)), shortest_s=5_400, longest_s=18_000, **span)
        if recipe.wild:
            hours = hours[None] & (rng.random((n, 1)) < 0.85)
        lost = np.where(hours, 1 - (1 - lost) * (1 - more * rng.uniform(0.7, 1.0, (n, 1))), lost)
        strike("interference", range(n))
    if "single unit" in recipe.causes:
        sound = [i for i in range(n) if i not in weak and links.margin_db[i, gateway[i]] > 18]
        for one in rng.choice(sound, min(len(sound), int(rng.integers(1, 3))), replace=False).tolist():
            kind = rng.integers(3, 6) if recipe.wild else rng.integers(0, 3)
            if kind == 0:
                up[one, int(rng.uniform(0.1, 0.7) * times) :] = False
            elif kind == 1:
                up[one] &= ~stretches(rng, times, count=5, shortest_s=10_800, longest_s=1.5 * DAY_S, **span)
            elif kind == 3:
                up[one] = False
            elif kind == 4:  # too hot at noon, on two days of three
                hot = np.repeat(rng.random(recipe.days) < 0.67, DAY_S // recipe.step_s)[:times]
                up[one] &= ~((light > rng.uniform(0.45, 0.7) * light.max()) & hot)
            else:
                lost = lost.copy()
                lost[one] = 1 - (1 - lost[one]) * (1 - rng.uniform(0.25, 0.7))
            strike("single unit", [one])
    made_faults = Faults(
        recipe=recipe, rng=rng, tick=tick, light=light, group=group, margin=margin, links=links, gateway=gateway,
        names=scene.inverters.names, lit=lit, up=up, lost=np.array(lost), excess=excess,
        row=np.ones((n, times), dtype=bool), strike=strike,
    )  # fmt: skip
    add_faults(made_faults)
    lost = made_faults.lost
    changed_s = changed_s or made_faults.changed_s
    if weak:  # those that are weak enough to show
        strike(
            "weak link",
            [i for i in weak if margin[i] < SHOWS * recipe.fading_db] or [min(weak, key=margin.__getitem__)],
            weak,
        )
    fade = rng.normal(0, recipe.fading_db, (n, times))
    if recipe.wild:  # what fades stays so for some polls
        fade = 0.8 * fade + 0.6 * np.repeat(rng.normal(0, recipe.fading_db, (n, times // 9 + 1)), 9, axis=1)[:, :times]
    heard = lit & up & (excess + fade > 0) & (rng.random((n, times)) >= lost)
    row = made_faults.row
    row &= rng.random((n, times)) >= recipe.missing
    if recipe.gap_h:
        begin = int(rng.integers(0, max(1, times - 4)))
        row[:, begin : begin + int(recipe.gap_h * 3600 / recipe.step_s)] = False
    if recipe.rows_only == "heard":
        row &= heard
    level = links.gateways.need_dbm[gateway][:, None] + (links.uplink_margin_db - links.margin_db)[at][:, None]
    turn = (np.arange(n) * recipe.step_s // n)[:, None] if recipe.wild else 0
    jitter = rng.integers(-recipe.jitter_s, recipe.jitter_s + 1, (n, times)) if recipe.jitter_s else 0
    back = 3_600 * (tick >= tick[int(0.6 * times)]) if recipe.clock_back else 0
    return Made(
        recipe=recipe,
        scene=scene,
        seconds=np.broadcast_to(tick, (n, times)) + jitter + turn + recipe.utc_shift_s - back,
        heard=heard,
        level_dbm=np.round((level + excess + fade) / recipe.level_step_db) * recipe.level_step_db,
        row=row,
        up=up,
        lit=lit,
        power_w=np.broadcast_to(400.0 * light, (n, times)),
        branch=branch,
        gateway=gateway,
        struck=struck,
        touched=touched,
        changed_s=changed_s,
    )
