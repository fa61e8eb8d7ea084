"""What is written in one entry of what a thing stands on: the keys of `PLACE_KEYS`, checked, and the rest."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from survey.base.errors import EntryError
from survey.inputs.nested import Tables
from survey.inputs.plan.kinds import NAME, POINT
from survey.inputs.plan.place_keys import PLACE_KEYS


@dataclass
class Written:
    """One entry as written: the keys of `PLACE_KEYS`, checked, and the rest.

    Attributes
    ----------
    table, place : str
        Its table, and where messages say it is.
    given : dict
        The keys of `PLACE_KEYS` whose values can be used.
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
        kinds = PLACE_KEYS[table]
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
        """Note a problem for each of some keys that is written all the same; it is left out from here on."""
        for name in names:
            if name in self.given or name in self.rest:
                self.problems.append((name, why))
                self.given.pop(name, None)
                self.rest.pop(name, None)

    def only_one(self, *names: str) -> None:
        """Refuse all but the first of keys of which one may be written."""
        there = [name for name in names if name in self.given or name in self.rest]
        self.refuse(there[1:], f"{there[0]} is given too; write one of them" if there else "")

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
