"""The link of every inverter to every gateway: loss, levels both ways, margin, reliability, state."""

from __future__ import annotations

from survey.budget.figures import (
    CARRIERS,
    HOLDS,
    MARGINAL_RELIABILITY,
    STATES,
    Links,
    StateArray,
    state_of,
)
from survey.budget.working import (
    Progress,
    check_count,
    crossing_counts,
    links_between,
    links_in_blocks,
    links_of,
    map_in_blocks,
)

__all__ = [
    "CARRIERS",
    "HOLDS",
    "MARGINAL_RELIABILITY",
    "STATES",
    "Links",
    "Progress",
    "StateArray",
    "check_count",
    "crossing_counts",
    "links_between",
    "links_in_blocks",
    "links_of",
    "map_in_blocks",
    "state_of",
]
