"""Planes of roofs: what each covers, how steep it is, and the way it falls."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.errors import EntryError
from survey.inputs.buildings.compass import degrees_of, turn_deg
from survey.inputs.buildings.convex import Piece, merged, parts_of, piece_of, without
from survey.inputs.buildings.entry import MAX_PITCH_DEG, MIN_PITCH_DEG, Building
from survey.inputs.buildings.footprints import Footprint

FALLS_WITHIN_DEG = 23.0
"""How far the side that a roof falls to may look away from the way that is written: half a compass word's sector."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Slope:
    """One plane of a roof.

    Attributes
    ----------
    gradient : ndarray of float, shape (2,)
        How much it rises to a metre of x and of y. [-]
    level_m : float
        Its height at x = y = 0, above the building's foot. [m]
    pieces, inside : list of Piece
        What it covers in plan, with the overhang and without. [m]
    side : int or None
        The side that it is called after; none for a roof that is just "roof".
    along : ndarray of float, shape (2,)
        From left to right along its eaves.
    left_m : ndarray of float, shape (2,), optional
        Left end of the edge that places are counted from, where it is not the lowest one. [m]
    length_m : float
        Length of that edge. [m]
    """

    gradient: FloatArray
    level_m: float
    pieces: list[Piece]
    inside: list[Piece]
    side: int | None
    along: FloatArray
    left_m: FloatArray | None = None
    length_m: float = 0.0

    def height_m(self, x: float, y: float) -> float:
        """Return the height over a point in plan, above the building's foot. [m]"""
        return float(self.gradient[0] * x + self.gradient[1] * y + self.level_m)


@dataclass(frozen=True, kw_only=True, eq=False)
class Upright:
    """The upright face at the top of a tooth: its left and right end in plan, and its height from `foot_m`. [m]"""

    ends_m: FloatArray
    foot_m: float
    top_m: float
    side: int


def reaches_m(building: Building, footprint: Footprint) -> FloatArray:
    """Return how far the roof reaches beyond each side, shape (sides,). [m]"""
    out_m = np.full(len(footprint.corners_m), building.overhang_m)
    if footprint.shared is not None:
        out_m[footprint.shared] = 0.0
    return out_m


def covered(building: Building, footprint: Footprint) -> tuple[list[Piece], list[Piece]]:
    """What one plane over the whole building covers, with its overhang and without."""
    inside = parts_of(footprint.corners_m)
    out_m = reaches_m(building, footprint)
    if not out_m.any():
        return inside, inside
    wide_m = widened(footprint, out_m)
    if footprint.is_convex():
        return parts_of(wide_m), inside
    pieces = list(inside)
    count = len(wide_m)
    for i in range(count):
        start, end = footprint.corners_m[i], footprint.ends_m[i]
        aside = out_m[i] * footprint.outside[i]
        strips = [[start, start + aside, end + aside, end]]
        before = footprint.along[i - 1]
        if before[0] * footprint.along[i][1] - before[1] * footprint.along[i][0] > 0:  # an outer corner
            strips.append([start, start + out_m[i - 1] * footprint.outside[i - 1], wide_m[i], start + aside])
        for strip in strips:
            fresh = [piece_of(np.array(strip))]
            for piece in list(pieces):
                fresh = without(fresh, piece)
            pieces.extend(fresh)
    return merged(pieces), inside


def widened(footprint: Footprint, out_m: FloatArray) -> FloatArray:
    """Return the corners of a footprint whose sides have moved outward, shape (n, 2). [m]"""
    corners = []
    for i in range(len(footprint.corners_m)):
        normals, pair_m = footprint.outside[[i - 1, i]], out_m[[i - 1, i]]
        if pair_m[0] == pair_m[1]:  # also where the two sides run on in one line
            aside = pair_m[0] * normals.sum(axis=0) / (1.0 + normals[0] @ normals[1])
        else:
            aside = np.linalg.solve(normals, pair_m)
        corners.append(footprint.corners_m[i] + aside)
    return np.array(corners)


def rise_of(building: Building, run_m: float) -> float:
    """Return how much the roof rises to a metre, so that it reaches its ridge over a run.

    Raises
    ------
    EntryError
        Where that is too flat or too steep.
    """
    if building.pitch_deg is not None:
        return float(np.tan(np.deg2rad(building.pitch_deg)))
    assert building.ridge_m is not None
    rise = (building.ridge_m - building.eaves_m) / run_m
    pitch_deg = float(np.rad2deg(np.arctan(rise)))
    if not MIN_PITCH_DEG <= round(pitch_deg, 6) <= MAX_PITCH_DEG:
        allowed = f"a roof here has {MIN_PITCH_DEG:g} to {MAX_PITCH_DEG:g} degrees"
        problem = f"{building.ridge_m:.2f} m makes a pitch of {pitch_deg:.1f} degrees"
        raise EntryError([("ridge_m", f"{problem} over a run of {run_m:.2f} m; {allowed}")])
    return rise


def falling_side(building: Building, footprint: Footprint) -> int:
    """The side to which a roof falls.

    Raises
    ------
    EntryError
        Where no side looks that way.
    """
    if building.is_joined and building.roof == "mono-pitch":
        return footprint.order[0]
    key = "falls" if building.falls is not None else "falls_deg"
    wanted_deg = degrees_of(building.falls) if building.falls is not None else float(building.falls_deg or 0.0)
    looks_deg = footprint.bearings_deg
    side = min(footprint.order, key=lambda i: turn_deg(looks_deg[i], wanted_deg))
    if turn_deg(looks_deg[side], wanted_deg) > FALLS_WITHIN_DEG:
        ways = ", ".join(f"{looks_deg[i]:.0f}" for i in footprint.order)
        problem = f"no side looks within {FALLS_WITHIN_DEG:g} degrees of {wanted_deg % 360.0:.0f}"
        raise EntryError([(key, f"{problem}; its sides look to {ways} degrees")])
    return side
