"""What to do about a cause, in order: what can be seen from the ground, what a command works out, what is opened."""

from __future__ import annotations

from collections.abc import Sequence
from shlex import quote

from survey.measured.dropouts.causes import (
    BRANCH,
    FADING,
    GATEWAY,
    INTERFERENCE,
    LOW_LIGHT,
    MOVED,
    OBSTACLE,
    UNIT,
    UNKNOWN,
    WEAK,
)

LIVE_DC = (
    "Only a licensed electrician opens boards and connections. Switch off and lock the AC side first, then the DC "
    "side. Never pull a DC connector under load: its arc does not go out by itself, and modules are live in any light"
)
FIRST: dict[str, tuple[str, ...]] = {
    LOW_LIGHT: ("Nothing to do: this is no fault",),
    BRANCH: (
        "Look only: is a breaker or a residual-current device of this branch off? Is the trunk cable damaged?",
        LIVE_DC + ". Test the branch, its terminals and the connectors of the trunk cable",
    ),
    GATEWAY: (
        "At the gateway: check its plug and supply, its lamps, the network cable or signal, and the router",
        "From the ground: look for snow on the modules, where whole winter days are missing",
        "Ask whether the site's network or the portal was down at these times",
    ),
    WEAK: (
        "At the gateway: check that its antenna is upright and tight, and that nothing metal stands against it",
        "Work out the link: {explain}",
        "Try the new spot with readings before you fix anything there: survey place {plan}",
    ),
    OBSTACLE: (
        "From the ground: look along the line for a container, a parked vehicle, a stack, cladding or leaves",
        "Ask the person responsible whether it can stand elsewhere",
        "If it has to stay, add it to the plan and work out a remedy: {explain}",
    ),
    MOVED: (
        "At the gateway: ask whether it or its antenna was moved or turned, and whether the cupboard around it is new",
        "Write its position of today into the plan and work out the links again: survey links {plan}",
    ),
    INTERFERENCE: (
        "At the gateway: find out what transmits or switches in these hours: radios, drives, lamps, chargers",
        "Try another channel, or move the gateway some metres away from it",
    ),
    UNIT: (
        "At the gateway: check that the inverter is registered with the right serial number",
        "From the ground: look for shade, dirt, snow or damage on its module",
        "Work out whether its link should hold: {explain}",
        LIVE_DC + ". Check its connectors, then swap it with a neighbour and see whether the missed polls move along",
    ),
    FADING: (
        "From the ground: look for leaves that grow, and for a module, mount or antenna that has come loose",
        "Compare with the predicted margin: {explain}",
        LIVE_DC + ". Check the inverter's seat and seals; water in a housing lowers the level by and by",
    ),
    UNKNOWN: ("Look again if they become more",),
}
"""Steps of each cause; `{plan}` and `{explain}` stand for the plan's file and a command."""


def steps_of(cause: str, *, plan: str, inverters: Sequence[str]) -> tuple[str, ...]:
    """Return the next steps of a cause, the first of them first.

    Parameters
    ----------
    cause : str
        One of `book.CAUSES`.
    plan : str
        The plan's file, as the user named it.
    inverters : sequence of str
        The inverters that it strikes; the command names the first of them.

    Examples
    --------
    >>> steps_of("weak link", plan="farm.toml", inverters=["L 1"])[1]
    "Work out the link: survey explain farm.toml 'L 1'"
    """
    explain = f"survey explain {quote(plan)} {quote(inverters[0])}" if inverters else f"survey links {quote(plan)}"
    words = {"{plan}": quote(plan), "{explain}": explain}
    steps = []
    for step in FIRST[cause]:
        for mark, text in words.items():
            step = step.replace(mark, text)  # noqa: PLW2901  names may hold braces of their own
        steps.append(step)
    return tuple(steps)
