"""What the legs of strings and of mirror paths go through: lines given one by one, each against few sheets only."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.geometry.plain import EDGE_M, ON_SHEET_M
from survey.geometry.sheets import Sheets

PAIRS_AT_ONCE = 30_000
"""How many pairs of leg and sheet are looked at in one go: few enough to stay in a processor's cache."""
ROUNDING = 1e-5
"""What single precision may err by when pairs are picked, as a share of the site's size; all are looked at again."""


@dataclass(frozen=True, kw_only=True)
class Met:
    """What legs go through or miss by little, a row for each time.

    Attributes
    ----------
    leg, sheet : ndarray of int, shape (met,)
        Which leg, and which sheet.
    fraction : ndarray of float, shape (met,)
        How far along the leg, from 0 at its start to 1 at its end. [-]
    inside_m : ndarray of float, shape (met,)
        How far inside the nearest edge of the sheet; negative for a leg that misses it by so much. [m]
    """

    leg: IntArray
    sheet: IntArray
    fraction: FloatArray
    inside_m: FloatArray

    def pick(self, chosen: IntArray | BoolArray) -> Met:
        """Some of them."""
        return Met(**{one.name: getattr(self, one.name)[chosen] for one in fields(self)})


@dataclass(frozen=True, kw_only=True)
class Footprints:
    """A circle in plan around each sheet.

    Attributes
    ----------
    middle_m : ndarray of float, shape (sheets, 2)
        Middles. [m]
    radius_m : ndarray of float, shape (sheets,)
        Radii. [m]
    """

    middle_m: FloatArray
    radius_m: FloatArray


def footprints_of(sheets: Sheets, beside_m: FloatArray | float = EDGE_M) -> Footprints:
    """Circles in plan around sheets that reach so far beyond their edges.

    Parameters
    ----------
    sheets : Sheets
        Sheets.
    beside_m : ndarray of float, shape (sheets,), or float
        How far every edge is moved outward. [m]
    """
    one, other = np.triu_indices(sheets.edge_normal.shape[1], 1)
    offset_m = sheets.edge_offset_m - np.broadcast_to(beside_m, len(sheets))[:, None]
    edge_1, edge_2 = sheets.edge_normal[:, one], sheets.edge_normal[:, other]
    normal = sheets.normal[:, None]
    # Where two edges meet in the plane of the sheet; those of them that lie inside all other edges are its corners.
    volume = np.sum(normal * np.cross(edge_1, edge_2), axis=2)
    meets = np.abs(volume) > 1e-6  # noqa: PLR2004  edges that are parallel
    at_m = sheets.offset_m[:, None, None] * np.cross(edge_1, edge_2)
    at_m += offset_m[:, one, None] * np.cross(edge_2, normal) + offset_m[:, other, None] * np.cross(normal, edge_1)
    at_m /= np.where(meets, volume, 1.0)[..., None]
    inside_m = np.einsum("spj,sej->spe", at_m, sheets.edge_normal) - offset_m[:, None]
    corner = (meets & np.all(inside_m > -ON_SHEET_M, axis=2))[..., None]
    flat_m, known = at_m[..., :2], np.any(corner, axis=1)
    low_m = np.min(np.where(corner, flat_m, np.inf), axis=1, initial=np.inf)
    high_m = np.max(np.where(corner, flat_m, -np.inf), axis=1, initial=-np.inf)
    middle_m = (np.where(known, low_m, 0.0) + np.where(known, high_m, 0.0)) / 2.0
    away_m = np.where(corner, np.linalg.norm(flat_m - middle_m[:, None], axis=2, keepdims=True), 0.0)
    radius_m = np.max(away_m, axis=1, initial=0.0)
    return Footprints(middle_m=middle_m, radius_m=np.where(known, radius_m, np.inf)[:, 0])


