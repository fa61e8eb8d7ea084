"""Boxes by the size of a container, on a roof or another box, or beside a wall; and their openings."""

from __future__ import annotations

from typing import Any

from survey.base.arrays import FloatArray
from survey.base.errors import EntryError, did_you_mean
from survey.base.units import direction_of_bearing
from survey.inputs.buildings import Face, Opening, bearing_of, box_faces, numbered
from survey.inputs.buildings.convex import SAME_CORNER_M
from survey.inputs.places.loose import opened
from survey.inputs.places.points import is_upright
from survey.inputs.places.words import UNTOLD, Written
from survey.inputs.plan import Box
from survey.inputs.plan.kinds import BEARING, EXTENT

CONTAINER_WIDTH_M = 2.438
"""ISO 668:2020, table 2: external width of all series 1 freight containers. [m]"""
SIZES_M = {
    "10 ft": (2.991, 2.438),
    "20 ft": (6.058, 2.591),
    "20 ft high-cube": (6.058, 2.896),
    "40 ft": (12.192, 2.591),
    "40 ft high-cube": (12.192, 2.896),
}
"""External length and height of series 1 freight containers (ISO 668:2020, table 2). [m]"""
CONTAINER_MATERIAL = "welded steel"
STAND_IN = {"centre": (0.0, 0.0), "length_m": 1.0, "width_m": 1.0, "height_m": 1.0}
"""For an entry that is refused anyway."""


def sized(one: Written) -> dict[str, Any]:
    """Return length, width, height and material of a container by its size; nothing without one.

    Raises
    ------
    EntryError
        For a size that is not known, or lengths written beside it.
    """
    size = one.get("size")
    if size is None:
        return {}
    if size not in SIZES_M:
        known = ", ".join(f'"{name}"' for name in SIZES_M)
        raise EntryError([("size", f'"{size}" is not known; write {known}{did_you_mean(size, SIZES_M)}')])
    one.refuse(("length_m", "width_m", "height_m"), 'follows from "size"; leave it out')
    length_m, height_m = SIZES_M[size]
    found: dict[str, Any] = {"length_m": length_m, "width_m": CONTAINER_WIDTH_M, "height_m": height_m}
    if "material" not in one.rest and "loss_db" not in one.rest:
        found["material"] = CONTAINER_MATERIAL
        one.defaults.append(("material", CONTAINER_MATERIAL))
    return found


def box_on(one: Written, face: Face, values: dict[str, Any]) -> dict[str, Any]:
    """Return where a box stands on a roof, a top or a floor: centre, bearing and base."""
    frame = face.frames[0]
    if is_upright(face):
        raise EntryError([("on", f'"{face.name}" is a wall; write beside, or name a roof or a top')])
    one.refuse(("base_m", "bearing_deg"), 'follows from "on"; leave it out')
    one.only_one("left_m", "right_m")
    centre = one.point("centre")
    if centre is not None:
        one.refuse(("left_m", "right_m", "up_m"), "centre is given too; write one or the other")
        left_m, up_m = map(float, frame.places_over_m([centre])[0])
    else:
        left_m = one.get("left_m", None)
        if left_m is None:
            right_m = one.get("right_m", None)
            left_m = 0.5 * face.length_m if right_m is None else face.length_m - right_m
        up_m = one.get("up_m", None)
        up_m = 0.5 * face.height_m if up_m is None else up_m
        x, y = frame.points_m([(left_m, up_m)])[0, :2].tolist()
        centre = (x, y)
    beyond_m = face.beyond_m(left_m=left_m, up_m=up_m)
    if beyond_m > SAME_CORNER_M:
        raise EntryError([("on", f'its middle lies {beyond_m:.2f} m beyond the edge of "{face.name}"')])
    bearing_deg = bearing_of(frame.along)
    box = trial(values | {"centre": centre, "bearing_deg": bearing_deg})
    heights_m = frame.points_m(frame.places_over_m(box.footprint_m()))[:, 2]
    gap_m = one.get("gap_m", 0.0)
    base_m = float(heights_m.max()) + gap_m if gap_m else float(heights_m.min())
    return {"centre": centre, "bearing_deg": bearing_deg, "base_m": base_m}


