"""Straight lines against what stands on a site, for all pairs of ends at once."""

from survey.geometry.chords import Chords, Prisms, chords, prisms_of, segment_chords
from survey.geometry.crossings import (
    ON_SHEET_M,
    Crossings,
    crossings,
    crossings_and_misses,
    on_sheet,
    segment_crossings_and_misses,
)
from survey.geometry.screens import Screens, convex_outlines, inside_boxes, screens_of
from survey.geometry.sheets import Sheets, sheets_of
from survey.geometry.strings import SIDES, Lines, Strings, lines_between, strings_around

__all__ = [
    "ON_SHEET_M",
    "SIDES",
    "Chords",
    "Crossings",
    "Lines",
    "Prisms",
    "Screens",
    "Sheets",
    "Strings",
    "chords",
    "convex_outlines",
    "crossings",
    "crossings_and_misses",
    "inside_boxes",
    "lines_between",
    "on_sheet",
    "prisms_of",
    "screens_of",
    "segment_chords",
    "segment_crossings_and_misses",
    "sheets_of",
    "strings_around",
]
