"""Things that a wave goes around: convex bodies with the edges at which it bends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from survey.base import polygon
from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.geometry.crossings import on_sheet
from survey.geometry.legs import Footprints, footprints_of
from survey.geometry.sheets import Sheets, plane_of

JOINT_M = 0.02
"""A corner this close to another screen is joined to it."""
BOX_EDGES = np.array([[0, 1], [1, 2], [2, 3], [3, 0], [4, 5], [5, 6], [6, 7], [7, 4], [0, 4], [1, 5], [2, 6], [3, 7]])
"""Edges of a box whose corners are its bottom's, in order, and then its top's."""


@dataclass(frozen=True, kw_only=True)
class Screens:
    """Convex bodies: boxes, and the convex parts of sheets.

    Attributes
    ----------
    corners_m : ndarray of float, shape (screens, 8, 3)
        Corners; bodies of fewer repeat their first. [m]
    edges : ndarray of int, shape (screens, 12, 2)
        Which corners an edge joins; bodies of fewer edges have some from a corner to itself.
    is_box : ndarray of bool, shape (screens,)
        Has an inside.
    owner : ndarray of int, shape (screens,)
        Which obstacle it belongs to.
    of_sheet : ndarray of int, shape (sheets,)
        Which screen each sheet of the site is part of; -1 for sheets that are none.
    attached : ndarray of bool, shape (screens, 8)
        Corners that lie on a sheet of another screen: nothing passes there.
    most_corners : int
        How many corners those that are no boxes have at most.
    footprints : Footprints
        Circles in plan around all sheets of the site.
    """

    corners_m: FloatArray
    edges: IntArray
    is_box: BoolArray
    owner: IntArray
    of_sheet: IntArray
    attached: BoolArray
    most_corners: int
    footprints: Footprints

    def __len__(self) -> int:
        return len(self.owner)


def inside_boxes(points_m: FloatArray, corners_m: FloatArray) -> BoolArray:
    """Which points lie inside which boxes, their faces not included.

    Parameters
    ----------
    points_m : ndarray of float, shape (points, 3)
        Points. [m]
    corners_m : ndarray of float, shape (boxes, 8, 3)
        Corners of the boxes, the bottom's in order and then the top's. [m]

    Returns
    -------
    ndarray of bool, shape (points, boxes)
    """
    corner_m = corners_m[:, 0]
    inside = np.ones((len(points_m), len(corners_m)), dtype=bool)
    for other in (1, 3, 4):
        edge_m = corners_m[:, other] - corner_m
        square_m2 = np.maximum(np.sum(edge_m**2, axis=1), 1e-9)
        share = (points_m @ edge_m.T - np.sum(corner_m * edge_m, axis=1)) / square_m2
        inside &= (share > 1e-6) & (share < 1.0 - 1e-6)  # noqa: PLR2004  on a face is not inside
    return inside


def convex_outlines(outline_m: FloatArray) -> list[FloatArray]:
    """The convex parts of a plane outline in space, in the order in which `sheets_of` makes sheets of them. [m]"""
    centre_m, axes = plane_of(outline_m)
    return [centre_m + part @ axes[:2] for part in polygon.convex_parts((outline_m - centre_m) @ axes[:2].T)]


def screens_of(bodies: Sequence[tuple[FloatArray, int, Sequence[int]]], *, sheets: Sheets) -> Screens:
    """Screens of convex bodies.

    Parameters
    ----------
    bodies : sequence of (ndarray of float of shape (3 to 8, 3), int, sequence of int)
        Corners of each [m]: eight for a box, bottom first; fewer for a plane sheet, in order. Then the obstacle that it
        belongs to, and the sheets that bound it.
    sheets : Sheets
        All sheets of the site.
    """
    corners_m = np.zeros((len(bodies), 8, 3))
    edges = np.zeros((len(bodies), 12, 2), dtype=np.int64)
    is_box = np.zeros(len(bodies), dtype=bool)
    of_sheet = np.full(len(sheets), -1, dtype=np.int64)
    for i, (body_m, _, parts) in enumerate(bodies):
        count = len(body_m)
        is_box[i] = len(parts) > 1
        corners_m[i] = body_m[np.arange(8) % count]
        ring = np.column_stack([np.arange(count), np.roll(np.arange(count), -1)])
        edges[i, : len(BOX_EDGES) if is_box[i] else count] = BOX_EDGES if is_box[i] else ring
        of_sheet[list(parts)] = i
    owner = np.array([owner for _, owner, _ in bodies], dtype=np.int64)
    on = on_sheet(corners_m.reshape(-1, 3), sheets, within_m=JOINT_M).reshape(len(bodies), 8, len(sheets))
    others = (of_sheet >= 0) & (of_sheet != np.arange(len(bodies))[:, None, None])
    return Screens(
        corners_m=corners_m,
        edges=edges,
        is_box=is_box,
        owner=owner,
        of_sheet=of_sheet,
        attached=np.any(on & others, axis=2),
        most_corners=max((len(body_m) for body_m, _, parts in bodies if len(parts) == 1), default=0),
        footprints=footprints_of(sheets),
    )
