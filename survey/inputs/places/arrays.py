"""Arrays on roofs, on tops and on the ground: first inverter, height, bearing and tilt; several from one entry."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar

import numpy as np

from survey.base.arrays import BoolArray, FloatArray
from survey.base.errors import EntryError
from survey.inputs.buildings import Face, bearing_of, degrees_of
from survey.inputs.buildings.convex import SAME_CORNER_M, Piece, halves
from survey.inputs.fields import keys_of
from survey.inputs.places.points import SLOPES_UP, extent, is_upright
from survey.inputs.places.words import UNTOLD, Written
from survey.inputs.plan import Array
from survey.inputs.plan.place_keys import PointOrPoints

GROUND = "ground"
ROOF_GAP_M = 0.10
"""Inverters under modules lie about a hand's breadth above the roof, on its rails (common practice). [m]"""
LEVEL_RISE = 0.01
"""A roof that rises less than this in plan is flat: 0.6 degrees, less than any mono-pitch may have. [-]"""
MAX_MEASURED = 2_000
"""So many inverters beyond the edge are measured to name the farthest; the others are only counted. For time."""
FaceNamed = Callable[[str, str], Face]


@dataclass(frozen=True, kw_only=True)
class PlacedArray:
    """One array that an entry makes: its keys, keys that no plan can write, and the face that it lies on."""

    values: dict[str, Any]
    extra: dict[str, Any]
    face: Face | None = None


def faced(one: Written) -> dict[str, Any]:
    """Return the bearing of rows whose modules look a given way; nothing where the plan does not say so.

    Raises
    ------
    EntryError
        Where it is said twice.
    """
    one.only_one("faces", "faces_deg")
    if "faces" not in one.given and "faces_deg" not in one.given:
        return {}
    one.refuse(("bearing_deg",), "follows from the way the modules face; leave it out")
    faces_deg = degrees_of(one.get("faces")) if "faces" in one.given else one.get("faces_deg")
    return {"bearing_deg": (faces_deg - 90.0) % 360.0}


def arrays_of(one: Written, face_named: FaceNamed) -> list[PlacedArray]:
    """Return the arrays that an entry makes.

    Parameters
    ----------
    one : Written
        What the plan says.
    face_named : callable
        Gives a face by the key under which it is named, and its name.

    Raises
    ------
    EntryError
        For keys that do not go together, and arrays that do not fit.
    """
    names = one.get("on")
    if names is None:
        one.refuse(
            ("left_m", "up_m", "gap_m"), 'means nothing without "on"; write on = "BUILDING/ROOF", or leave it out'
        )
        return [PlacedArray(values=one.rest | faced(one), extra={})]
    if GROUND in names:
        if len(names) > 1:
            raise EntryError([("on", '"ground" stands alone; write an array of its own for it')])
        return [PlacedArray(values=_on_ground(one), extra={})]
    return _on_roofs(one, names, face_named)


def _on_roofs(one: Written, names: Sequence[str], face_named: FaceNamed) -> list[PlacedArray]:
    """The arrays on each of several roofs, or at each of several points of one."""
    one.refuse(("height_m", "tilt_deg", "bearing_deg"), 'follows from "on"; leave it out')
    points = _firsts(one)
    if len(names) > 1 and len(points) > 1:
        raise EntryError([("first", "is a list, and so is on; write one face, or one point")])
    if len(set(names)) < len(names):
        twice = next(name for i, name in enumerate(names) if name in names[:i])
        raise EntryError([("on", f'"{twice}" is listed twice')])
    faces = _all(partial(face_named, "on", name) for name in names)
    pairs = [(face, point) for face in faces for point in points]
    parts = _shared_out(one, len(pairs))
    return _all(partial(_on_roof, one, part, *pair) for part, pair in zip(parts, pairs, strict=True))


T = TypeVar("T")


def _all(makers: Iterable[Callable[[], T]]) -> list[T]:
    """What each of several gives; what is wrong with any of them is told at once."""
    made: list[T] = []
    problems: list[tuple[str, str]] = []
    refused = False
    for make in makers:
        try:
            made.append(make())
        except EntryError as error:
            refused = True
            problems.extend(error.problems)
    if refused:
        raise EntryError(dict.fromkeys(problems))
    return made


def _on_ground(one: Written) -> dict[str, Any]:
    one.refuse(("left_m", "up_m", "gap_m"), "means nothing on the ground; write first = [x, y] and height_m")
    one.refuse(("tilt_deg",), "would make the rows climb; write module_tilt_deg for the lean of the modules")
    bearing = faced(one)
    if not bearing and "bearing_deg" not in one.rest:
        raise EntryError([("faces", "is missing; write the way the modules look: faces, or faces_deg")])
    if one.rest.get("module_depth_m") is not None and "module_tilt_deg" not in one.rest:
        raise EntryError([("module_tilt_deg", "is missing; write how far the modules lean")])
    return one.rest | bearing


def _firsts(one: Written) -> list[tuple[float, float] | None]:
    """The points of row 1, column 1, where the plan gives them, else None."""
    if "first" not in one.rest:
        return [None]
    kind = PointOrPoints()
    problem = kind.fault(one.rest["first"])
    if problem:
        raise EntryError([("first", problem)])
    one.refuse(("left_m", "up_m"), "first is given too; write one or the other")
    return [(x, y) for x, y in kind.clean(one.rest["first"])]


