"""Roofs: which plane covers which part of a footprint, and the upright faces between the teeth of a saw-tooth roof."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from survey.buildings.compass import bearing_of, degrees_of, turn_deg
from survey.buildings.convex import Piece, clip, halves, merged, parts_of, without
from survey.buildings.entry import MAX_PITCH_DEG, MIN_PITCH_DEG, Building
from survey.buildings.footprints import Footprint, squared
from survey.buildings.rectangles import INWARD, SQUARE_M, eaves_of, inward_m, slopes_of, ways_of, wings
from survey.errors import EntryError
from survey.polygon import FloatArray

FALLS_WITHIN_DEG = 23.0
"""How far the side that a roof falls to may look away from the way that is written: half of what a compass word means."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Slope:
    """One plane of a roof.

    Attributes
    ----------
    gradient : ndarray of float, shape (2,)
        How much it rises to a metre of x and of y. [-]
    level_m : float
        Its height at x = y = 0, above the building's foot. [m]
    pieces, inside : list of Piece
        What it covers in plan, with the overhang and without. [m]
    side : int or None
        The side that it is called after; none for a roof that is just "roof".
    along : ndarray of float, shape (2,)
        From left to right along its eaves.
    left_m : ndarray of float, shape (2,), optional
        Left end of the edge that places are counted from, where it is not the lowest one. [m]
    length_m : float
        Length of that edge. [m]
    """

    gradient: FloatArray
    level_m: float
    pieces: list[Piece]
    inside: list[Piece]
    side: int | None
    along: FloatArray
    left_m: FloatArray | None = None
    length_m: float = 0.0

    def height_m(self, x: float, y: float) -> float:
        """Return the height over a point in plan, above the building's foot. [m]"""
        return float(self.gradient[0]) * x + float(self.gradient[1]) * y + self.level_m


@dataclass(frozen=True, kw_only=True, eq=False)
class Upright:
    """The upright face at the top of a tooth: its left and right end in plan, and its height from `foot_m`. [m]"""

    ends_m: FloatArray
    foot_m: float
    top_m: float
    side: int


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
    try:
        square, along, exact_m = squared(footprint, 1e-6 if only_if_square else tolerance_m, building.roof)
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
        return Roof(slopes=_convex_hip(building, layout.footprint, gables), uprights=[])
    slopes = _right_angled(building, layout.footprint, layout.along, layout.exact_m, gables)
    return Roof(slopes=slopes, uprights=[])


def _out_m(building: Building, footprint: Footprint) -> list[float]:
    """How far the roof reaches beyond each side."""
    return [0.0 if side == footprint.shared else building.overhang_m for side in range(len(footprint.corners_m))]


def _covered(building: Building, footprint: Footprint) -> tuple[list[Piece], list[Piece]]:
    """What one plane over the whole building covers, with its overhang and without."""
    inside = parts_of(footprint.corners_m)
    out_m = np.array(_out_m(building, footprint))
    if not out_m.any():
        return inside, inside
    wide_m = widened(footprint, out_m)
    if footprint.is_convex():
        return parts_of(wide_m), inside
    pieces = list(inside)
    count = len(wide_m)
    for i in range(count):
        start, end = footprint.corners_m[i], footprint.ends_m[i]
        aside = out_m[i] * footprint.outside[i]
        strips = [[start, start + aside, end + aside, end]]
        before = footprint.along[i - 1]
        if before[0] * footprint.along[i][1] - before[1] * footprint.along[i][0] > 0:  # an outer corner
            strips.append([start, start + out_m[i - 1] * footprint.outside[i - 1], wide_m[i], start + aside])
        for strip in strips:
            fresh = [tuple((float(x), float(y)) for x, y in strip)]
            for piece in list(pieces):
                fresh = without(fresh, piece)
            pieces.extend(fresh)
    return merged(pieces), inside


def widened(footprint: Footprint, out_m: FloatArray) -> FloatArray:
    """Return the corners of a footprint whose sides have moved outward, shape (n, 2). [m]"""
    corners = []
    for i in range(len(footprint.corners_m)):
        normals = footprint.outside[[i - 1, i]]
        if abs(np.linalg.det(normals)) < 1e-9:  # two sides in one line  # noqa: PLR2004
            corners.append(footprint.corners_m[i] + out_m[i] * normals[1])
        else:
            corners.append(footprint.corners_m[i] + np.linalg.solve(normals, out_m[[i - 1, i]]))
    return np.array(corners)


def _flat(building: Building, footprint: Footprint) -> Slope:
    pieces, inside = _covered(building, footprint)
    first = footprint.order[0]
    wide_m = widened(footprint, np.array(_out_m(building, footprint)))
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


def _rise(building: Building, run_m: float) -> float:
    """How much the roof rises to a metre, so that it reaches its ridge over a run.

    Raises
    ------
    EntryError
        Where that is too flat or too steep.
    """
    if building.pitch_deg is not None:
        return float(np.tan(np.deg2rad(building.pitch_deg)))
    assert building.ridge_m is not None
    rise = (building.ridge_m - building.eaves_m) / run_m
    pitch_deg = float(np.rad2deg(np.arctan(rise)))
    if not MIN_PITCH_DEG - 1e-9 <= pitch_deg <= MAX_PITCH_DEG + 1e-9:
        allowed = f"a roof here has {MIN_PITCH_DEG:g} to {MAX_PITCH_DEG:g} degrees"
        problem = f"{building.ridge_m:.2f} m makes a pitch of {pitch_deg:.1f} degrees"
        raise EntryError([("ridge_m", f"{problem} over a run of {run_m:.2f} m; {allowed}")])
    return rise


