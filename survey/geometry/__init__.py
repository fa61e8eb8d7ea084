"""Straight lines against what stands on a site, for all pairs of ends at once."""

from survey.geometry.chords import Chords, Prisms, chords, prisms_of
from survey.geometry.crossings import Crossings, crossings, on_sheet
from survey.geometry.heights import heights_over, lies_level
from survey.geometry.joints import Gaps, gaps_between, outer_edges, overlaps_of, touched
from survey.geometry.plain import EDGE_M, ON_SHEET_M
from survey.geometry.sheets import Sheets, convex_outlines, inside_boxes, sheets_of

__all__ = [
    "EDGE_M",
    "ON_SHEET_M",
    "Chords",
    "Crossings",
    "Gaps",
    "Prisms",
    "Sheets",
    "chords",
    "convex_outlines",
    "crossings",
    "gaps_between",
    "heights_over",
    "inside_boxes",
    "lies_level",
    "on_sheet",
    "outer_edges",
    "overlaps_of",
    "prisms_of",
    "sheets_of",
    "touched",
]
