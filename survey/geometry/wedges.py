"""Which sheets stand in the direction of a line, so that only those are looked at in full.

Lines start like spokes from a hub. Sorted by azimuth around it, those that could go through a sheet are one run: the
wedge in plan that the sheet fills as seen from there. A few products then tell which of them go through it for
certain, and which come so near to its edge or its plane that the rules of `crossings` must decide.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.geometry.sheets import Sheets

Rows = tuple[IntArray, IntArray, IntArray, BoolArray]

CLOSE_M = 2e-3
"""What comes this close to the plane of a sheet is left to the rules: an end on the sheet, a line along it."""
NEAR_EDGE_M = 1e-4
"""What comes this close to an edge is left to the rules."""
HALF_TURN = 0.498
"""A sheet that fills this much of the horizon is all around the hub, or so near that its wedge means little. [turns]"""
PAIRS_AT_ONCE = 200_000
"""How many lines, and how many pairs of hub and sheet, are held at once."""
CANDIDATES_AT_ONCE = 40_000
"""How many lines in wedges are looked at in one go: few enough to stay in a processor's cache."""
BINS_PER_SPOKE = 2
LEAST_BINS, MOST_BINS = 64, 8_192


def through_wedges(hubs_m: FloatArray, spokes_m: FloatArray, sheets: Sheets, beside_m: FloatArray) -> Iterator[Rows]:
    """Lines from every hub to every spoke that go through a sheet, and those that might or that miss it by little.

    Parameters
    ----------
    hubs_m : ndarray of float, shape (hubs, 3)
        One end of the lines; the fewer of the two are the better hubs. [m]
    spokes_m : ndarray of float, shape (spokes, 3)
        Their other end. [m]
    sheets : Sheets
        What may be in the way.
    beside_m : ndarray of float, shape (sheets,)
        How far outside its edges a line that misses a sheet is still wanted. [m]

    Yields
    ------
    tuple of four ndarrays
        Hub, spoke and sheet; and whether the line goes through it for certain, more than `NEAR_EDGE_M` inside its edges
        and with both ends farther than `CLOSE_M` from its plane. For one line the sheets come in their order.
    """
    if not len(sheets) or not len(spokes_m):
        return
    grown_m = sheets.corners_m + (beside_m + 10.0 * NEAR_EDGE_M)[:, None, None] * sheets.corner_growth
    step = max(1, PAIRS_AT_ONCE // max(len(spokes_m), len(sheets)))
    for first in range(0, len(hubs_m), step):
        for hub, spoke, sheet, sure in _around_hubs(hubs_m[first : first + step], spokes_m, sheets, grown_m, beside_m):
            yield hub + first, spoke, sheet, sure


def _around_hubs(
    hubs_m: FloatArray, spokes_m: FloatArray, sheets: Sheets, grown_m: FloatArray, beside_m: FloatArray
) -> Iterator[Rows]:
    """The same for as many hubs as can be held at once."""
    away_m = [spokes_m[None, :, axis] - hubs_m[:, None, axis] for axis in range(3)]
    bins = 1 << int(np.clip(len(spokes_m) * BINS_PER_SPOKE, LEAST_BINS, MOST_BINS) - 1).bit_length()
    of_spoke = ((np.arctan2(away_m[1], away_m[0]) * (1.0 / (2.0 * np.pi)) + 0.5) * bins).astype(np.uint16) % bins
    order = np.argsort(of_spoke, axis=1, kind="stable")
    base = np.arange(len(hubs_m))[:, None]
    count = np.bincount((of_spoke + base * bins).ravel(), minlength=len(hubs_m) * bins)
    begins = np.append(0, np.cumsum(count))
    spoke_at = order.flatten()
    order += base * len(spokes_m)
    sorted_m = [one.take(order.ravel()) for one in away_m]

    first_bin, width = _wedges(hubs_m, spokes_m, grown_m, bins)
    hub, sheet = np.nonzero(width)
    first_bin, width = first_bin[hub, sheet], width[hub, sheet]
    wraps = np.flatnonzero(first_bin + width > bins)
    if len(wraps):  # what goes past the end of the circle is a wedge of its own
        rest = first_bin[wraps] + width[wraps] - bins
        width[wraps] -= rest
        hub, sheet, first_bin, width = (np.insert(one, wraps + 1, one[wraps]) for one in (hub, sheet, first_bin, width))
        twin = wraps + np.arange(len(wraps)) + 1
        first_bin[twin], width[twin] = 0, rest
    low = begins.take(hub * bins + first_bin)
    many = begins.take(hub * bins + first_bin + width) - low
    some = np.flatnonzero(many)
    hub, sheet, low, many = hub[some], sheet[some], low[some], many[some]

    before = np.append(0, np.cumsum(many))
    at = 0
    while at < len(hub):
        end = max(at + 1, int(np.searchsorted(before, before[at] + CANDIDATES_AT_ONCE, side="right")) - 1)
        part = slice(at, end)
        pair, place, sure = _among_candidates(
            hub_m=hubs_m[hub[part]],
            sheets=sheets,
            sheet=sheet[part],
            beside_m=beside_m,
            low=low[part],
            many=many[part],
            sorted_m=sorted_m,
        )
        yield hub[part].take(pair), spoke_at.take(place), sheet[part].take(pair), sure
        at = end


def _wedges(hubs_m: FloatArray, spokes_m: FloatArray, grown_m: FloatArray, bins: int) -> tuple[IntArray, IntArray]:
    """The first bin and the number of bins that each sheet fills around each hub; none where all pass over or under."""
    x_m = grown_m[None, :, :, 0] - hubs_m[:, None, None, 0]
    y_m = grown_m[None, :, :, 1] - hubs_m[:, None, None, 1]
    turns = np.arctan2(y_m, x_m) * (1.0 / (2.0 * np.pi)) + 0.5
    begin = turns[..., 0]
    from_begin = turns - begin[..., None]
    from_begin -= np.rint(from_begin)
    least, most = from_begin.min(axis=2), from_begin.max(axis=2)
    guard = 1e-3
    first_bin = np.floor((begin + least) * bins - guard).astype(np.int64)
    width = np.floor((begin + most) * bins + guard).astype(np.int64) - first_bin + 1
    around = most - least >= HALF_TURN
    first_bin[around], width[around] = 0, bins
    np.minimum(width, bins, out=width)
    heights_m = grown_m[..., 2]
    low_m = np.minimum(hubs_m[:, None, 2], spokes_m[:, 2].min())
    high_m = np.maximum(hubs_m[:, None, 2], spokes_m[:, 2].max())
    width[(heights_m.max(axis=1) < low_m) | (heights_m.min(axis=1) > high_m)] = 0
    return first_bin % bins, width


def _among_candidates(
    *,
    hub_m: FloatArray,
    sheets: Sheets,
    sheet: IntArray,
    beside_m: FloatArray,
    low: IntArray,
    many: IntArray,
    sorted_m: list[FloatArray],
) -> tuple[IntArray, IntArray, BoolArray]:
    """Which lines in some wedges go through their sheet: pair of hub and sheet, place in the order, and if for certain.

    With n the normal of a plane that points away from the hub, s the hub's distance from it, f how far inside an edge
    of inward normal m the hub lies, and d from hub to spoke: the line comes through the plane where ``n d > s``, and
    there lies ``(s m + f n) d / (n d)`` inside that edge.
    """
    normal = sheets.normal[sheet]
    side_m = np.sum(normal * hub_m, axis=1) - sheets.offset_m[sheet]
    normal *= -np.where(side_m < 0, -1.0, 1.0)[:, None]
    np.abs(side_m, out=side_m)
    flat = side_m <= CLOSE_M
    pair = np.repeat(np.arange(len(sheet)), many)
    place = np.repeat(low - (np.cumsum(many) - many), many)
    place += np.arange(len(pair))
    x_m, y_m, z_m = (one.take(place) for one in sorted_m)

    def times(vector: FloatArray) -> FloatArray:
        product = vector[:, 0].take(pair)
        product *= x_m
        for component, along_m in ((1, y_m), (2, z_m)):
            more = vector[:, component].take(pair)
            more *= along_m
            product += more
        return product

    depth_m = times(normal)
    chosen = np.flatnonzero(depth_m > np.where(flat, -np.inf, side_m - CLOSE_M).take(pair))
    pair, place, depth_m = pair.take(chosen), place.take(chosen), depth_m.take(chosen)
    x_m, y_m, z_m = x_m.take(chosen), y_m.take(chosen), z_m.take(chosen)
    least = np.full(len(pair), np.inf)
    for edge in range(sheets.edge_normal.shape[1]):
        inward = sheets.edge_normal[sheet, edge]
        inside_m = np.sum(inward * hub_m, axis=1) - sheets.edge_offset_m[sheet, edge]
        np.minimum(least, times(side_m[:, None] * inward + inside_m[:, None] * normal), out=least)
    is_flat = flat.take(pair)
    keep = least >= -(beside_m[sheet] + NEAR_EDGE_M).take(pair) * depth_m
    keep |= is_flat
    sure = least >= NEAR_EDGE_M * depth_m
    sure &= depth_m > side_m.take(pair) + CLOSE_M
    sure &= ~is_flat
    chosen = np.flatnonzero(keep)
    return pair.take(chosen), place.take(chosen), sure.take(chosen)
