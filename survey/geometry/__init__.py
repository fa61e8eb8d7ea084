"""Straight lines against what stands on a site, for all pairs of ends at once."""

from survey.geometry.chords import Chords, Prisms, chords, prisms_of, segment_chords
from survey.geometry.crossings import (
    EDGE_M,
    ON_SHEET_M,
    Crossings,
    crossings,
    crossings_and_misses,
    on_sheet,
)
from survey.geometry.enclosures import buildings_of, seen_first, shut_out
from survey.geometry.heights import heights_over, lies_level
from survey.geometry.joints import Gaps, gaps_between, outer_edges, overlaps_of, touched
from survey.geometry.legs import Footprints, Met, footprints_of, leg_crossings
from survey.geometry.lines import Lines, lines_between
from survey.geometry.screens import Screens, convex_outlines, inside_boxes, screens_of
from survey.geometry.sheets import Sheets, sheets_of
from survey.geometry.strings import SIDES, Strings, strings_around

__all__ = [
    "EDGE_M",
    "ON_SHEET_M",
    "SIDES",
    "Chords",
    "Crossings",
    "Footprints",
    "Gaps",
    "Lines",
    "Met",
    "Prisms",
    "Screens",
    "Sheets",
    "Strings",
    "buildings_of",
    "chords",
    "convex_outlines",
    "crossings",
    "crossings_and_misses",
    "footprints_of",
    "gaps_between",
    "heights_over",
    "inside_boxes",
    "leg_crossings",
    "lies_level",
    "lines_between",
    "on_sheet",
    "outer_edges",
    "overlaps_of",
    "prisms_of",
    "screens_of",
    "seen_first",
    "segment_chords",
    "sheets_of",
    "shut_out",
    "strings_around",
    "touched",
]
