"""Faces of buildings, boxes and loose sheets, each with frames in which places on it are given."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from survey.base.arrays import FloatArray
from survey.inputs.buildings.compass import bearing_of, part_names
from survey.inputs.buildings.convex import SAME_CORNER_M, Piece, Point, beyond_m, outlines, sides_of
from survey.inputs.plan.opening import OPEN

UPWARD = np.array([0.0, 0.0, 1.0])
"""The unit vector."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Frame:
    """Where a plane face lies, as someone sees it who stands outside before it.

    Attributes
    ----------
    origin_m : ndarray of float, shape (3,)
        Its left end, at the foot of a wall or the lower edge of a roof. [m]
    along, up, outside : ndarray of float, shape (3,)
        Unit vectors from left to right, up the wall or the slope, and out of the face.
    left_m : float
        How far along its face the frame begins: 0, but for the later pieces of a wall that turns corners. [m]
    length_m : float
        Length of the foot or lower edge. [m]
    """

    origin_m: FloatArray
    along: FloatArray
    up: FloatArray
    outside: FloatArray
    left_m: float = 0.0
    length_m: float

    def points_m(self, flat_m: Sequence[Point] | FloatArray, out_m: float = 0.0) -> FloatArray:
        """Return points in space of places on the face, given as (left_m, up_m), shape (n, 3). [m]"""
        flat = np.asarray(flat_m, dtype=np.float64).reshape(-1, 2)
        return np.asarray(
            self.origin_m + (flat[:, :1] - self.left_m) * self.along + flat[:, 1:] * self.up + out_m * self.outside
        )

    def places_m(self, points_m: FloatArray) -> FloatArray:
        """Return left, up and how far out points lie, shape (n, 3). [m]"""
        from_origin = np.asarray(points_m, dtype=np.float64).reshape(-1, 3) - self.origin_m
        places = from_origin @ np.array([self.along, self.up, self.outside]).T
        return np.asarray(places + np.array([self.left_m, 0.0, 0.0]))

    def places_over_m(self, points_m: Sequence[Point] | FloatArray) -> FloatArray:
        """Return left and up of the places on a roof, top or level over points in plan, shape (n, 2). [m]"""
        steepness = float(np.hypot(*self.up[:2]))  # how far in plan a metre up the slope leads
        from_left = np.asarray(points_m, dtype=np.float64).reshape(-1, 2) - self.origin_m[:2]
        return np.asarray(from_left @ np.column_stack([self.along[:2], self.up[:2] / steepness**2]))

    @property
    def slope_deg(self) -> float:
        """The angle from level, 90 for a wall. [deg]"""
        return float(np.rad2deg(np.arccos(np.clip(self.outside[2], -1.0, 1.0))))


