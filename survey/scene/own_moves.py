"""How a thing that stands on or at another one moves by itself: along that, as far as no slit opens."""

from __future__ import annotations

from itertools import product
from typing import NamedTuple

import numpy as np

from survey.base.arrays import FloatArray
from survey.inputs.buildings import Face
from survey.inputs.plan import Attached

SPREADS_WITHIN = 2.0
"""Standard deviations that `drawn_within_m` is: 95 of 100 normal deviates lie within so many."""
MAX_SPREADS = 4.0
"""No own move goes farther than so many standard deviations: 6 of 100,000 normal deviates would. [-]"""
FLUSH_M = 1e-6
"""What lies nearer to a plane than this lies in it: rounding. [m]"""
ALONG_FACE = ("position along the face", "position up the face", "")
"""In which ways something moves along what it is fixed to."""
ALONG_WALL = ("position along the wall", "", "")
"""The same of what stands on the ground before a wall."""
NO_LIMIT = np.array([[-np.inf], [np.inf]])
"""Of a move that may go as far as it likes. [m]"""


class OwnMove(NamedTuple):
    """Deviations of a thing by itself, as `Pieces` has them."""

    axes: FloatArray
    spread_m: FloatArray
    limit_m: FloatArray
    directions: tuple[str, ...]


def face_axes(normal: FloatArray) -> FloatArray:
    """Return unit vectors along a face, up it, and square to it, shape (3, 3). [-]"""
    level = np.array([-normal[1], normal[0], 0.0])
    length = float(np.linalg.norm(level))
    along = level / length if length > FLUSH_M else np.array([1.0, 0.0, 0.0])
    return np.array([along, np.cross(normal, along), normal])


def fixed_to(normal: FloatArray, own_m: float) -> OwnMove:
    """Return the move of points along the sheet that they are fixed to.

    Parameters
    ----------
    normal : ndarray of float, shape (3,)
        Of the sheet. [-]
    own_m : float
        What the points are drawn within. [m]
    """
    spread_m = np.array([own_m, own_m, 0.0]) / SPREADS_WITHIN
    return OwnMove(face_axes(normal), spread_m, np.repeat(NO_LIMIT, 3, axis=1), ALONG_FACE)


def moved_along(attached: Attached, sheets_m: list[FloatArray], own_m: float, *, is_building: bool) -> OwnMove | None:
    """Return how a building or box moves along what it is on, beside or joined to.

    Parameters
    ----------
    attached : Attached
        What it stands on or at.
    sheets_m : list of ndarray of float, each of shape (corners, 3)
        Its sheets. [m]
    own_m : float
        What it is drawn within. [m]
    is_building : bool
        A box is closed below; a building is open where it hangs over an edge.

    Returns
    -------
    OwnMove or None
        None where it cannot move without opening a slit: it takes the whole wall, or has a wall of its own above that.
    """
    face = attached.at
    if face is None or len(face.frames) > 1 or not own_m:
        return None
    frame, spread_m = face.frames[0], own_m / SPREADS_WITHIN
    most_m = MAX_SPREADS * spread_m
    limit_m = np.array([[-most_m] * 3, [most_m] * 3])
    on_roof = attached.way == "on"
    spreads_m = np.array([spread_m, spread_m if on_roof else 0.0, 0.0])
    if attached.way == "against":
        limit_m[:, 0] = _play_m(face, sheets_m, most_m)
    elif on_roof and is_building and _leaves_roof(face, np.concatenate(sheets_m), most_m):
        return None
    if np.ptp(limit_m[:, 0]) < FLUSH_M:
        return None
    axes = np.array([frame.along, frame.up, frame.outside])
    return OwnMove(axes, spreads_m, limit_m, ALONG_FACE if on_roof else ALONG_WALL)


def _play_m(wall: Face, sheets_m: list[FloatArray], most_m: float) -> tuple[float, float]:
    """How far a joined building can slide to the left and to the right of a wall and still end on it."""
    places_m = [wall.frames[0].places_m(sheet_m) for sheet_m in sheets_m]
    touching_m = np.concatenate([places[np.abs(places[:, 2]) < FLUSH_M, :2] for places in places_m])
    has_own_wall = any(np.abs(places[:, 2]).max() < FLUSH_M for places in places_m)
    if has_own_wall or not len(touching_m):
        return 0.0, 0.0
    left_m = -min(max(float(touching_m[:, 0].min()), 0.0), most_m)
    right_m = min(max(wall.length_m - float(touching_m[:, 0].max()), 0.0), most_m)
    leaves = any(_leaves(wall, touching_m, along_m, 0.0) for along_m in (left_m, right_m))
    return (0.0, 0.0) if leaves else (left_m, right_m)


def _leaves_roof(roof: Face, corners_m: FloatArray, most_m: float) -> bool:
    """Whether a building on a roof can come to hang over its edge."""
    foot_m = corners_m[corners_m[:, 2] < corners_m[:, 2].min() + FLUSH_M, :2]
    places_m = roof.frames[0].places_over_m(foot_m)
    return any(_leaves(roof, places_m, *by_m) for by_m in product((-most_m, most_m), repeat=2))


def _leaves(face: Face, places_m: FloatArray, along_m: float, up_m: float) -> bool:
    moved_m = (places_m + np.array([along_m, up_m])).tolist()
    return any(face.beyond_m(left_m=left_m, up_m=high_m) > FLUSH_M for left_m, high_m in moved_m)
