"""The link of every inverter to every gateway: loss, levels both ways, margin, reliability, state."""

from __future__ import annotations

from survey.budget.direct import DeferredPathsAround, DirectLinks, direct_links
from survey.budget.figures import (
    CARRIERS,
    HOLDS,
    MARGINAL_RELIABILITY,
    STATES,
    LinkFigures,
    Links,
    StateArray,
    state_of,
)
from survey.budget.working import (
    Progress,
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
    "DeferredPathsAround",
    "DirectLinks",
    "LinkFigures",
    "Links",
    "Progress",
    "StateArray",
    "direct_links",
    "links_between",
    "links_in_blocks",
    "links_of",
    "map_in_blocks",
    "state_of",
]
