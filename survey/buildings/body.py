"""One building as faces: its walls, its roof, and what is inside."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from survey.buildings.compass import part_names
from survey.buildings.convex import SAME_CORNER_M, Piece, area_m2, clip, parts_of, without
from survey.buildings.entry import GLAZING, Building, Opening
from survey.buildings.faces import OPEN, Face, Frame, Patch, face_of, rectangle, upright_frames
from survey.buildings.footprints import JOINT_M, Footprint
from survey.buildings.inner import Inside, flat_piece, inner_faces, level_faces, level_frame
from survey.buildings.openings import numbered, with_openings
from survey.buildings.roofs import Layout, Slope, laid_out, roof_of
from survey.buildings.uprights import raised, roof_over, upright_pieces
from survey.errors import EntryError, did_you_mean
from survey.polygon import LEAST_AREA_M2, FloatArray

Problems = list[tuple[str, str]]


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
        from survey import polygon  # noqa: PLC0415

        points_m = np.asarray(points_m, dtype=np.float64).reshape(-1, 2)
        top_m = self.building.eaves_m + (0.0 if self.slopes else self.building.parapet_m)
        heights_m = np.where(polygon.contains(self.footprint.corners_m, points_m), self.base_m + top_m, np.nan)
        for slope in self.slopes:
            for piece in slope.inside:
                within = polygon.contains(np.array(piece), points_m)
                heights_m[within] = self.base_m + points_m[within] @ slope.gradient + slope.level_m
        return heights_m


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
class _Names:
    """What the parts of a building are called, by side."""

    walls: list[str]
    roofs: list[str]
    gables: list[str]

    @classmethod
    def of(cls, building: Building, footprint: Footprint) -> _Names:
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
    names = _Names.of(building, footprint)
    problems: Problems = []
    if building.side_names and len(building.side_names) != len(footprint.order):
        sides = f"the footprint has {len(footprint.order)} sides; write one a side"
        problems.append(("side_names", f"holds {len(building.side_names)} texts, but {sides}"))
    gables = _gable_sides(building, names, problems)
    if problems:
        raise EntryError(problems)
    slopes, upright_faces = _roof(building, layout, gables, names, site.base_m)
    walls, shared = _walls(building, footprint, slopes, names, site, problems)
    faces = [*walls, *_roof_faces(building, footprint, slopes, names, site.base_m), *upright_faces]
    faces = _of_materials(building, faces, shared, problems)
    inside = Inside(building=building, footprint=footprint, slopes=slopes, base_m=site.base_m, joint_m=joint_m)
    levels, told = level_faces(inside)
    problems.extend(told)
    sides = {} if building.across_m is not None else {name: side for side, name in enumerate(names.walls)}
    inner, told = inner_faces(inside, sides)
    problems.extend(told)
    faces = _opened(building, faces, shared, problems)
    faces.extend(levels)
    for face in inner:
        wall = next(one for one in building.inner_wall if one.name == face.short_name)
        whole, leaves, told = with_openings(face, numbered(wall.opening), prefix=f"{building.name}/")
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


def _gable_sides(building: Building, names: _Names, problems: Problems) -> list[int]:
    """The sides of a hip roof that are gables, in the order written."""
    sides = []
    for name in building.gables:
        if name in names.walls:
            sides.append(names.walls.index(name))
        else:
            hint = did_you_mean(name, names.walls) or f"; its walls are {', '.join(names.walls)}"
            problems.append(("gables", f'"{name}" is no wall of this building{hint}'))
    return sides


def _roof(
    building: Building, layout: Layout, gables: Sequence[int], names: _Names, base_m: float
) -> tuple[list[Slope], list[Face]]:
    """The slopes of the roof, and the upright faces between its teeth."""
    roof = roof_of(building, layout, gables=gables)
    material = building.glazing_material or GLAZING
    faces = []
    for number, upright in enumerate(roof.uprights, start=1):
        stem = names.walls[upright.side].removesuffix(" wall")
        frames = upright_frames(upright.ends_m, base_m + upright.foot_m)
        piece = rectangle(0.0, 0.0, frames[0].length_m, upright.top_m - upright.foot_m)
        faces.append(face_of(f"{building.name}/{stem} glazing {number}", "glazing", material, frames, [(0, piece)]))
    return roof.slopes, faces


def _roof_faces(
    building: Building, footprint: Footprint, slopes: Sequence[Slope], names: _Names, base_m: float
) -> list[Face]:
    faces = []
    for number, slope in enumerate(slopes, start=1):
        if slope.side is None:
            name = "roof"
        elif building.roof == "saw-tooth":
            name = f"{names.walls[slope.side].removesuffix(' wall')} roof {number}"
        else:
            name = names.roofs[slope.side]
        frame = _slope_frame(slope, base_m)
        patches: list[Patch] = [(0, flat_piece(frame, piece)) for piece in slope.pieces]
        faces.append(face_of(f"{building.name}/{name}", "roof", building.covering, [frame], patches))
    return faces


def _slope_frame(slope: Slope, base_m: float) -> Frame:
    """The frame of a plane of a roof: its left end is that of its lowest edge."""
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


def _walls(
    building: Building,
    footprint: Footprint,
    slopes: Sequence[Slope],
    names: _Names,
    site: Site,
    problems: Problems,
) -> tuple[list[Face], dict[str, str]]:
    """The walls, and the gables that are apart from them; and the names of walls that are another building's."""
    faces: list[Face] = []
    shared: dict[str, str] = {}
    if building.across_m is not None:
        order = list(range(len(footprint.corners_m)))
        line_m = np.vstack([footprint.corners_m, footprint.corners_m[:1]])
        frames = upright_frames(line_m, site.base_m)
        patches: list[Patch] = []
        for side in order:
            pieces = _wall_pieces(building, footprint, slopes, side)
            patches.extend((side, tuple((x + frames[side].left_m, y) for x, y in piece)) for piece in pieces)
        return [face_of(f"{building.name}/wall", "wall", building.wall_material, frames, patches)], shared
    for side in footprint.order:
        line_m = np.array([footprint.corners_m[side], footprint.ends_m[side]])
        frames = upright_frames(line_m, site.base_m)
        pieces = _wall_pieces(building, footprint, slopes, side)
        name, gable = names.walls[side], names.gables[side]
        if side == footprint.shared:
            problems.extend(_too_high(building, pieces, frames[0], site))
            for host in site.host_walls:
                for piece in _seen_from(frames[0], host):
                    pieces = without(pieces, piece)
            pieces = [piece for piece in pieces if area_m2(piece) > SAME_CORNER_M]
            shared[name] = site.host_walls[0].name
        parts = [(name, "wall", 0.0, pieces)]
        if gable in building.materials and max((y for piece in pieces for _, y in piece), default=0.0) > building.eaves_m:
            eaves_m = building.eaves_m
            low = [part for piece in pieces if (part := clip(piece, 0.0, -1.0, -eaves_m))]
            high = [part for piece in pieces if (part := clip(piece, 0.0, 1.0, eaves_m))]
            lifted = [tuple((x, y - eaves_m) for x, y in piece) for piece in high]
            parts = [(name, "wall", 0.0, low), (gable, "gable", eaves_m, lifted)]
        for part_name, kind, foot_m, part in parts:
            if part:
                own = upright_frames(line_m, site.base_m + foot_m)
                patches = [(0, piece) for piece in part]
                faces.append(face_of(f"{building.name}/{part_name}", kind, building.wall_material, own, patches))
    return faces, shared


