"""Faces of loose sheets: walls along a line, and roofs with their eaves at the lowest edge."""

from __future__ import annotations

import numpy as np

from survey.base import polygon
from survey.base.arrays import FloatArray
from survey.base.errors import EntryError
from survey.inputs.buildings import OPEN, Face, Frame, Opening, face_of, numbered, upright_face, with_openings
from survey.inputs.buildings.convex import piece_of
from survey.inputs.plan import Roof, Wall

SAME_M = 0.02
"""Corners of a roof no higher than this above its lowest belong to its lowest edge: what a tape leaves. [m]"""
UPRIGHT = 1e-3
"""A sheet whose normal rises less than this is upright. [-]"""


def wall_faces(wall: Wall, openings: tuple[Opening, ...] = ()) -> tuple[Face, list[Face]]:
    """Return the face of a loose wall, seen from the right hand of who walks along it, and of what fills its openings.

    Raises
    ------
    EntryError
        For openings that do not fit.
    """
    line_m = np.array(wall.along)
    if len(line_m) > 3 and np.array_equal(line_m[0], line_m[-1]) and polygon.signed_area_m2(line_m[:-1]) < 0:  # noqa: PLR2004  a triangle
        line_m = line_m[::-1]  # the outside of a ring is outside
    face = upright_face(
        wall.name, "wall", wall.material or "", line_m=line_m, foot_m=wall.base_m, height_m=wall.height_m
    )
    if not openings:
        return face, []
    return opened(face, numbered(openings), owner=wall.name)


def opened(face: Face, openings: list[tuple[str, Opening]], *, owner: str) -> tuple[Face, list[Face]]:
    """Cut openings out of a face.

    Raises
    ------
    EntryError
        For those that do not fit.
    """
    from dataclasses import replace  # noqa: PLC0415  beside its one use

    cut, leaves, problems = with_openings(replace(face, owner=owner), openings)
    if problems:
        raise EntryError(problems)
    return cut, leaves


def roof_face(roof: Roof) -> Face:
    """Return the face of a loose roof: its eaves are its lowest edge, of a level or upright one its first."""
    corners_m = np.array(roof.corners)
    middle_m = corners_m.mean(axis=0)
    normal = np.linalg.svd(corners_m - middle_m, full_matrices=False)[2][2]
    rise = float(np.hypot(*normal[:2]))
    first = corners_m[1] - corners_m[0]
    if abs(normal[2]) < UPRIGHT:
        along = np.append(first[:2], 0.0) if np.hypot(*first[:2]) > SAME_M else np.append(-normal[1::-1] * [1, -1], 0.0)
        along /= np.linalg.norm(along)
        up = np.array([0.0, 0.0, 1.0])
    else:
        normal = normal * np.sign(normal[2])
        if rise < UPRIGHT:
            along = np.append(first[:2] / np.hypot(*first[:2]), 0.0)
            left = np.array([-along[1], along[0], 0.0])
            if float((middle_m - corners_m[0]) @ left) < 0:  # drawn clockwise
                along = -along
            normal = np.array([0.0, 0.0, 1.0])
        else:
            uphill = -normal[:2] / rise
            along = np.array([uphill[1], -uphill[0], 0.0])
        up = np.cross(normal, along)
    return _framed(roof, corners_m, along, up)


def _framed(roof: Roof, corners_m: FloatArray, along: FloatArray, up: FloatArray) -> Face:
    flat_m = np.column_stack([corners_m @ along, corners_m @ up])
    low_m = float(flat_m[:, 1].min())
    lowest = flat_m[flat_m[:, 1] <= low_m + SAME_M, 0]
    if np.ptp(lowest) < SAME_M:
        lowest = flat_m[:, 0]
    left_m = float(lowest.min())
    outside = np.cross(along, up)
    frame = Frame(
        origin_m=left_m * along + low_m * up + float(corners_m.mean(axis=0) @ outside) * outside,
        along=along,
        up=up,
        outside=outside,
        length_m=float(np.ptp(lowest)),
    )
    parts = polygon.convex_parts(flat_m - [left_m, low_m])
    kind = "wall" if abs(outside[2]) < UPRIGHT else "roof"
    return face_of(roof.name, kind, roof.material or OPEN, frames=[frame], patches=[(0, piece_of(p)) for p in parts])
