"""What inverters can lie on: roofs and other sloping sheets, and the tops of boxes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.geometry import Sheets, heights_over, lies_level
from survey.inputs.materials import BUILT_IN
from survey.scene import Scene

MAX_NEAR_M = 0.5
"""An inverter less high over a roof belongs to that roof: frames on flat roofs are lower (common practice)."""
MAX_BESIDE_M = 3.0
"""An array that runs close above the plane of a roof, but this far beyond its edge, is meant to be on it."""
MIN_ABOVE_M = 1e-3
"""Nearer than this an inverter is on the sheet itself: the rule of the plan file."""
MODULES = BUILT_IN["pv module"].name
"""What is made of modules may be a roof under which inverters hang."""


@dataclass(frozen=True, kw_only=True)
class Carriers:
    """Sheets that inverters can lie on.

    Attributes
    ----------
    sheets : Sheets
        None of them upright.
    names : tuple of str
        Name of the obstacle that each sheet belongs to.
    """

    sheets: Sheets
    names: tuple[str, ...]

    def lie(self, points_m: FloatArray, *, beyond_m: float = 1e-6) -> Lie:
        """Return how points lie to the nearest of the sheets, or to its plane so far beyond its edges."""
        if not len(self.sheets):
            count = len(points_m)
            return Lie(gap_m=np.full(count, np.nan), sheet=np.full(count, -1), is_over=np.zeros(count, dtype=bool))
        heights_m = heights_over(points_m, self.sheets, beyond_m=beyond_m)
        away_m = np.where(np.isnan(heights_m), np.inf, np.abs(heights_m))
        sheet = np.argmin(away_m, axis=1)
        gap_m = heights_m[np.arange(len(points_m)), sheet]
        return Lie(gap_m=gap_m, sheet=np.where(np.isnan(gap_m), -1, sheet), is_over=~np.isnan(gap_m))

    def inside_m(self, points_m: FloatArray, sheet: int) -> FloatArray:
        """Return how far inside each edge of a sheet points lie, in its plane, shape (points, edges). [m]"""
        normal = self.sheets.normal[sheet]
        heights_m = (points_m @ normal - self.sheets.offset_m[sheet]) / normal[2]
        edges = self.sheets.edge_normal[sheet]
        return np.asarray(points_m @ edges.T - heights_m[:, None] * edges[:, 2] - self.sheets.edge_offset_m[sheet])

    def beyond_m(self, points_m: FloatArray, sheet: int) -> float:
        """Return how far the outermost of some points lies beyond the edge of a sheet, seen from above. [m]"""
        level = np.linalg.norm(self.sheets.edge_normal[sheet, :, :2], axis=1)
        return float((-self.inside_m(points_m, sheet) * level).max())

    def slope_deg(self, sheet: int) -> float:
        """Return the slope of a sheet, from level. [degree]"""
        return float(np.degrees(np.arccos(min(1.0, abs(float(self.sheets.normal[sheet, 2]))))))


@dataclass(frozen=True, kw_only=True)
class Lie:
    """How points lie to the sheet that is nearest above or below them.

    Attributes
    ----------
    gap_m : ndarray of float, shape (points,)
        Height over it, negative below it, NaN where there is none. [m]
    sheet : ndarray of int, shape (points,)
        Which one; -1 for none.
    is_over : ndarray of bool, shape (points,)
        Whether there is one.
    """

    gap_m: FloatArray
    sheet: IntArray
    is_over: BoolArray

    @property
    def is_near(self) -> BoolArray:
        """Close enough to belong to it."""
        return self.is_over & (np.abs(np.nan_to_num(self.gap_m)) <= MAX_NEAR_M)

    @property
    def is_good(self) -> BoolArray:
        """Close above it."""
        return self.is_near & (self.gap_m > MIN_ABOVE_M)

    @property
    def is_in(self) -> BoolArray:
        """On the sheet itself."""
        return self.is_near & (np.abs(self.gap_m) <= MIN_ABOVE_M)


def carriers_of(scene: Scene) -> Carriers:
    """Return what inverters of a site can lie on."""
    entries, owner = scene.obstacles.entries, scene.sheets.owner
    middles_m = scene.sheets.corners_m[..., 2].mean(axis=1)
    chosen = lies_level(scene.sheets)
    for number, one in enumerate(entries):
        own = owner == number
        if one.is_equipment or one.made_of.casefold() == MODULES:
            chosen &= ~own
        elif one.closed_m() is not None and own.any():  # a box carries on its top
            chosen &= ~own | (middles_m > middles_m[own].max() - MIN_ABOVE_M)
    picked = np.flatnonzero(chosen)
    return Carriers(sheets=scene.sheets.pick(picked), names=tuple(entries[i].name for i in owner[picked].tolist()))
