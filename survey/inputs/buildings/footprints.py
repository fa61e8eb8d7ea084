"""Where a building stands: the corners of its footprint, walked, squared or placed beside another face."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from survey.base import polygon
from survey.base.arrays import FloatArray
from survey.base.errors import EntryError
from survey.base.units import direction_of_bearing
from survey.inputs.buildings.compass import bearing_of
from survey.inputs.buildings.convex import SAME_CORNER_M
from survey.inputs.buildings.entry import Building
from survey.inputs.buildings.faces import Face

ROUND_CORNERS = 12
"""Corners of a round building; the polygon lies within the circle by 3.4 % of its radius at most."""

JOINT_M = 0.10
"""Ends nearer than this were meant to meet, in a building whose plan says nothing else. [m]"""
PARALLEL = 1e-9
"""Unit vectors whose cross product is smaller are parallel. [-]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Footprint:
    """The corners of a building in plan, and which of its sides is which.

    Attributes
    ----------
    corners_m : ndarray of float, shape (n, 2)
        Anticlockwise. Side k runs from corner k to the next, so its left end, seen from outside, is corner k. [m]
    order : tuple of int
        The sides in the order in which the plan writes them: the first is its side 1.
    shared : int or None
        Which side is a wall of the building that it is joined to.
    moved_m : float
        How far corners were moved to close or square it. [m]
    """

    corners_m: FloatArray
    order: tuple[int, ...]
    shared: int | None = None
    moved_m: float = 0.0

    @property
    def ends_m(self) -> FloatArray:
        """The right ends of all sides, shape (n, 2). [m]"""
        return np.roll(self.corners_m, -1, axis=0)

    @property
    def along(self) -> FloatArray:
        """Unit vectors along the sides from left to right, shape (n, 2)."""
        sides = self.ends_m - self.corners_m
        return np.asarray(sides / np.hypot(sides[:, :1], sides[:, 1:]))

    @property
    def outside(self) -> FloatArray:
        """Unit vectors out of the sides, shape (n, 2)."""
        along = self.along
        return np.column_stack([along[:, 1], -along[:, 0]])

    @property
    def bearings_deg(self) -> list[float]:
        """The way each side looks. [deg]"""
        return [bearing_of(outside) for outside in self.outside]

    def is_convex(self) -> bool:
        """Whether it has no inner corners."""
        before = np.roll(self.along, 1, axis=0)
        return bool(np.all(before[:, 0] * self.along[:, 1] - before[:, 1] * self.along[:, 0] >= -PARALLEL))


def footprint_of(corners_m: FloatArray, *, shared: int | None = None, moved_m: float = 0.0) -> Footprint:
    """Return the footprint of corners as written, either way round."""
    count = len(corners_m)
    if polygon.signed_area_m2(corners_m - corners_m[0]) > 0:
        return Footprint(corners_m=corners_m, order=tuple(range(count)), shared=shared, moved_m=moved_m)
    # Backwards, written side k (from written corner k) becomes the side that begins at written corner k + 1.
    order = tuple((count - 2 - k) % count for k in range(count))
    return Footprint(corners_m=corners_m[::-1].copy(), order=order, shared=shared, moved_m=moved_m)


def rectangle_m(corner_m: FloatArray, along: FloatArray, *, length_m: float, width_m: float) -> FloatArray:
    """Return the corners of a rectangle that lies to the left of its length, anticlockwise, shape (4, 2). [m]"""
    left = np.array([-along[1], along[0]])
    corners = [corner_m, corner_m + length_m * along, corner_m + length_m * along + width_m * left]
    return np.array([*corners, corner_m + width_m * left])


def written_footprint(building: Building, along: FloatArray, tolerance_m: float) -> Footprint:
    """Return the footprint of a building that says itself where it stands.

    Parameters
    ----------
    building : Building
        Of the form ``width_m``, ``sides_m``, ``corners`` or ``across_m``.
    along : ndarray of float, shape (2,)
        The way its length runs.
    tolerance_m : float
        How far sides may fail to close. [m]

    Raises
    ------
    EntryError
        Where sides do not close, or cross.
    """
    if building.corners is not None:
        return footprint_of(np.array(building.corners))
    if building.across_m is not None:
        turns = np.arange(ROUND_CORNERS) * (-360.0 / ROUND_CORNERS)  # anticlockwise
        directions = np.array([direction_of_bearing(float(turn)) for turn in turns])
        return footprint_of(np.asarray(building.centre) + 0.5 * building.across_m * directions)
    if building.sides_m is not None:
        return _walked(np.asarray(building.corner), building.sides_m, along, tolerance_m)
    assert building.length_m is not None
    assert building.width_m is not None
    left = np.array([-along[1], along[0]])
    if building.centre is not None:
        corner_m = np.asarray(building.centre) - 0.5 * (building.length_m * along + building.width_m * left)
    else:
        corner_m = np.asarray(building.corner)
    return footprint_of(rectangle_m(corner_m, along, length_m=building.length_m, width_m=building.width_m))


