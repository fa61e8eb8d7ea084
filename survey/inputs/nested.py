"""Kinds of values for entries within entries: lists of tables, and materials by face."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import MISSING, dataclass
from typing import Any

from survey.base.errors import EntryError, nearest
from survey.inputs.fields import Entry, Text, Texts, keys_of, type_of

MAX_TABLES = 200
"""How many openings, levels or inner walls one building may list: more is a slip."""


@dataclass(frozen=True, slots=True)
class Tables:
    """A list of tables, each an entry of its own."""

    entry: type[Entry]
    word: str

    def fault(self, value: object) -> str | None:
        """What is wrong with a value, or None: the first of what `entries` finds."""
        if isinstance(value, tuple) and all(isinstance(one, self.entry) for one in value):
            return None
        _, problems = self.entries(value)
        return next((f"{where}: {problem}" if where else problem for where, problem in problems), None)

    def clean(self, value: Any) -> tuple[Any, ...]:  # noqa: ANN401  of the kind's entry
        """The entries."""
        return self.entries(value)[0]

    def entries(self, value: object) -> tuple[tuple[Any, ...], list[tuple[str, str]]]:
        """Make the entries, and tell of everything that is wrong with them: pairs of key and problem."""
        example = f"write a list of tables, {self.word} = [{{ ... }}, {{ ... }}]"
        if not isinstance(value, list | tuple):
            return (), [(self.word, f"{type_of(value)}; {example}")]
        if len(value) > MAX_TABLES:
            return (), [(self.word, f"holds {len(value)} tables; write up to {MAX_TABLES}")]
        made: list[Entry] = []
        problems: list[tuple[str, str]] = []
        for number, values in enumerate(value, start=1):
            if isinstance(values, self.entry):
                made.append(values)
                continue
            place = self.place(values, number)
            if not isinstance(values, dict):
                problems.append((place, f"{type_of(values)}; {example}"))
                continue
            try:
                made.append(entry_of(self.entry, values))
            except EntryError as error:
                problems.extend((f"{place}: {name}" if name else place, text) for name, text in error.problems)
        return tuple(made), problems

    def place(self, values: object, number: int) -> str:
        """Return how a message calls an entry: by its name, else by its number."""
        name = values.get("name") if isinstance(values, dict) else getattr(values, "name", None)
        return f'{self.word} "{name.strip()}"' if isinstance(name, str) and name.strip() else f"{self.word} {number}"


def entry_of(entry: type[Entry], values: dict[str, Any]) -> Entry:
    """Make an entry of a table.

    Raises
    ------
    EntryError
        With keys that it does not have, keys that are missing, and values that cannot be used.
    """
    known = {one.name: one for one in keys_of(entry)}
    problems: list[tuple[str, str]] = []
    for name in values:
        if name not in known:
            near = nearest(name, known)
            hint = f"; did you mean {near}?" if near else f"; the keys here are {', '.join(known)}"
            problems.append((name, f"no such key{hint}"))
    problems.extend(
        (name, "is missing") for name, one in known.items() if name not in values and one.default is MISSING
    )
    given = {name: value for name, value in values.items() if name in known}
    if any(problem == "is missing" for _, problem in problems):
        found = ((name, known[name].metadata["kind"].fault(value)) for name, value in given.items())
        raise EntryError([*problems, *((name, problem) for name, problem in found if problem)])
    try:
        made = entry(**given)
    except EntryError as error:
        raise EntryError([*problems, *error.problems]) from None
    if problems:
        raise EntryError(problems)
    return made


class Nesting(Entry):
    """An entry that holds lists of tables: all their faults are told; lists that are left out are empty."""

    def __post_init__(self) -> None:
        problems: list[tuple[str, str]] = []
        for one in keys_of(type(self)):
            kind, value = one.metadata["kind"], getattr(self, one.name)
            if value is None and isinstance(kind, Tables | Texts | ByFace):
                object.__setattr__(self, one.name, {} if isinstance(kind, ByFace) else ())
            elif isinstance(kind, Tables):
                made, found = kind.entries(value)
                problems.extend(found)
                object.__setattr__(self, one.name, made)
        try:
            super().__post_init__()
        except EntryError as error:
            problems.extend(error.problems)
        if problems:
            raise EntryError(problems)


@dataclass(frozen=True, slots=True)
class ByFace:
    """Materials by the names of faces."""

    def fault(self, value: object) -> str | None:
        """What is wrong with a value, or None."""
        if not isinstance(value, dict):
            return f'{type_of(value)}; write a table, {{ "north wall" = "open" }}'
        return next((f'"{face}": {problem}' for face, problem in self._faults(value)), None)

    @staticmethod
    def _faults(value: dict[str, object]) -> Iterator[tuple[str, str]]:
        for face, material in value.items():
            problem = Text(needed=True).fault(material)
            if problem:
                yield face, problem

    def clean(self, value: Any) -> dict[str, str]:  # noqa: ANN401
        """The texts without space around them."""
        return {str(face).strip(): str(material).strip() for face, material in value.items()}
