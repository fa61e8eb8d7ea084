"""Openings: doors, windows and roof lights cut out of a face, each a face of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from survey.base.polygon import LEAST_AREA_M2
from survey.inputs.buildings.convex import SAME_CORNER_M, Piece, area_m2, merged, without
from survey.inputs.buildings.faces import Face, Frame, Patch, face_of, rectangle, with_patches
from survey.inputs.plan.opening import Opening, place_of

MAX_OPENINGS = 2_000
"""In one face: every two are compared, so that more would take minutes. A judgement."""


@dataclass(frozen=True, kw_only=True)
class _Hole:
    """One opening on its face."""

    name: str
    place: str
    left_m: float
    up_m: float
    width_m: float
    height_m: float
    material: str

    @property
    def corners(self) -> Piece:
        return rectangle(self.left_m, self.up_m, self.width_m, self.height_m)


def with_openings(
    face: Face, openings: Sequence[tuple[str, Opening]]
) -> tuple[Face, list[Face], list[tuple[str, str]]]:
    """Cut openings out of a face; the face stays one obstacle.

    Parameters
    ----------
    face : Face
        A wall, a roof, an inner wall, the side of a box, a loose wall.
    openings : sequence of (str, Opening)
        What messages call each, as of `place_of`, and the opening itself.

    Returns
    -------
    tuple of Face, list of Face, list of (str, str)
        The face with the holes; a face for each opening, of its material, also where that is ``open``; and what is
        wrong: pairs of key and problem.
    """
    uncut = _uncut(face, openings)
    if uncut:
        return face, [], uncut
    holes, problems = _holes(face, openings)
    fitting = []
    for hole in holes:
        found = list(_misfits(face, hole))
        problems.extend((hole.place, problem) for problem in found)
        if not found:
            fitting.append(hole)
    for number, hole in enumerate(fitting):
        for other in fitting[:number]:
            if _overlap(hole, other):
                problems.append((hole.place, f'overlaps "{other.name}" in "{face.short_name}"'))
                break
    if problems:
        return face, [], list(dict.fromkeys(problems))
    patches: list[Patch] = []
    for frame in range(len(face.frames)):
        pieces = [piece for k, piece in face.patches if k == frame]
        for hole in fitting:
            pieces = without(pieces, hole.corners)
        patches.extend((frame, piece) for piece in (merged(pieces) if fitting else pieces))
    return with_patches(face, patches), [_leaf(face, hole) for hole in fitting], []


def _uncut(face: Face, openings: Sequence[tuple[str, Opening]]) -> list[tuple[str, str]]:
    """Why no opening can be cut out of a face: it is no sheet, or they are too many."""
    if face.is_open:
        return [(place, f'"{face.short_name}" is open: there is no sheet to cut') for place, _ in openings]
    count = sum(opening.count for _, opening in openings)
    if count > MAX_OPENINGS:
        return [(openings[-1][0], f'"{face.short_name}" has {count} openings with this; write up to {MAX_OPENINGS}')]
    return []


def _holes(face: Face, openings: Sequence[tuple[str, Opening]]) -> tuple[list[_Hole], list[tuple[str, str]]]:
    """Every opening of every row at its place."""
    holes: list[_Hole] = []
    problems: list[tuple[str, str]] = []
    unnamed = 0
    for place, opening in openings:
        every_m = opening.every_m or 0.0
        row_m = (opening.count - 1) * every_m + opening.width_m
        if row_m > face.length_m + SAME_CORNER_M:
            what = f"{row_m:.2f} m wide" if opening.count == 1 else f"the row is {row_m:.2f} m long"
            problems.append((place, f'{what}, but "{face.short_name}" is {face.length_m:.2f} m long'))
            continue
        backwards = opening.right_m is not None
        if opening.left_m is not None:
            first_m = opening.left_m
        elif opening.right_m is not None:
            first_m = face.length_m - opening.right_m - opening.width_m
        else:
            first_m = 0.5 * (face.length_m - row_m)
        up_m = opening.up_m
        if up_m is None:
            up_m = max(0.5 * (face.height_m - opening.height_m), 0.0) if face.kind == "roof" else 0.0
        for number in range(opening.count):
            if opening.name:
                name = f"{opening.name} {number + 1}" if opening.count > 1 else opening.name
            else:
                unnamed += 1
                name = f"{face.short_name} opening {unnamed}"
            left_m = first_m + (-number if backwards else number) * every_m
            holes.append(
                _Hole(
                    name=name,
                    place=place,
                    left_m=left_m,
                    up_m=up_m,
                    width_m=opening.width_m,
                    height_m=opening.height_m,
                    material=opening.material,
                )
            )
    return holes, problems


def _misfits(face: Face, hole: _Hole) -> list[str]:
    """How an opening reaches beyond its face."""
    uncovered = [hole.corners]
    for _, piece in face.whole:
        uncovered = without(uncovered, piece)
    if sum(map(area_m2, uncovered)) <= SAME_CORNER_M:
        return []
    name = face.short_name
    right_m = hole.left_m + hole.width_m
    if hole.left_m < -SAME_CORNER_M:
        return [f'reaches {-hole.left_m:.2f} m beyond the left end of "{name}"']
    if right_m > face.length_m + SAME_CORNER_M and face.kind != "roof":
        return [f'reaches {right_m - face.length_m:.2f} m beyond the right end of "{name}", {face.length_m:.2f} m long']
    top_m = hole.up_m + hole.height_m
    if face.kind == "roof":
        far_m = max(face.beyond_m(left_m=left_m, up_m=up_m) for left_m, up_m in hole.corners)
        size = f"{face.length_m:.2f} m along the eaves and {face.height_m:.2f} m up the slope"
        return [f'reaches {far_m:.2f} m beyond the edge of "{name}", {size}']
    allowed_m = min(face.top_m(at_m) or 0.0 for at_m in (hole.left_m, right_m))
    above = f'its top is {top_m:.2f} m up, {top_m - allowed_m:.2f} m above the top of "{name}" there, {allowed_m:.2f} m'
    return [above] if top_m > allowed_m + SAME_CORNER_M else [f'reaches beyond the edge of "{name}"']


def _overlap(one: _Hole, other: _Hole) -> bool:
    wide_m = min(one.left_m + one.width_m, other.left_m + other.width_m) - max(one.left_m, other.left_m)
    high_m = min(one.up_m + one.height_m, other.up_m + other.height_m) - max(one.up_m, other.up_m)
    return min(wide_m, high_m) > SAME_CORNER_M


def _leaf(face: Face, hole: _Hole) -> Face:
    """The face of an opening: its left end is the opening's own, its foot the sill."""
    frames: list[Frame] = []
    patches: list[Patch] = []
    for number, frame in enumerate(face.frames):
        last = number == len(face.frames) - 1
        start_m = max(hole.left_m, frame.left_m if number else hole.left_m)
        end_m = hole.left_m + hole.width_m
        if not last:
            end_m = min(end_m, frame.left_m + frame.length_m)
        if (end_m - start_m) * hole.height_m <= LEAST_AREA_M2:
            continue
        origin_m = frame.points_m([(start_m, hole.up_m)])[0]
        left_m = start_m - hole.left_m
        own = replace(frame, origin_m=origin_m, left_m=left_m, length_m=end_m - start_m)
        patches.append((len(frames), rectangle(left_m, 0.0, end_m - start_m, hole.height_m)))
        frames.append(own)
    return face_of(hole.name, "opening", hole.material, frames=frames, patches=patches, owner=face.owner)


def numbered(openings: Sequence[Opening]) -> list[tuple[str, Opening]]:
    """Return openings with what messages call each."""
    return [(place_of(opening, number), opening) for number, opening in enumerate(openings, start=1)]