Patch = tuple[int, Piece]
"""A convex piece of a face: the number of its frame, and its corners as (left_m, up_m). [m]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Face:
    """One face with a name of its own: an obstacle, though it may be of several pieces.

    Attributes
    ----------
    name : str
        ``BUILDING/FACE``, or the name of a loose sheet.
    owner : str
        The building or box that it belongs to; empty for a loose sheet.
    kind : str
        ``wall``, ``gable``, ``roof``, ``glazing``, ``level``, ``inner wall``, ``opening``; of boxes ``side``, ``top``.
    material : str
        A material, or ``open``: then there is no sheet.
    frames : tuple of Frame
        One, or one for each straight stretch from left to right.
    whole : tuple of Patch
        The face before openings are cut.
    patches : tuple of Patch
        What is left of it.
    sheets_m : tuple of ndarray of float, each of shape (corners, 3)
        The corners of `patches` in space. [m]
    """

    name: str
    owner: str
    kind: str
    material: str
    frames: tuple[Frame, ...]
    whole: tuple[Patch, ...]
    patches: tuple[Patch, ...]
    sheets_m: tuple[FloatArray, ...]

    @property
    def is_open(self) -> bool:
        """Whether there is no sheet in it."""
        return self.material == OPEN

    @property
    def short_name(self) -> str:
        """Its name within its building."""
        return self.name.removeprefix(f"{self.owner}/") if self.owner else self.name

    @property
    def length_m(self) -> float:
        """Length of the foot or lower edge, from its left end to its right end. [m]"""
        return self.frames[-1].left_m + self.frames[-1].length_m

    @cached_property
    def height_m(self) -> float:
        """How far up the highest corner lies, up the slope. [m]"""
        return max(up for _, piece in self.whole for _, up in piece)

    def frame_at(self, left_m: float) -> Frame:
        """Return the frame of the stretch in which a place lies; the first and the last reach on for ever."""
        return next((frame for frame in reversed(self.frames) if left_m >= frame.left_m), self.frames[0])

    def point_m(self, *, left_m: float, up_m: float, out_m: float = 0.0) -> FloatArray:
        """Return the point in space of a place on the face, or so far outside of it (inside: negative). [m]"""
        return np.asarray(self.frame_at(left_m).points_m([(left_m, up_m)], out_m)[0])

    def beyond_m(self, *, left_m: float, up_m: float) -> float:
        """Return how far a place lies beyond the edge of the whole face; 0 on it. [m]"""
        return beyond_m((piece for _, piece in self.whole), (left_m, up_m))

    def top_m(self, left_m: float) -> float | None:
        """Return how far up the whole face reaches at a place along it; None beside it. [m]"""
        found = [high for _, piece in self.whole for high in reaches_up_m(piece, left_m)]
        return max(found, default=None)

    def outlines_m(self) -> list[list[Point]]:
        """Return the lines around the face as (left_m, up_m): outer ones anticlockwise, openings clockwise. [m]"""
        return outlines([piece for _, piece in self.patches])


def reaches_up_m(piece: Piece, left_m: float) -> Iterator[float]:
    """Yield how far up the sides of a piece pass a place along its face. [m]"""
    for (x, y), (x_2, y_2) in sides_of(piece):
        if min(x, x_2) - SAME_CORNER_M <= left_m <= max(x, x_2) + SAME_CORNER_M:
            if abs(x_2 - x) <= SAME_CORNER_M:
                yield max(y, y_2)
            else:
                yield y + (y_2 - y) * min(max((left_m - x) / (x_2 - x), 0.0), 1.0)


def face_of(
    name: str, kind: str, material: str, *, frames: Sequence[Frame], patches: Sequence[Patch], owner: str = ""
) -> Face:
    """Make a face that has no openings yet; with an owner, `name` is its name within that."""
    return Face(
        name=f"{owner}/{name}" if owner else name,
        owner=owner,
        kind=kind,
        material=material,
        frames=tuple(frames),
        whole=tuple(patches),
        patches=tuple(patches),
        sheets_m=tuple(frames[k].points_m(piece) for k, piece in patches),
    )


def with_patches(face: Face, patches: Sequence[Patch]) -> Face:
    """Return a face of which only some patches are left."""
    sheets_m = tuple(face.frames[k].points_m(piece) for k, piece in patches)
    return replace(face, patches=tuple(patches), sheets_m=sheets_m)


def upright_frames(line_m: FloatArray, foot_m: float) -> list[Frame]:
    """Return the frames of an upright face along a line in plan, its outside to the right of who walks along it.

    Parameters
    ----------
    line_m : ndarray of float, shape (n, 2)
        Points of the line, from the left end to the right. [m]
    foot_m : float
        Height of its foot. [m]
    """
    frames = []
    left_m = 0.0
    for start, end in pairwise(line_m):
        length_m = float(np.hypot(*(end - start)))
        along = np.append((end - start) / length_m, 0.0)
        frames.append(
            Frame(
                origin_m=np.array([start[0], start[1], foot_m]),
                along=along,
                up=UPWARD,
                outside=np.array([along[1], -along[0], 0.0]),
                left_m=left_m,
                length_m=length_m,
            )
        )
        left_m += length_m
    return frames


def upright_face(name: str, kind: str, material: str, *, line_m: FloatArray, foot_m: float, height_m: float) -> Face:
    """Make an upright face of one height along a line in plan: a loose wall, the side of a box."""
    frames = upright_frames(line_m, foot_m)
    patches = [(k, rectangle(frame.left_m, 0.0, frame.length_m, height_m)) for k, frame in enumerate(frames)]
    return face_of(name, kind, material, frames=frames, patches=patches)


def rectangle(left_m: float, up_m: float, width_m: float, height_m: float) -> Piece:
    """Return the corners of a rectangle on a face, anticlockwise."""
    right_m, top_m = left_m + width_m, up_m + height_m
    return (left_m, up_m), (right_m, up_m), (right_m, top_m), (left_m, top_m)


def box_faces(name: str, material: str, *, corners_m: FloatArray, base_m: float, height_m: float) -> list[Face]:
    """Return the sides of a box in the order of its corners, then its top: ``NAME/north side``, ..., ``NAME/top``.

    Parameters
    ----------
    name, material : str
        Of the box.
    corners_m : ndarray of float, shape (4, 2)
        Corners in plan, anticlockwise; the first side is the one to the right of its bearing. [m]
    base_m, height_m : float
        Its foot, and how high it is. [m]
    """
    closed_m = np.vstack([corners_m, corners_m[:1]])
    frames = [upright_frames(closed_m[k : k + 2], base_m)[0] for k in range(len(corners_m))]
    names = part_names([bearing_of(frame.outside[:2]) for frame in frames], "side")
    faces = [
        face_of(
            side,
            "side",
            material,
            frames=[frame],
            patches=[(0, rectangle(0.0, 0.0, frame.length_m, height_m))],
            owner=name,
        )
        for side, frame in zip(names, frames, strict=True)
    ]
    first = frames[0]
    top = replace(
        first, origin_m=first.points_m([(0.0, height_m)])[0], up=-first.outside, outside=np.array([0.0, 0.0, 1.0])
    )
    piece = rectangle(0.0, 0.0, first.length_m, frames[1].length_m)
    return [*faces, face_of("top", "top", material, frames=[top], patches=[(0, piece)], owner=name)]
