"""What is inside a building: levels right through, and inner walls up to the next level or the roof."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.errors import did_you_mean
from survey.base.polygon import LEAST_AREA_M2
from survey.inputs.buildings.convex import SAME_CORNER_M, Piece, area_m2, clip, holds, merged, parts_of, piece_of
from survey.inputs.buildings.entry import Building, InnerWall, Level
from survey.inputs.buildings.faces import Face, Frame, Patch, face_of, upright_frames
from survey.inputs.buildings.footprints import Footprint
from survey.inputs.buildings.slopes import Slope
from survey.inputs.buildings.uprights import inside_stretches, joined, moved, roof_over, upright_pieces

Problems = list[tuple[str, str]]


@dataclass(frozen=True, kw_only=True, eq=False)
class Inside:
    """What bounds the inside of a building: its footprint, its roof, and where walls of it end."""

    building: Building
    footprint: Footprint
    slopes: Sequence[Slope]
    base_m: float
    joint_m: float

    @property
    def top_m(self) -> float:
        """The highest point of the roof; of a building without one the top of its walls. [m]"""
        tops = [slope.height_m(x, y) for slope in self.slopes for piece in slope.inside for x, y in piece]
        return max(tops, default=self.building.eaves_m + self.building.parapet_m)


def level_faces(inside: Inside) -> tuple[list[Face], Problems]:
    """Return the levels of a building; above the eaves each is as wide as the roof leaves it."""
    faces: list[Face] = []
    problems: Problems = []
    for level in inside.building.level:
        pieces = _level_pieces(inside, level)
        if not pieces:
            problem = f"{level.height_m:.2f} m is not below the roof, whose highest point is at {inside.top_m:.2f} m"
            problems.append((f'level "{level.name}": height_m', problem))
            continue
        frame = level_frame(inside.footprint, inside.base_m + level.height_m)
        patches = [(0, piece_of(frame.places_over_m(piece))) for piece in pieces]
        owner = inside.building.name
        faces.append(face_of(level.name, "level", level.material, frames=[frame], patches=patches, owner=owner))
    return faces, problems


def level_frame(footprint: Footprint, height_m: float) -> Frame:
    """Return the frame of a level face: its left end is that of the building's first side."""
    first = footprint.order[0]
    along, outside = footprint.along[first], footprint.outside[first]
    return Frame(
        origin_m=np.append(footprint.corners_m[first], height_m),
        along=np.append(along, 0.0),
        up=np.append(-outside, 0.0),
        outside=np.array([0.0, 0.0, 1.0]),
        length_m=float(np.hypot(*(footprint.ends_m[first] - footprint.corners_m[first]))),
    )


def _level_pieces(inside: Inside, level: Level) -> list[Piece]:
    if level.height_m < inside.building.eaves_m - SAME_CORNER_M or not inside.slopes:
        return parts_of(inside.footprint.corners_m) if level.height_m < inside.top_m - SAME_CORNER_M else []
    pieces = []
    for slope in inside.slopes:
        rise = float(np.hypot(*slope.gradient))
        for piece in slope.inside:
            left = piece
            if rise > 0:
                a, b = (float(one) for one in slope.gradient / rise)
                left = clip(piece, a, b, (level.height_m - slope.level_m) / rise)
            elif slope.level_m <= level.height_m + SAME_CORNER_M:
                left = ()
            if left and area_m2(left) > LEAST_AREA_M2:
                pieces.append(left)
    return merged(pieces)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Line:
    """An inner wall in plan: its points from left to right, and where along each stretch it stands."""

    wall: InnerWall
    points_m: FloatArray
    stretches: list[list[tuple[float, float]]]


