"""One building as faces: its walls, its roof, and what is inside."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product

import numpy as np

from survey.base import polygon
from survey.base.arrays import FloatArray
from survey.base.errors import EntryError, did_you_mean
from survey.inputs.buildings.convex import SAME_CORNER_M, piece_of
from survey.inputs.buildings.entry import GLAZING, Building
from survey.inputs.buildings.faces import Face, Frame, Patch, face_of, rectangle, upright_frames
from survey.inputs.buildings.footprints import JOINT_M, Footprint
from survey.inputs.buildings.inner import Inside, inner_faces, level_faces
from survey.inputs.buildings.openings import numbered, with_openings
from survey.inputs.buildings.roofs import Layout, laid_out, roof_of
from survey.inputs.buildings.slopes import Slope
from survey.inputs.buildings.walls import Names, Site, cut_by_host, walls_of
from survey.inputs.plan.opening import Opening

Problems = list[tuple[str, str]]
MIN_EAVES_M = 0.05
"""A lowest edge that is shorter is no eaves: a mono-pitch roof may fall to a corner. [m]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Body:
    """A building with its faces.

    Attributes
    ----------
    building : Building
        What the plan says.
    footprint : Footprint
        Its corners and sides, squared where its roof needs it.
    base_m : float
        Height of its foot. [m]
    slopes : sequence of Slope
        The planes of its roof; none without one.
    faces : tuple of Face
        Walls in the order of the sides, roof, levels, inner walls, each followed by its openings.
    shared : mapping of str to str
        The name of a wall that is another building's, and whose.
    carrier : str
        The building, box or wall that it is joined to, beside or on; empty for none.
    """

    building: Building
    footprint: Footprint
    base_m: float
    slopes: Sequence[Slope]
    faces: tuple[Face, ...]
    shared: Mapping[str, str] = field(default_factory=dict)
    carrier: str = ""

    def roof_height_m(self, points_m: FloatArray) -> FloatArray:
        """Return the height of the roof over points in plan, or of the eaves without one; NaN outside the walls.

        Parameters
        ----------
        points_m : ndarray of float, shape (n, 2)
            Points in plan. [m]

        Returns
        -------
        ndarray of float, shape (n,)
            Heights above the plan's zero. [m]
        """
        points_m = np.asarray(points_m, dtype=np.float64).reshape(-1, 2)
        top_m = self.building.eaves_m + (0.0 if self.slopes else self.building.parapet_m)
        heights_m = np.where(polygon.contains(self.footprint.corners_m, points_m), self.base_m + top_m, np.nan)
        for slope in self.slopes:
            for piece in slope.inside:
                within = polygon.contains(np.array(piece), points_m)
                heights_m[within] = self.base_m + points_m[within] @ slope.gradient + slope.level_m
        return heights_m


