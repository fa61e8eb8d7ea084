"""Slips that are easily made when an array is typed in, undone: what a plan may have meant."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from survey.decisions.inspection.carriers import MAX_BESIDE_M, Carriers
from survey.decisions.inspection.edges import EDGE_SHARE
from survey.inputs.plan import Array

ROUNDING_M = 0.01
"""Coordinates are told to the centimetre: so much more, and the array still fits."""
ALONG = 0.5
"""An edge whose inward normal runs along the rows by more than this is at their ends: within 60 degrees. [-]"""


def slips(array: Array, carriers: Carriers) -> Iterator[tuple[str, Array]]:
    """Yield slips that are easily made, undone: bearing, slope, the corner it begins at, x and y, its place.

    Parameters
    ----------
    array : Array
        As the plan has it.
    carriers : Carriers
        The roofs.

    Yields
    ------
    (str, Array)
        The keys to write, and the array with them.
    """
    about, right, left = ((array.bearing_deg + turn) % 360.0 for turn in (180.0, 90.0, 270.0))
    yield f"bearing_deg = {about:g}", replace(array, bearing_deg=about)
    lie = carriers.lie(array.positions_m()[:1])
    slopes = [carriers.slope_deg(int(lie.sheet[0]))] if lie.is_over[0] else []
    for tilt_deg in dict.fromkeys([*(round(one, 1) for one in slopes), 0.0]):
        yield f"tilt_deg = {tilt_deg:g}", replace(array, tilt_deg=tilt_deg)
        turned = replace(array, tilt_deg=tilt_deg, bearing_deg=about)
        yield f"bearing_deg = {about:g} and tilt_deg = {tilt_deg:g}", turned
    end_m = np.array(array.first) + (array.row_lengths[0] - 1) * (array.spacing_m or 0.0) * array.along[:2]
    first = (round(float(end_m[0]), 2), round(float(end_m[1]), 2))
    yield _turned(array, first, about)
    far_m = array.positions_m()[-1, :2]  # the same places, with the first row at the other edge
    yield _turned(array, (round(float(far_m[0]), 2), round(float(far_m[1]), 2)), about)
    for bearing_deg in (right, left):
        yield f"bearing_deg = {bearing_deg:g}", replace(array, bearing_deg=bearing_deg)
    x, y = array.first
    if x != y:
        yield f"first = [{y:g}, {x:g}]", replace(array, first=(y, x))
    yield from _moved(array, carriers)


def _turned(array: Array, first: tuple[float, float], bearing_deg: float) -> tuple[str, Array]:
    text = f"first = [{first[0]:g}, {first[1]:g}] and bearing_deg = {bearing_deg:g}"
    return text, replace(array, first=first, bearing_deg=bearing_deg)


def _moved(array: Array, carriers: Carriers) -> Iterator[tuple[str, Array]]:
    """Yield the array moved onto the roof that most of it lies over, or that it lies beside."""
    points_m = array.positions_m()
    lie = carriers.lie(points_m)
    if not np.any(lie.is_over):
        lie = carriers.lie(points_m, beyond_m=MAX_BESIDE_M)
    sheets = lie.sheet[lie.is_over]
    if not len(sheets):
        return
    sheet = int(np.bincount(sheets).argmax())
    inside_m = carriers.inside_m(points_m, sheet).min(axis=0)
    move_m = np.zeros(3)
    for edge, least_m in zip(carriers.sheets.edge_normal[sheet], inside_m.tolist(), strict=True):
        spacing_m = array.spacing_m if abs(edge @ array.along) > ALONG else array.row_spacing_m
        margin_m = EDGE_SHARE * (spacing_m or 0.0)
        lacks_m = margin_m + ROUNDING_M - least_m - float(move_m @ edge)
        if least_m < 0 and lacks_m > 0:
            move_m += lacks_m * edge
    if move_m.any():
        x, y = (round(float(one), 2) for one in array.first + move_m[:2])
        yield f"first = [{x:g}, {y:g}]", replace(array, first=(x, y))
