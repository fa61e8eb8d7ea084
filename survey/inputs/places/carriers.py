"""What things stand on: the faces of buildings, boxes and loose sheets, in whatever order they stand in the plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar

from survey.base.errors import EntryError, PlanError, did_you_mean
from survey.inputs.buildings import Body, Building, BuildingFaces, Face, Resolver, without_on
from survey.inputs.buildings.lookup import owner_in
from survey.inputs.buildings.resolve import DRAWN_WITHIN_M, Outline
from survey.inputs.fields import Entry, keys_of
from survey.inputs.places.boxes import box_beside, box_on, faces_of_box, sized, trial
from survey.inputs.places.loose import roof_face, wall_faces
from survey.inputs.places.words import UNTOLD, Written
from survey.inputs.plan import Attached, Roof, Site, Wall

Fault = tuple[str, str, str]
"""Place, key and problem."""
E = TypeVar("E", bound=Entry)


@dataclass
class PlacedBox:
    """A box in the old words, with the faces that it has; `is_sound` only where nothing is wrong with it."""

    values: dict[str, Any]
    faces: list[Face] = field(default_factory=list)
    leaves: list[Face] = field(default_factory=list)
    attached: Attached | None = None
    is_sound: bool = False


class Carriers:
    """The faces of a plan by name, each built when it is first asked for.

    Parameters
    ----------
    buildings : sequence of (str, Building)
        Those that can be used, each with its place.
    boxes, walls, roofs : sequence of Written
        As the plan has them.
    broken : set of str
        Names of things with faults that are told already.
    site : Site or None
        Tolerances.
    outline : callable
        Gives an outline of a drawing.
    """

    def __init__(
        self,
        *,
        buildings: Sequence[tuple[str, Building]],
        boxes: Sequence[Written],
        walls: Sequence[Written],
        roofs: Sequence[Written],
        broken: set[str],
        site: Site | None,
        outline: Outline,
    ) -> None:
        self.faults: list[Fault] = []
        self.boxes, self.walls, self.roofs = boxes, walls, roofs
        self._box_numbers = {box.name: i for i, box in reversed(list(enumerate(boxes))) if box.name}
        self._walls = {wall.name: i for i, wall in reversed(list(enumerate(walls))) if wall.name}
        self._roofs = {roof.name: i for i, roof in reversed(list(enumerate(roofs))) if roof.name}
        self._broken = broken
        self._boxes: dict[int, PlacedBox] = {}
        self._open: list[int] = []
        self._loose: dict[str, Face | None] = {}
        self.wall_parts: dict[int, tuple[Face, list[Face]]] = {}
        self._places = {f'[[building]] {i} "{one.name}"': place for i, (place, one) in enumerate(buildings, start=1)}
        self._names = {one.name for _, one in buildings}
        self._resolver = Resolver(
            [one for _, one in buildings],
            joint_m=site.joint_m if site else None,
            drawn_within_m=DRAWN_WITHIN_M if site is None or site.drawn_within_m is None else site.drawn_within_m,
            outline=outline,
            other_face=self._other_face,
        )
        self.built = BuildingFaces(bodies={})

    def build(self) -> None:
        """Build everything, and gather what is wrong with buildings, boxes and openings."""
        try:
            self.built = self._resolver.all()
        except PlanError as error:
            told = ((self._places.get(fault.place, fault.place), fault.key, fault.problem) for fault in error.faults)
            self.faults.extend(dict.fromkeys(told))
        for number in range(len(self.boxes)):
            self.box(number)
        for number, wall in enumerate(self.walls):
            if entry_or_none(Wall, wall.rest) is None:
                self.faults.extend((wall.place, key, problem) for key, problem in wall.problems)
            elif "opening" in wall.given:
                self.opened_wall(number, wall)

    @property
    def known(self) -> list[str]:
        """Names of all that can carry something."""
        return [*self._names, *self._box_numbers, *self._walls, *self._roofs]

    def face(self, key: str, name: str) -> Face:
        """Return a face by its name.

        Raises
        ------
        EntryError
            Where there is none, for the key; without a problem where that is told already.
        """
        try:
            face = self._face(name)
        except EntryError as error:
            raise EntryError([(key, problem) for _, problem in error.problems]) from None
        if face is None:
            raise UNTOLD
        return face

    def _face(self, name: str) -> Face | None:
        if owner_in(name, dict.fromkeys(self._broken)) or name in self._broken:
            raise UNTOLD
        other = self._other_face(name)
        if other is not None:
            return other
        owner = owner_in(name, self.built.bodies)
        if owner and "/" not in owner:
            return self.built.face(name)
        if name in self._names:
            raise EntryError([("", f'"{name}" is a building; write one of its faces, "{name}/FACE"')])
        if owner_in(name, dict.fromkeys(self._names)):
            return self._resolver.face(name)
        raise EntryError([("", self.unknown(name))])

    def unknown(self, name: str) -> str:
        """Say that nothing is called so."""
        first = name.partition("/")[0]
        hint = did_you_mean(name, self.known) or did_you_mean(first, self.known)
        return f'"{name}" is not known{hint or "; write BUILDING/FACE, BOX/SIDE, or the name of a wall or roof"}'

    def _other_face(self, name: str) -> Face | None:
        """A face of what is no building; None where there is none of that name."""
        if name in self._walls:
            number = self._walls[name]
            return self.opened_wall(number, self.walls[number])[0]
        if name in self._roofs:
            return self._roof(name)
        if name in self._box_numbers:
            raise EntryError([("", f'"{name}" is a box; write one of its faces, "{name}/top" or "{name}/north side"')])
        owner = owner_in(name, self._walls)
        if owner:
            number = self._walls[owner]
            return _named(name, self.opened_wall(number, self.walls[number])[1], owner)
        owner = owner_in(name, self._box_numbers)
        if not owner:
            if owner_in(name, dict.fromkeys(self._broken)) or name in self._broken:
                raise UNTOLD
            return None
        if "/" in owner:
            raise EntryError([("", f'"{owner}" holds "/" and is referred to; give that box a name without')])
        box = self.box(self._box_numbers[owner])
        if not box.faces:
            raise UNTOLD
        return _named(name, [*box.faces, *box.leaves], owner)

    def body(self, key: str, name: str) -> tuple[Body, float, str]:
        """Return a building, the height of its foot or of the floor that is named, and the floor's name.

        Raises
        ------
        EntryError
            Where there is none.
        """
        owner = name if name in self._names else owner_in(name, dict.fromkeys(self._names))
        if not owner:
            if name.partition("/")[0] in self._broken:
                raise UNTOLD
            others = name in self._box_numbers or name in self._walls or name in self._roofs
            hint = did_you_mean(name.partition("/")[0], self._names) or "; write BUILDING or BUILDING/FLOOR"
            problem = "is no building; write at and height_m alone" if others else f"is not known{hint}"
            problem = f'"{name}" {problem}'
            raise EntryError([(key, problem)])
        if "/" in owner:
            raise EntryError([(key, f'"{owner}" holds "/" and is referred to; give that building a name without')])
        body = self.built.bodies.get(owner) or self._resolver.body(owner)  # where another building has a fault
        if body is None:
            raise UNTOLD
        if name == owner:
            return body, body.base_m, ""
        face = self.face(key, name)
        if face.kind != "level":
            floors = [one.short_name for one in body.faces if one.kind == "level"]
            hint = f"; its levels are {', '.join(floors)}" if floors else f'; write inside = "{owner}"'
            raise EntryError([(key, f'"{name}" is no level{hint}')])
        return body, float(face.frames[0].origin_m[2]), name

    def box(self, number: int) -> PlacedBox:
        """Return a box where it stands; boxes that it stands on are built first, however many there are."""
        if number in self._boxes:
            return self._boxes[number]
        chain = {number: None}
        while (host := self._host(next(reversed(chain)))) is not None and not (host in chain or host in self._boxes):
            chain[host] = None
        if host is not None and host in chain:
            ring = [*chain][[*chain].index(host) :]
            self._tell_ring([*ring, host])
        for link in reversed(chain):
            if link not in self._boxes:
                self._build_box(link)
        return self._boxes[number]

    def _host(self, number: int) -> int | None:
        """The box that another stands on or beside."""
        box = self.boxes[number]
        name = box.given.get("on") or box.given.get("beside")
        return self._box_numbers.get(owner_in(name, self._box_numbers)) if name else None

    def _tell_ring(self, numbers: Sequence[int]) -> None:
        first = self.boxes[numbers[0]]
        ring = " -> ".join(self.boxes[i].name or "box" for i in numbers)
        key = "on" if "on" in first.given else "beside"
        problem = f"they stand on each other in a ring: {ring}; place one of them by its centre"
        self.faults.append((first.place, key, problem))
        self._boxes.update({i: PlacedBox(values=dict(self.boxes[i].rest)) for i in numbers})

    def _build_box(self, number: int) -> None:
        if number in self._open:  # by way of buildings
            self._tell_ring([*self._open[self._open.index(number) :], number])
            return
        self._open.append(number)
        one = self.boxes[number]
        placed = PlacedBox(values=dict(one.rest))
        problems: list[tuple[str, str]] = []
        is_placed = False
        try:
            self._place_box(one, placed, problems)
            is_placed = True
        except EntryError as error:
            problems.extend(error.problems)
        self._open.pop()
        problems = [*one.problems, *problems]
        self.faults.extend((one.place, key, problem) for key, problem in problems)
        placed.is_sound = is_placed and not problems
        self._boxes.setdefault(number, placed)

    def _place_box(self, one: Written, placed: PlacedBox, problems: list[tuple[str, str]]) -> None:
        placed.values |= sized(one)
        one.only_one("on", "beside")
        if any(key in ("on", "beside") for key, _ in one.problems):
            raise UNTOLD
        on, beside = one.get("on"), one.get("beside")
        if on is None and beside is None:
            told = 'means nothing without "on" or "beside"; leave it out'
            one.refuse(("left_m", "right_m", "up_m", "gap_m"), told)
        elif on is not None:
            face = self.face("on", on)
            placed.values |= box_on(one, face, placed.values)
            placed.attached = attached_to(face)
        else:
            face = self.face("beside", beside)
            host = self._box_numbers.get(face.owner)
            other = None if host is None else trial(self._boxes[host].values)
            placed.values |= box_beside(one, face, placed.values, other)
            placed.attached = attached_to(face, way="beside")
        name = one.name
        if name:
            material = placed.values.get("material")
            faces = faces_of_box(
                name, material if isinstance(material, str) else "", trial(placed.values), one.given.get("opening", ())
            )
            placed.faces, placed.leaves = faces[0], faces[1]
            problems.extend(faces[2])

    def opened_wall(self, number: int, one: Written) -> tuple[Face, list[Face]]:
        """Return the face of a loose wall with its openings cut, and what fills them.

        Raises
        ------
        EntryError
            Without a problem, where the wall has a fault that is told elsewhere.
        """
        if number in self.wall_parts:
            return self.wall_parts[number]
        wall = entry_or_none(Wall, one.rest)
        if wall is None:
            raise UNTOLD
        problems = list(one.problems)
        openings = one.given.get("opening", ())
        problems.extend(without_on(openings))
        try:
            parts = wall_faces(wall, openings if not problems else ())
        except EntryError as error:
            problems.extend(error.problems)
            parts = wall_faces(wall)
        self.faults.extend((one.place, key, problem) for key, problem in problems)
        self.wall_parts[number] = parts
        return parts

    def _roof(self, name: str) -> Face:
        if name not in self._loose:
            roof = entry_or_none(Roof, self.roofs[self._roofs[name]].rest)
            self._loose[name] = roof_face(roof) if roof is not None else None
        found = self._loose[name]
        if found is None:
            raise UNTOLD
        return found


def attached_to(face: Face, *, way: str = "on") -> Attached:
    """Return what a thing on or beside a face stands on."""
    return Attached(carrier=face.owner or face.name, face=face.name, way=way, at=face)


def entry_or_none(kind: type[E], values: Mapping[str, Any]) -> E | None:
    """An entry of a table, or None where something is wrong with it: whoever reads it says so."""
    known = {key.name for key in keys_of(kind)}
    try:
        return kind(**{name: value for name, value in values.items() if name in known})
    except (EntryError, TypeError):
        return None


def _named(name: str, faces: Sequence[Face], owner: str) -> Face:
    found = next((face for face in faces if face.name == name), None)
    if found is not None:
        return found
    short = name[len(owner) + 1 :]
    known = [face.short_name for face in faces]
    hint = did_you_mean(short, known) or (f"; write one of {', '.join(known)}" if known else "; it has no openings")
    raise EntryError([("", f'"{owner}": "{short}" is not known{hint}')])
