"""Figures and words that several tables share."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from survey.base.layout import counted, wrapped
from survey.budget import STATES, Links
from survey.inputs.plan import Plan

if TYPE_CHECKING:  # a list of links needs no routes
    from survey.routing import Network

CAUTION = wrapped(
    "A prediction is no measurement: take readings before you rely on it. Work at height, near mains and on metal "
    "roofs by the local rules for it; only a licensed electrician connects mains."
)
NOTHING_DB = -60.0
"""With a margin below this nothing arrives, and it is no matter by how much. [dB]"""
NOTHING = "none"
NO_ROOM = "no room"
"""State of an inverter that no gateway has room for."""
MOST_DECIMALS = 4
"""Of a chance near 1, so that it is not shown as sure; a model tells no more. A judgement."""


def db(value: float) -> str:
    """A loss, a level or a margin with one decimal."""
    return f"{round(value, 1) + 0.0:.1f}" if np.isfinite(value) else NOTHING


def signed_db(value_db: float) -> str:
    """A difference with one decimal and its sign; what rounds to nothing is +0.0.

    Examples
    --------
    >>> signed_db(1.25), signed_db(-3.0), signed_db(-0.04)
    ('+1.2', '-3.0', '+0.0')
    """
    return f"{round(value_db, 1) + 0.0:+.1f}"


def margin(value_db: float) -> str:
    """A margin, or a word where nothing arrives that could be heard.

    Examples
    --------
    >>> margin(-12.34), margin(-0.04), margin(-170.0)
    ('-12.3', '0.0', 'none')
    """
    return db(value_db) if value_db >= NOTHING_DB else NOTHING


def percent(chance: float, *, wanted: float) -> str:
    """A chance in percent, rounded down, with as many decimals as the wanted one has.

    So a chance that is below the wanted one always looks so, and none looks certain or impossible.

    Examples
    --------
    >>> percent(0.9499, wanted=0.95), percent(0.9501, wanted=0.95), percent(0.99999, wanted=0.95)
    ('94 %', '95 %', '>99 %')
    >>> percent(0.9749, wanted=0.975), percent(0.0001, wanted=0.975)
    ('97.4 %', '<0.1 %')
    """
    decimals = next((n for n in range(MOST_DECIMALS) if math.isclose(round(wanted, n + 2), wanted)), MOST_DECIMALS)
    step = 10.0**-decimals
    shown = math.floor(100.0 * chance / step + 1e-9) * step  # 1e-9: of a percent that floating point does not quite hit
    if shown < step:
        return f"<{step:.{decimals}f} %"
    if 100.0 * chance > 100.0 - step:
        return f">{100.0 - step:.{decimals}f} %"
    return f"{shown:.{decimals}f} %"


def wanted_line(plan: Plan) -> str:
    """The line that heads every table: the site, and when a link holds."""
    wanted = plan.requirement
    return wrapped(
        f"{plan.site.name}: {plan.radio.frequency_mhz:g} MHz; a link holds at a chance of "
        f"{100 * wanted.reliability:g} % or more, with {wanted.fade_margin_db:g} dB held back"
    )


def holding(number: int, total: int) -> str:
    """How many inverters hold.

    Examples
    --------
    >>> holding(1, 1), holding(0, 1), holding(1, 12), holding(30, 40)
    ('1 of 1 inverter holds', '0 of 1 inverter holds', '1 of 12 inverters holds', '30 of 40 inverters hold')
    """
    return f"{number} of {counted(total, 'inverter')} hold{'s' if 1 in (number, total) else ''}"


def tally(links: Links) -> str:
    """How many inverters hold, by their best link."""
    by = " by their best link" if links.shape[1] > 1 else ""
    return state_tally(links.state.max(axis=1), by=by)


def route_tally(network: Network) -> str:
    """How many inverters hold by their routes, how many are marginal, fail, or find no gateway with room."""
    return state_tally(network.state, over_capacity=network.over_capacity)


def state_tally(state: NDArray[np.int8], *, by: str = "", over_capacity: int = 0) -> str:
    """How many inverters hold, how many are marginal, how many fail; those without room stand apart.

    Examples
    --------
    >>> state_tally(np.array([2, 2, 0, 0, 0], dtype=np.int8), over_capacity=2)
    '5 inverters: 2 hold, 0 marginal, 1 fails, 2 without room'
    """
    fail, marginal, hold = (int(np.sum(state == one)) for one in range(len(STATES)))
    fail -= over_capacity
    holds, fails = "holds" if hold == 1 else "hold", "fails" if fail == 1 else "fail"
    more = f", {over_capacity} without room" if over_capacity else ""
    return f"{counted(len(state), 'inverter')}{by}: {hold} {holds}, {marginal} marginal, {fail} {fails}{more}"


def letter(j: int) -> str:
    """A, B, ... Z, AA, AB, ..., by which a table calls its spots."""
    return letter(j // 26 - 1) + letter(j % 26) if j >= 26 else chr(ord("A") + j)  # noqa: PLR2004  letters
