"""How high an inverter would be at any place of a site: over its roofs, and beside them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.geometry import Sheets, heights_over, lies_level
from survey.scene import Scene

MAX_GAP_M = 1.5
"""An inverter farther over a roof than this is not on it: taller than the racks of flat roofs, an assumption. [m]"""
BELOW_M = 0.02
"""An inverter no farther below a roof than this is on it: rounding of the plan. [m]"""
PAIRS_AT_ONCE = 2_000_000
"""Distances worked out together: some 50 MB."""


@dataclass(frozen=True, kw_only=True)
class Surface:
    """What the inverters of a site lie on.

    Attributes
    ----------
    roofs : Sheets
        Sheets of roofs that carry inverters.
    gap_m : ndarray of float, shape (roofs,)
        How far the inverters of each lie over it: the median. [m]
    is_carried : ndarray of bool, shape (inverters,)
        Which inverters these roofs carry.
    """

    roofs: Sheets
    gap_m: FloatArray
    is_carried: BoolArray


def surface_of(scene: Scene) -> Surface:
    """Find the roofs that carry the inverters of a site."""
    sheets, obstacles = scene.sheets, scene.obstacles.entries
    fixed = np.array([not one.is_equipment for one in obstacles], dtype=bool)[sheets.owner]
    level = np.flatnonzero(lies_level(sheets) & fixed)
    rise_m = heights_over(scene.inverters.at_m, sheets.pick(level))
    rise_m = np.where((rise_m >= -BELOW_M) & (rise_m <= MAX_GAP_M), rise_m, np.inf)
    count = len(scene.inverters)
    least = rise_m.argmin(axis=1) if len(level) else np.zeros(count, dtype=np.int64)
    gap_m = rise_m[np.arange(count), least] if len(level) else np.full(count, np.inf)
    carried = np.isfinite(gap_m)
    owner = np.full(count, -1)
    owner[carried] = sheets.owner[level[least[carried]]]
    roofs = level[np.isin(sheets.owner[level], owner[carried])]
    gaps_m = {one: float(np.median(gap_m[owner == one])) for one in set(owner[carried].tolist())}
    return Surface(
        roofs=sheets.pick(roofs),
        gap_m=np.array([gaps_m[one] for one in sheets.owner[roofs].tolist()]),
        is_carried=carried,
    )


def inverter_heights_m(scene: Scene, places_m: FloatArray) -> FloatArray:
    """Return how high an inverter would be at places of a site.

    Over a roof that carries inverters it is as far over it as they are. Elsewhere it is as high, over sloping ground
    as high above it, as the nearest inverter that lies on no roof; where all lie on roofs, at their median height.

    Parameters
    ----------
    scene : Scene
        The site.
    places_m : ndarray of float, shape (places, 2)
        Places in plan. [m]

    Returns
    -------
    ndarray of float, shape (places,)
        Heights. [m]
    """
    surface, at_m = surface_of(scene), scene.inverters.at_m
    loose_m = at_m[~surface.is_carried]
    if len(loose_m):
        nearest = nearest_in_plan(places_m, loose_m[:, :2])
        rise_m = loose_m[:, 2] - _ground_m(scene, loose_m[:, :2])
        heights_m = _ground_m(scene, places_m) + rise_m[nearest]
    else:
        heights_m = np.full(len(places_m), round(float(np.median(at_m[:, 2])), 2))
    if len(surface.roofs):
        flat_m = np.column_stack([places_m, np.zeros(len(places_m))])
        over_m = surface.gap_m - heights_over(flat_m, surface.roofs)
        highest_m = np.fmax.reduce(over_m, axis=1)
        heights_m = np.where(np.isnan(highest_m), heights_m, highest_m)
    return np.asarray(heights_m)


def nearest_in_plan(places_m: FloatArray, others_m: FloatArray) -> IntArray:
    """Return which of the others is nearest to each place in plan, shape (places,)."""
    nearest = np.empty(len(places_m), dtype=np.int64)
    at_once = max(1, PAIRS_AT_ONCE // max(len(others_m), 1))
    for first in range(0, len(places_m), at_once):
        some = slice(first, first + at_once)
        apart_m = places_m[some, None] - others_m[None]
        nearest[some] = np.einsum("ijk,ijk->ij", apart_m, apart_m).argmin(axis=1)
    return nearest


def _ground_m(scene: Scene, places_m: FloatArray) -> FloatArray:
    """Height of the ground; 0 where the plan does not give it. [m]"""
    ground = scene.plan.ground
    if ground is None:
        return np.zeros(len(places_m))
    return np.asarray(np.nan_to_num(ground.height_m(places_m), nan=0.0))
