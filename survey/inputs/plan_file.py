"""Read a site plan from a TOML file: every message about a plan that cannot be used is worded here."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import MISSING, replace
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeGuard, TypeVar

from survey.base.errors import EntryError, Fault, PatternError, PlanError, did_you_mean, nearest, why_unread
from survey.inputs.antennas import KINDS, Pattern, read_pattern
from survey.inputs.drawings import FROM, POSITIONS, SHAPES, Drawing, Drawings, Placed, expanded
from survey.inputs.fields import Entry, keys_of, type_of
from survey.inputs.materials import BUILT_IN
from survey.inputs.plan import (
    ANTENNA,
    NAME,
    Array,
    Environment,
    Inverter,
    OwnMaterial,
    OwnRadio,
    Plan,
    Radio,
    RadioEnd,
    Requirement,
    Roof,
    Search,
    Site,
    Spot,
    Wall,
    obstacle_kinds,
)
from survey.inputs.plan.place_keys import BUILDING, OPEN, PLACE_KEYS, has_places

if TYPE_CHECKING:  # it is loaded where a plan has a building, or anything that stands on a face
    from survey.inputs.buildings import Building
    from survey.inputs.places import Layout

PLAN_VERSION = 1
"""Of the format that docs/plan-file.md describes."""
MOST_BYTES = 50_000_000
"""Far more than any plan has; a longer file is a mistake. A judgement."""

TABLES: dict[str, type[Entry]] = {
    "site": Site,
    "radio": Radio,
    "environment": Environment,
    "requirement": Requirement,
}
RADIO_ENDS = ("inverter", "gateway")

E = TypeVar("E", bound=Entry)


def list_tables() -> dict[str, tuple[str, type[Entry]]]:
    """The tables that stand many times, each with the field of `Plan` that it goes into and the entries it holds."""
    return {
        "drawing": ("drawings", Drawing),
        "material": ("own_materials", OwnMaterial),
        "array": ("arrays", Array),
        "inverter": ("inverters", Inverter),
        **{kind.table: ("obstacles", kind) for kind in obstacle_kinds() if kind.table},
        "gateway": ("gateways", Spot),
        "spot": ("spots", Spot),
        "search": ("searches", Search),
    }


def read_plan(path: Path) -> Plan:
    """Read and check a plan.

    Parameters
    ----------
    path : Path
        A TOML file in UTF-8.

    Returns
    -------
    Plan
        With every default filled in and every name known to be good.

    Raises
    ------
    PlanError
        With every fault of the file.
    """
    return plan_of(_parse(path), file=str(path), folder=path.parent)


def plan_of(tables: dict[str, Any], *, file: str, folder: Path = Path()) -> Plan:
    """Make a plan of tables already parsed.

    Raises
    ------
    PlanError
        With every fault of the tables.
    """
    return _Reader(file, folder).plan(tables)


def _parse(path: Path) -> dict[str, Any]:
    """The tables of a TOML file."""
    file = str(path)
    try:
        if path.is_dir():
            raise PlanError([Fault(file=file, problem="is a folder; name the plan file in it")])
        with path.open("rb") as stream:
            raw = stream.read(MOST_BYTES + 1)
        if len(raw) > MOST_BYTES:
            raise PlanError([Fault(file=file, problem=f"is longer than {MOST_BYTES} bytes, the limit for a plan")])
    except (OSError, ValueError) as error:
        raise PlanError([Fault(file=file, problem=why_unread(path, error))]) from None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        problem = f"is not UTF-8 text (byte {error.start + 1}, line {line}); save it as UTF-8"
        raise PlanError([Fault(file=file, problem=problem)]) from None
    return parse_text(text, file)


def parse_text(text: str, file: str) -> dict[str, Any]:
    """Parse TOML, told by the name of its file.

    Raises
    ------
    PlanError
        Where it is none.
    """
    if not text.strip():
        raise PlanError([Fault(file=file, problem="is empty; `survey start FILE` writes a plan to fill in")])
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise PlanError([Fault(file=file, problem="nests lists or tables too deep to be read")]) from None
    except tomllib.TOMLDecodeError as error:
        raise PlanError([_toml_fault(file, str(error), text)]) from None
    except ValueError:
        raise PlanError([Fault(file=file, problem="holds a number of too many digits to be read")]) from None


def _toml_fault(file: str, message: str, text: str) -> Fault:
    """What the TOML parser found, with line and column in front."""
    found = re.search(r" \(at (?:line (\d+), column (\d+)|end of document)\)$", message)
    if not found:
        return Fault(file=file, problem=f"is not TOML: {message}")
    place = f"line {found[1]}, column {found[2]}" if found[1] else "end of file"
    comma = _decimal_comma(text, line=int(found[1]), column=int(found[2])) if found[1] else None
    if comma:
        return Fault(
            file=file, place=place, problem=f'"{comma}" has a comma; write {comma.replace(",", ".")} with a point'
        )
    return Fault(file=file, place=place, problem=f"is not TOML: {message[: found.start()]}")


def _decimal_comma(text: str, *, line: int, column: int) -> str | None:
    """Return the number with a decimal comma at which a parser stopped; None where there is none."""
    lines = text.replace("\r\n", "\n").split("\n")
    number = lines[line - 1] if line <= len(lines) else ""
    for found in re.finditer(r"=\s*([+-]?\d+,\d+)(?![\d,])", number):
        if found.start(1) < column <= found.end(1) + 2:
            return found[1]
    return None


class _Reader:
    """Turns tables into entries and gathers what is wrong on the way."""

    def __init__(self, file: str, folder: Path) -> None:
        self.file = file
        self.folder = folder
        self.list_tables = list_tables()
        self.faults: list[Fault] = []
        self.defaults: list[tuple[str, str, object]] = []
        self.drawn_from: tuple[str, ...] = ()
        self.leaf_materials: tuple[tuple[str, str, str], ...] = ()

    def plan(self, tables: dict[str, Any]) -> Plan:
        """The whole plan, or every fault."""
        self._version(tables)
        known = ["plan_version", *TABLES, *self.list_tables, BUILDING]
        for name, value in tables.items():
            if name not in known:
                self._unknown_table(name, value, known)
        site = self._entry(Site, self._table(tables, "site", needed=True), "[site]")
        radio = self._radio(self._table(tables, "radio", needed=True))
        environment = self._entry(Environment, self._table(tables, "environment"), "[environment]")
        requirement = self._entry(Requirement, self._table(tables, "requirement"), "[requirement]")
        if not tables.get("inverter") and not tables.get("array"):
            self._fault("", "", "has no inverter; add an [[array]] or an [[inverter]]")
        drawn = self._list(tables, "drawing", Drawing)
        tables, drawings = self._expanded(tables, drawn, site)
        buildings = self._buildings(tables)
        tables, layout = self._laid_out(tables, buildings, drawings, site)
        lists: dict[str, list[tuple[str, Any]]] = {
            name: drawn if entry is Drawing else self._list(tables, name, entry)
            for name, (_, entry) in self.list_tables.items()
        }
        lists["wall"], lists["roof"], merged = self._pieces(lists["wall"], lists["roof"])
        self._names(tables, lists, made=[*_made_names(layout), *((one.name, place) for place, one in merged)])
        self._materials(tables, buildings)
        patterns = self._patterns(tables)
        if layout and layout.refused and not self.faults:  # a plan with stand-ins is never computed with
            self._fault(layout.refused[0], "", "cannot be placed: see what it stands on")
        if self.faults or site is None or radio is None or environment is None or requirement is None:
            raise PlanError(self.faults)
        fields: dict[str, tuple[Any, ...]] = {}
        for name, (field, _) in self.list_tables.items():
            fields[field] = (*fields.get(field, ()), *(one for _, one in lists[name]))
        opened = layout.opened if layout else {}
        fields["obstacles"] = tuple(part for one in fields["obstacles"] for part in opened.get(one.name, (one,)))
        fields["obstacles"] += (*(part for _, part in merged), *(layout.obstacles if layout else ()))
        if site.joint_m is not None:
            from survey.inputs.places import joined  # noqa: PLC0415  start-up time

            fields["obstacles"] = joined(fields["obstacles"], joint_m=site.joint_m)
        fields["obstacles"] += tuple(row for array in fields["arrays"] for row in array.module_rows())
        if layout:
            fields["buildings"], fields["faces"] = tuple(one for _, one in buildings), layout.faces
        return Plan(
            file=self.file,
            folder=self.folder,
            site=site,
            radio=radio,
            environment=environment,
            requirement=requirement,
            patterns=patterns,
            drawn_from=self.drawn_from,
            defaults=tuple(self.defaults),
            moved_m=layout.moved_m if layout else {},
            attached=layout.attached if layout else {},
            **fields,
        )

    def _fault(self, place: str, key: str, problem: str) -> None:
        self.faults.append(Fault(file=self.file, place=place, key=key, problem=problem))

    def _version(self, tables: dict[str, Any]) -> None:
        version = tables.get("plan_version")
        if version is None:
            self._fault("", "plan_version", f"is missing; write plan_version = {PLAN_VERSION} at the top")
        elif isinstance(version, bool) or version != PLAN_VERSION:
            problem = f"{type_of(version)}; this program reads plans of version {PLAN_VERSION} only"
            self._fault("", "plan_version", problem)

    def _unknown_table(self, name: str, value: object, known: list[str]) -> None:
        near = nearest(name, known)
        shown = f"[{name}]" if isinstance(value, dict) else f"[[{name}]]" if _is_tables(value) else ""
        hint = f"; did you mean {near}?" if near else f"; the tables are {', '.join(known[1:])}"
        if shown:
            self._fault(shown, "", f"no such table{hint}")
        else:
            self._fault("", name, f"no such key at the top of a plan{hint}")

    def _table(self, tables: dict[str, Any], name: str, *, needed: bool = False) -> dict[str, Any] | None:
        """A table that stands once; None where it is of no use."""
        value = tables.get(name)
        if value is None:
            if needed:
                self._fault(f"[{name}]", "", "is missing")
                return None
            return {}
        if not isinstance(value, dict):
            hint = "write it with single brackets, once" if _is_tables(value) else "write it as a table"
            self._fault(f"[{name}]", "", hint)
            return None
        return value

    def _radio(self, values: dict[str, Any] | None) -> Radio | None:
        if values is None:
            return None
        ends: dict[str, RadioEnd | None] = {}
        for name in RADIO_ENDS:
            place = f"[radio.{name}]"
            value = values.get(name)
            if value is None:
                self._fault(place, "", "is missing; write tx_power_dbm and sensitivity_dbm under it")
            elif not isinstance(value, dict):
                self._fault(place, "", "write it as a table with single brackets, once")
            else:
                ends[name] = self._entry(RadioEnd, value, place)
        rest = {key: value for key, value in values.items() if key not in RADIO_ENDS}
        inverter, gateway = ends.get("inverter"), ends.get("gateway")
        if inverter is None or gateway is None:  # a stand-in, so that the rest of [radio] is checked too
            stand_in = RadioEnd(tx_power_dbm=0.0, sensitivity_dbm=-90.0)
            self._entry(Radio, rest, "[radio]", extra={"inverter": stand_in, "gateway": stand_in})
            return None
        return self._entry(Radio, rest, "[radio]", extra={"inverter": inverter, "gateway": gateway})

    def _expanded(
        self, tables: dict[str, Any], drawn: list[tuple[str, Drawing]], site: Site | None
    ) -> tuple[dict[str, Any], Drawings]:
        """The tables with what stands in drawings and lists in the place of `from`, and the drawings."""
        named = [name for _, values in _written(tables, "drawing") if (name := _name(values))]
        drawings = Drawings(self.folder, drawn, earth=site.earth if site else None, known=named)
        faults = list(drawings.faults())
        changed = dict(tables)
        for table in (*POSITIONS, *SHAPES):
            written = list(_written(tables, table))
            if any(FROM in values for _, values in written):
                entries, more = expanded(table, written, drawings)
                faults += more
                changed[table] = entries or None
        for fault in faults:
            self._fault(*fault)
        self.drawn_from = drawings.files
        return changed, drawings

    def _buildings(self, tables: dict[str, Any]) -> list[tuple[str, Building]]:
        """The buildings that are in order by themselves."""
        if tables.get(BUILDING) is None:
            return []
        from survey.inputs.buildings import Building  # noqa: PLC0415  start-up time

        renamed = [
            Placed(place, {"from_" if key == FROM else key: value for key, value in values.items()})
            for place, values in _written(tables, BUILDING)
        ]
        return self._list(tables | {BUILDING: renamed or tables[BUILDING]}, BUILDING, Building)

    def _laid_out(
        self, tables: dict[str, Any], buildings: list[tuple[str, Building]], drawings: Drawings, site: Site | None
    ) -> tuple[dict[str, Any], Layout | None]:
        """The tables with what is written of faces in the old words, and the buildings as faces."""
        written = {table: list(_written(tables, table)) for table in (*PLACE_KEYS, "roof", BUILDING)}
        if not has_places(written):
            return tables, None
        from survey.inputs.places import laid_out  # noqa: PLC0415  start-up time

        sound = {place for place, _ in buildings}
        broken = {name for place, values in written[BUILDING] if place not in sound and (name := _name(values))}
        layout = laid_out(written, buildings=buildings, broken=broken, site=site, outline=drawings.outline)
        for fault in layout.faults:
            self._fault(*fault)
        self.drawn_from = drawings.files
        self.leaf_materials = tuple(layout.leaf_materials)
        changed = {table: entries for table, entries in layout.tables.items() if entries}
        for table, entries in changed.items():
            self.defaults += [(f"[[{table}]]", key, value) for one in entries for key, value in one.defaults]
        return tables | changed, layout

    def _pieces(
        self, walls: list[tuple[str, Any]], roofs: list[tuple[str, Any]]
    ) -> tuple[list[tuple[str, Wall]], list[tuple[str, Roof]], list[tuple[str, Any]]]:
        """Loose sheets that stand alone, and the obstacles that the others are pieces of."""
        pieces = [(place, one) for place, one in (*walls, *roofs) if one.part_of]
        if not pieces:
            return walls, roofs, []
        from survey.inputs.places import merged  # noqa: PLC0415  start-up time

        try:
            parts = merged(pieces)
        except EntryError as error:
            for place, problem in error.problems:
                self._fault(place, "part_of", problem)
            parts = []
        alone = ([(place, one) for place, one in sheets if not one.part_of] for sheets in (walls, roofs))
        return next(alone), next(alone), list(parts)

    def _list(self, tables: dict[str, Any], name: str, entry: type[E]) -> list[tuple[str, E]]:
        """The entries of a table that stands many times, those that are in order, each with its place."""
        value = tables.get(name)
        if value is not None and not _is_tables(value):
            self._fault(f"[[{name}]]", "", f"write it with double brackets, [[{name}]], once for each")
        before = len(self.faults)
        made = [
            (place, self._entry(entry, values, place, extra=getattr(values, "extra", None)))
            for place, values in _written(tables, name)
        ]
        self.faults[before:] = _once_a_list(self.faults[before:])
        return [(place, one) for place, one in made if one is not None]

    def _entry(
        self, entry: type[E], values: dict[str, Any] | None, place: str, *, extra: dict[str, Any] | None = None
    ) -> E | None:
        """One entry, or None with its faults noted."""
        if values is None:
            return None
        known = {one.name: one for one in keys_of(entry)}
        more = PLACE_KEYS.get(place.partition("]]")[0].lstrip("["), ()) if place.startswith("[[") else ()
        self._unknown_keys([*known, *(more or extra or ())], values, place)
        given = {name: value for name, value in values.items() if name in known}
        missing = [name for name, one in known.items() if name not in given and one.default is MISSING]
        for name in missing:
            self._fault(place, name, "is missing")
        for name, one in known.items():
            default = entry.default_of(one, given) if name not in given else None
            if default is not None and default is not MISSING:
                self.defaults.append((place.partition('"')[0].rstrip(" 0123456789"), name, default))
        if missing:
            self._check_values(known, given, place)
            return None
        try:
            return entry(**given, **(extra or {}))
        except EntryError as error:
            for name, problem in error.problems:
                self._fault(place, name.rstrip("_"), problem)
            return None

    def _unknown_keys(self, known: list[str], values: dict[str, Any], place: str) -> None:
        """Keys that an entry does not have."""
        known = [name.rstrip("_") if name == "from_" else name for name in known]
        values = {FROM if name == "from_" else name: value for name, value in values.items()}
        for name in values:
            if name not in known:
                near = nearest(name, known)
                hint = f"; did you mean {near}?" if near else f"; the keys here are {', '.join(known)}"
                self._fault(place, name, f"no such key{hint}")

    def _check_values(self, known: dict[str, Any], given: dict[str, Any], place: str) -> None:
        """What is wrong with the values of an entry that cannot be made anyway."""
        for name, value in given.items():
            problem = known[name].metadata["kind"].fault(value)
            if problem:
                self._fault(place, name, problem)

    def _names(
        self, tables: dict[str, Any], lists: dict[str, list[tuple[str, Any]]], *, made: list[tuple[str, str]]
    ) -> None:
        """Names that stand twice, whether written or made by an array, a search or a building."""
        named = (*(table for table in self.list_tables if table != "material"), BUILDING)
        entries = (entry for table in named for entry in _written(tables, table))
        owners = _by_name((_name(values), place) for place, values in entries)
        told = self._twice(owners)
        written = list(owners)
        for place, array in lists["array"]:
            rows = [row.name for row in array.module_rows()]
            for name in chain(array.inverter_names(), rows):
                owners.setdefault(name, []).append(place)
        for name, place in made:
            owners.setdefault(name, []).append(place)
        for place, search in lists["search"]:  # not made until a name looks like one of them: there may be a million
            alike = [name for name in written if name.startswith(f"{search.name}/")]
            points = set(search.spot_names()) if alike else set()
            for name in alike:
                if name in points:
                    owners[name].append(place)
        self._twice({name: places for name, places in owners.items() if tuple(places) not in told})
        own = ((_name(values), place) for place, values in _written(tables, "material"))
        self._twice(_by_name((name and name.casefold(), place) for name, place in own))

    def _twice(self, owners: dict[str, list[str]]) -> set[tuple[str, ...]]:
        """Tell of names with more than one owner, and give back which owners those were."""
        shared: dict[tuple[str, ...], list[str]] = {}
        for name, places in owners.items():
            if len(places) > 1:
                shared.setdefault(tuple(places), []).append(name)
        for among, names in shared.items():
            more = f" and {len(names) - 1} more are used" if len(names) > 1 else " is used"
            problem = f'"{names[0]}"{more} {len(among)} times; every name in a plan must be different'
            self._fault(" and ".join(dict.fromkeys(among)), "name", problem)
        return set(shared)

    def _materials(self, tables: dict[str, Any], buildings: list[tuple[str, Building]]) -> None:
        """Materials that are neither built in nor the plan's own."""
        own = (_name(values) for _, values in _written(tables, "material"))
        known = {name.casefold(): name for name in (*BUILT_IN, *own) if name is not None}
        self._materials_of_openings(tables, buildings, known)
        with_material = (name for name, (_, entry) in self.list_tables.items() if _has_key(entry, "material"))
        for table in with_material:
            for place, values in _written(tables, table):
                name = _name(values, "material")
                self._known_material(place, "material", name, known)

    def _known_material(self, place: str, key: str, name: str | None, known: dict[str, str]) -> None:
        """Refuse a material that there is not."""
        if name is not None and name.casefold() not in known:
            near = did_you_mean(name, known.values())
            problem = f'"{name}" is not known; `survey materials` lists them, [[material]] adds one'
            self._fault(place, key, problem + near)

    def _materials_of_openings(
        self, tables: dict[str, Any], buildings: list[tuple[str, Building]], known: dict[str, str]
    ) -> None:
        """Materials within buildings, and in openings of walls and boxes: there "open" is none."""
        known = known | {OPEN: OPEN}
        for place, building in buildings:
            for key, name in building.material_names():
                self._known_material(place, key, name, known)
        for place, values in _written(tables, "material"):
            if _name(values) == OPEN:
                self._fault(place, "name", '"open" means no sheet at all; give the material another name')
        for place, key, name in self.leaf_materials:
            self._known_material(place, key, name, known)

    def _patterns(self, tables: dict[str, Any]) -> Mapping[str, Pattern]:
        """Every kind of antenna and every file of gains that the plan names; faults in a file are told once."""
        radio = tables.get("radio")
        ends = radio if isinstance(radio, dict) else {}
        places = [(f"[radio.{name}]", ends[name]) for name in RADIO_ENDS if isinstance(ends.get(name), dict)]
        kinds = (name for name, (_, entry) in self.list_tables.items() if issubclass(entry, OwnRadio))
        named: dict[str, str] = {}
        for place, values in chain(places, *(_written(tables, kind) for kind in kinds)):
            antenna = values.get("antenna")
            if isinstance(antenna, str) and ANTENNA.names_file(antenna):
                named.setdefault(antenna, place)
        patterns = dict(KINDS)
        for name, place in named.items():
            try:
                patterns[name] = read_pattern(self.folder / name)
            except PatternError as error:
                for fault in error.faults:
                    self._fault(place, "antenna", str(replace(fault, file=name)))
        return patterns


