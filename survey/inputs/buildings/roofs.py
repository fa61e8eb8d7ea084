"""Roofs: which plane covers which part of a footprint, and the upright faces between the teeth of a saw-tooth roof."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.errors import EntryError
from survey.inputs.buildings.compass import bearing_of, degrees_of, turn_deg
from survey.inputs.buildings.convex import SAME_CORNER_M, Piece, clip, halves, piece_of
from survey.inputs.buildings.entry import Building
from survey.inputs.buildings.footprints import PARALLEL, Footprint, squared
from survey.inputs.buildings.rectangles import (
    INWARD,
    SQUARE_M,
    eaves_of,
    inward_m,
    same_line,
    slopes_of,
    ways_of,
    wings,
)
from survey.inputs.buildings.slopes import Slope, Upright, covered, falling_side, reaches_m, rise_of, widened

NO_RECTANGLE = "is for rectangles; elsewhere each wing's ridge runs along it. Leave it out"


@dataclass(frozen=True, kw_only=True, eq=False)
class Roof:
    """A roof over a footprint.

    Attributes
    ----------
    slopes : list of Slope
        Its planes.
    uprights : list of Upright
        Of a saw-tooth roof, from the low side.
    """

    slopes: list[Slope]
    uprights: list[Upright]


@dataclass(frozen=True, kw_only=True, eq=False)
class Layout:
    """A footprint made ready for its roof.

    Attributes
    ----------
    footprint : Footprint
        Squared where the roof needs it.
    along, exact_m : ndarray of float, optional
        Of a squared footprint as `squared` gives them.
    """

    footprint: Footprint
    along: FloatArray | None = None
    exact_m: FloatArray | None = None


def laid_out(building: Building, footprint: Footprint, tolerance_m: float) -> Layout:
    """Square a footprint where its roof needs right angles.

    Raises
    ------
    EntryError
        Where corners would have to be moved by more than the tolerance.
    """
    if building.roof not in ("gable", "hip", "saw-tooth"):
        return Layout(footprint=footprint)
    only_if_square = building.roof == "hip" and footprint.is_convex()
    if only_if_square and not building.gables and building.ridge_runs is None:
        tolerance_m = SAME_CORNER_M  # nothing needs to be moved
    try:
        square, along, exact_m = squared(footprint, tolerance_m, building.roof)
    except EntryError:
        if only_if_square:
            return Layout(footprint=footprint)
        raise
    if building.roof == "saw-tooth" and not square.is_convex():
        raise EntryError([("roof", '"saw-tooth" needs a rectangle. Draw two buildings')])
    return Layout(footprint=square, along=along, exact_m=exact_m)


def roof_of(building: Building, layout: Layout, *, gables: Sequence[int]) -> Roof:
    """Return the roof over a footprint.

    Parameters
    ----------
    building : Building
        What the plan says.
    layout : Layout
        Where it stands.
    gables : sequence of int
        Sides that are gables of a hip roof, in the order of ``building.gables``.

    Raises
    ------
    EntryError
        Where that roof does not go on that footprint.
    """
    if building.roof == "none":
        return Roof(slopes=[], uprights=[])
    if building.roof == "flat":
        return Roof(slopes=[_flat(building, layout.footprint)], uprights=[])
    if building.roof == "mono-pitch":
        return Roof(slopes=[_mono_pitch(building, layout.footprint)], uprights=[])
    if building.roof == "saw-tooth":
        return _saw_tooth(building, layout.footprint)
    if layout.along is None or layout.exact_m is None:
        if building.ridge_runs is not None:
            raise EntryError([("ridge_runs", NO_RECTANGLE)])
        return Roof(slopes=_convex_hip(building, layout.footprint, gables), uprights=[])
    slopes = _right_angled(building, layout.footprint, layout.along, layout.exact_m, gables)
    return Roof(slopes=slopes, uprights=[])


def _flat(building: Building, footprint: Footprint) -> Slope:
    pieces, inside = covered(building, footprint)
    first = footprint.order[0]
    wide_m = widened(footprint, reaches_m(building, footprint))
    ends_m = wide_m[[first, (first + 1) % len(wide_m)]]
    return Slope(
        gradient=np.zeros(2),
        level_m=building.eaves_m,
        pieces=pieces,
        inside=inside,
        side=None,
        along=footprint.along[first],
        left_m=ends_m[0],
        length_m=float(np.hypot(*(ends_m[1] - ends_m[0]))),
    )


def _mono_pitch(building: Building, footprint: Footprint) -> Slope:
    side = falling_side(building, footprint)
    inward = -footprint.outside[side]
    reach_m = footprint.corners_m @ inward
    rise = rise_of(building, float(reach_m.max() - reach_m.min()))
    pieces, inside = covered(building, footprint)
    return Slope(
        gradient=rise * inward,
        level_m=building.eaves_m - rise * float(reach_m.min()),
        pieces=pieces,
        inside=inside,
        side=None,
        along=footprint.along[side],
    )


def _convex_hip(building: Building, footprint: Footprint, gables: Sequence[int]) -> list[Slope]:
    """Every side slopes in, and the lowest slope counts: a cell of each side.

    Its edges are those of the straight skeleton, which for a convex footprint are the ridges of that lowest slope.
    """
    sloping = [side for side in range(len(footprint.corners_m)) if side not in gables]
    if len(sloping) < 2:  # noqa: PLR2004
        raise EntryError([("gables", "leave fewer than two sides that slope")])
    lines = halves(piece_of(footprint.corners_m))
    sloping = [
        side for i, side in enumerate(sloping) if not any(_one_plane(lines[side], lines[k]) for k in sloping[:i])
    ]
    wide_m = widened(footprint, reaches_m(building, footprint))
    covers = [piece_of(wide_m), piece_of(footprint.corners_m)]
    cells: list[list[Piece]] = []
    for side in sloping:
        pair = []
        for piece in covers:
            left = piece
            for other in sloping:
                a, b, c = (lines[other][k] - lines[side][k] for k in range(3))
                length = float(np.hypot(a, b))
                if other != side and left and length > PARALLEL:
                    left = clip(left, a / length, b / length, c / length)
            pair.append(left)
        cells.append(pair)
    run_m = max(
        lines[side][0] * x + lines[side][1] * y - lines[side][2]
        for side, (_, inside) in zip(sloping, cells, strict=True)
        for x, y in inside
    )
    rise = rise_of(building, run_m)
    return [
        Slope(
            gradient=rise * np.array(lines[side][:2]),
            level_m=building.eaves_m - rise * lines[side][2],
            pieces=[wide] if wide else [],
            inside=[inside] if inside else [],
            side=side,
            along=footprint.along[side],
        )
        for side, (wide, inside) in zip(sloping, cells, strict=True)
        if wide
    ]


def _one_plane(one: tuple[float, float, float], other: tuple[float, float, float]) -> bool:
    """Whether two sides run on in one line, so that their slopes are one."""
    return math.dist(one[:2], other[:2]) <= PARALLEL and abs(one[2] - other[2]) <= SAME_CORNER_M


def _right_angled(
    building: Building, footprint: Footprint, along: FloatArray, exact_m: FloatArray, gables: Sequence[int]
) -> list[Slope]:
    is_hip = building.roof == "hip"
    found, ends = wings(
        exact_m, is_hip=is_hip, gables=gables, ridge_along_u=_ridge_along_u(building, footprint, along, exact_m)
    )
    ways = ways_of(exact_m)
    for side, name in zip(gables, building.gables, strict=True):
        if side not in ends:
            raise EntryError(
                [("gables", f'"{name}" is not the end of a wing: a gable is at the short end of a rectangle')]
            )
    shared = None if footprint.shared is None else eaves_of(exact_m, footprint.shared, ways[footprint.shared])

    def out_m(eaves: tuple[int, float]) -> float:
        return 0.0 if shared is not None and same_line(eaves, shared) else building.overhang_m

    inside = slopes_of(found, lambda _: 0.0)
    pieces = slopes_of(found, out_m) if building.overhang_m else inside
    run_m = max(inward_m(eaves, point) for eaves, parts in inside.items() for part in parts for point in part)
    rise = rise_of(building, run_m)
    turn = np.array([along, [-along[1], along[0]]])
    origin_m = footprint.corners_m[0]

    def in_plan(parts: list[Piece]) -> list[Piece]:
        return [piece_of(origin_m + np.array(part) @ turn) for part in parts]

    slopes = []
    for eaves, parts in pieces.items():
        inward = np.array(INWARD[eaves[0]]) @ turn
        side = next(i for i in footprint.order if same_line(eaves_of(exact_m, i, ways[i]), eaves))
        slopes.append(
            Slope(
                gradient=rise * inward,
                level_m=building.eaves_m - rise * (eaves[1] + float(origin_m @ inward)),
                pieces=in_plan(parts),
                inside=in_plan(inside.get(eaves, [])),
                side=side,
                along=np.array([inward[1], -inward[0]]),
            )
        )
    slopes.sort(key=lambda slope: footprint.order.index(slope.side if slope.side is not None else 0))
    return slopes


def _ridge_along_u(building: Building, footprint: Footprint, along: FloatArray, exact_m: FloatArray) -> bool | None:
    """Which way the ridge over a single rectangle runs; None for the longer side."""
    extent_m = np.ptp(exact_m, axis=0)
    is_rectangle = footprint.is_convex()
    if building.ridge_runs is None:
        if building.roof == "gable" and is_rectangle and abs(extent_m[0] - extent_m[1]) <= SQUARE_M:
            first_deg = bearing_of(along)
            ways = f"{first_deg:.0f} or {(first_deg + 90.0) % 360.0:.0f} degrees"
            raise EntryError([("ridge_runs", f"is missing; the building is square: write a compass word near {ways}")])
        return None
    if not is_rectangle:
        raise EntryError([("ridge_runs", NO_RECTANGLE)])
    off_deg = turn_deg(bearing_of(along), degrees_of(building.ridge_runs))
    return min(off_deg, 180.0 - off_deg) < 45.0  # noqa: PLR2004  the nearer of two directions


def _saw_tooth(building: Building, footprint: Footprint) -> Roof:
    side = falling_side(building, footprint)
    inward = -footprint.outside[side]
    reach_m = footprint.corners_m @ inward
    low_m, high_m = float(reach_m.min()), float(reach_m.max())
    assert building.teeth is not None
    depth_m = (high_m - low_m) / building.teeth
    rise = rise_of(building, depth_m)
    wide_m = widened(footprint, reaches_m(building, footprint))
    covers = [piece_of(wide_m), piece_of(footprint.corners_m)]
    along = footprint.along[side]
    ends_m = np.sort(footprint.corners_m @ along)[[0, -1]]
    high_side = int(np.argmax(footprint.outside @ inward))
    a, b = map(float, inward)
    slopes, uprights = [], []
    for tooth in range(building.teeth):
        start_m, end_m = low_m + tooth * depth_m, low_m + (tooth + 1) * depth_m
        parts = []
        for piece in covers:
            left = piece if tooth == 0 else clip(piece, a, b, start_m)
            parts.append(left if tooth == building.teeth - 1 else clip(left, -a, -b, -end_m))
        slopes.append(
            Slope(
                gradient=rise * inward,
                level_m=building.eaves_m - rise * start_m,
                pieces=[parts[0]],
                inside=[parts[1]],
                side=side,
                along=along,
            )
        )
        line_m = np.outer(ends_m[::-1], along) + end_m * inward  # seen from the high side: left and right change
        top_m = building.eaves_m + rise * depth_m
        uprights.append(Upright(ends_m=line_m, foot_m=building.eaves_m, top_m=top_m, side=high_side))
    return Roof(slopes=slopes, uprights=uprights)