def _wall_pieces(building: Building, footprint: Footprint, slopes: Sequence[Slope], side: int) -> list[Piece]:
    """A wall from the foot up to the roof, or to the parapet where that is higher."""
    start_m, end_m = footprint.corners_m[side], footprint.ends_m[side]
    length_m = float(np.hypot(*(end_m - start_m)))
    stretches = roof_over(start_m, end_m, slopes)
    highest = max((slope.gradient @ -footprint.outside[side] for slope in slopes), default=0.0)
    below_upright = building.roof == "saw-tooth" and highest < -SAME_CORNER_M
    if not stretches or below_upright:  # the last upright of a saw-tooth stands on this wall
        stretches = [(0.0, building.eaves_m, length_m, building.eaves_m)]
    if building.parapet_m:
        stretches = raised(stretches, building.eaves_m + building.parapet_m)
    stretches[0] = (0.0, *stretches[0][1:])
    stretches[-1] = (*stretches[-1][:2], length_m, stretches[-1][3])
    return upright_pieces(stretches, foot_m=0.0)


def _seen_from(frame: Frame, host: Face) -> Iterator[Piece]:
    """The pieces of another building's wall, before openings, as places on a wall that stands against it."""
    for number, piece in host.whole:
        places = frame.places_m(host.frames[number].points_m(piece))
        yield tuple((float(left), float(up)) for left, up, _ in places[::-1])  # seen from the other side


