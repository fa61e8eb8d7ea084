"""What a value in a plan may be: kinds of value that can say what is wrong with one, and what is allowed.

A dataclass derives from `Entry` and declares each of its fields with `key`; its values are then checked when it is
made, all of them, whoever makes it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import MISSING, Field, dataclass, field, fields
from itertools import pairwise
from typing import Any, Protocol

from survey.base.characters import harm_in
from survey.base.errors import EntryError, did_you_mean, shortened


class Kind(Protocol):
    """A kind of value."""

    def fault(self, value: object) -> str | None:
        """What is wrong with a value, or None."""

    def clean(self, value: Any) -> Any:  # noqa: ANN401  a value of any kind
        """The value as it is kept: floats for numbers, tuples for lists."""


def type_of(value: object) -> str:
    """Of which type a value is, as the beginning of a message.

    Examples
    --------
    >>> type_of("14"), type_of(3), type_of([1, 2])
    ('"14" is text', '3 is a number', 'is a list')
    """
    if isinstance(value, str):
        return f'"{shortened(value)}" is text'
    if isinstance(value, bool):
        return f"{str(value).lower()} is a yes-or-no value"
    if isinstance(value, int | float):
        return f"{_number(value)} is a number"
    if isinstance(value, list | tuple):
        return "is a list"
    return "is a table" if isinstance(value, dict) else f"is a {type(value).__name__}"


def _number(value: float) -> str:
    return "that" if isinstance(value, int) and abs(value) >= 10**15 else str(value)


def _limit(value: float) -> str:
    """A limit as a message names it, without an exponent."""
    return f"{value:.10g}"


DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+")
"""A number as much of Europe writes it."""


@dataclass(frozen=True, slots=True)
class Number:
    """A number within limits, both included; with a hint for who writes one beyond them."""

    low: float
    high: float
    whole: bool = False
    hint: str = ""

    @property
    def allowed(self) -> str:
        """The end of a message."""
        return f"write a {'whole ' if self.whole else ''}number from {_limit(self.low)} to {_limit(self.high)}"

    def fault(self, value: object) -> str | None:
        """What is wrong with a value, or None."""
        if isinstance(value, str) and DECIMAL_COMMA.fullmatch(value.strip()):
            return (
                f"{type_of(value)}, with a comma; write {value.strip().replace(',', '.')} with a point, without quotes"
            )
        if isinstance(value, bool) or not isinstance(value, int | float):
            return f"{type_of(value)}; {self.allowed}"
        if self.whole and not isinstance(value, int):
            return f"{value} is not a whole number; {self.allowed}"
        if isinstance(value, float) and not math.isfinite(value):
            return f"{value} is not a number to calculate with; {self.allowed}"
        if not self.low <= value <= self.high:
            return f"{_number(value)} is out of range; {self.allowed}{self.hint}"
        return None

    def clean(self, value: Any) -> float | int:  # noqa: ANN401
        """A float, or an int where whole numbers are wanted."""
        return int(value) if self.whole else float(value)


@dataclass(frozen=True, slots=True)
class Text:
    """A piece of text: on one line where it is needed, and never with characters that act instead of being shown."""

    needed: bool = False

    def fault(self, value: object) -> str | None:
        """What is wrong with a value, or None."""
        if not isinstance(value, str):
            return f'{type_of(value)}; write text in quotes, "like this"'
        if self.needed and not value.strip():
            return "is empty; write a name"
        if self.needed and not value.isprintable():
            return "holds a line break or another character that cannot be printed; write it on one line"
        harm = harm_in(value)
        if harm:
            return f"holds {harm}, a character that is not shown but acts on what shows it; leave it out"
        return None

    def clean(self, value: Any) -> str:  # noqa: ANN401
        """The text without space around it."""
        return str(value).strip()


@dataclass(frozen=True, slots=True)
class Texts:
    """A list of pieces of text."""

    most: int

    def fault(self, value: object) -> str | None:
        """What is wrong with a value, or None."""
        if not isinstance(value, list | tuple):
            return f'{type_of(value)}; write a list of texts, ["like this", "and this"]'
        if len(value) > self.most:
            return f"holds {len(value)} texts; write up to {self.most}"
        for position, item in enumerate(value, start=1):
            problem = Text().fault(item)
            if problem:
                return f"text {position}: {problem}"
        return None

    def clean(self, value: Any) -> tuple[str, ...]:  # noqa: ANN401
        """The texts without space around them."""
        return tuple(Text().clean(item) for item in value)


@dataclass(frozen=True, slots=True)
class Choice:
    """One of a few words or, where an ending is given, the name of a file that ends so."""

    words: tuple[str, ...]
    ending: str = ""

    def fault(self, value: object) -> str | None:
        """What is wrong with a value, or None."""
        allowed = "write " + " or ".join(f'"{word}"' for word in self.words)
        if self.ending:
            allowed += f" or the name of a file that ends in {self.ending}"
        if not isinstance(value, str):
            return f"{type_of(value)}; {allowed}"
        if value in self.words or self.names_file(value):
            return None
        return f'"{value}" is not known; {allowed}{did_you_mean(value, self.words)}'

    def names_file(self, value: str) -> bool:
        """Whether a value is the name of a file."""
        return bool(self.ending) and value.casefold().endswith(self.ending)

    def clean(self, value: Any) -> str:  # noqa: ANN401
        """The word itself, or the name."""
        return str(value)


@dataclass(frozen=True, slots=True)
class Numbers:
    """A list of numbers, such as a point (then with the names of its coordinates)."""

    each: Number
    least: int = 1
    most: int = 1000
    axes: tuple[str, ...] = ()

    @property
    def allowed(self) -> str:
        """The end of a message."""
        limits = f"from {_limit(self.each.low)} to {_limit(self.each.high)}"
        if self.axes:
            return f"write [{', '.join(self.axes)}], numbers {limits}"
        return f"write a list of {self.least} to {self.most} numbers {limits}"

    def fault(self, value: object) -> str | None:
        """What is wrong with a value, or None."""
        if not isinstance(value, list | tuple):
            return f"{type_of(value)}; {self.allowed}"
        if not self.least <= len(value) <= self.most:
            return f"holds {len(value)} values; {self.allowed}{self._comma_hint(value)}"
        for position, item in enumerate(value, start=1):
            problem = self.each.fault(item)
            if problem:
                name = self.axes[position - 1] if self.axes else f"value {position}"
                return f"{name}: {problem}"
        return None

    def _comma_hint(self, value: Sequence[object]) -> str:
        """A point with more whole numbers than it has coordinates is often one with decimal commas."""
        is_split = len(self.axes) < len(value) <= 2 * len(self.axes)
        if not is_split or not all(isinstance(item, int) for item in value):
            return ""
        pair = next(((one, after) for one, after in pairwise(value) if after), None)
        return f". If {pair[0]},{pair[1]} is one number, write {pair[0]}.{pair[1]} with a point" if pair else ""

    def clean(self, value: Any) -> tuple[float, ...]:  # noqa: ANN401
        """A tuple of floats."""
        return tuple(self.each.clean(item) for item in value)


@dataclass(frozen=True, slots=True)
class NumberOrList:
    """A number within limits, or a list of such numbers."""

    each: Number
    most: int

    @property
    def allowed(self) -> str:
        """The end of a message."""
        return f"{self.each.allowed}, or a list of up to {self.most} of them"

    def fault(self, value: object) -> str | None:
        """What is wrong with a value, or None."""
        if not isinstance(value, list | tuple):
            return f"{type_of(value)}; {self.allowed}" if isinstance(value, str | dict) else self.each.fault(value)
        return Numbers(self.each, least=1, most=self.most).fault(value)

    def clean(self, value: Any) -> float | tuple[float, ...]:  # noqa: ANN401
        """A number or a tuple of numbers."""
        return tuple(map(self.each.clean, value)) if isinstance(value, list | tuple) else self.each.clean(value)


@dataclass(frozen=True, slots=True)
class Points:
    """A list of points."""

    point: Numbers
    least: int
    most: int

    def fault(self, value: object) -> str | None:
        """What is wrong with a value, or None."""
        example = f"[{', '.join(self.point.axes)}]"
        allowed = f"write {self.least} to {self.most} points as [{example}, {example}, ...]"
        if not isinstance(value, list | tuple):
            return f"{type_of(value)}; {allowed}"
        if not self.least <= len(value) <= self.most:
            return f"holds {len(value)} points; {allowed}"
        for position, item in enumerate(value, start=1):
            problem = self.point.fault(item)
            if problem:
                return f"point {position}: {problem}"
        return None

    def clean(self, value: Any) -> tuple[tuple[float, ...], ...]:  # noqa: ANN401
        """A tuple of tuples of floats."""
        return tuple(self.point.clean(item) for item in value)


def key(kind: Kind, *, default: Any = MISSING, repr: bool = True) -> Any:  # noqa: A002, ANN401  as dataclasses.field itself
    """A field of an `Entry`: its kind, its default where it may be left out, and whether `repr` shows it."""
    if default is MISSING:
        return field(metadata={"kind": kind}, repr=repr)
    return field(default=default, metadata={"kind": kind}, repr=repr)


class Entry:
    """A base for frozen dataclasses whose values are checked when they are made.

    Raises
    ------
    EntryError
        Naming every key whose value cannot be used.
    """

    def __post_init__(self) -> None:
        problems: list[tuple[str, str]] = []
        for one in keys_of(type(self)):
            value = getattr(self, one.name)
            if value is None and one.default is None:
                continue
            kind: Kind = one.metadata["kind"]
            problem = kind.fault(value)
            if problem:
                problems.append((one.name, problem))
            else:
                object.__setattr__(self, one.name, kind.clean(value))
        if not problems:
            problems.extend(self.inconsistencies())
        if problems:
            raise EntryError(problems)

    def inconsistencies(self) -> Iterator[tuple[str, str]]:
        """What is wrong between values that are each in order: pairs of key and problem."""
        return iter(())

    @classmethod
    def default_of(cls, one: Field[Any], given: Mapping[str, object]) -> object:  # noqa: ARG003  for those that look
        """What a key that may be left out comes to beside the values that are given; None for nothing."""
        return one.default


def keys_of(entry: type[Entry]) -> tuple[Field[Any], ...]:
    """The declared keys of an entry, in order."""
    return tuple(one for one in fields(entry) if "kind" in one.metadata)  # type: ignore[arg-type]  # a dataclass
