"""Straight lines against what stands on a site, for all pairs of ends at once."""

from survey.geometry.chords import Chords, Prisms, chords, prisms_of
from survey.geometry.crossings import ON_SHEET_M, Crossings, crossings, on_sheet
from survey.geometry.sheets import Sheets, sheets_of

__all__ = [
    "ON_SHEET_M",
    "Chords",
    "Crossings",
    "Prisms",
    "Sheets",
    "chords",
    "crossings",
    "on_sheet",
    "prisms_of",
    "sheets_of",
]
