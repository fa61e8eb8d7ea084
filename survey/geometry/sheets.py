"""Plane sheets as arrays: a plane, and the half-planes whose common part is the sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from survey.base import polygon
from survey.base.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, kw_only=True)
class Sheets:
    """Convex plane sheets, ready to be met by lines.

    Attributes
    ----------
    normal : ndarray of float, shape (sheets, 3)
        Unit normal of each plane. [-]
    offset_m : ndarray of float, shape (sheets,)
        ``normal @ p - offset_m`` is the distance of a point p from the plane, with its side as sign. [m]
    edge_normal : ndarray of float, shape (sheets, edges, 3)
        Unit normals in the plane, pointing inward; sheets of fewer corners repeat one. [-]
    edge_offset_m : ndarray of float, shape (sheets, edges)
        ``edge_normal @ p - edge_offset_m`` is how far inside that edge a point of the plane lies. [m]
    corners_m : ndarray of float, shape (sheets, edges, 3)
        Corners; sheets of fewer repeat some. [m]
    corner_growth : ndarray of float, shape (sheets, edges, 3)
        How far each corner moves where every edge moves outward by one. [-]
    owner : ndarray of int, shape (sheets,)
        Which obstacle a sheet belongs to; the sheets of one obstacle may share edges.
    group : ndarray of int, shape (sheets,)
        Which sheets may share edges: those of one obstacle, or of all faces of one building.
    cost_db : ndarray of float, shape (sheets,)
        Of sheets of a group that a line meets in the same point the costliest counts. [dB]
    """

    normal: FloatArray
    offset_m: FloatArray
    edge_normal: FloatArray
    edge_offset_m: FloatArray
    corners_m: FloatArray
    corner_growth: FloatArray
    owner: IntArray
    group: IntArray
    cost_db: FloatArray

    def __len__(self) -> int:
        return len(self.normal)

    def pick(self, chosen: IntArray) -> Sheets:
        """Some of the sheets."""
        return Sheets(**{one.name: getattr(self, one.name)[chosen] for one in fields(self)})


def plane_of(corners_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The plane that lies nearest to some corners: a point of it, and three axes, the last of them its normal.

    Parameters
    ----------
    corners_m : ndarray of float, shape (n, 3)
        Three corners or more, not on one line. [m]

    Returns
    -------
    tuple of ndarray, shapes (3,) and (3, 3)
        The corners' centre [m], and unit axes as rows, right-handed.
    """
    centre_m = corners_m.mean(axis=0)
    _, _, axes = np.linalg.svd(corners_m - centre_m, full_matrices=False)
    axes[2] = np.cross(axes[0], axes[1])
    return centre_m, axes


def sheets_of(
    outlines_m: Sequence[FloatArray],
    owners: Sequence[int],
    *,
    groups: Sequence[int] | None = None,
    costs_db: Sequence[float] | None = None,
) -> Sheets:
    """Sheets of plane outlines; an outline that is not convex becomes several sheets of its owner.

    Parameters
    ----------
    outlines_m : sequence of ndarray of float, each of shape (corners, 3)
        Corners of each outline in order. [m]
    owners : sequence of int
        Which obstacle each outline belongs to.
    groups : sequence of int, optional
        Which outlines may share edges; the obstacles where none are given.
    costs_db : sequence of float, optional
        Which of a group counts where a line meets several in the same point: the costliest. [dB]

    Returns
    -------
    Sheets
        In the order of the outlines.
    """
    parts: list[tuple[FloatArray, FloatArray, int]] = []
    for number, outline_m in enumerate(outlines_m):
        centre_m, axes = plane_of(outline_m)
        flat = polygon.convex_parts((outline_m - centre_m) @ axes[:2].T)
        parts.extend((axes[2], centre_m + part @ axes[:2], number) for part in flat)
    most = max((len(corners) for _, corners, _ in parts), default=3)
    edge_normal = np.zeros((len(parts), most, 3))
    edge_offset_m = np.zeros((len(parts), most))
    corners_m = np.zeros((len(parts), most, 3))
    corner_growth = np.zeros((len(parts), most, 3))
    for i, (normal, corners, _) in enumerate(parts):
        inward = np.cross(normal, np.roll(corners, -1, axis=0) - corners)
        inward /= np.linalg.norm(inward, axis=1, keepdims=True)
        padded = np.arange(most) % len(corners)
        edge_normal[i] = inward[padded]
        edge_offset_m[i] = np.sum(inward * corners, axis=1)[padded]
        corners_m[i] = corners[padded]
        both = inward + np.roll(inward, 1, axis=0)  # the edges that meet in a corner
        corner_growth[i] = (-2.0 * both / np.maximum(np.sum(both**2, axis=1, keepdims=True), 1e-9))[padded]
    outline = np.array([number for _, _, number in parts], dtype=np.int64)
    owner = np.array(owners, dtype=np.int64)
    return Sheets(
        normal=np.array([normal for normal, _, _ in parts]).reshape(-1, 3),
        offset_m=np.array([normal @ corners.mean(axis=0) for normal, corners, _ in parts]),
        edge_normal=edge_normal,
        edge_offset_m=edge_offset_m,
        corners_m=corners_m,
        corner_growth=corner_growth,
        owner=owner[outline],
        group=(owner if groups is None else np.array(groups, dtype=np.int64))[outline],
        cost_db=(np.zeros(len(owner)) if costs_db is None else np.array(costs_db, dtype=np.float64))[outline],
    )


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