def _walked(corner_m: FloatArray, sides_m: Sequence[float], along: FloatArray, tolerance_m: float) -> Footprint:
    """Sides in turn along a direction and to the left of it; a small gap is spread over them by length."""
    sides = np.array(sides_m)
    problems = []
    for first, where in ((0, "along the bearing"), (1, "to the left of the bearing")):
        gap_m = float(sides[first::2].sum())
        if abs(gap_m) > tolerance_m:
            left_over = f"do not close: {where} {abs(gap_m):.2f} m are left over"
            problems.append(("sides_m", f"{left_over}; measure again, or write drawn_within_m"))
        sides[first::2] -= gap_m * np.abs(sides[first::2]) / np.abs(sides[first::2]).sum()
    if problems:
        raise EntryError(problems)
    left = np.array([-along[1], along[0]])
    steps = np.outer(sides, along)
    steps[1::2] = np.outer(sides[1::2], left)
    as_written = np.outer(np.array(sides_m), along)
    as_written[1::2] = np.outer(np.array(sides_m)[1::2], left)
    corners_m = corner_m + np.vstack([np.zeros(2), np.cumsum(steps, axis=0)[:-1]])
    moved_m = float(np.hypot(*(np.cumsum(steps - as_written, axis=0)).T).max())
    if polygon.crosses_itself(np.round(corners_m - corner_m, 6)) or abs(polygon.signed_area_m2(corners_m)) < 1e-4:  # noqa: PLR2004
        raise EntryError([("sides_m", "cross themselves; write them in the order of the walk, minus for back")])
    return footprint_of(corners_m, moved_m=moved_m)


def joined_footprint(building: Building, wall: Face) -> Footprint:
    """Return the footprint of a building that is joined to a wall: its third side is that wall's.

    Raises
    ------
    EntryError
        Where it would reach beyond the wall.
    """
    assert building.depth_m is not None
    whole_m = wall.length_m
    length_m = whole_m if building.length_m is None else building.length_m
    if length_m > whole_m + 1e-6:
        raise EntryError([("length_m", f'{length_m:.2f} m, but "{wall.name}" is {whole_m:.2f} m long')])
    left_m = _from_left_m(building, whole_m, length_m)
    past_m = max(-left_m, left_m + length_m - whole_m)
    if past_m > SAME_CORNER_M:
        key = "left_m" if building.left_m is not None else "right_m"
        raise EntryError([(key, f'the building reaches {past_m:.2f} m beyond the end of "{wall.name}"')])
    return _before(wall, left_m, length_m, 0.0, building.depth_m, shared=2)


def free_footprint(building: Building, wall: Face) -> Footprint:
    """Return the footprint of a building that stands free, beside a wall and parallel to it."""
    assert building.depth_m is not None
    assert building.length_m is not None
    assert building.gap_m is not None
    left_m = _from_left_m(building, wall.length_m, building.length_m)
    return _before(wall, left_m, building.length_m, building.gap_m, building.depth_m, shared=None)


def _from_left_m(building: Building, whole_m: float, length_m: float) -> float:
    if building.left_m is not None:
        return building.left_m
    if building.right_m is not None:
        return whole_m - building.right_m - length_m
    return 0.5 * (whole_m - length_m)


def _before(
    wall: Face, left_m: float, length_m: float, gap_m: float, depth_m: float, *, shared: int | None
) -> Footprint:
    """A rectangle before a wall; side 1 is away from it."""
    frame = wall.frame_at(left_m + 0.5 * length_m)
    along, outside = frame.along[:2], frame.outside[:2]
    start_m = frame.origin_m[:2] + (left_m - frame.left_m) * along
    near = [start_m + gap_m * outside, start_m + length_m * along + gap_m * outside]
    far = [point + depth_m * outside for point in near]
    return footprint_of(np.array([far[0], far[1], near[1], near[0]]), shared=shared)


