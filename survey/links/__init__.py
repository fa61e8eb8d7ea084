"""The link of every inverter to every gateway: loss, levels both ways, margin, reliability, state."""

from __future__ import annotations

from survey.links.figures import Links, carried_by, passes_of, passes_through
from survey.links.states import CARRIERS, HOLDS, MARGINAL_RELIABILITY, STATES, WAYS, StateArray, state_of
from survey.links.working import (
    Detours,
    Progress,
    judged_in_blocks,
    links_between,
    links_in_blocks,
    links_of,
    straight_links,
)

__all__ = [
    "CARRIERS",
    "HOLDS",
    "MARGINAL_RELIABILITY",
    "STATES",
    "WAYS",
    "Detours",
    "Links",
    "Progress",
    "StateArray",
    "carried_by",
    "judged_in_blocks",
    "links_between",
    "links_in_blocks",
    "links_of",
    "passes_of",
    "passes_through",
    "state_of",
    "straight_links",
]