def inner_faces(inside: Inside, wall_sides: Mapping[str, int]) -> tuple[list[Face], Problems]:
    """Return the inner walls of a building, without their openings.

    Parameters
    ----------
    inside : Inside
        The building.
    wall_sides : mapping of str to int
        Its sides by the names of their walls.
    """
    lines: list[_Line] = []
    faces: list[Face] = []
    problems: Problems = []
    for wall in inside.building.inner_wall:
        found = _line_of(inside, wall, wall_sides)
        if isinstance(found, _Line):
            lines.append(found)
        else:
            problems.append((f'inner_wall "{wall.name}": {found[0]}', found[1]))
    met = [_meeting(inside, line, lines) for line in lines]
    for line in met:
        face, told = _inner_face(inside, line)
        faces.append(face)
        problems.extend((f'inner_wall "{line.wall.name}": {key}', problem) for key, problem in told)
    return faces, problems


def _line_of(inside: Inside, wall: InnerWall, wall_sides: Mapping[str, int]) -> _Line | tuple[str, str]:
    """An inner wall in plan, as it is written; or what is wrong with it."""
    parts = parts_of(inside.footprint.corners_m)
    if wall.along is not None:
        points_m = np.array(wall.along)
        for number, point in enumerate(points_m.tolist(), start=1):
            if not holds(parts, (point[0], point[1]), edge_m=inside.joint_m):
                return "along", f"point {number} is not within the building"
        lengths_m = np.hypot(*np.diff(points_m, axis=0).T)
        return _Line(wall=wall, points_m=points_m, stretches=[[(0.0, float(length))] for length in lengths_m])
    assert wall.parallel_to is not None
    assert wall.in_m is not None
    if wall.parallel_to not in wall_sides:
        known = ", ".join(wall_sides)
        hint = did_you_mean(wall.parallel_to, wall_sides) or f"; its walls are {known}"
        return "parallel_to", f'"{wall.parallel_to}" is not a straight wall of this building{hint}'
    side = wall_sides[wall.parallel_to]
    along, outside = inside.footprint.along[side], inside.footprint.outside[side]
    inward_m = inside.footprint.corners_m @ -outside
    reach_m = float(inward_m.max() - inward_m[side])
    if not SAME_CORNER_M < wall.in_m < reach_m - SAME_CORNER_M:
        return (
            "in_m",
            f'{wall.in_m:.2f} m in from "{wall.parallel_to}" is not inside; the building is {reach_m:.2f} m deep there',
        )
    far_m = float(np.ptp(inside.footprint.corners_m, axis=0).sum())
    middle_m = inside.footprint.corners_m[side] - wall.in_m * outside
    chords = joined(inside_stretches(middle_m - far_m * along, middle_m + far_m * along, parts))
    left_end_m, right_end_m = chords[0][0], chords[-1][1]
    whole_m = right_end_m - left_end_m
    length_m = wall.length_m
    if length_m is None:
        length_m = whole_m - (wall.left_m or 0.0)
    left_m = 0.5 * (whole_m - length_m) if wall.left_m is None else wall.left_m
    past_m = left_m + length_m - whole_m
    if past_m > inside.joint_m or length_m <= SAME_CORNER_M or left_m < -inside.joint_m:
        key = "left_m" if wall.length_m is None else "length_m"
        beyond = f"the wall reaches {max(past_m, -left_m):.2f} m beyond the building"
        return key, f"{beyond}; it is {whole_m:.2f} m from wall to wall"
    first_m, last_m = left_end_m + left_m, left_end_m + left_m + length_m
    own = [(max(low, first_m), min(high, last_m)) for low, high in chords]
    stretches = [(low - first_m, high - first_m) for low, high in own if high - low > SAME_CORNER_M]
    start_m = middle_m + (first_m - far_m) * along
    return _Line(wall=wall, points_m=np.array([start_m, start_m + length_m * along]), stretches=[stretches])