def leg_crossings(
    starts_m: FloatArray,
    ends_m: FloatArray,
    sheets: Sheets,
    *,
    footprints: Footprints,
    beside_m: FloatArray | None = None,
    stands: tuple[BoolArray, BoolArray] | None = None,
) -> tuple[Met, Met]:
    """What lines given one by one go through, by the rules of `crossings`; shared corners may count twice.

    Parameters
    ----------
    starts_m, ends_m : ndarray of float, shape (legs, 3)
        Ends of each line. [m]
    sheets : Sheets
        What may be in the way.
    footprints : Footprints
        Circles around the sheets, so far beyond their edges as misses are asked for.
    beside_m : ndarray of float, shape (sheets,), optional
        How far outside the edge of each sheet a line's crossing with its plane counts as a miss. [m]
    stands : tuple of two ndarrays of bool, shape (legs,), optional
        Which starts and which ends are things that may stand on a sheet, and so do not cross it; without it, all.

    Returns
    -------
    tuple of Met
        What is crossed, and what is missed; by leg and then by sheet.
    """
    leg, sheet = _candidates(starts_m, ends_m, sheets, footprints)
    normal, offset_m = np.ascontiguousarray(sheets.normal.T), sheets.offset_m[sheet]
    start_m, end_m = np.ascontiguousarray(starts_m.T), np.ascontiguousarray(ends_m.T)
    square = [one[sheet] for one in normal]
    side_1, side_2 = (_dot([one[leg] for one in at_m], square) - offset_m for at_m in (start_m, end_m))
    through = np.flatnonzero((side_1 > 0) != (side_2 > 0))
    leg, sheet, side_1, side_2 = leg[through], sheet[through], side_1[through], side_2[through]
    fraction = side_1 / (side_1 - side_2)
    first_m = [one[leg] for one in start_m]
    inside_m = _inside_m(
        [one + fraction * (two[leg] - one) for one, two in zip(first_m, end_m, strict=True)], sheets, sheet
    )
    met = inside_m >= (-EDGE_M if beside_m is None else -beside_m[sheet])
    for end, (at_m, side) in enumerate(((start_m, side_1), (end_m, side_2))):
        on = np.flatnonzero(met & (np.abs(side) <= ON_SHEET_M))
        if stands is not None:
            on = on[stands[end][leg[on]]]
        met[on[_inside_m([one[leg[on]] for one in at_m], sheets, sheet[on]) >= -ON_SHEET_M]] = False
    kept = np.flatnonzero(met)
    every = Met(leg=leg[kept], sheet=sheet[kept], fraction=fraction[kept], inside_m=inside_m[kept])
    missed = every.inside_m < -EDGE_M
    return every.pick(~missed), every.pick(missed)


def _dot(one: list[FloatArray], other: list[FloatArray]) -> FloatArray:
    """Products of vectors given by their components, always added in the same order."""
    total = one[0] * other[0]
    total += one[1] * other[1]
    total += one[2] * other[2]
    return total


def _inside_m(at_m: list[FloatArray], sheets: Sheets, sheet: IntArray) -> FloatArray:
    """How far inside the nearest edge of their sheets some points lie, given by their coordinates. [m]"""
    inside_m = np.full(len(sheet), np.inf)
    for edge in range(sheets.edge_normal.shape[1]):
        inward = [np.ascontiguousarray(sheets.edge_normal[:, edge, axis])[sheet] for axis in range(3)]
        np.minimum(inside_m, _dot(at_m, inward) - sheets.edge_offset_m[:, edge][sheet], out=inside_m)
    return inside_m


def _candidates(
    starts_m: FloatArray, ends_m: FloatArray, sheets: Sheets, footprints: Footprints
) -> tuple[IntArray, IntArray]:
    """Pairs of leg and sheet that may meet: the leg's line in plan comes near, and its ends lie on two sides."""
    if not len(sheets) or not len(starts_m):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    middle_m = np.append(footprints.middle_m.mean(axis=0), 0.0)
    one, other = starts_m - middle_m, ends_m - middle_m
    size_m = max(float(np.abs(one).max()), float(np.abs(other).max()), 1.0)
    slack_m = np.float32(ROUNDING * size_m)
    across = np.column_stack([one[:, 1] - other[:, 1], other[:, 0] - one[:, 0]])
    size = np.hypot(across[:, 0], across[:, 1])
    upright = size <= ON_SHEET_M  # no line in plan: any direction does
    across[upright] = (1.0, 0.0)
    across /= np.where(upright, 1.0, size)[:, None]
    lines = np.column_stack([across, -np.sum(across * one[:, :2], axis=1)]).astype(np.float32)
    ends = [np.column_stack([at_m, np.ones(len(at_m))]).astype(np.float32) for at_m in (one, other)]
    middles = np.column_stack([footprints.middle_m - middle_m[:2], np.ones(len(sheets))]).astype(np.float32).T
    reach_m = (footprints.radius_m + slack_m + 2.0 * ON_SHEET_M).astype(np.float32)
    offset_m = sheets.offset_m - sheets.normal @ middle_m
    planes = np.column_stack([sheets.normal, -offset_m]).astype(np.float32).T
    middles, planes = np.ascontiguousarray(middles), np.ascontiguousarray(planes)
    step = max(1, PAIRS_AT_ONCE // len(sheets))
    found = []
    for first in range(0, len(starts_m), step):
        part = slice(first, first + step)
        off_m = lines[part] @ middles
        np.abs(off_m, out=off_m)
        near = off_m <= reach_m
        side_1, side_2 = ends[0][part] @ planes, ends[1][part] @ planes
        near &= np.minimum(side_1, side_2, out=off_m) <= slack_m
        near &= np.maximum(side_1, side_2, out=side_1) >= -slack_m
        found.append(np.flatnonzero(near) + first * len(sheets))
    return np.divmod(np.concatenate(found), len(sheets))
