"""Spots, gateways and inverters on a face, on a mast, or inside a building: their points in space."""

from __future__ import annotations

from typing import Any

import numpy as np

from survey.base import polygon
from survey.base.arrays import FloatArray
from survey.base.errors import EntryError
from survey.inputs.buildings import Body, Face
from survey.inputs.buildings.convex import SAME_CORNER_M
from survey.inputs.places.words import UNTOLD, Written
from survey.inputs.plan.kinds import HEIGHT
from survey.inputs.plan.place_keys import INSIDE, OUTSIDE

DEVICE_GAP_M = 0.15
"""Of a bracket; the usual ones are 10 to 20 cm long (common practice). [m]"""
SLOPES_UP = 1e-6
"""A face whose outside looks up by more than this is a roof, a top or a floor. [-]"""


def is_upright(face: Face) -> bool:
    """Return whether a face is a wall, a side, or an opening in one."""
    return abs(float(face.frames[0].outside[2])) <= SLOPES_UP


def point_on(one: Written, face: Face) -> dict[str, Any]:
    """Return where a device on a face is: the keys at and height_m.

    Raises
    ------
    EntryError
        For a place that is beyond the face, and keys that do not go together.
    """
    one.refuse(("height_m",), 'follows from "on"; leave it out')
    one.only_one("left_m", "right_m")
    one.only_one("up_m", "down_m")
    one.only_one("mast_m", "gap_m")
    one.only_one("mast_m", "side")
    x, y, z = (_on_wall(one, face) if is_upright(face) else _on_roof(one, face)).tolist()
    return {"at": (x, y), "height_m": z}


def left_of(one: Written, face: Face) -> float:
    """Return how far along a face a place is: as written from the left or the right end, else the middle.

    Raises
    ------
    EntryError
        For a place beyond the other end.
    """
    for name, other in (("left_m", "right"), ("right_m", "left")):
        from_end_m = one.get(name)
        if from_end_m is not None:
            if from_end_m > face.length_m + SAME_CORNER_M and is_upright(face):
                problem = f'{from_end_m:.2f} m is beyond the {other} end of "{face.name}", {face.length_m:.2f} m long'
                raise EntryError([(name, problem)])
            return float(from_end_m if name == "left_m" else face.length_m - from_end_m)
    return 0.5 * face.length_m


def _gap_m(one: Written, face: Face) -> float:
    """How far off the face it is: on an open face or in an opening there is no sheet to be off."""
    usual_m = 0.0 if face.is_open or face.kind == "opening" else DEVICE_GAP_M
    return float(one.get("gap_m", usual_m)) * (-1.0 if one.get("side", OUTSIDE) == INSIDE else 1.0)


def _on_wall(one: Written, face: Face) -> FloatArray:
    one.refuse(("at",), f'"{face.name}" is a wall: left_m and up_m say where on it; leave it out')
    left_m = left_of(one, face)
    top_m = face.top_m(left_m)
    if top_m is None:
        raise EntryError([("left_m", f'{left_m:.2f} m is beside "{face.name}", {face.length_m:.2f} m long')])
    if "mast_m" in one.given:
        one.refuse(("up_m", "down_m"), "mast_m is from the top of the wall; write one or the other")
        return np.asarray(face.point_m(left_m=left_m, up_m=top_m) + np.array([0.0, 0.0, one.get("mast_m")]))
    up_m = _up_m(one, top_m)
    if up_m > top_m + SAME_CORNER_M:
        problem = f'{up_m:.2f} m is above the top of "{face.name}", {top_m:.2f} m; lower it, or write mast_m'
        raise EntryError([("up_m", problem)])
    key = "down_m" if "down_m" in one.given else "up_m"
    beyond(face, left_m, up_m, key)
    return face.point_m(left_m=left_m, up_m=up_m, out_m=_gap_m(one, face))


def _up_m(one: Written, top_m: float) -> float:
    up_m, down_m = one.get("up_m"), one.get("down_m")
    return float(up_m if up_m is not None else 0.5 * top_m if down_m is None else top_m - down_m)


def beyond(face: Face, left_m: float, up_m: float, key: str) -> None:
    """Refuse a place that is not on a face.

    Raises
    ------
    EntryError
        Naming the key, how far beyond the edge it is, and how large the face is.
    """
    beyond_m = face.beyond_m(left_m=left_m, up_m=up_m)
    if beyond_m > SAME_CORNER_M:
        raise EntryError([(key, f'lies {beyond_m:.2f} m beyond the edge of "{face.name}"; the face is {extent(face)}')])