def _meeting(inside: Inside, line: _Line, lines: Sequence[_Line]) -> _Line:
    """Let the ends of an inner wall meet the walls that they nearly reach."""
    points_m = line.points_m.copy()
    for end, neighbour in ((0, 1), (-1, -2)):
        tip_m = line.points_m[end]
        along = (tip_m - line.points_m[neighbour]) / np.hypot(*(tip_m - line.points_m[neighbour]))
        outer = list(zip(inside.footprint.corners_m, inside.footprint.ends_m, strict=True))
        inner = [pair for other in lines if other is not line for pair in pairwise(other.points_m)]
        for targets in (outer, inner):
            ways_m = [_way_m(tip_m, along, *target, slack_m=inside.joint_m) for target in targets]
            near_m = [way_m for way_m in ways_m if way_m is not None and abs(way_m) <= inside.joint_m]
            if near_m:
                points_m[end] = tip_m + min(near_m, key=abs) * along
                break
    shift_m = float(np.hypot(*(points_m[0] - line.points_m[0])))
    shift_m *= np.sign(float((points_m[0] - line.points_m[0]) @ (line.points_m[1] - line.points_m[0]))) or 1.0
    lengths_m = [float(np.hypot(*(end - start))) for start, end in pairwise(points_m)]
    stretches = [[(low, high) for low, high in part] for part in line.stretches]
    stretches[0] = [(low - shift_m, high - shift_m) for low, high in stretches[0]]
    stretches[0][0] = (0.0, stretches[0][0][1])
    stretches[-1][-1] = (stretches[-1][-1][0], lengths_m[-1])
    return _Line(wall=line.wall, points_m=points_m, stretches=stretches)


def _way_m(
    tip_m: FloatArray, along: FloatArray, start_m: FloatArray, end_m: FloatArray, *, slack_m: float
) -> float | None:
    """How far ahead of a tip a wall stands in its way; None where it does not. [m]"""
    side = end_m - start_m
    length_m = float(np.hypot(*side))
    across = float(along[0] * side[1] - along[1] * side[0]) / length_m
    if abs(across) < 0.1:  # nearly parallel: no wall to end on  # noqa: PLR2004
        return None
    offset = start_m - tip_m
    ahead_m = float(offset[0] * side[1] - offset[1] * side[0]) / length_m / across
    at_m = float((tip_m + ahead_m * along - start_m) @ side) / length_m
    return ahead_m if -slack_m <= at_m <= length_m + slack_m else None


def _inner_face(inside: Inside, line: _Line) -> tuple[Face, Problems]:
    """An inner wall of its height, up to the next level, or up to the roof."""
    wall, building = line.wall, inside.building
    above = [level.height_m for level in building.level if level.height_m > wall.foot_m + SAME_CORNER_M]
    top_m = wall.foot_m + wall.height_m if wall.height_m is not None else min(above, default=None)
    frames = upright_frames(line.points_m, inside.base_m + wall.foot_m)
    patches: list[Patch] = []
    problems: Problems = []
    lowest_m = np.inf
    for number, (frame, stretches) in enumerate(zip(frames, line.stretches, strict=True)):
        start_m, along = line.points_m[number], frame.along[:2]
        for low, high in stretches:
            ends_m = (start_m + low * along, start_m + high * along)
            if inside.slopes:
                roof = roof_over(*ends_m, inside.slopes)
            else:
                within = joined(inside_stretches(*ends_m, parts_of(inside.footprint.corners_m)))
                roof = [(first, inside.top_m, last, inside.top_m) for first, last in within]
            lowest_m = min([lowest_m, *(z for stretch in roof for z in stretch[1::2])])
            pieces = upright_pieces(roof, foot_m=wall.foot_m, top_m=top_m)
            patches.extend((number, piece) for piece in moved(pieces, left_m=frame.left_m + low, up_m=-wall.foot_m))
    if wall.height_m is not None and top_m is not None and top_m > lowest_m + inside.joint_m:
        over_m = top_m - lowest_m
        problems.append(
            ("height_m", f"its top is {top_m:.2f} m up, {over_m:.2f} m above the roof there, {lowest_m:.2f} m")
        )
    elif not patches:
        problems.append(("foot_m", f"{wall.foot_m:.2f} m is not below the roof there, {max(lowest_m, 0.0):.2f} m"))
    face = face_of(wall.name, "inner wall", wall.material, frames=frames, patches=patches, owner=building.name)
    return face, problems
