"""Tables in plain text that fit a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from unicodedata import combining, east_asian_width

WIDTH = 100
"""Columns that a table may take."""
GAP = "  "
LEAST_TEXT_WIDTH = 8


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its heading; text stands left and may be cut, numbers stand right and may not."""

    heading: str
    text: bool = False


def table(columns: Sequence[Column], rows: Sequence[Sequence[str]], *, width: int = WIDTH) -> str:
    """Rows under headings, no wider than `width` where cutting text can achieve that.

    Examples
    --------
    >>> print(table([Column("spot", text=True), Column("margin")], [["shed", "3.1"], ["fence", "-12.0"]]))
    spot   margin
    -----  ------
    shed      3.1
    fence   -12.0
    """
    widths = [max(map(columns_of, cells)) for cells in zip([one.heading for one in columns], *rows, strict=True)]
    spare = width - sum(widths) - len(GAP) * (len(columns) - 1)
    while spare < 0:
        texts = [i for i, one in enumerate(columns) if one.text and widths[i] > LEAST_TEXT_WIDTH]
        if not texts:
            break
        widest = max(texts, key=lambda i: widths[i])
        widths[widest] -= 1
        spare += 1
    lines = [[one.heading for one in columns], ["-" * wide for wide in widths], *rows]
    return "\n".join(
        GAP.join(
            _cell(cell, wide, left=one.text) for cell, wide, one in zip(line, widths, columns, strict=True)
        ).rstrip()
        for line in lines
    )


def columns_of(text: str) -> int:
    """How many columns of a terminal a text takes: the letters of East Asia take two, accents of their own none.

    Examples
    --------
    >>> columns_of("roof"), columns_of("屋根")
    (4, 4)
    """
    if text.isascii():
        return len(text)
    return sum(0 if combining(one) else 2 if east_asian_width(one) in {"W", "F"} else 1 for one in text)


def _cell(text: str, wide: int, *, left: bool) -> str:
    if columns_of(text) > wide:
        while columns_of(text) > wide - 1:
            text = text[:-1]
        text += "…"
    padding = " " * (wide - columns_of(text))
    return text + padding if left else padding + text


def counted(number: int, what: str) -> str:
    """A number of things, in the singular or the plural.

    Examples
    --------
    >>> counted(1, "wall"), counted(3, "box"), counted(2, "foliage")
    ('1 wall', '3 boxes', '2 foliage')
    """
    if number == 1 or what == "foliage":
        return f"{number} {what}"
    return f"{number} {what}es" if what.endswith("x") else f"{number} {what}s"


def paragraphs(*parts: str) -> str:
    """Parts that are not empty, with an empty line between."""
    return "\n\n".join(part for part in parts if part)


def wrapped(text: str, *, indent: str = "", width: int = WIDTH) -> str:
    """A sentence over as many lines as it needs."""
    from textwrap import fill  # noqa: PLC0415  not needed by every table

    return fill(text, width=width, initial_indent=indent, subsequent_indent=indent + "  ", break_on_hyphens=False)