def _falling_side(building: Building, footprint: Footprint) -> int:
    """The side to which a roof falls.

    Raises
    ------
    EntryError
        Where no side looks that way.
    """
    if building.is_joined and building.roof == "mono-pitch":
        return footprint.order[0]
    key = "falls" if building.falls is not None else "falls_deg"
    wanted_deg = degrees_of(building.falls) if building.falls is not None else float(building.falls_deg or 0.0)
    looks_deg = footprint.bearings_deg
    side = min(footprint.order, key=lambda i: turn_deg(looks_deg[i], wanted_deg))
    if turn_deg(looks_deg[side], wanted_deg) > FALLS_WITHIN_DEG:
        ways = ", ".join(f"{looks_deg[i]:.0f}" for i in footprint.order)
        problem = f"no side looks within {FALLS_WITHIN_DEG:g} degrees of {wanted_deg % 360.0:.0f}"
        raise EntryError([(key, f"{problem}; its sides look to {ways} degrees")])
    return side


def _mono_pitch(building: Building, footprint: Footprint) -> Slope:
    side = _falling_side(building, footprint)
    inward = -footprint.outside[side]
    reach_m = footprint.corners_m @ inward
    rise = _rise(building, float(reach_m.max() - reach_m.min()))
    pieces, inside = _covered(building, footprint)
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
    lines = halves(tuple((float(x), float(y)) for x, y in footprint.corners_m))
    wide_m = widened(footprint, np.array(_out_m(building, footprint)))
    covers = [tuple((float(x), float(y)) for x, y in corners) for corners in (wide_m, footprint.corners_m)]
    cells: list[list[Piece]] = []
    for side in sloping:
        pair = []
        for piece in covers:
            left = piece
            for other in sloping:
                a, b, c = (lines[other][k] - lines[side][k] for k in range(3))
                length = float(np.hypot(a, b))
                if other != side and left and length > 1e-9:  # noqa: PLR2004
                    left = clip(left, a / length, b / length, c / length)
            pair.append(left)
        cells.append(pair)
    run_m = max(
        lines[side][0] * x + lines[side][1] * y - lines[side][2]
        for side, (_, inside) in zip(sloping, cells, strict=True)
        for x, y in inside
    )
    rise = _rise(building, run_m)
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
            raise EntryError([("gables", f'"{name}" is no wing\'s end: a gable stands at the short end of a rectangle')])
    shared = None if footprint.shared is None else eaves_of(exact_m, footprint.shared, ways[footprint.shared])

    def out_m(eaves: tuple[int, float]) -> float:
        joined = shared is not None and eaves[0] == shared[0] and abs(eaves[1] - shared[1]) < 1e-6  # noqa: PLR2004
        return 0.0 if joined else building.overhang_m

    inside = slopes_of(found, lambda _: 0.0)
    pieces = slopes_of(found, out_m) if building.overhang_m else inside
    run_m = max(inward_m(eaves, point) for eaves, parts in inside.items() for part in parts for point in part)
    rise = _rise(building, run_m)
    turn = np.array([along, [-along[1], along[0]]])
    origin_m = footprint.corners_m[0]

    def in_plan(parts: list[Piece]) -> list[Piece]:
        return [tuple((float(x), float(y)) for x, y in origin_m + np.array(part) @ turn) for part in parts]

    slopes = []
    for eaves, parts in pieces.items():
        inward = np.array(INWARD[eaves[0]]) @ turn
        named = [i for i in footprint.order if ways[i] == eaves[0]]
        side = min(named, key=lambda i: (abs(eaves_of(exact_m, i, ways[i])[1] - eaves[1]) > 1e-6, footprint.order.index(i)))  # noqa: PLR2004
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


def _ridge_along_u(
    building: Building, footprint: Footprint, along: FloatArray, exact_m: FloatArray
) -> bool | None:
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
        raise EntryError([("ridge_runs", "is for rectangles; elsewhere each wing's ridge runs along it. Leave it out")])
    off_deg = turn_deg(bearing_of(along), degrees_of(building.ridge_runs))
    return min(off_deg, 180.0 - off_deg) < 45.0  # noqa: PLR2004  the nearer of two directions


def _saw_tooth(building: Building, footprint: Footprint) -> Roof:
    side = _falling_side(building, footprint)
    inward = -footprint.outside[side]
    reach_m = footprint.corners_m @ inward
    low_m, high_m = float(reach_m.min()), float(reach_m.max())
    assert building.teeth is not None
    depth_m = (high_m - low_m) / building.teeth
    rise = _rise(building, depth_m)
    wide_m = widened(footprint, np.array(_out_m(building, footprint)))
    covers = [tuple((float(x), float(y)) for x, y in corners) for corners in (wide_m, footprint.corners_m)]
    along = footprint.along[side]
    ends_m = np.sort(footprint.corners_m @ along)[[0, -1]]
    high_side = int(np.argmax(footprint.outside @ inward))
    slopes, uprights = [], []
    for tooth in range(building.teeth):
        start_m, end_m = low_m + tooth * depth_m, low_m + (tooth + 1) * depth_m
        parts = []
        for piece in covers:
            left = piece if tooth == 0 else clip(piece, *map(float, inward), start_m)
            parts.append(left if tooth == building.teeth - 1 else clip(left, *map(float, -inward), -end_m))
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
