"""Tables in CSV files with a header, as spreadsheets and loggers write them."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from survey.base.errors import Fault, TableError, did_you_mean, shortened, why_unread
from survey.base.files import read_up_to

MOST_BYTES = 200_000_000
"""Far more than a day's readings of the largest site; a longer file is a mistake. A judgement."""
MOST_FAULTS = 20
"""So many faults of a file are told one by one."""
SEPARATORS = ";\t,"
TOO_LONG = f"has a cell of more than {csv.field_size_limit()} characters; is a quote left open?"
"""The only thing that `csv` refuses in a row of one line: no site has a name or a number as long as that."""
RUN = re.compile(r"'*[=+\-@\t\r]")
"""How text begins that a spreadsheet would take for a formula, after any number of apostrophes."""
NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")


@dataclass(frozen=True, kw_only=True)
class Table:
    """A table as text.

    Attributes
    ----------
    file : str
        The file as the user named it.
    columns : dict of str to list of str
        The cells under each column that is known, `as_written` and without space around them; a column that is not
        there is missing.
    lines : list of int
        The line of the file on which each row begins: its number in a spreadsheet.
    ignored : tuple of str
        Columns that mean nothing here.
    """

    file: str
    columns: dict[str, list[str]]
    lines: list[int]
    ignored: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.lines)

    def fault(self, row: int, column: str, problem: str) -> Fault:
        """Something wrong in one row, counted from 0."""
        return Fault(file=self.file, place=f"line {self.lines[row]}", key=column, problem=problem)


def read_table(
    path: Path, *, needed: Sequence[str], also: Sequence[str] = (), coding_if_not_utf_8: str | None = None
) -> Table:
    """Read a CSV file with a header.

    Columns are set apart by commas, semicolons or tabs, whichever the header has. A byte-order mark, empty lines and
    lines that begin with ``#`` are skipped. Names of columns are taken without regard to case.

    Parameters
    ----------
    path : Path
        The file.
    needed, also : sequence of str
        Columns that must be there, and columns that may be.
    coding_if_not_utf_8 : str or None
        How text that is not UTF-8 is read, as spreadsheets of before 2016 write it; None refuses it.

    Returns
    -------
    Table
        With one row or more.

    Raises
    ------
    TableError
        Where the file cannot be read or its header does not fit, or where a row has more cells than the header.
    """
    file = str(path)
    lines = _text(path, coding_if_not_utf_8).splitlines()
    kept = [(number, line) for number, line in enumerate(lines, start=1) if line.strip() and line.strip()[0] != "#"]
    if not kept:
        raise TableError([Fault(file=file, problem=f"is empty; its first line must name {_names(needed)}")])
    separator = max(SEPARATORS, key=kept[0][1].count)
    reader = csv.reader((line for _, line in kept), delimiter=separator, skipinitialspace=True)
    rows, numbers, used = [], [], 0
    try:
        for cells in reader:
            rows.append([as_written(cell.strip()) for cell in cells])
            numbers.append(kept[used][0])
            used = reader.line_num
    except csv.Error:
        raise TableError([Fault(file=file, place=f"line {kept[used][0]}", problem=TOO_LONG)]) from None
    header = [name.casefold() for name in rows[0]]
    faults = [Fault(file=file, place="header", key=name, problem=problem) for name, problem in _slips(header, needed)]
    if not faults:
        faults = [
            Fault(file=file, place=f"line {number}", problem=_too_many(cells, len(header), separator))
            for cells, number in zip(rows[1:], numbers[1:], strict=True)
            if any(cells[len(header) :])
        ]
    if not faults and not any(any(row) for row in rows[1:]):
        faults = [Fault(file=file, problem="has a header and no rows")]
    refuse(faults)
    body = [(number, row) for number, row in zip(numbers[1:], rows[1:], strict=True) if any(row)]
    known = [name for name in (*needed, *also) if name in header]
    return Table(
        file=file,
        columns={
            name: [row[header.index(name)] if header.index(name) < len(row) else "" for _, row in body]
            for name in known
        },
        lines=[number for number, _ in body],
        ignored=tuple(name for name, folded in zip(rows[0], header, strict=True) if folded not in known and name),
    )


