"""The walls of a building: what its parts are called, how high each wall goes, and what it shares with another."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from survey.inputs.buildings.compass import part_names
from survey.inputs.buildings.convex import SAME_CORNER_M, Piece, area_m2, clip, without
from survey.inputs.buildings.entry import Building
from survey.inputs.buildings.faces import Face, Frame, Patch, face_of, reaches_up_m, upright_frames, with_patches
from survey.inputs.buildings.footprints import Footprint
from survey.inputs.buildings.slopes import Slope
from survey.inputs.buildings.uprights import moved, parapet_pieces, raised, roof_over, upright_pieces

Problems = list[tuple[str, str]]


@dataclass(frozen=True, kw_only=True, eq=False)
class Site:
    """Where a building stands, once what it refers to is known.

    Attributes
    ----------
    footprint : Footprint
        As drawn.
    base_m : float
        Height of its foot. [m]
    host_walls : tuple of Face
        The faces of the other building in the plane of a shared wall.
    carrier : str
        As in `Body`.
    """

    footprint: Footprint
    base_m: float
    host_walls: tuple[Face, ...] = ()
    carrier: str = ""


@dataclass(kw_only=True)
class Names:
    """What the parts of a building are called, by side."""

    walls: list[str]
    roofs: list[str]
    gables: list[str]

    @classmethod
    def of(cls, building: Building, footprint: Footprint) -> Names:
        """Name the parts of a building."""
        count = len(footprint.corners_m)
        if building.across_m is not None:
            roofs = [f"roof {number}" for number in range(1, count + 1)]
            return cls(walls=["wall"] * count, roofs=_by_side(roofs, footprint), gables=["gable"] * count)
        bearings = [footprint.bearings_deg[side] for side in footprint.order]
        parts = (part_names(bearings, part, building.side_names) for part in ("wall", "roof", "gable"))
        walls, roofs, gables = (_by_side(names, footprint) for names in parts)
        return cls(walls=walls, roofs=roofs, gables=gables)


def _by_side(names: Sequence[str], footprint: Footprint) -> list[str]:
    found = [""] * len(names)
    for side, name in zip(footprint.order, names, strict=True):
        found[side] = name
    return found


def walls_of(
    building: Building, footprint: Footprint, slopes: Sequence[Slope], *, names: Names, site: Site
) -> tuple[list[Face], dict[str, str], Problems]:
    """Return the walls, and the gables that are apart from them.

    Parameters
    ----------
    building, footprint, slopes
        What the plan says, where it stands, and the planes of its roof.
    names : Names
        What its parts are called.
    site : Site
        What it is joined to.

    Returns
    -------
    tuple of list, dict, list
        The faces; whose wall each is that is another building's; and what is wrong: pairs of key and problem.
    """
    if building.across_m is not None:
        return [_round_wall(building, footprint, slopes, site.base_m)], {}, []
    faces: list[Face] = []
    shared: dict[str, str] = {}
    problems: Problems = []
    for side in footprint.order:
        pieces = _wall_pieces(building, footprint, slopes, side)
        line_m = np.array([footprint.corners_m[side], footprint.ends_m[side]])
        if side == footprint.shared:
            shared[names.walls[side]] = site.host_walls[0].name
            frame = upright_frames(line_m, site.base_m)[0]
            hosts = [piece for host in site.host_walls for piece in _seen_from(frame, host)]
            problems.extend(_too_high(building, pieces, hosts, site.host_walls[0].name))
            for piece in hosts:
                pieces = without(pieces, piece)
            pieces = [piece for piece in pieces if area_m2(piece) > SAME_CORNER_M]
        for name, kind, foot_m, part in _parts(building, pieces, names.walls[side], names.gables[side]):
            frames = upright_frames(line_m, site.base_m + foot_m)
            patches: list[Patch] = [(0, piece) for piece in part]
            material, owner = building.wall_material, building.name
            faces.append(face_of(name, kind, material, frames=frames, patches=patches, owner=owner))
    return faces, shared, problems


def _round_wall(building: Building, footprint: Footprint, slopes: Sequence[Slope], base_m: float) -> Face:
    """The wall of a round building: one face of a stretch a side."""
    frames = upright_frames(np.vstack([footprint.corners_m, footprint.corners_m[:1]]), base_m)
    patches: list[Patch] = []
    for side, frame in enumerate(frames):
        pieces = _wall_pieces(building, footprint, slopes, side)
        patches.extend((side, piece) for piece in moved(pieces, left_m=frame.left_m))
    material, owner = building.wall_material, building.name
    return face_of("wall", "wall", material, frames=frames, patches=patches, owner=owner)


def _parts(
    building: Building, pieces: list[Piece], wall: str, gable: str
) -> Iterator[tuple[str, str, float, list[Piece]]]:
    """A wall, or it up to the eaves and its gable, where that is named: name, kind, foot and pieces of each."""
    eaves_m = building.eaves_m
    top_m = max((up for piece in pieces for _, up in piece), default=0.0)
    if gable not in building.materials or top_m <= eaves_m + SAME_CORNER_M:
        if pieces:
            yield wall, "wall", 0.0, pieces
        return
    below = [part for piece in pieces if (part := clip(piece, 0.0, -1.0, -eaves_m))]
    above = [part for piece in pieces if (part := clip(piece, 0.0, 1.0, eaves_m))]
    if below:
        yield wall, "wall", 0.0, below
    yield gable, "gable", eaves_m, moved(above, up_m=-eaves_m)


def _wall_pieces(building: Building, footprint: Footprint, slopes: Sequence[Slope], side: int) -> list[Piece]:
    """A wall from the foot up to the roof, and from there to the top of the parapet where that is higher."""
    start_m, end_m = footprint.corners_m[side], footprint.ends_m[side]
    length_m = float(np.hypot(*(end_m - start_m)))
    stretches = roof_over(start_m, end_m, slopes)
    highest = max((slope.gradient @ -footprint.outside[side] for slope in slopes), default=0.0)
    below_upright = building.roof == "saw-tooth" and highest < -SAME_CORNER_M
    if not stretches or below_upright:  # the last upright of a saw-tooth stands on this wall
        stretches = [(0.0, building.eaves_m, length_m, building.eaves_m)]
    stretches[0] = (0.0, *stretches[0][1:])
    stretches[-1] = (*stretches[-1][:2], length_m, stretches[-1][3])
    top_m = building.eaves_m + building.parapet_m
    if not slopes or not building.parapet_m:
        return upright_pieces(raised(stretches, top_m), foot_m=0.0)
    # Nothing above the deck sees the wall below it: as one piece both would reflect as far as the ground.
    return [*upright_pieces(stretches, foot_m=0.0), *parapet_pieces(stretches, top_m)]


def _seen_from(frame: Frame, host: Face) -> Iterator[Piece]:
    """The pieces of another building's wall, before openings, as places on a wall that stands against it."""
    for number, piece in host.whole:
        places = frame.places_m(host.frames[number].points_m(piece))
        yield tuple((float(left), float(up)) for left, up, _ in places[::-1])  # seen from the other side


