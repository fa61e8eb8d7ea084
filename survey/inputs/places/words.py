"""The keys by which a plan says what a thing stands on, and what is written under them in one entry."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from survey.base.errors import EntryError
from survey.inputs.buildings import WORDS
from survey.inputs.buildings.entry import Opening
from survey.inputs.buildings.nested import Tables
from survey.inputs.fields import Choice, Kind, Number, Numbers, Points, Text, type_of
from survey.inputs.plan.kinds import BEARING, EXTENT, NAME, POINT

LENGTH = Number(0.0, 10_000.0)
"""Along a face or up it: as long as the longest wall. [m]"""
GAP = Number(0.1, 50.0)
"""Between a device and its face: nearer than a hand's breadth it would stand on the sheet. A judgement. [m]"""
MAST = Number(0.1, 50.0)
"""Above the top of a wall or a roof. A judgement. [m]"""
THING_GAP = Number(0.0, 1_000.0)
"""Between a box and what it stands on or beside. [m]"""
ARRAY_GAP = Number(0.0, 10.0)
"""Of inverters above their roof, square to it. [m]"""
SEARCH_GAP = Number(0.0, 50.0)
"""Of the points of a search from the walls around them. [m]"""
WIDTH = Number(0.01, 1_000.0)
"""Of a hedge. [m]"""
OUTSIDE, INSIDE = "outside", "inside"
SIDE = Choice((OUTSIDE, INSIDE))
COMPASS = Choice(WORDS)
OPENINGS = Tables(Opening, "opening")
MAX_LIST = 1_000
"""Faces or points in one entry, at most. A judgement."""


@dataclass(frozen=True, slots=True)
class NameOrNames:
    """The name of a face, or a list of such names."""

    def fault(self, value: object) -> str | None:
        """Say what is wrong with a value, or None."""
        if not isinstance(value, list | tuple):
            return NAME.fault(value)
        if not 1 <= len(value) <= MAX_LIST:
            return f"holds {len(value)} names; write 1 to {MAX_LIST}"
        return next((f"name {i}: {told}" for i, one in enumerate(value, 1) if (told := NAME.fault(one))), None)

    def clean(self, value: Any) -> tuple[str, ...]:  # noqa: ANN401
        """Return the names as a tuple."""
        return tuple(NAME.clean(one) for one in (value if isinstance(value, list | tuple) else [value]))


@dataclass(frozen=True, slots=True)
class PointOrPoints:
    """A point in plan, or a list of points."""

    def fault(self, value: object) -> str | None:
        """Say what is wrong with a value, or None."""
        if not isinstance(value, list | tuple):
            return f"{type_of(value)}; write [x, y], or a list of such points"
        if value and all(isinstance(one, list | tuple) for one in value):
            return Points(POINT, least=1, most=MAX_LIST).fault(value)
        return POINT.fault(value)

    def clean(self, value: Any) -> tuple[tuple[float, ...], ...]:  # noqa: ANN401
        """Return the points as a tuple."""
        is_list = isinstance(value[0], list | tuple)
        return tuple(POINT.clean(one) for one in (value if is_list else [value]))


ALONG = {"left_m": LENGTH, "right_m": LENGTH}
DEVICE: Mapping[str, Kind] = {
    "on": NAME,
    "inside": NAME,
    **ALONG,
    "up_m": LENGTH,
    "down_m": LENGTH,
    "side": SIDE,
    "gap_m": GAP,
    "mast_m": MAST,
}
KEYS: Mapping[str, Mapping[str, Kind]] = {
    "spot": DEVICE,
    "gateway": DEVICE,
    "inverter": DEVICE,
    "array": {
        "on": NameOrNames(),
        "left_m": LENGTH,
        "up_m": LENGTH,
        "gap_m": ARRAY_GAP,
        "faces": COMPASS,
        "faces_deg": BEARING,
    },
    "search": {
        "on": NAME,
        "inside": NAME,
        "left_m": LENGTH,
        "length_m": EXTENT,
        "side": SIDE,
        "gap_m": SEARCH_GAP,
        "ups_m": Numbers(LENGTH, least=1, most=100),
    },
    "box": {
        "on": NAME,
        "beside": NAME,
        **ALONG,
        "up_m": LENGTH,
        "gap_m": THING_GAP,
        "size": Text(needed=True),
        "opening": OPENINGS,
    },
    "wall": {"opening": OPENINGS},
    "foliage": {
        "along": Points(POINT, least=2, most=100),
        "width_m": WIDTH,
        "centre": POINT,
        "across_m": EXTENT,
    },
}
"""By table, the keys that are turned into others before the entry is read."""


@dataclass
class Written:
    """One entry as written: the keys of `KEYS`, checked, and the rest.

    Attributes
    ----------
    table, place : str
        Its table, and where messages say it is.
    given : dict
        The keys of `KEYS` whose values can be used.
    rest : dict
        All other keys, as written.
    problems : list of (str, str)
        Key and problem of each value that cannot be used.
    defaults : list of (str, object)
        Keys left out, with the value that holds.
    """

    table: str
    place: str
    given: dict[str, Any]
    rest: dict[str, Any]
    problems: list[tuple[str, str]] = field(default_factory=list)
    defaults: list[tuple[str, object]] = field(default_factory=list)

    @classmethod
    def of(cls, table: str, place: str, values: Mapping[str, Any]) -> Written:
        """Part the keys of an entry, and check those that say where it stands."""
        kinds = KEYS[table]
        one = cls(table=table, place=place, given={}, rest={k: v for k, v in values.items() if k not in kinds})
        for name in (name for name in kinds if name in values):
            kind = kinds[name]
            if isinstance(kind, Tables):
                made, told = kind.entries(values[name])
                one.problems.extend(told)
                one.given[name] = made
                continue
            problem = kind.fault(values[name])
            if problem:
                one.problems.append((name, problem))
            else:
                one.given[name] = kind.clean(values[name])
        return one

    @property
    def name(self) -> str:
        """The entry's name; empty where it has none that can be used."""
        name = self.rest.get("name")
        return name.strip() if isinstance(name, str) and NAME.fault(name) is None else ""

    def get(self, name: str, default: Any = None) -> Any:  # noqa: ANN401  of any kind
        """Return a value, or a default, which is noted."""
        if name in self.given:
            return self.given[name]
        if default is not None:
            self.defaults.append((name, default))
        return default

    def refuse(self, names: Iterable[str], why: str) -> None:
        """Refuse keys that are written all the same.

        Raises
        ------
        EntryError
            Naming each of them.
        """
        told = [(name, why) for name in names if name in self.given or name in self.rest]
        if told:
            raise EntryError(told)

    def only_one(self, *names: str) -> None:
        """Refuse the second of keys of which one may be written.

        Raises
        ------
        EntryError
            Naming both.
        """
        there = [name for name in names if name in self.given or name in self.rest]
        if len(there) > 1:
            raise EntryError([(there[1], f"{there[0]} is given too; write one of them")])

    def point(self, name: str) -> tuple[float, float] | None:
        """Return a point among the other keys, or None where it is not written.

        Raises
        ------
        EntryError
            Without a problem where it is no point: whoever reads the entry says so.
        """
        if name not in self.rest:
            return None
        if POINT.fault(self.rest[name]):
            raise UNTOLD
        x, y = POINT.clean(self.rest[name])
        return x, y


UNTOLD = EntryError([])
"""Something is wrong that is told elsewhere."""
