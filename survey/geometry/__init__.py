"""Straight lines against what stands on a site, for all pairs of ends at once."""

from survey.geometry.chords import Chords, Prisms, chords, prisms_of
from survey.geometry.crossings import Crossings, crossings, on_sheet
from survey.geometry.plain import EDGE_M, ON_SHEET_M
from survey.geometry.sheets import Sheets, convex_outlines, inside_boxes, sheets_of

__all__ = [
    "EDGE_M",
    "ON_SHEET_M",
    "Chords",
    "Crossings",
    "Prisms",
    "Sheets",
    "chords",
    "convex_outlines",
    "crossings",
    "inside_boxes",
    "on_sheet",
    "prisms_of",
    "sheets_of",
]
