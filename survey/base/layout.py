"""Tables in plain text that fit a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from unicodedata import combining, east_asian_width

WIDTH = 100
"""Columns that a table may take in a file, in a pipe, and wherever the width of the terminal is not known."""
MIN_WIDTH, MAX_WIDTH = 60, 200
"""Narrower than this no table can be read, and wider no line. A judgement."""
GAP = "  "
READABLE_TEXT_WIDTH = 13
"""In a terminal narrower than `WIDTH`, columns are left out before text gets narrower than this. A judgement."""
LEAST_TEXT_WIDTH = 8
"""No column of text gets narrower than this: a short name still shows. A judgement. [letters]"""
CUT = "…"
_available: ContextVar[int] = ContextVar("columns", default=WIDTH)


@contextmanager
def terminal_of(columns: int) -> Iterator[None]:
    """Lay out for a terminal of so many columns, from `MIN_WIDTH` to `MAX_WIDTH`; sentences stay within `WIDTH`."""
    before = _available.set(min(max(columns, MIN_WIDTH), MAX_WIDTH))
    try:
        yield
    finally:
        _available.reset(before)


def columns_available() -> int:
    """Return the columns that a table may take here.

    Examples
    --------
    >>> with terminal_of(500):
    ...     columns_available()
    200
    """
    return _available.get()


Cell = str | tuple[str, ...]
"""Text, or several names: all of them where there is room, else the first ones and how many more."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table.

    Attributes
    ----------
    heading : str
        What stands above it, in one line or more.
    text : bool
        Text stands left and may be cut; numbers stand right and may not.
    yields : bool
        It is cut before all others, down to its heading.
    spare : int
        How well a narrow terminal can do without it: the greatest is left out first, 0 never.
    """

    heading: str
    text: bool = False
    yields: bool = False
    spare: int = 0


def table(columns: Sequence[Column], rows: Sequence[Sequence[Cell]], *, width: int | None = None) -> str:
    r"""Rows under headings, no wider than `width` where cutting text can achieve that.

    In a terminal narrower than `WIDTH`, the columns least needed are left out first, with a line that names them.

    Examples
    --------
    >>> print(table([Column("spot", text=True), Column("margin\ndB")], [["shed", "3.1"], ["fence", "-12.0"]]))
           margin
    spot       dB
    -----  ------
    shed      3.1
    fence   -12.0
    """
    width = columns_available() if width is None else width
    shown, left_out = _shown(columns, rows, width)
    if left_out:
        names = ", ".join(one.heading.replace("\n", " ").strip() for one in left_out)
        kept = [columns[k] for k in shown]
        line = f"Left out in this narrow window: {names}."
        return table(kept, [[row[k] for k in shown] for row in rows], width=width) + "\n" + wrapped(line, width=width)
    headings = [one.heading.split("\n") for one in columns]
    high = max(map(len, headings))
    above = [[""] * (high - len(lines)) + lines for lines in headings]
    least, widths = _widths(columns, rows)
    _narrow(widths, least, columns, width)
    lines = [*map(list, zip(*above, strict=True)), ["-" * wide for wide in widths], *rows]
    return "\n".join(
        GAP.join(
            _cell(cell, wide, left=one.text) for cell, wide, one in zip(line, widths, columns, strict=True)
        ).rstrip()
        for line in lines
    )


def _widths(columns: Sequence[Column], rows: Sequence[Sequence[Cell]]) -> tuple[list[int], list[int]]:
    """Return the width of each column's heading, and of all in it."""
    least = [max(map(columns_of, one.heading.split("\n"))) for one in columns]
    return least, [max([wide, *(columns_of(_whole(row[k])) for row in rows)]) for k, wide in enumerate(least)]


def _shown(columns: Sequence[Column], rows: Sequence[Sequence[Cell]], width: int) -> tuple[list[int], list[Column]]:
    """Return which columns are shown, and those that a narrow terminal does without, the least needed first."""
    shown, left_out = list(range(len(columns))), []
    if width >= WIDTH:
        return shown, []
    least, widths = _widths(columns, rows)
    floor = [
        min(wide, max(head, READABLE_TEXT_WIDTH)) if one.text and not one.yields else head if one.text else wide
        for one, head, wide in zip(columns, least, widths, strict=True)
    ]
    while sum(floor[k] for k in shown) + len(GAP) * (len(shown) - 1) > width:
        spare = max(shown, key=lambda k: columns[k].spare)
        if not columns[spare].spare:
            break
        shown.remove(spare)
        left_out.append(columns[spare])
    return shown, left_out