def _too_high(building: Building, pieces: Sequence[Piece], frame: Frame, site: Site) -> Iterator[tuple[str, str]]:
    """A mono-pitch roof that meets the wall above its top."""
    if building.roof != "mono-pitch":
        return
    hosts = [piece for host in site.host_walls for piece in _seen_from(frame, host)]
    marks = {x for piece in (*pieces, *hosts) for x, _ in piece if -SAME_CORNER_M <= x <= frame.length_m + SAME_CORNER_M}
    top_m = min(max((y for piece in hosts for y in _heights(piece, mark)), default=0.0) for mark in marks)
    meets_m = max(y for piece in pieces for _, y in piece)
    if meets_m > top_m + SAME_CORNER_M:
        name = site.host_walls[0].name
        above = f'mono-pitch meets "{name}" {meets_m:.2f} m up, {meets_m - top_m:.2f} m above its top'
        yield "pitch_deg" if building.ridge_m is None else "ridge_m", f"{above}; lower it, or draw it beside"


def _heights(piece: Piece, mark: float) -> Iterator[float]:
    for (x, y), (x_2, y_2) in zip(piece, (*piece[1:], piece[0]), strict=True):
        if min(x, x_2) - SAME_CORNER_M <= mark <= max(x, x_2) + SAME_CORNER_M:
            level = abs(x_2 - x) > SAME_CORNER_M
            yield y + (y_2 - y) * min(max((mark - x) / (x_2 - x), 0.0), 1.0) if level else max(y, y_2)


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
                problem = f'"{name}" is no face of this building{did_you_mean(name, known)}; its faces are {", ".join(known)}'
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
        elif known[opening.on].is_open:
            problems.append((f"{place}: on", f'"{opening.on}" is open: there is no sheet to cut'))
        else:
            by_face.setdefault(opening.on, []).append((place, opening))
    done: list[Face] = []
    for face in faces:
        whole, leaves, told = with_openings(face, by_face.get(face.short_name, []), prefix=f"{building.name}/")
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
    cells: dict[tuple[int, int, int], FloatArray] = {}

    def one(point_m: FloatArray) -> FloatArray:
        cell = np.floor(point_m / SAME_CORNER_M).astype(np.int64)
        for x in (0, -1, 1):
            for y in (0, -1, 1):
                for z in (0, -1, 1):
                    found = cells.get((int(cell[0]) + x, int(cell[1]) + y, int(cell[2]) + z))
                    if found is not None and np.abs(found - point_m).max() <= SAME_CORNER_M:
                        return found
        cells[int(cell[0]), int(cell[1]), int(cell[2])] = point_m
        return point_m

    return [replace(face, sheets_m=tuple(np.array([one(p) for p in sheet]) for sheet in face.sheets_m)) for face in faces]