def body_of(building: Building, site: Site, *, tolerance_m: float, joint_m: float = JOINT_M) -> Body:
    """Build a building.

    Parameters
    ----------
    building : Building
        What the plan says.
    site : Site
        Where it stands.
    tolerance_m : float
        How far corners may be moved to square them. [m]
    joint_m : float
        Inner walls that end nearer than this to a wall end on it. [m]

    Raises
    ------
    EntryError
        With everything that is wrong with it.
    """
    layout = laid_out(building, site.footprint, tolerance_m)
    footprint = layout.footprint
    names = Names.of(building, footprint)
    problems: Problems = []
    if building.side_names and len(building.side_names) != len(footprint.order):
        sides = f"the footprint has {len(footprint.order)} sides; write one a side"
        problems.append(("side_names", f"holds {len(building.side_names)} texts, but {sides}"))
    gables = _gable_sides(building, names, problems)
    if problems:
        raise EntryError(problems)
    slopes, upright_faces = _roof(building, layout, gables, names, site.base_m)
    upright_faces = cut_by_host(upright_faces, site.host_walls)
    walls, shared, told = walls_of(building, footprint, slopes, names=names, site=site)
    problems.extend(told)
    faces = [*walls, *_roof_faces(building, slopes, names, site.base_m), *upright_faces]
    faces = _of_materials(building, faces, shared, problems)
    inside = Inside(building=building, footprint=footprint, slopes=slopes, base_m=site.base_m, joint_m=joint_m)
    levels, told = level_faces(inside)
    problems.extend(told)
    straight = [] if building.across_m is not None else names.walls
    inner, told = inner_faces(inside, {name: side for side, name in enumerate(straight)})
    problems.extend(told)
    faces = _opened(building, faces, shared, problems)
    faces.extend(levels)
    for face in inner:
        wall = next(one for one in building.inner_wall if one.name == face.short_name)
        whole, leaves, told = with_openings(face, numbered(wall.opening))
        problems.extend((f'inner_wall "{wall.name}": {key}', problem) for key, problem in told)
        faces.extend([whole, *leaves])
    problems.extend(_repeated(faces))
    if problems:
        raise EntryError(problems)
    return Body(
        building=building,
        footprint=footprint,
        base_m=site.base_m,
        slopes=slopes,
        faces=tuple(welded(faces)),
        shared=shared,
        carrier=site.carrier,
    )


def _gable_sides(building: Building, names: Names, problems: Problems) -> list[int]:
    """The sides of a hip roof that are gables, in the order written."""
    sides = []
    for name in building.gables:
        if name in names.walls:
            sides.append(names.walls.index(name))
        else:
            hint = did_you_mean(name, names.walls) or f"; its walls are {', '.join(names.walls)}"
            problems.append(("gables", f'"{name}" is not a wall of this building{hint}'))
    return sides


def _roof(
    building: Building, layout: Layout, gables: Sequence[int], names: Names, base_m: float
) -> tuple[list[Slope], list[Face]]:
    """The slopes of the roof, and the upright faces between its teeth."""
    roof = roof_of(building, layout, gables=gables)
    material = building.glazing_material or GLAZING
    faces = []
    for number, upright in enumerate(roof.uprights, start=1):
        stem = names.walls[upright.side].removesuffix(" wall")
        frames = upright_frames(upright.ends_m, base_m + upright.foot_m)
        piece = rectangle(0.0, 0.0, frames[0].length_m, upright.top_m - upright.foot_m)
        name = f"{stem} glazing {number}"
        faces.append(face_of(name, "glazing", material, frames=frames, patches=[(0, piece)], owner=building.name))
    return roof.slopes, faces


def _roof_faces(building: Building, slopes: Sequence[Slope], names: Names, base_m: float) -> list[Face]:
    faces = []
    for number, slope in enumerate(slopes, start=1):
        if slope.side is None:
            name = "roof"
        elif building.roof == "saw-tooth":
            name = f"{names.walls[slope.side].removesuffix(' wall')} roof {number}"
        else:
            name = names.roofs[slope.side]
        frame = _slope_frame(slope, base_m)
        patches: list[Patch] = [(0, piece_of(frame.places_over_m(piece))) for piece in slope.pieces]
        faces.append(face_of(name, "roof", building.covering, frames=[frame], patches=patches, owner=building.name))
    return faces


def _slope_frame(slope: Slope, base_m: float) -> Frame:
    """The frame of a plane of a roof: its left end is that of its lowest edge; where that is a corner, that of all."""
    rise = float(np.hypot(*slope.gradient))
    along = slope.along
    inward = np.array([-along[1], along[0]])
    up = np.array([inward[0], inward[1], rise]) / np.hypot(1.0, rise)
    if slope.left_m is not None:
        left_m, length_m = slope.left_m, slope.length_m
    else:
        corners_m = np.array([point for piece in slope.pieces for point in piece])
        inward_m, along_m = corners_m @ inward, corners_m @ along
        low_m = float(inward_m.min())
        lowest = along_m[inward_m <= low_m + SAME_CORNER_M]
        if np.ptp(lowest) < MIN_EAVES_M:
            lowest = along_m
        left_m = float(lowest.min()) * along + low_m * inward
        length_m = float(lowest.max() - lowest.min())
    level = np.append(along, 0.0)
    return Frame(
        origin_m=np.append(left_m, base_m + slope.height_m(*map(float, left_m))),
        along=level,
        up=up,
        outside=np.cross(level, up),
        length_m=length_m,
    )


