"""The tables of a plan turned into entries; what is wrong on the way is gathered."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import MISSING
from typing import Any, TypeGuard, TypeVar

from survey.base.errors import EntryError, Fault, nearest
from survey.inputs.drawings import FROM, Drawing, Placed
from survey.inputs.fields import Entry, keys_of, type_of
from survey.inputs.plan import (
    NAME,
    Array,
    Environment,
    Inverter,
    OwnMaterial,
    Radio,
    RadioEnd,
    Requirement,
    Search,
    Site,
    Spot,
    obstacle_kinds,
)
from survey.inputs.plan.place_keys import BUILDING, PLACE_KEYS

PLAN_VERSION = 1
"""Of the format that docs/plan-file.md describes."""

TABLES: dict[str, type[Entry]] = {
    "site": Site,
    "radio": Radio,
    "environment": Environment,
    "requirement": Requirement,
}
RADIO_ENDS = ("inverter", "gateway")

E = TypeVar("E", bound=Entry)


def list_tables() -> dict[str, tuple[str, type[Entry]]]:
    """Return the tables that stand many times, each with its field of `Plan` and the entries that it holds."""
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


class EntryReader:
    """Turns tables into entries, and gathers faults and the defaults that were filled in.

    Attributes
    ----------
    file : str
        The plan's file, for messages.
    faults : list of Fault
        What is wrong so far.
    defaults : list of (str, str, object)
        Table, key and value of every default so far.
    """

    def __init__(self, file: str) -> None:
        self.file = file
        self.list_tables = list_tables()
        self.faults: list[Fault] = []
        self.defaults: list[tuple[str, str, object]] = []

    def fault(self, place: str, key: str, problem: str) -> None:
        """Note what is wrong."""
        self.faults.append(Fault(file=self.file, place=place, key=key, problem=problem))

    def check_version(self, tables: dict[str, Any]) -> None:
        """Refuse a plan of another version."""
        version = tables.get("plan_version")
        if version is None:
            self.fault("", "plan_version", f"is missing; write plan_version = {PLAN_VERSION} at the top")
        elif isinstance(version, bool) or version != PLAN_VERSION:
            problem = f"{type_of(version)}; this program reads plans of version {PLAN_VERSION} only"
            self.fault("", "plan_version", problem)

    def check_tables(self, tables: dict[str, Any]) -> None:
        """Refuse tables that there are not."""
        known = ["plan_version", *TABLES, *self.list_tables, BUILDING]
        for name, value in tables.items():
            if name not in known:
                self._unknown_table(name, value, known)

    def _unknown_table(self, name: str, value: object, known: list[str]) -> None:
        near = nearest(name, known)
        shown = f"[{name}]" if isinstance(value, dict) else f"[[{name}]]" if is_tables(value) else ""
        hint = f"; did you mean {near}?" if near else f"; the tables are {', '.join(known[1:])}"
        if shown:
            self.fault(shown, "", f"no such table{hint}")
        else:
            self.fault("", name, f"no such key at the top of a plan{hint}")

    def table(self, tables: dict[str, Any], name: str, *, needed: bool = False) -> dict[str, Any] | None:
        """Return a table that stands once; None where it is of no use."""
        value = tables.get(name)
        if value is None:
            if needed:
                self.fault(f"[{name}]", "", "is missing")
                return None
            return {}
        if not isinstance(value, dict):
            hint = "write it with single brackets, once" if is_tables(value) else "write it as a table"
            self.fault(f"[{name}]", "", hint)
            return None
        return value

    def radio(self, values: dict[str, Any] | None) -> Radio | None:
        """Return the radio of a plan; None where it has a fault."""
        if values is None:
            return None
        ends: dict[str, RadioEnd | None] = {}
        for name in RADIO_ENDS:
            place = f"[radio.{name}]"
            value = values.get(name)
            if value is None:
                self.fault(place, "", "is missing; write tx_power_dbm and sensitivity_dbm under it")
            elif not isinstance(value, dict):
                self.fault(place, "", "write it as a table with single brackets, once")
            else:
                ends[name] = self.entry(RadioEnd, value, place)
        rest = {key: value for key, value in values.items() if key not in RADIO_ENDS}
        inverter, gateway = ends.get("inverter"), ends.get("gateway")
        if inverter is None or gateway is None:  # a stand-in, so that the rest of [radio] is checked too
            stand_in = RadioEnd(tx_power_dbm=0.0, sensitivity_dbm=-90.0)
            self.entry(Radio, rest, "[radio]", extra={"inverter": stand_in, "gateway": stand_in})
            return None
        return self.entry(Radio, rest, "[radio]", extra={"inverter": inverter, "gateway": gateway})

    def entries(self, tables: dict[str, Any], name: str, entry: type[E]) -> list[tuple[str, E]]:
        """Return the entries of a table that stands many times, those that are in order, each with its place."""
        value = tables.get(name)
        if value is not None and not is_tables(value):
            self.fault(f"[[{name}]]", "", f"write it with double brackets, [[{name}]], once for each")
        before = len(self.faults)
        made = [
            (place, self.entry(entry, values, place, extra=getattr(values, "extra", None)))
            for place, values in written(tables, name)
        ]
        self.faults[before:] = _once_a_list(self.faults[before:])
        return [(place, one) for place, one in made if one is not None]

    def entry(
        self, kind: type[E], values: dict[str, Any] | None, place: str, *, extra: dict[str, Any] | None = None
    ) -> E | None:
        """Return one entry, or None with its faults noted."""
        if values is None:
            return None
        known = {one.name: one for one in keys_of(kind)}
        more = PLACE_KEYS.get(place.partition("]]")[0].lstrip("["), ()) if place.startswith("[[") else ()
        self._unknown_keys([*known, *(more or extra or ())], values, place)
        given = {name: value for name, value in values.items() if name in known}
        missing = [name for name, one in known.items() if name not in given and one.default is MISSING]
        for name in missing:
            self.fault(place, name, "is missing")
        for name, one in known.items():
            default = kind.default_of(one, given) if name not in given else None
            if default is not None and default is not MISSING:
                self.defaults.append((place.partition('"')[0].rstrip(" 0123456789"), name, default))
        if missing:
            self._check_values(known, given, place)
            return None
        try:
            return kind(**given, **(extra or {}))
        except EntryError as error:
            for name, problem in error.problems:
                self.fault(place, name.rstrip("_"), problem)
            return None

    def _unknown_keys(self, known: list[str], values: dict[str, Any], place: str) -> None:
        """Keys that an entry does not have."""
        known = [name.rstrip("_") if name == "from_" else name for name in known]
        values = {FROM if name == "from_" else name: value for name, value in values.items()}
        for name in values:
            if name not in known:
                near = nearest(name, known)
                hint = f"; did you mean {near}?" if near else f"; the keys here are {', '.join(known)}"
                self.fault(place, name, f"no such key{hint}")

    def _check_values(self, known: dict[str, Any], given: dict[str, Any], place: str) -> None:
        """What is wrong with the values of an entry that cannot be made anyway."""
        for name, value in given.items():
            problem = known[name].metadata["kind"].fault(value)
            if problem:
                self.fault(place, name, problem)


def _once_a_list(faults: list[Fault]) -> list[Fault]:
    """Faults without those that the rows of a list repeat: a key that holds for all rows is wrong once."""
    first = {(fault.place.partition('" line ')[0], fault.key, fault.problem): fault for fault in reversed(faults)}
    return list(first.values())[::-1]


def name_of(values: dict[str, Any], key: str = "name") -> str | None:
    """Return the name under a key, where it is one."""
    value = values.get(key)
    return value.strip() if isinstance(value, str) and NAME.fault(value) is None else None


def written(tables: dict[str, Any], table: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the entries of a table that stands many times, as written, each with its place."""
    value = tables.get(table)
    for number, values in enumerate(value if is_tables(value) else [], start=1):
        yield _place(table, number, values), values


def is_tables(value: object) -> TypeGuard[list[dict[str, Any]]]:
    """Return whether a value is a list of tables."""
    return isinstance(value, list) and bool(value) and all(isinstance(one, dict) for one in value)


def _place(table: str, number: int, values: dict[str, Any]) -> str:
    if isinstance(values, Placed):
        return values.place
    name = values.get("name")
    return f'[[{table}]] {number} "{name}"' if isinstance(name, str) and name.strip() else f"[[{table}]] {number}"