def _made_names(layout: Layout | None) -> Iterator[tuple[str, str]]:
    """Names that buildings, and openings of walls and boxes, make, with what makes them."""
    if layout is not None:
        for face in layout.faces:
            yield face.name, f'[[building]] "{face.owner}"'
        for name, parts in layout.opened.items():
            for part in parts[1:]:
                yield part.name, f'the openings of "{name}"'


def _once_a_list(faults: list[Fault]) -> list[Fault]:
    """Faults without those that the rows of a list repeat: a key that holds for all rows is wrong once."""
    first = {(fault.place.partition('" line ')[0], fault.key, fault.problem): fault for fault in reversed(faults)}
    return list(first.values())[::-1]


def _has_key(entry: type[Entry], name: str) -> bool:
    """Whether entries have a key of this name."""
    return any(one.name == name for one in keys_of(entry))


def _name(values: dict[str, Any], key: str = "name") -> str | None:
    """The name under a key, where it is one."""
    value = values.get(key)
    return value.strip() if isinstance(value, str) and NAME.fault(value) is None else None


def _by_name(named: Iterable[tuple[str | None, str]]) -> dict[str, list[str]]:
    """The places where each name stands."""
    places: dict[str, list[str]] = {}
    for name, place in named:
        if name is not None:
            places.setdefault(name, []).append(place)
    return places


def _written(tables: dict[str, Any], table: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """The entries of a table that stands many times, as written, each with its place."""
    value = tables.get(table)
    for number, values in enumerate(value if _is_tables(value) else [], start=1):
        yield _place(table, number, values), values


def _is_tables(value: object) -> TypeGuard[list[dict[str, Any]]]:
    return isinstance(value, list) and bool(value) and all(isinstance(one, dict) for one in value)


def _place(table: str, number: int, values: dict[str, Any]) -> str:
    if isinstance(values, Placed):
        return values.place
    name = values.get("name")
    return f'[[{table}]] {number} "{name}"' if isinstance(name, str) and name.strip() else f"[[{table}]] {number}"