def _of_materials(
    building: Building, faces: Sequence[Face], shared: Mapping[str, str], problems: Problems
) -> list[Face]:
    """Give single faces their own materials."""
    known = [face.short_name for face in faces]
    for name in building.materials:
        if name not in known:
            if name in shared:
                problem = f'"{name}" is shared with "{shared[name]}"; write its material there'
            else:
                hint = did_you_mean(name, known) or f"; its faces are {', '.join(known)}"
                problem = f'"{name}" is not a face of this building{hint}'
            problems.append(("materials", problem))
    return [replace(face, material=building.materials.get(face.short_name, face.material)) for face in faces]


def _opened(building: Building, faces: Sequence[Face], shared: Mapping[str, str], problems: Problems) -> list[Face]:
    """Cut the openings of walls and roofs."""
    by_face: dict[str, list[tuple[str, Opening]]] = {}
    known = {face.short_name: face for face in faces}
    for place, opening in numbered(building.opening):
        if opening.on in shared:
            host = shared[opening.on]
            owner = host.rpartition("/")[0]
            problems.append((f"{place}: on", f'"{opening.on}" is shared; write the opening in "{owner}", on "{host}"'))
        elif opening.on not in known:
            problems.append((f"{place}: on", unknown_face(opening.on, list(known.values()))))
        else:
            by_face.setdefault(opening.on, []).append((place, opening))
    done: list[Face] = []
    for face in faces:
        whole, leaves, told = with_openings(face, by_face.get(face.short_name, []))
        problems.extend(told)
        done.extend([whole, *leaves])
    return done


def unknown_face(name: str, faces: Sequence[Face]) -> str:
    """Say why a building has no face of that name: there are several that are numbered, or none that is near.

    Parameters
    ----------
    name : str
        Name within the building.
    faces : sequence of Face
        Those that would do.
    """
    alike = [face for face in faces if face.short_name.rpartition(" ")[0] == name and face.short_name[-1].isdigit()]
    if len(alike) > 1:
        where = ", ".join(
            f'"{face.short_name}" at {face.frames[0].origin_m[0]:.1f}, {face.frames[0].origin_m[1]:.1f} '
            f"({face.length_m:.1f} m long)"
            for face in alike
        )
        counts = {2: "two", 3: "three", 4: "four"}
        return f"has {counts.get(len(alike), str(len(alike)))} {name}s: {where}"
    known = [face.short_name for face in faces]
    return f'"{name}" is not known{did_you_mean(name, known) or "; write one of " + ", ".join(known)}'


def _repeated(faces: Sequence[Face]) -> Iterator[tuple[str, str]]:
    seen: set[str] = set()
    for face in faces:
        if face.name in seen:
            yield "name", f'two faces are named "{face.name}"; give the opening, level or inner wall another name'
        seen.add(face.name)


def welded(faces: Sequence[Face]) -> list[Face]:
    """Give corners that differ by rounding only the very same coordinates."""
    sheets = [sheet for face in faces for sheet in face.sheets_m]
    points_m = np.vstack(sheets)
    for shift in product((0.0, 0.5), repeat=3):  # in one of these grids no two such corners lie in different cells
        cells = np.floor(points_m / SAME_CORNER_M + shift)
        _, first, which = np.unique(cells, axis=0, return_index=True, return_inverse=True)
        points_m = points_m[first[which.ravel()]]
    parts = iter(np.split(points_m, np.cumsum([len(sheet) for sheet in sheets])[:-1]))
    return [replace(face, sheets_m=tuple(next(parts) for _ in face.sheets_m)) for face in faces]