def extent(face: Face) -> str:
    """Return how large a face is, for a message."""
    if is_upright(face):
        return f"{face.length_m:.2f} m long and {face.height_m:.2f} m high"
    return f"{face.length_m:.2f} m along the eaves and {face.height_m:.2f} m up the slope"


def _on_roof(one: Written, face: Face) -> FloatArray:
    frame = face.frames[0]
    at = one.point("at")
    if at is not None:
        one.refuse(("left_m", "right_m", "up_m", "down_m"), "at is given too; write one or the other")
        left_m, up_m = map(float, frame.places_over_m([at])[0])
        key = "at"
    else:
        left_m = left_of(one, face)
        top_m = face.top_m(left_m)
        if top_m is None:
            beyond(face, left_m, 0.0, "right_m" if "right_m" in one.given else "left_m")
            top_m = face.height_m
        up_m = _up_m(one, top_m)
        key = "down_m" if "down_m" in one.given else "up_m"
    beyond(face, left_m, up_m, key)
    lift_m = one.get("mast_m")
    lift_m = _gap_m(one, face) if lift_m is None else lift_m
    return np.asarray(face.point_m(left_m=left_m, up_m=up_m) + np.array([0.0, 0.0, lift_m]))


def point_inside(one: Written, body: Body, floor_m: float) -> dict[str, Any]:
    """Return where a device inside a building is: the keys at and height_m.

    Parameters
    ----------
    one : Written
        What the plan says.
    body : Body
        The building.
    floor_m : float
        The height of its foot, or of the floor that is named. [m]

    Raises
    ------
    EntryError
        For a place outside the walls or above the roof.
    """
    name = body.building.name
    one.refuse(("left_m", "right_m", "down_m", "side", "gap_m", "mast_m"), 'means nothing with "inside"; leave it out')
    at = one.point("at")
    if at is None:
        middle = middle_of(body.footprint.corners_m)
        if not polygon.contains(body.footprint.corners_m, middle[None])[0]:
            raise EntryError([("at", f'is missing: the middle of "{name}" is not inside it; write at = [x, y]')])
        x, y = middle.tolist()
        at = (x, y)
    one.only_one("up_m", "height_m")
    if "up_m" in one.given:
        height_m = floor_m + one.get("up_m")
    elif "height_m" in one.rest:
        if HEIGHT.fault(one.rest["height_m"]):
            raise UNTOLD
        height_m = float(one.rest["height_m"])
    else:
        raise EntryError([("up_m", "is missing; write up_m, or height_m above the plan's zero")])
    check_inside(body, np.array([at]), height_m, key="up_m" if "up_m" in one.given else "height_m", floor_m=floor_m)
    return {"at": at, "height_m": height_m}


def check_inside(body: Body, points_m: FloatArray, height_m: float, *, key: str, floor_m: float) -> None:
    """Refuse points that are not within the walls and under the roof of a building.

    Raises
    ------
    EntryError
        With how far they are out.
    """
    name = body.building.name
    roofs_m = body.roof_height_m(points_m)
    if np.isnan(roofs_m).any():
        x, y = points_m[np.isnan(roofs_m)][0]
        raise EntryError([("at", f'{x:.2f}, {y:.2f} is not inside "{name}"; move it, or leave out inside')])
    lowest_m = float(roofs_m.min())
    if height_m > lowest_m:
        problem = f'{height_m - floor_m:.2f} m up is above the roof of "{name}" there, {lowest_m - floor_m:.2f} m up'
        raise EntryError([(key, f"{problem}; lower it")])
    if height_m < floor_m:
        raise EntryError([(key, f'{height_m:.2f} m is below the floor of "{name}", {floor_m:.2f} m; raise it')])


def middle_of(corners_m: FloatArray) -> FloatArray:
    """Return the centre of area of a polygon, shape (2,). [m]

    Examples
    --------
    >>> middle_of(np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 2.0], [0.0, 2.0]])).tolist()
    [2.0, 1.0]
    """
    origin = corners_m[0]
    one = corners_m - origin
    other = np.roll(one, -1, axis=0)
    twice = one[:, 0] * other[:, 1] - other[:, 0] * one[:, 1]
    return np.asarray(origin + (one + other).T @ twice / (3.0 * twice.sum()))
