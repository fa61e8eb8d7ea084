"""Loose walls that give way: ends that miss another sheet by little were meant to meet it (`joint_m` in `[site]`)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from survey.base import polygon
from survey.base.arrays import FloatArray
from survey.base.polygon import LEAST_AREA_M2
from survey.inputs.places.parts import OWN, pieces_of
from survey.inputs.plan import Obstacle, Part, Roof, Wall
from survey.inputs.plan.obstacles import WallPart

SAME_M = 1e-9
"""A corner moved by no more than this has not moved: rounding. [m]"""
CORNERS = 4
"""Of the sheet of one stretch of a wall."""


def joined(obstacles: Sequence[Obstacle], *, joint_m: float) -> tuple[Obstacle, ...]:
    """Return obstacles with loose walls moved onto what they nearly meet.

    Parameters
    ----------
    obstacles : sequence of Obstacle
        Of a plan.
    joint_m : float
        A corner of a wall no farther than this from a corner of another sheet is moved onto that, else onto the
        nearest edge, else onto the nearest sheet. Roofs and faces of buildings never move; of two walls the later
        does. Walls with openings stay too. [m]

    Returns
    -------
    tuple of Obstacle
        In the same order; a wall that was moved is one obstacle in pieces.
    """
    targets = _Targets()
    for one in obstacles:
        if isinstance(one, Roof | Part):
            targets.add(one.sheets_m())
    done: list[Obstacle] = []
    for one in obstacles:
        found = _moved(one, targets, joint_m) if isinstance(one, Wall) and joint_m > 0 else one
        if isinstance(one, Wall):
            targets.add(found.sheets_m())
        done.append(found)
    return tuple(done)


def _moved(wall: Wall, targets: _Targets, joint_m: float) -> Obstacle:
    """A wall with its corners moved, or itself where none is."""
    sheets_m = wall.sheets_m()
    moved = np.array([[targets.near(corner, joint_m) for corner in sheet] for sheet in sheets_m])
    if np.abs(moved - np.array(sheets_m)).max() <= SAME_M:
        return wall
    pieces = [piece for quad in moved for piece in _plane_pieces(quad)]
    if not pieces:  # shorter than a joint
        return wall
    own = {key: getattr(wall, key) for key in OWN}
    return WallPart(name=wall.name, whole=wall.name, pieces=pieces_of(pieces), **own)


def _plane_pieces(quad: FloatArray) -> list[FloatArray]:
    """A sheet whose corners were moved, in two triangles where they are no longer in one plane."""
    one, other = quad[[0, 1, 2]], quad[[0, 2, 3]]
    normal, second = (np.cross(part[1] - part[0], part[2] - part[0]) for part in (one, other))
    parts = [part for part, n in ((one, normal), (other, second)) if np.linalg.norm(n) > LEAST_AREA_M2]
    is_plane = np.linalg.norm(np.cross(normal, second)) <= SAME_M * np.linalg.norm(normal) * np.linalg.norm(second)
    return [quad] if len(parts) == CORNERS // 2 and is_plane and normal @ second > 0 else parts


@dataclass
class _Targets:
    """Sheets that corners are moved onto."""

    sheets_m: list[FloatArray] = field(default_factory=list)
    starts_m: FloatArray = field(default_factory=lambda: np.zeros((0, 3)))
    ends_m: FloatArray = field(default_factory=lambda: np.zeros((0, 3)))

    def add(self, sheets_m: Sequence[FloatArray]) -> None:
        """Take in the sheets of an obstacle."""
        self.sheets_m.extend(sheets_m)
        self.starts_m = np.concatenate([self.starts_m, *sheets_m])
        self.ends_m = np.concatenate([self.ends_m, *(np.roll(sheet, -1, axis=0) for sheet in sheets_m)])

    def near(self, point_m: FloatArray, joint_m: float) -> FloatArray:
        """The nearest corner within a joint, else the nearest point of an edge, else of a sheet, else the point."""
        if not len(self.starts_m):
            return point_m
        for candidates_m in (self.starts_m, self._on_edges(point_m)):
            apart_m = np.linalg.norm(candidates_m - point_m, axis=1)
            if apart_m.min() <= joint_m + SAME_M:
                return np.asarray(candidates_m[int(np.argmin(apart_m))])
        return self._on_sheets(point_m, joint_m)

    def _on_edges(self, point_m: FloatArray) -> FloatArray:
        edges = self.ends_m - self.starts_m
        square = np.maximum(np.sum(edges**2, axis=1), SAME_M**2)
        share = np.clip(np.sum((point_m - self.starts_m) * edges, axis=1) / square, 0.0, 1.0)
        return np.asarray(self.starts_m + share[:, None] * edges)

    def _on_sheets(self, point_m: FloatArray, joint_m: float) -> FloatArray:
        best_m, found = joint_m + SAME_M, point_m
        for sheet_m in self.sheets_m:
            middle_m = sheet_m.mean(axis=0)
            if np.linalg.norm(point_m - middle_m) > joint_m + np.linalg.norm(sheet_m - middle_m, axis=1).max():
                continue
            axes = np.linalg.svd(sheet_m - middle_m, full_matrices=False)[2]
            away_m = float((point_m - middle_m) @ axes[2])
            flat = ((point_m - middle_m) @ axes[:2].T)[None]
            if abs(away_m) <= best_m and polygon.contains((sheet_m - middle_m) @ axes[:2].T, flat)[0]:
                best_m, found = abs(away_m), point_m - away_m * axes[2]
        return found
