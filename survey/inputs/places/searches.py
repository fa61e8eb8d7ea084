"""Searches along a wall or inside a building: their lines, areas and heights."""

from __future__ import annotations

from typing import Any

import numpy as np

from survey.base import polygon
from survey.base.arrays import FloatArray
from survey.base.errors import EntryError
from survey.inputs.buildings import Body, Face
from survey.inputs.buildings.convex import SAME_CORNER_M
from survey.inputs.places.points import DEVICE_GAP_M, is_upright
from survey.inputs.places.words import Written
from survey.inputs.plan.place_keys import GAP, INSIDE, OUTSIDE

ROOM_GAP_M = 0.5
"""From the walls of a building in to the points of a search. A judgement: room for cupboards and pipes. [m]"""


def along_wall(one: Written, face: Face) -> dict[str, Any]:
    """Return the line and the heights of a search on a wall.

    Raises
    ------
    EntryError
        For keys that do not go together, or a part that reaches beyond the wall.
    """
    if not is_upright(face):
        raise EntryError([("on", f'"{face.name}" is no wall; write inside, along or within')])
    one.refuse(("along", "within", "heights_m"), 'follows from "on"; leave it out, and write ups_m')
    usual_m = 0.0 if face.is_open or face.kind == "opening" else DEVICE_GAP_M
    gap_m = one.get("gap_m", usual_m)
    problem = GAP.fault(gap_m) if usual_m else None
    if problem:
        raise EntryError([("gap_m", problem)])
    inside = one.get("side", OUTSIDE) == INSIDE
    left_m, length_m = one.get("left_m"), one.get("length_m")
    begin_m = 0.0 if left_m is None else left_m
    end_m = face.length_m if length_m is None else begin_m + length_m
    if end_m > face.length_m + SAME_CORNER_M or begin_m >= face.length_m:
        key = "left_m" if length_m is None or begin_m >= face.length_m else "length_m"
        beyond = f"reaches {max(end_m, begin_m) - face.length_m:.2f} m beyond the right end"
        raise EntryError([(key, f'{beyond} of "{face.name}", {face.length_m:.2f} m long')])
    begin_m, end_m = max(begin_m, gap_m), min(end_m, face.length_m - gap_m)
    if end_m - begin_m <= SAME_CORNER_M:
        problem = f'leaves nothing of "{face.name}", {face.length_m:.2f} m long: it begins and ends {gap_m:.2f} m in'
        raise EntryError([("gap_m", problem)])
    foot_m = float(face.frames[0].origin_m[2])
    return {"along": _line(face, begin_m, end_m, -gap_m if inside else gap_m), "heights_m": _heights(one, foot_m)}


def _heights(one: Written, floor_m: float) -> list[float]:
    ups_m = one.get("ups_m")
    if ups_m is None:
        raise EntryError([("ups_m", "is missing; write a list of heights from the foot of the wall or the floor")])
    return [floor_m + up_m for up_m in ups_m]


def _line(face: Face, begin_m: float, end_m: float, out_m: float) -> list[list[float]]:
    """The points of a line so far off a face; where it turns, where the two lines meet."""
    points = [face.point_m(left_m=begin_m, up_m=0.0, out_m=out_m)[:2]]
    for one, other in zip(face.frames[:-1], face.frames[1:], strict=True):
        if begin_m < other.left_m < end_m:
            both = one.outside[:2] + other.outside[:2]
            points.append(other.origin_m[:2] + out_m * 2.0 * both / max(float(both @ both), 1e-9))
    points.append(face.point_m(left_m=end_m, up_m=0.0, out_m=out_m)[:2])
    return [point.tolist() for point in points]


def within_building(one: Written, body: Body, floor_m: float) -> dict[str, Any]:
    """Return the area and the heights of a search inside a building.

    Raises
    ------
    EntryError
        Where the walls leave no room, or a height is above the roof.
    """
    one.refuse(("along", "within", "heights_m"), 'follows from "inside"; leave it out, and write ups_m')
    one.refuse(("left_m", "length_m", "side"), 'means nothing with "inside"; leave it out')
    name = body.building.name
    gap_m = one.get("gap_m", ROOM_GAP_M)
    problem = GAP.fault(gap_m)
    if problem:
        raise EntryError([("gap_m", problem)])
    heights_m = _heights(one, floor_m)
    corners_m = inset(body.footprint.corners_m, gap_m)
    if corners_m is None:
        raise EntryError([("gap_m", f'{gap_m:.2f} m in from the walls leaves no room in "{name}"; write less')])
    roof_m = float(np.nanmin(body.roof_height_m(corners_m)))
    if max(heights_m) > roof_m:
        top = f"{max(heights_m) - floor_m:.2f} m up is above the roof"
        raise EntryError([("ups_m", f'{top} of "{name}" at its lowest, {roof_m - floor_m:.2f} m up; lower it')])
    return {"within": corners_m.tolist(), "heights_m": heights_m}


def inset(corners_m: FloatArray, gap_m: float) -> FloatArray | None:
    """Return a polygon whose sides lie so far inside those of another; None where nothing is left.

    Parameters
    ----------
    corners_m : ndarray of float, shape (n, 2)
        Corners, anticlockwise. [m]
    gap_m : float
        How far in. [m]

    Examples
    --------
    >>> inset(np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]]), 1.0).tolist()
    [[1.0, 1.0], [3.0, 1.0], [3.0, 2.0], [1.0, 2.0]]
    """
    sides = np.roll(corners_m, -1, axis=0) - corners_m
    lengths_m = np.hypot(*sides.T)[:, None]
    inward = np.column_stack([-sides[:, 1], sides[:, 0]]) / lengths_m
    before = np.roll(inward, 1, axis=0)
    both = inward + before
    moved_m = corners_m + gap_m * 2.0 * both / np.maximum(np.sum(both**2, axis=1, keepdims=True), 1e-9)
    turned = np.sum((np.roll(moved_m, -1, axis=0) - moved_m) * sides, axis=1) <= 0
    if turned.any() or polygon.signed_area_m2(moved_m) <= polygon.LEAST_AREA_M2 or polygon.crosses_itself(moved_m):
        return None
    return np.asarray(moved_m)