def cut_by_host(uprights: Sequence[Face], host_walls: Sequence[Face]) -> list[Face]:
    """Leave out of the uprights of a saw-tooth roof what stands in the plane of the wall that it is joined to."""
    if not host_walls:
        return list(uprights)
    wall = host_walls[0].frames[0]
    left = []
    for face in uprights:
        (frame,) = face.frames
        if (
            abs(float((frame.origin_m - wall.origin_m) @ wall.outside)) > SAME_CORNER_M
            or abs(float(frame.along @ wall.outside)) > SAME_CORNER_M
        ):
            left.append(face)
            continue
        pieces = [piece for _, piece in face.patches]
        for hole in (piece for host in host_walls for piece in _seen_from(frame, host)):
            pieces = without(pieces, hole)
        patches: list[Patch] = [(0, piece) for piece in pieces if area_m2(piece) > SAME_CORNER_M]
        if patches:
            left.append(replace(with_patches(face, patches), whole=tuple(patches)))
    return left


def _too_high(
    building: Building, pieces: Sequence[Piece], hosts: Sequence[Piece], name: str
) -> Iterator[tuple[str, str]]:
    """A mono-pitch roof that meets the wall above its top."""
    if building.roof != "mono-pitch":
        return
    length_m = max(left for piece in pieces for left, _ in piece)
    marks = {left for piece in (*pieces, *hosts) for left, _ in piece if 0.0 <= left <= length_m}
    tops_m = (max((up for piece in hosts for up in reaches_up_m(piece, mark)), default=0.0) for mark in marks)
    meets_m, top_m = max(up for piece in pieces for _, up in piece), min(tops_m)
    if meets_m > top_m + SAME_CORNER_M:
        above = f'mono-pitch meets "{name}" {meets_m:.2f} m up, {meets_m - top_m:.2f} m above its top'
        yield "pitch_deg" if building.ridge_m is None else "ridge_m", f"{above}; lower it, or draw it beside"