def _shared_out(one: Written, count: int) -> list[dict[str, Any]]:
    """The keys of each array that an entry makes: NAME1, NAME2, ... with its share of the serials."""
    rest = {name: value for name, value in one.rest.items() if name != "first"}
    if count == 1:
        return [rest]
    parts = [rest | ({"name": f"{one.name}{i}"} if one.name else {}) for i in range(1, count + 1)]
    serials = rest.get("serials")
    if isinstance(serials, list | tuple) and serials:
        each = len(trial(rest | {"serials": []}).positions_m())
        if len(serials) != each * count:
            problem = (
                f"holds {len(serials)} for {each * count} inverters in {count} arrays; write one each, array by array"
            )
            raise EntryError([("serials", problem)])
        for i, part in enumerate(parts):
            part["serials"] = serials[i * each : (i + 1) * each]
    return parts


def trial(values: dict[str, Any], **extra: Any) -> Array:  # noqa: ANN401  of any key
    """Return an array of values so far, or raise `UNTOLD`: whoever reads the entry tells what is wrong."""
    known = {key.name for key in keys_of(Array)}
    given = {name: value for name, value in values.items() if name in known}
    stand_ins: dict[str, Any] = {"first": (0.0, 0.0), "height_m": 0.0, "name": "array"}
    try:
        return Array(**(stand_ins | given), **extra)
    except (EntryError, TypeError):
        raise UNTOLD from None


def _on_roof(one: Written, rest: dict[str, Any], face: Face, point: tuple[float, float] | None) -> PlacedArray:
    """An array on one roof or top."""
    frame = face.frames[0]
    if is_upright(face) or frame.outside[2] <= SLOPES_UP or face.kind == "level":
        raise EntryError([("on", f'"{face.name}" is no roof and no top')])
    rise = float(np.hypot(*frame.outside[:2]))
    turned = faced(one)
    if turned and rise > LEVEL_RISE:
        key = "faces" if "faces" in one.given else "faces_deg"
        raise EntryError([(key, f'follows from "on": "{face.name}" slopes; leave it out')])
    bearing = turned or {"bearing_deg": bearing_of(frame.along)}
    values = rest | bearing | {"tilt_deg": 0.0 if rise <= SLOPES_UP else frame.slope_deg}
    extra = {"flush_left": "left_m" in one.given}
    gap_m = one.get("gap_m", ROOF_GAP_M)
    block = trial(values, **extra)
    if point is None:
        left_m, up_m = _first_place(one, face, block)
        at_m = face.point_m(left_m=left_m, up_m=up_m, out_m=gap_m)
    else:
        under = frame.points_m(frame.places_over_m([point]))[0]
        at_m = np.array([*point, under[2] + gap_m / frame.outside[2]])
    x, y, z = at_m.tolist()
    values |= {"first": (x, y), "height_m": z}
    placed = trial(values, **extra)
    feet = frame.places_m(placed.positions_m())[:, :2]
    _check_fit(placed, face, feet)
    return PlacedArray(values=values, extra=extra, face=face)


def _first_place(one: Written, face: Face, block: Array) -> tuple[float, float]:
    """Where row 1, column 1 lies on a face: as written, else so that the block is in the middle."""
    frame = face.frames[0]
    from_first_m = block.positions_m() - np.append(block.first, block.height_m)
    spread = np.column_stack([from_first_m @ frame.along, from_first_m @ frame.up])
    middle_left, middle_up = ((spread.min(axis=0) + spread.max(axis=0)) / 2.0).tolist()
    left_m, up_m = one.get("left_m"), one.get("up_m")
    return (
        0.5 * face.length_m - middle_left if left_m is None else left_m,
        0.5 * face.height_m - middle_up if up_m is None else up_m,
    )


def _check_fit(array: Array, face: Face, feet: FloatArray) -> None:
    """Refuse an array that reaches beyond its face.

    Raises
    ------
    EntryError
        With how many inverters do, and which one the farthest.
    """
    outside = np.flatnonzero(~on_pieces(feet, [piece for _, piece in face.whole]))
    if not len(outside):
        return
    measured = outside[:MAX_MEASURED].tolist()
    beyond_m = [face.beyond_m(left_m=feet[i, 0], up_m=feet[i, 1]) for i in measured]
    farthest = int(np.argmax(beyond_m))
    name = array.inverter_names()[measured[farthest]]
    verb = "lies" if len(outside) == 1 else "lie"
    problem = (
        f'does not fit: {len(outside)} of {len(feet)} inverters {verb} beyond the edge of "{face.name}", {name} by '
        f"{beyond_m[farthest]:.2f} m; the face is {extent(face)}"
    )
    raise EntryError([("", problem)])


def on_pieces(points: FloatArray, pieces: Sequence[Piece]) -> BoolArray:
    """Return which points lie on convex pieces, their edges included, shape (points,)."""
    found = np.zeros(len(points), dtype=bool)
    for piece in pieces:
        inside = np.ones(len(points), dtype=bool)
        for a, b, c in halves(piece):
            inside &= points @ np.array([a, b]) - c >= -SAME_CORNER_M
        found |= inside
    return found
