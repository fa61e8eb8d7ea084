"""Figures and words that several tables share."""

from __future__ import annotations

import math
from shlex import quote
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from survey.base.layout import counted, listed, wrapped
from survey.budget import STATES, Links
from survey.inputs.plan import Plan

if TYPE_CHECKING:  # a list of links needs no routes
    from survey.routing import Network
    from survey.scene import Scene

CAUTION = (
    "This is a prediction, not a measurement: take readings on site before you rely on it. Follow the local rules for "
    "work at height, near mains and on metal roofs. Only a licensed electrician may connect mains."
)
"""The last lines of every answer."""
NOTHING_DB = -60.0
"""With a margin below this no usable signal arrives, and the figure says no more. A judgement. [dB]"""
NOTHING = "none"
"""In place of a level or a margin where no usable signal arrives."""
NO_ROOM = "full"
"""State of an inverter beyond the capacity of all gateways."""
MAX_NAMED = 4
"""Gateways that a command in an answer names; of more, those that survey place recommends. A judgement."""
MAX_DECIMALS = 4
"""Of a chance near 1, so that it does not look certain; a model is no finer. A judgement."""


def db(value: float) -> str:
    """Return a loss, a level or a margin with one decimal."""
    return f"{round(value, 1) + 0.0:.1f}" if np.isfinite(value) else NOTHING


def signed_db(value_db: float) -> str:
    """Return a difference with one decimal and its sign; what rounds to nothing is +0.0.

    Examples
    --------
    >>> signed_db(1.25), signed_db(-3.0), signed_db(-0.04)
    ('+1.2', '-3.0', '+0.0')
    """
    return f"{round(value_db, 1) + 0.0:+.1f}"


def margin(value_db: float) -> str:
    """Return a margin, or a word where no usable signal arrives.

    Examples
    --------
    >>> margin(-12.34), margin(-0.04), margin(-170.0)
    ('-12.3', '0.0', 'none')
    """
    return db(value_db) if value_db >= NOTHING_DB else NOTHING


def margin_in_db(value_db: float) -> str:
    """Return a margin with its unit, or a word where no usable signal arrives.

    Examples
    --------
    >>> margin_in_db(-12.34), margin_in_db(-67_616.0)
    ('-12.3 dB', 'none')
    """
    return f"{db(value_db)} dB" if value_db >= NOTHING_DB else NOTHING


def percent(chance: float, *, wanted: float) -> str:
    """Return a chance in percent, rounded down, with as many decimals as the required one has.

    So a chance below the required one always looks so, and none looks certain or impossible.

    Examples
    --------
    >>> percent(0.9499, wanted=0.95), percent(0.9501, wanted=0.95), percent(0.99999, wanted=0.95)
    ('94 %', '95 %', '>99 %')
    >>> percent(0.9749, wanted=0.975), percent(0.0001, wanted=0.975)
    ('97.4 %', '<0.1 %')
    """
    decimals = next((n for n in range(MAX_DECIMALS) if math.isclose(round(wanted, n + 2), wanted)), MAX_DECIMALS)
    step = 10.0**-decimals
    shown = math.floor(100.0 * chance / step + 1e-9) * step  # 1e-9: of a percent that floating point does not quite hit
    if shown < step:
        return f"<{step:.{decimals}f} %"
    if 100.0 * chance > 100.0 - step:
        return f">{100.0 - step:.{decimals}f} %"
    return f"{shown:.{decimals}f} %"


def wanted_line(plan: Plan, links: Links | None = None) -> str:
    """Return the lines at the head of every answer: the site, its radio and environment, and when a link holds."""
    lines = [f"{plan.site.name}, {radio_words(plan)}", criterion(plan)]
    if links is not None:
        lines += fit_words(links.scene, links)
    return "\n".join(map(wrapped, lines))


