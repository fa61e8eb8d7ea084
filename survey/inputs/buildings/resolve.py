"""All buildings of a plan, whichever stands on, against or beside which, and every fault at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.errors import EntryError, Fault, PlanError, did_you_mean
from survey.base.units import direction_of_bearing
from survey.inputs.buildings.body import Body, body_of
from survey.inputs.buildings.convex import SAME_CORNER_M, Piece, piece_of, without
from survey.inputs.buildings.entry import Building
from survey.inputs.buildings.faces import Face, with_patches
from survey.inputs.buildings.footprints import (
    JOINT_M,
    Footprint,
    footprint_of,
    free_footprint,
    joined_footprint,
    tolerance_m,
    written_footprint,
)
from survey.inputs.buildings.lookup import BuildingFaces, face_in, owner_in
from survey.inputs.buildings.walls import Site
from survey.inputs.plan.kinds import area_faults

MAX_SHEETS = 100_000
"""Of all buildings of a plan, for time and memory: a judgement."""
DRAWN_WITHIN_M = 0.10
"""How far from where it is written a thing stands in 95 of 100 cases, where the plan says nothing: a tape. [m]"""
Outline = Callable[[str], FloatArray]
OtherFace = Callable[[str], Face | None]


def faces_of(
    buildings: Sequence[Building],
    *,
    file: str = "",
    joint_m: float | None = None,
    drawn_within_m: float = DRAWN_WITHIN_M,
    outline: Outline | None = None,
    other_face: OtherFace | None = None,
) -> BuildingFaces:
    """Build the buildings of a plan, in whatever order they stand in it.

    Parameters
    ----------
    buildings : sequence of Building
        As the plan lists them.
    file : str
        The plan's file, for messages.
    joint_m, drawn_within_m : float
        Of ``[site]``. [m]
    outline : callable, optional
        Gives the corners of an outline of a drawing, shape (n, 2), by what ``from`` says; may raise `EntryError`.
    other_face : callable, optional
        Gives a face of a box or loose wall by its name, or None. It may itself ask for faces of buildings by
        `Resolver.face`.

    Raises
    ------
    PlanError
        With everything that is wrong with any of them.
    """
    resolver = Resolver(
        buildings,
        file=file,
        joint_m=joint_m,
        drawn_within_m=drawn_within_m,
        outline=outline,
        other_face=other_face,
    )
    return resolver.all()


class Resolver:
    """Builds buildings as they are asked for, each once, so that they may refer to one another in any order."""

    def __init__(
        self,
        buildings: Sequence[Building],
        *,
        file: str = "",
        joint_m: float | None = None,
        drawn_within_m: float = DRAWN_WITHIN_M,
        outline: Outline | None = None,
        other_face: OtherFace | None = None,
    ) -> None:
        self.file = file
        self.joint_m = joint_m
        self.drawn_within_m = drawn_within_m
        self.outline = outline
        self.other_face = other_face
        self.faults: list[Fault] = []
        self._entries = {building.name: (number, building) for number, building in enumerate(buildings, start=1)}
        self._bodies: dict[str, Body | None] = {}
        self._open: list[str] = []

    def all(self) -> BuildingFaces:
        """Build all of them.

        Raises
        ------
        PlanError
            With everything that is wrong with any of them.
        """
        made = {name: self.body(name) for name in self._entries}
        numbers = {self._place(name): number for name, (number, _) in self._entries.items()}
        self.faults.sort(key=lambda fault: numbers.get(fault.place, 0))
        if not self.faults:
            bodies = _with_overhangs_cut({name: body for name, body in made.items() if body is not None})
            count = sum(len(face.sheets_m) for body in bodies.values() for face in body.faces if not face.is_open)
            if count <= MAX_SHEETS:
                return BuildingFaces(bodies=bodies)
            problem = f"make {count} sheets; a plan may have {MAX_SHEETS} of them"
            self.faults.append(Fault(file=self.file, place="[[building]]", problem=problem))
        raise PlanError(self.faults)

    def body(self, name: str) -> Body | None:
        """Return a building with its faces; None where there is a fault, in it or in what it refers to."""
        chain = {name: None}  # a set that keeps its order
        while (host := self._host(next(reversed(chain)))) and not (host in chain or host in self._bodies):
            chain[host] = None
        if host in chain:
            names = [*chain]
            self._tell_ring([*names[names.index(host) :], host])
        for link in reversed(chain):  # hosts first: a long row of buildings must not nest as deep as it is long
            if link not in self._bodies:
                self._build(link)
        return self._bodies[name]

    def _host(self, name: str) -> str:
        """The building that another refers to, or nothing."""
        return next((owner_in(reference, self._entries) for _, reference in _references(self._entries[name][1])), "")

    def _tell_ring(self, names: Sequence[str]) -> None:
        """Tell of a ring at the first of its members; all of them are done with."""
        key = next((key for key, _ in _references(self._entries[names[0]][1])), "")
        ring = " -> ".join(names)
        self._tell(names[0], [(key, f"they stand on each other in a ring: {ring}; place one of them by its corner")])
        self._bodies.update(dict.fromkeys(names))

    def _build(self, name: str) -> None:
        _, building = self._entries[name]
        if name in self._open:  # by way of boxes
            self._tell_ring([*self._open[self._open.index(name) :], name])
            return
        self._open.append(name)
        body = None
        try:
            site = self._site(building)
            if site is not None:
                joint_m = JOINT_M if self.joint_m is None else self.joint_m
                body = body_of(building, site, tolerance_m=self._tolerance_m(building), joint_m=joint_m)
        except EntryError as error:
            self._tell(name, error.problems)
        self._open.pop()
        self._bodies.setdefault(name, body)  # a ring told meanwhile stays told

    def face(self, name: str) -> Face | None:
        """Return a face by its whole name; None where its building has a fault, which is told already.

        Raises
        ------
        EntryError
            Where there is no such face: one problem without a key.
        """
        owner = owner_in(name, self._entries)
        if not owner:
            other = self.other_face(name) if self.other_face is not None else None
            if other is None:
                known = [*self._entries]
                if name in self._entries:
                    raise EntryError([("", f'"{name}" is a building; write one of its faces, "{name}/FACE"')])
                hint = did_you_mean(name.partition("/")[0], known) or "; write BUILDING/FACE or BOX/SIDE"
                raise EntryError([("", f'"{name}" is not known{hint}')])
            return other
        if "/" in owner:
            raise EntryError([("", f'"{owner}" holds "/" and is referred to; give that building a name without')])
        body = self.body(owner)
        return None if body is None else face_in(body, name[len(owner) + 1 :])

    def _tell(self, name: str, problems: Sequence[tuple[str, str]]) -> None:
        place = self._place(name)
        self.faults.extend(Fault(file=self.file, place=place, key=key, problem=problem) for key, problem in problems)

    def _place(self, name: str) -> str:
        return f'[[building]] {self._entries[name][0]} "{name}"'

    def _tolerance_m(self, building: Building) -> float:
        return tolerance_m(building, joint_m=self.joint_m, drawn_within_m=self.drawn_within_m)

    def _carrier(self, key: str, name: str) -> Face | None:
        """What a building refers to, of the kind that it needs."""
        try:
            face = self.face(name)
        except EntryError as error:
            raise EntryError([(key, problem) for _, problem in error.problems]) from None
        if face is None:
            return None
        problem = None
        if key == "on":
            if face.frames[0].outside[2] <= SLOPES_UP or face.kind == "level":
                problem = "is not a roof or top"
        elif face.kind not in ("wall", "side") or face.frames[0].outside[2] > SLOPES_UP:
            problem = "is not a wall"
        elif len(face.frames) > 1:
            problem = "turns corners; a building needs a straight wall"
        if problem:
            raise EntryError([(key, f'"{name}" {problem}')])
        return face

    def _site(self, building: Building) -> Site | None:
        """Where a building stands; None where what it refers to has a fault."""
        reference = next(_references(building), None)
        if reference is None:
            return Site(footprint=self._footprint(building, None), base_m=building.base_m or 0.0)
        key, name = reference
        face = self._carrier(key, name)
        if face is None:
            return None
        carrier = name.rpartition("/")[0] or name
        foot_m = float(face.frames[0].origin_m[2]) if building.base_m is None else building.base_m
        if key == "against":
            host = self._bodies.get(carrier)
            if host is None:
                raise EntryError([(key, f'"{name}" is not a wall of a building; write beside')])
            top_m = float(face.frames[0].origin_m[2]) + face.height_m
            if foot_m > top_m - SAME_CORNER_M:
                raise EntryError([("base_m", f'{foot_m:.2f} m is not below the top of "{name}", {top_m:.2f} m')])
            walls = tuple(one for one in host.faces if one is face or _in_plane(one, face))
            footprint = joined_footprint(building, face)
            return Site(footprint=footprint, base_m=foot_m, host_walls=(face, *walls), carrier=carrier)
        if key == "beside":
            return Site(footprint=free_footprint(building, face), base_m=foot_m, carrier=carrier)
        footprint = self._footprint(building, face.frames[0].along[:2])
        return Site(footprint=footprint, base_m=_stands_at_m(footprint, face), carrier=carrier)

    def _footprint(self, building: Building, along: FloatArray | None) -> Footprint:
        if building.from_ is not None:
            if self.outline is None:
                raise EntryError([("from", f'"{building.from_}" is not an outline of a drawing of this plan')])
            corners_m = np.asarray(self.outline(building.from_), dtype=np.float64)
            problems = list(area_faults("from", piece_of(corners_m)))
            if problems:
                raise EntryError(problems)
            return footprint_of(corners_m)
        if along is None:
            along = direction_of_bearing(building.bearing_deg or 0.0)
        return written_footprint(building, along, self._tolerance_m(building))


def _references(building: Building) -> Iterator[tuple[str, str]]:
    """What a building refers to, with the key."""
    for key in ("against", "beside", "on"):
        value = getattr(building, key)
        if value is not None:
            yield key, value


SLOPES_UP = 1e-6
"""A face whose outside looks up by more than this is a roof, a top or a level. [-]"""


def _in_plane(one: Face, wall: Face) -> bool:
    """Whether a face is a wall, gable or glazing in the plane of another wall, beside or above it."""
    if one.kind not in ("wall", "gable", "glazing") or len(one.frames) > 1:
        return False
    own, frame = one.frames[0], wall.frames[0]
    off_m = float((own.origin_m - frame.origin_m) @ frame.outside)
    return float(own.outside @ frame.outside) > 1.0 - SLOPES_UP and abs(off_m) <= SLOPES_UP


def _stands_at_m(footprint: Footprint, face: Face) -> float:
    """The height of the lowest point of a roof under a building that stands on it."""
    frame = face.frames[0]
    places = frame.places_over_m(footprint.corners_m)
    for number, side in enumerate(footprint.order, start=1):
        left_m, up_m = map(float, places[side])
        beyond_m = face.beyond_m(left_m=left_m, up_m=up_m)
        if beyond_m > SAME_CORNER_M:
            x, y = footprint.corners_m[side]
            at = f"the corner at {x:.2f}, {y:.2f} (of side {number})"
            raise EntryError([("on", f'{at} lies {beyond_m:.2f} m beyond the edge of "{face.name}"')])
    return float(frame.points_m(places)[:, 2].min())


def _with_overhangs_cut(bodies: dict[str, Body]) -> dict[str, Body]:
    """End the overhang of a building's roof where another is joined to it."""
    cut = dict(bodies)
    for body in bodies.values():
        host = cut.get(body.carrier)
        if body.footprint.shared is None or host is None or not host.building.overhang_m:
            continue
        strip = piece_of(body.footprint.corners_m)
        cut[body.carrier] = replace(host, faces=tuple(_without_strip(host.faces, strip)))
    return cut


def _without_strip(faces: Sequence[Face], strip: Piece) -> Iterator[Face]:
    for face in faces:
        if face.kind != "roof":
            yield face
            continue
        hole = piece_of(face.frames[0].places_over_m(strip))
        whole = tuple((0, piece) for piece in without([piece for _, piece in face.whole], hole))
        left = [(0, piece) for piece in without([piece for _, piece in face.patches], hole)]
        yield replace(with_patches(face, left), whole=whole)