def squared(footprint: Footprint, tolerance_m: float, roof: str) -> tuple[Footprint, FloatArray, FloatArray]:
    """Move corners so that all sides stand at right angles.

    Parameters
    ----------
    footprint : Footprint
        As drawn.
    tolerance_m : float
        How far a corner may be moved. [m]
    roof : str
        What the right angles are needed for.

    Returns
    -------
    tuple of Footprint, ndarray of shape (2,), ndarray of shape (n, 2)
        The squared footprint; the way of its first written side; and its corners in exact coordinates along that way
        and to the left of it, from the first corner.

    Raises
    ------
    EntryError
        Naming the corner that lies farthest off.
    """
    corners_m, sides = footprint.corners_m, footprint.ends_m - footprint.corners_m
    lengths_m = np.hypot(sides[:, 0], sides[:, 1])
    angles = np.arctan2(sides[:, 1], sides[:, 0])
    common = np.angle(np.sum(lengths_m * np.exp(4j * angles))) / 4.0  # right angles fall on one another
    quarters = np.round((angles - common) / (np.pi / 2.0)).astype(int)
    axis = common + quarters[footprint.order[0]] * np.pi / 2.0
    along = np.array([np.cos(axis), np.sin(axis)])
    turn = np.array([along, [-along[1], along[0]]])
    flat_m = (corners_m - corners_m[0]) @ turn.T
    facing = (quarters - quarters[footprint.order[0]]) % 4
    lines = _lines(flat_m, facing, lengths_m)
    exact_m = flat_m.copy()
    for side, line_m in enumerate(lines):
        for corner in (side, (side + 1) % len(flat_m)):
            exact_m[corner, 1 if facing[side] % 2 == 0 else 0] = line_m
    off_m = np.hypot(*(exact_m - flat_m).T)
    kept = np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]])[facing]
    folded = np.sum((np.roll(exact_m, -1, axis=0) - exact_m) * kept, axis=1) <= 0
    if off_m.max() > tolerance_m or folded.any() or polygon.crosses_itself(np.round(exact_m, 6)):
        worst = int(off_m.argmax())
        count = len(corners_m)
        turned_round = footprint.order[0] != 0
        number = (count - 1 - worst if turned_round else worst) + 1
        problem = f'"{roof}" needs right angles; corner {number} is {off_m[worst]:.1f} m off'
        raise EntryError([("roof", f"{problem}. Draw two buildings, or a flat roof and loose [[roof]] sheets")])
    exact_m = _aligned(exact_m, flat_m, facing, tolerance_m)
    moved_m = max(footprint.moved_m, float(np.hypot(*(exact_m - flat_m).T).max()))
    new = Footprint(
        corners_m=corners_m[0] + exact_m @ turn, order=footprint.order, shared=footprint.shared, moved_m=moved_m
    )
    return new, along, exact_m - exact_m[0]


def _lines(flat_m: FloatArray, facing: FloatArray, lengths_m: FloatArray) -> FloatArray:
    """For each side the line that it and the sides that run on from it stand on: means weighted by length."""
    count = len(flat_m)
    start = next((i for i in range(count) if facing[i] % 2 != facing[i - 1] % 2), 0)
    order = [(start + i) % count for i in range(count)]
    cuts = [i for i in range(1, count) if facing[order[i]] % 2 != facing[order[i - 1]] % 2]
    lines = np.zeros(count)
    for first, last in pairwise([0, *cuts, count]):
        run = order[first:last]
        across = 1 if facing[run[0]] % 2 == 0 else 0
        ends = np.array([[flat_m[i, across], flat_m[(i + 1) % count, across]] for i in run])
        lines[run] = np.sum(ends.mean(axis=1) * lengths_m[run]) / lengths_m[run].sum()
    return lines


def _aligned(exact_m: FloatArray, flat_m: FloatArray, facing: FloatArray, tolerance_m: float) -> FloatArray:
    """Put sides that look the same way and nearly stand in one line in one, where no side is lost by it."""
    count = len(exact_m)
    aligned_m = exact_m.copy()
    for way in range(4):
        across = 1 if way % 2 == 0 else 0
        sides = sorted((i for i in range(count) if facing[i] == way), key=lambda i: exact_m[i, across])
        groups: list[list[int]] = []
        for i in sides:
            if groups and exact_m[i, across] - exact_m[groups[-1][0], across] <= tolerance_m:
                groups[-1].append(i)
            else:
                groups.append([i])
        for group in groups:
            corners = {corner % count for i in group for corner in (i, i + 1)}
            trial_m = aligned_m.copy()
            weights = [abs(exact_m[(i + 1) % count] - exact_m[i]).max() for i in group]
            trial_m[list(corners), across] = np.average([exact_m[i, across] for i in group], weights=weights)
            steps_m = np.abs(np.roll(trial_m, -1, axis=0) - trial_m).max(axis=1)
            if steps_m.min() > 0 and np.hypot(*(trial_m - flat_m).T).max() <= tolerance_m:
                aligned_m = trial_m
    return aligned_m


def tolerance_m(building: Building, *, joint_m: float | None, drawn_within_m: float) -> float:
    """Return how far corners may be moved to close or square a footprint. [m]"""
    within_m = drawn_within_m if building.drawn_within_m is None else building.drawn_within_m
    return max(JOINT_M if joint_m is None else joint_m, within_m)
