"""A plan as it is seen, turned into sheets, boxes and points: what is written of faces, in the old words."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from survey.base.errors import EntryError
from survey.inputs.buildings import Body, Building, Face, numbered
from survey.inputs.buildings.resolve import MAX_SHEETS, Outline
from survey.inputs.drawings import Placed
from survey.inputs.places.arrays import PlacedArray, arrays_of, faced
from survey.inputs.places.boxes import CONTAINER_MATERIAL, STAND_IN
from survey.inputs.places.carriers import Carriers, Fault, PlacedBox, attached_to
from survey.inputs.places.parts import box_parts, building_parts, wall_parts
from survey.inputs.places.plants import footprint_of
from survey.inputs.places.points import point_inside, point_on
from survey.inputs.places.searches import along_wall, within_building
from survey.inputs.places.words import UNTOLD, Written
from survey.inputs.plan import Attached, Obstacle, Site
from survey.inputs.plan.opening import Opening
from survey.inputs.plan.place_keys import PLACE_KEYS

DEVICES = ("inverter", "gateway", "spot")
ZERO = (0.0, 0.0)
"""A place for what is refused anyway. [m]"""
STAND_INS: Mapping[str, Mapping[str, Any]] = {
    **{table: {"at": ZERO, "height_m": 0.0} for table in DEVICES},
    "array": {"first": ZERO, "height_m": 0.0},
    "search": {"along": (ZERO, (1.0, 0.0)), "heights_m": (0.0,)},
    "box": STAND_IN,
    "foliage": {"footprint": (ZERO, (1.0, 0.0), (0.0, 1.0))},
}
"""What stands in an entry whose place is at fault, so that the rest of it is checked too; such a plan is refused."""


class Extra(Placed):
    """The keys of an entry in the old words, and defaults that were filled in."""

    def __init__(
        self,
        place: str,
        keys: Mapping[str, Any],
        *,
        extra: Mapping[str, Any] | None = None,
        defaults: Iterable[tuple[str, object]] = (),
    ) -> None:
        super().__init__(place, keys, extra=extra)
        self.defaults = tuple(defaults)


@dataclass
class Layout:
    """What a plan comes to.

    Attributes
    ----------
    tables : dict
        The tables that have changed, entry by entry, in the old words.
    obstacles : list of Obstacle
        Faces of buildings.
    opened : dict of str to tuple of Obstacle
        By name, what stands in the place of a wall or box with openings.
    faces : tuple of Face
        All faces of buildings, also those that are open.
    moved_m : mapping of str to float
        By building, how far its corners were moved. [m]
    attached : dict of str to Attached
        By name, what a thing stands on.
    openings : list of (str, Opening)
        Openings of loose walls and boxes, with the name of the wall or box.
    leaf_materials : list of (str, str, str)
        Place, key and material of each opening of a loose wall or a box.
    refused : list of str
        Places of entries that carry stand-ins.
    faults : list of (str, str, str)
        Place, key and problem.
    """

    tables: dict[str, list[Extra]] = field(default_factory=dict)
    obstacles: list[Obstacle] = field(default_factory=list)
    opened: dict[str, tuple[Obstacle, ...]] = field(default_factory=dict)
    faces: tuple[Face, ...] = ()
    moved_m: Mapping[str, float] = field(default_factory=dict)
    attached: dict[str, Attached] = field(default_factory=dict)
    openings: list[tuple[str, Opening]] = field(default_factory=list)
    leaf_materials: list[Fault] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)


def laid_out(
    written: Mapping[str, Sequence[tuple[str, dict[str, Any]]]],
    *,
    buildings: Sequence[tuple[str, Building]],
    broken: set[str],
    site: Site | None,
    outline: Outline,
) -> Layout:
    """Turn what is written of faces into sheets, boxes and points.

    Parameters
    ----------
    written : mapping of str to sequence of (str, dict)
        By table, every entry with its place.
    buildings : sequence of (str, Building)
        The buildings that can be used, each with its place.
    broken : set of str
        Names of buildings with faults that are told already.
    site : Site or None
        Tolerances; None where it has a fault.
    outline : callable
        Gives an outline of a drawing.

    Returns
    -------
    Layout
        With every fault; entries that have one carry stand-ins.
    """
    parted = {table: [Written.of(table, *one) for one in written.get(table, ())] for table in PLACE_KEYS}
    roofs = [Written(table="roof", place=place, given={}, rest=values) for place, values in written.get("roof", ())]
    carriers = Carriers(
        buildings=buildings,
        boxes=parted["box"],
        walls=parted["wall"],
        roofs=roofs,
        broken=broken,
        site=site,
        outline=outline,
    )
    carriers.build()
    layout = Layout(faces=carriers.built.faces, moved_m=carriers.built.moved_m)
    layout.obstacles = building_parts(
        layout.faces, {one.name: one.drawn_within_m for _, one in buildings if not one.is_carried}
    )
    for name, body in carriers.built.bodies.items():
        if body.carrier:
            layout.attached[name] = _held(body, carriers)
    _lay_out_boxes(layout, carriers)
    _lay_out_walls(layout, carriers)
    for table in (*DEVICES, "search", "foliage"):
        place = {"search": _search, "foliage": _foliage}.get(table, _device)
        layout.tables[table] = [_laid(one, layout, carriers, place) for one in parted[table]]
    layout.tables["array"] = [made for one in parted["array"] for made in _arrays(one, layout, carriers)]
    openings = [(one, one.given.get("opening", ())) for one in (*carriers.walls, *carriers.boxes)]
    layout.openings = [(one.name, opening) for one, all_of_it in openings for opening in all_of_it]
    layout.leaf_materials = [
        (one.place, f"{place}: material", opening.material)
        for one, all_of_it in openings
        for place, opening in numbered(all_of_it)
    ]
    count = sum(
        len(one.sheets_m()) for one in (*layout.obstacles, *(part for of in layout.opened.values() for part in of))
    )
    if count > MAX_SHEETS:
        problem = f"buildings and openings make {count} sheets; a plan may have {MAX_SHEETS} of them"
        layout.faults.append(("", "", problem))
    layout.faults = [*carriers.faults, *layout.faults]
    return layout


def _held(body: Body, carriers: Carriers) -> Attached:
    """What a building stands on, at or beside."""
    way = next(way for way in ("on", "against", "beside") if getattr(body.building, way) is not None)
    name = getattr(body.building, way)
    try:
        return attached_to(carriers.face(way, name), way=way)
    except EntryError:  # two things of one name: that is told elsewhere
        return Attached(carrier=body.carrier, face=name, way=way)


PlaceOf = Callable[[Written, Carriers], "tuple[dict[str, Any], Attached | None]"]
"""Gives the keys that say where an entry is, in the old words, and what it stands on."""


def _laid(one: Written, layout: Layout, carriers: Carriers, place: PlaceOf) -> Extra:
    """One entry in the old words, or with stand-ins where its place is at fault."""
    try:
        if one.problems:
            raise UNTOLD
        keys, attached = place(one, carriers)
        if one.problems:
            raise UNTOLD
    except EntryError as error:
        layout.faults.extend((one.place, key, problem) for key, problem in (*one.problems, *error.problems))
        layout.refused.append(one.place)
        return _stand_in(one)
    if attached is not None and one.name:
        layout.attached[one.name] = attached
    return Extra(one.place, one.rest | keys, extra=one.extra, defaults=one.defaults)


def _stand_in(one: Written) -> Extra:
    missing = STAND_INS[one.table]
    if one.table == "search" and ("along" in one.rest or "within" in one.rest):
        missing = {"heights_m": missing["heights_m"]}
    return Extra(one.place, dict(missing) | one.rest)


def _device(one: Written, carriers: Carriers) -> tuple[dict[str, Any], Attached | None]:
    """A spot, a gateway or an inverter."""
    one.only_one("on", "inside")
    if "inside" in one.given:
        name = one.given["inside"]
        body, floor_m, floor = carriers.body("inside", name)
        return point_inside(one, body, floor_m), Attached(carrier=body.building.name, face=floor, way="inside")
    if "on" not in one.given:
        one.refuse(PLACE_KEYS[one.table], 'means nothing without "on"; write on = "BUILDING/FACE", or leave it out')
        return {}, None
    face = carriers.face("on", one.given["on"])
    return point_on(one, face), attached_to(face)


def _search(one: Written, carriers: Carriers) -> tuple[dict[str, Any], Attached | None]:
    one.only_one("on", "inside")
    if "inside" in one.given:
        body, floor_m, floor = carriers.body("inside", one.given["inside"])
        keys = within_building(one, body, floor_m)
        return keys, Attached(carrier=body.building.name, face=floor, way="inside")
    if "on" not in one.given:
        one.refuse(PLACE_KEYS["search"], 'means nothing without "on" or "inside"; write one of them, or leave it out')
        return {}, None
    face = carriers.face("on", one.given["on"])
    return along_wall(one, face), attached_to(face)


def _foliage(one: Written, carriers: Carriers) -> tuple[dict[str, Any], Attached | None]:  # noqa: ARG001  as the others
    return footprint_of(one), None


def _arrays(one: Written, layout: Layout, carriers: Carriers) -> list[Extra]:
    """The arrays that an entry makes."""
    try:
        if one.problems:
            raise UNTOLD
        made: list[PlacedArray] = arrays_of(one, carriers.face)
        if one.problems:
            raise UNTOLD
    except EntryError as error:
        layout.faults.extend((one.place, key, problem) for key, problem in (*one.problems, *error.problems))
        layout.refused.append(one.place)
        return [_array_stand_in(one)]
    found = []
    for part in made:
        found.append(Extra(one.place, part.values, extra=part.extra, defaults=one.defaults if part is made[0] else ()))
        if part.face is not None and isinstance(part.values.get("name"), str):
            layout.attached[part.values["name"].strip()] = attached_to(part.face)
    return found


def _array_stand_in(one: Written) -> Extra:
    """An array whose place is at fault, with a first inverter somewhere, so that the rest of it is checked."""
    rest = dict(one.rest)
    if "on" in one.given or any(key == "on" for key, _ in one.problems):
        for name in ("first", "height_m", "serials", "bearing_deg", "tilt_deg"):
            rest.pop(name, None)
    try:
        rest |= faced(one)
    except EntryError:
        rest.pop("bearing_deg", None)
    return Extra(one.place, dict(STAND_INS["array"]) | rest)


def _lay_out_boxes(layout: Layout, carriers: Carriers) -> None:
    layout.tables["box"] = []
    for number, one in enumerate(carriers.boxes):
        box: PlacedBox = carriers.box(number)
        if not box.is_sound:
            layout.refused.append(one.place)
            has_size = "size" in one.given or any(key == "size" for key, _ in one.problems)
            is_carried = not {"on", "beside"}.isdisjoint((*one.given, *(key for key, _ in one.problems)))
            missing = {
                name: value for name, value in STAND_IN.items() if (is_carried if name == "centre" else has_size)
            }
            if has_size and "loss_db" not in box.values:
                missing["material"] = CONTAINER_MATERIAL
            layout.tables["box"].append(Extra(one.place, missing | box.values))
            continue
        layout.tables["box"].append(Extra(one.place, box.values, defaults=one.defaults))
        if box.attached is not None and one.name:
            layout.attached[one.name] = box.attached
        if one.given.get("opening") and box.faces:
            layout.opened[one.name] = box_parts(one.name, box)


def _lay_out_walls(layout: Layout, carriers: Carriers) -> None:
    layout.tables["wall"] = [Extra(one.place, one.rest) for one in carriers.walls]
    for number, (face, leaves) in carriers.wall_parts.items():
        if leaves:
            layout.opened[carriers.walls[number].name] = wall_parts(carriers.walls[number], face, leaves)