def _narrow(widths: list[int], least: list[int], columns: Sequence[Column], width: int) -> None:
    """Take from the widths of text until a table fits, a column at a time from the widest."""
    over = sum(widths) + len(GAP) * (len(columns) - 1) - width
    while over > 0:
        ready = [k for k, one in enumerate(columns) if one.yields and widths[k] > least[k]] or [
            k for k, one in enumerate(columns) if one.text and widths[k] > LEAST_TEXT_WIDTH
        ]
        if not ready:
            break
        widths[max(ready, key=lambda k: widths[k])] -= 1
        over -= 1


def columns_of(text: str) -> int:
    """Return the columns of a terminal that a text takes: letters of East Asia take two, combining accents none.

    Examples
    --------
    >>> columns_of("roof"), columns_of("屋根")
    (4, 4)
    """
    if text.isascii():
        return len(text)
    return sum(0 if combining(one) else 2 if east_asian_width(one) in {"W", "F"} else 1 for one in text)


def shortened(text: str, wide: int) -> str:
    """Cut a text at its end to so many columns: what is left of a name can still be searched for.

    Examples
    --------
    >>> shortened("workshop south roof", 13)
    'workshop sou…'
    """
    if columns_of(text) <= wide:
        return text
    while text and columns_of(text) > max(0, wide - columns_of(CUT)):
        text = text[:-1]
    return text.rstrip() + CUT


def names_within(names: tuple[str, ...], wide: int) -> str:
    """Return all names where there is room, else the first ones and how many more there are.

    Examples
    --------
    >>> names_within(("lean-to roof", "west gable", "hedge"), 24)
    'lean-to roof +2'
    >>> names_within(("lean-to roof", "west gable", "hedge"), 12)
    'lean-to… +2'
    """
    for shown in range(len(names), 0, -1):
        more = f" +{len(names) - shown}" if shown < len(names) else ""
        text = ", ".join(names[:shown]) + more
        if columns_of(text) <= wide:
            return text
    return shortened(names[0], wide - len(more)) + more if names else ""


def _whole(cell: Cell) -> str:
    return cell if isinstance(cell, str) else ", ".join(cell)


def _cell(cell: Cell, wide: int, *, left: bool) -> str:
    text = shortened(cell, wide) if isinstance(cell, str) else names_within(cell, wide)
    padding = " " * (wide - columns_of(text))
    return text + padding if left else padding + text


def counted(number: int, what: str) -> str:
    """Return a number with its noun, in the singular or the plural.

    Examples
    --------
    >>> counted(1, "wall"), counted(3, "box"), counted(2, "foliage")
    ('1 wall', '3 boxes', '2 foliage')
    """
    if number == 1 or what == "foliage":
        return f"{number} {what}"
    return f"{number} {what}es" if what.endswith("x") else f"{number} {what}s"


def labelled(facts: Sequence[tuple[str, str]], *, indent: str = "  ") -> list[str]:
    """Return facts behind their labels, all starting in one column.

    Examples
    --------
    >>> labelled([("Margin", "14.3 dB"), ("Chance", "")])
    ['  Margin:  14.3 dB']
    """
    facts = [(label, fact) for label, fact in facts if fact]
    wide = max((columns_of(label) for label, _ in facts), default=0) + 3
    heads = [f"{label}:{' ' * (wide - columns_of(label) - 1)}" for label, _ in facts]
    return [wrapped(head + fact, indent=indent, hang=wide) for head, (_, fact) in zip(heads, facts, strict=True)]


PREPOSITIONS = frozenset(
    (
        "above",
        "at",
        "behind",
        "below",
        "beside",
        "between",
        "by",
        "in",
        "inside",
        "near",
        "next",
        "on",
        "outside",
        "under",
    )
)
"""A name that begins with one of these reads as a part of the sentence around it. A judgement."""


def place_name(name: str) -> str:
    """Return the name of a place as it stands in a sentence: in quotes where it begins with a preposition.

    Examples
    --------
    >>> place_name("north gate"), place_name("in the shed")
    ('north gate', '"in the shed"')
    """
    return f'"{name}"' if name.split(" ", maxsplit=1)[0].lower() in PREPOSITIONS else name


def listed(names: Sequence[str], most: int) -> str:
    """Return the first names of many in one line, and how many more there are.

    Examples
    --------
    >>> listed(["A", "B", "C"], 2), listed(["A"], 2)
    ('A, B and 1 more', 'A')
    """
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")


def paragraphs(*parts: str) -> str:
    """Parts that are not empty, with an empty line between."""
    return "\n\n".join(part for part in parts if part)


def wrapped(text: str, *, indent: str = "", hang: int = 2, width: int | None = None) -> str:
    """Break a sentence into lines, those after the first set in by `hang` columns more."""
    from textwrap import fill  # noqa: PLC0415  not needed by every table

    width = min(columns_available(), WIDTH) if width is None else width

    behind = indent + " " * hang
    return fill(text, width=width, initial_indent=indent, subsequent_indent=behind, break_on_hyphens=False)