def _too_many(cells: Sequence[str], columns: int, separator: str) -> str:
    """Say that a row has more cells than the header; where commas separate them, a decimal comma may be why."""
    problem = f"has {len(cells)} cells below {columns} columns"
    numbers = sum(cell.lstrip("+-").isdecimal() for cell in cells)
    if separator != "," or numbers < 2 * (len(cells) - columns):
        return problem
    return f"{problem}; with commas between the columns write numbers with a decimal point, or separate by semicolons"


def refuse(faults: Sequence[Fault]) -> None:
    """Raise faults where there are any: the first of them one by one, and how many more.

    Raises
    ------
    TableError
        With all that were told.
    """
    if len(faults) > MOST_FAULTS:
        more = Fault(file=faults[0].file, problem=f"{len(faults) - MOST_FAULTS} more faults of this kind")
        raise TableError([*faults[:MOST_FAULTS], more])
    if faults:
        raise TableError(faults)


def number_of(text: str, *, low: float, high: float) -> tuple[float, str | None]:
    """A number, with a decimal point or a decimal comma, and what is wrong with it.

    Examples
    --------
    >>> number_of("-64,5", low=-200, high=60)
    (-64.5, None)
    >>> number_of("12 dB", low=-200, high=60)
    (nan, '"12 dB" is not a number; write one from -200 to 60')
    """
    plain = text.replace("\N{MINUS SIGN}", "-").replace(",", ".")
    allowed = f"write one from {low:g} to {high:g}"
    if not NUMBER.fullmatch(plain):
        return math.nan, f'"{shortened(text)}" is not a number; {allowed}'
    value = float(plain)
    return value, None if low <= value <= high else f"{shortened(text)} is out of range; {allowed}"


def inert(text: str) -> str:
    """Return text as a cell that no spreadsheet runs: with an apostrophe before what would begin a formula.

    Parameters
    ----------
    text : str
        A name or another piece of text, not a number.

    Notes
    -----
    Formulas begin with ``=``, ``+``, ``-``, ``@``, a tab or a carriage return (OWASP, "CSV Injection"). What begins
    with apostrophes before such a letter gets one more, so that `as_written` always gives the same text back.

    Examples
    --------
    >>> inert("=1+1"), inert("S-1-1")
    ("'=1+1", 'S-1-1')
    """
    return f"'{text}" if RUN.match(text) else text


def as_written(cell: str) -> str:
    """Return the text of a cell without the apostrophe that `inert` puts before it.

    Examples
    --------
    >>> as_written("'=1+1"), as_written("'tis")
    ('=1+1', "'tis")
    """
    return cell[1:] if cell.startswith("'") and RUN.match(cell) else cell


def _text(path: Path, coding_if_not_utf_8: str | None = None) -> str:
    """The whole file, whatever byte-order mark it has."""
    file = str(path)
    try:
        data = read_up_to(path, MOST_BYTES)
    except (OSError, ValueError) as error:
        raise TableError([Fault(file=file, problem=why_unread(path, error))]) from None
    if data is None:
        raise TableError([Fault(file=file, problem=f"is larger than {MOST_BYTES // 1_000_000} MB")])
    coding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        text = _decoded(data, coding, coding_if_not_utf_8)
    except UnicodeDecodeError:
        problem = "is not text in UTF-8; save it again as CSV in UTF-8"
        raise TableError([Fault(file=file, problem=problem)]) from None
    if "\0" in text:
        raise TableError([Fault(file=file, problem="is not text: it holds bytes of value 0; save it as CSV")])
    return text


def _decoded(data: bytes, coding: str, otherwise: str | None) -> str:
    """Bytes as text, by a second coding where the first cannot be."""
    try:
        return data.decode(coding)
    except UnicodeDecodeError:
        if otherwise is None or coding == "utf-16":
            raise
        return data.decode(otherwise)


def _slips(header: list[str], needed: Sequence[str]) -> list[tuple[str, str]]:
    """What is wrong with a header."""
    slips = []
    for name in needed:
        if name not in header:
            near = did_you_mean(name, [one for one in header if one and one not in needed]).replace(
                "did you mean", "is it"
            )
            slips.append((name, f"no such column{near}; the first line must name {_names(needed)}"))
    slips.extend((name, "is there twice") for name in dict.fromkeys(header) if name and header.count(name) > 1)
    return slips


def _names(names: Sequence[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else names[0]