def box_beside(one: Written, face: Face, values: dict[str, Any], host: Box | None) -> dict[str, Any]:
    """Return where a box stands beside a wall or a side: centre, bearing and base."""
    if not is_upright(face):
        raise EntryError([("beside", f'"{face.name}" is no wall; write on, or name a wall or a side')])
    if len(face.frames) > 1:
        raise EntryError([("beside", f'"{face.name}" turns corners; a box needs a straight wall')])
    one.refuse(("base_m", "centre"), 'follows from "beside"; leave it out')
    one.refuse(("up_m",), "means nothing beside a wall; leave it out")
    one.only_one("left_m", "right_m")
    frame = face.frames[0]
    if "bearing_deg" in values:
        if BEARING.fault(values["bearing_deg"]):
            raise UNTOLD
        bearing_deg = float(values["bearing_deg"])
    elif host is None:
        bearing_deg = bearing_of(frame.along)
    else:  # side 1, to the right of the bearing, looks away from the other box
        turn = float(direction_of_bearing(host.bearing_deg) @ frame.along[:2])
        bearing_deg = host.bearing_deg if turn > -0.5 else (host.bearing_deg + 180.0) % 360.0  # noqa: PLR2004  square or parallel
    box = trial(values | {"centre": (0.0, 0.0), "bearing_deg": bearing_deg})
    across_m = _reach_m(box.footprint_m(), frame.outside)
    along_m = _reach_m(box.footprint_m(), frame.along)
    left_m, right_m = one.get("left_m", None), one.get("right_m", None)
    if left_m is not None:
        middle_m = left_m + along_m
    else:
        middle_m = face.length_m * 0.5 if right_m is None else face.length_m - right_m - along_m
    x, y = face.point_m(left_m=middle_m, up_m=0.0, out_m=one.get("gap_m", 0.0) + across_m)[:2].tolist()
    return {"centre": (x, y), "bearing_deg": bearing_deg, "base_m": float(frame.origin_m[2])}


def _reach_m(footprint_m: FloatArray, direction: FloatArray) -> float:
    """How far a footprint reaches from its middle. [m]"""
    return float((footprint_m @ direction[:2]).max())


def trial(values: dict[str, Any]) -> Box:
    """Return a box of values so far, or raise `UNTOLD`: whoever reads the entry tells what is wrong."""
    known = ("centre", "length_m", "width_m", "height_m", "bearing_deg", "base_m")
    given = {name: values[name] for name in known if name in values}
    if any(name in given and EXTENT.fault(given[name]) for name in known[1:4]):
        raise UNTOLD
    try:
        return Box(name="box", loss_db=0.0, **given)
    except (EntryError, TypeError):
        raise UNTOLD from None


def faces_of_box(
    name: str, material: str, box: Box, openings: tuple[Opening, ...]
) -> tuple[list[Face], list[Face], list[tuple[str, str]]]:
    """Return the sides and the top of a box with openings cut, what fills them, and what is wrong."""
    faces = box_faces(name, material, corners_m=box.footprint_m(), base_m=box.base_m, height_m=box.height_m)
    by_side: dict[str, list[tuple[str, Opening]]] = {}
    problems: list[tuple[str, str]] = []
    sides = [face.short_name for face in faces]
    for place, opening in numbered(openings):
        if not opening.on:
            problems.append((f"{place}: on", f"is missing; write one of {', '.join(sides)}"))
        elif opening.on not in sides:
            hint = did_you_mean(opening.on, sides) or f"; write one of {', '.join(sides)}"
            problems.append((f"{place}: on", f'"{opening.on}" is no side of this box{hint}'))
        else:
            by_side.setdefault(opening.on, []).append((place, opening))
    done: list[Face] = []
    leaves: list[Face] = []
    for face in faces:
        if face.short_name not in by_side:
            done.append(face)
            continue
        try:
            cut, filled = opened(face, by_side[face.short_name], owner=name)
        except EntryError as error:
            problems.extend(error.problems)
            cut, filled = face, []
        done.append(cut)
        leaves.extend(filled)
    return done, leaves, problems
