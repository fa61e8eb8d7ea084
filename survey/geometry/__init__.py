"""Straight lines against what stands on a site, for all pairs of ends at once."""

from survey.geometry.chords import Chords, Prisms, chords, prisms_of
from survey.geometry.crossings import ON_SHEET_M, Crossings, crossings, on_sheet
from survey.geometry.screens import Screens, convex_outlines, screens_of
from survey.geometry.sheets import Sheets, sheets_of
from survey.geometry.strings import SIDES, Strings, strings_around

__all__ = [
    "ON_SHEET_M",
    "SIDES",
    "Chords",
    "Crossings",
    "Prisms",
    "Screens",
    "Sheets",
    "Strings",
    "chords",
    "convex_outlines",
    "crossings",
    "on_sheet",
    "prisms_of",
    "screens_of",
    "sheets_of",
    "strings_around",
]