def fit_words(scene: Scene, links: Links | None = None) -> list[str]:
    """Return which fit a site uses, how far it reaches beside some links, and its ceiling; nothing without a fit."""
    correction = scene.correction
    if correction is None:
        return []
    source = f"Fit: {correction.file}"
    if correction.readings:
        source += f", from {counted(correction.readings, 'reading')}"
    if correction.day:
        source += f" of {correction.day}"
    reach = f"up to {correction.farthest_m:.1f} m"
    if links is not None:
        beyond_m = float(links.distance_m.max(initial=0.0)) - correction.farthest_m
        reach += f"; the longest link here is {beyond_m:.1f} m longer" if beyond_m > 0 else "; no link here is longer"
    lines = [f"{source}, {reach}."]
    places = links.gateways.names if links is not None else ()
    unread = [name for name in places if name not in correction.gateways]
    if unread and correction.unread_sd_db:
        lines.append(
            f"Not read: {listed(unread, 3)}. Their uncertainty includes {correction.unread_sd_db:.1f} dB for the "
            "difference between gateways."
        )
    if correction.ceiling < 1.0:
        lines.append(
            f"A message gets through with a chance of at most {correction.ceiling:.2f} by what was counted, however "
            "strong the level."
        )
    return lines


def radio_words(plan: Plan) -> str:
    """Return what the answer depends on most: the frequency and the path loss exponent."""
    source = " (the default)" if is_default(plan, "path_loss_exponent") else ""
    return f"{plan.radio.frequency_mhz:g} MHz, path loss exponent {plan.environment.path_loss_exponent:.4g}{source}"


def explain_command(network: Network, inverter: str) -> str:
    """Return the command that explains an inverter with these gateways and as many relays."""
    plan, gateways = network.scene.plan, network.links.gateways.names
    words = ["survey explain", quote(plan.file), quote(inverter)]
    if set(gateways) != {one.name for one in plan.gateways} and len(gateways) <= MAX_NAMED:
        words += [f"--gateway {quote(name)}" for name in gateways]
    relays = plan.requirement.max_relays
    if relays and ("[requirement]", "max_relays", 0) in plan.defaults:  # an option asked for them
        words.append(f"--relays {relays}")
    return " ".join(words)


def is_default(plan: Plan, key: str) -> bool:
    """Return whether a key of [environment] has its default, since neither the plan nor a fit gives it."""
    return ("[environment]", key, getattr(plan.environment, key)) in plan.defaults


def criterion(plan: Plan) -> str:
    """Return when a link holds."""
    requirement = plan.requirement
    return (
        f"A link holds if its chance of working, with a {requirement.fade_margin_db:g} dB fade margin, is "
        f"{100 * requirement.reliability:g} % or more."
    )


def covered(number: int, total: int) -> str:
    """Return how many inverters are covered.

    Examples
    --------
    >>> covered(1, 1), covered(30, 40)
    ('1 of 1 inverter covered', '30 of 40 inverters covered')
    """
    return f"{number} of {counted(total, 'inverter')} covered"


def tally(links: Links) -> str:
    """Return how many inverters are in each state, by their best link."""
    return state_tally(links.state.max(axis=1), by="Best links" if links.shape[1] > 1 else "Links")


def route_tally(network: Network) -> str:
    """Return how many inverters are in each state by their routes; those beyond capacity are counted apart."""
    by = "Routes" if network.scene.plan.requirement.max_relays else "Links"
    return state_tally(network.state, by=by, over_capacity=network.over_capacity)


def state_tally(state: NDArray[np.int8], *, by: str = "Links", over_capacity: int = 0) -> str:
    """Return how many inverters are in each state; those beyond capacity are counted apart.

    Examples
    --------
    >>> state_tally(np.array([2, 2, 0, 0, 0], dtype=np.int8), over_capacity=2)
    'Links of 5 inverters: hold 2, marginal 0, fail 1, full 2'
    """
    fail, marginal, hold = (int(np.sum(state == number)) for number in range(len(STATES)))
    full = f", {NO_ROOM} {over_capacity}" if over_capacity else ""
    inverters = counted(len(state), "inverter")
    return f"{by} of {inverters}: hold {hold}, marginal {marginal}, fail {fail - over_capacity}{full}"


def letter(j: int) -> str:
    """Return A, B, ... Z, AA, AB, ..., by which a table names its spots."""
    return letter(j // 26 - 1) + letter(j % 26) if j >= 26 else chr(ord("A") + j)  # noqa: PLR2004  letters
