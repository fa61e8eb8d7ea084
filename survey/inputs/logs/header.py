"""The head of a log: which line names the columns, what each column holds, and how the file is written."""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from survey.base.errors import Fault, FileError, did_you_mean, one_line, shortened
from survey.inputs.csv_files import as_written
from survey.inputs.logs.rows import Columns
from survey.inputs.logs.style import UNIX, answer_of, level_of

REQUIRED = ("time", "inverter", "gateway", "heard")
OPTIONAL = ("level_dbm", "power_w", "branch", "date")
NAMED = (*REQUIRED, *OPTIONAL, "serial")
DELIMITERS = (",", ";", "\t")
MAX_PREAMBLE = 40
"""A header stands within so many lines."""
SEP = re.compile(r"sep=(.)\s*", re.IGNORECASE)
MIN_WIDE = 2
"""Columns of inverters that make a table a wide one. A judgement."""
SAMPLE_ROWS = 40
"""Rows below the header that show what a column holds. A judgement."""


@dataclass(frozen=True, kw_only=True)
class Head:
    """What the head of a log says.

    Attributes
    ----------
    columns : Columns
        Where everything stands.
    row : int
        Number of the header's line, counted from 1.
    unix : bool
        Whether times are Unix times.
    notes : tuple of str
        What was assumed, and columns that are not used.
    """

    columns: Columns
    row: int
    unix: bool
    notes: tuple[str, ...]


def head_of(
    lines: Sequence[str],
    *,
    shown: str,
    renamed: Mapping[str, str],
    inverters: Sequence[str],
    gateway: str | None,
    line_break: bytes,
) -> Head:
    """Find the header among the first lines of a log.

    Parameters
    ----------
    lines : sequence of str
        The first lines, without their ends.
    shown : str
        The file, as the user named it.
    renamed : mapping of str to str
        What the user says of columns: name here, name in the file.
    inverters : sequence of str
        Names and serials; a table with a column for each needs none that says which inverter.
    gateway : str or None
        The only gateway, for a log that does not say which.
    line_break : bytes
        What ends a row.

    Raises
    ------
    FileError
        Where a column that is needed is missing, or is there twice.
    """
    given, kept = "", []
    for number, line in enumerate(lines[:MAX_PREAMBLE]):
        separator = SEP.fullmatch(line.strip())
        if separator or line.strip().startswith("sep=\\t"):
            given = separator[1] if separator else "\t"
        elif line.strip() and not line.lstrip().startswith(("#", "//")):
            kept.append((number, line))
    if not kept:
        problem = "is empty; a log begins with time,inverter,gateway,heard"
        raise FileError([Fault(file=shown, problem=problem)])
    known = {one.casefold() for one in inverters if one}
    best: tuple[int, int, str, list[str]] = (-1, 0, "", [])
    for number, line in kept:
        delimiter = given or max(DELIMITERS, key=line.count)
        names = _names(line, delimiter, renamed)
        score = sum(one in NAMED for one in names) + (MIN_WIDE if sum(one in known for one in names) >= MIN_WIDE else 0)
        if score > best[0]:
            best = score, number, delimiter, names
    _, row, delimiter, names = best
    written = [one.strip() for one in _cells(lines[row], delimiter)]
    wide = (
        [k for k, one in enumerate(names) if one in known] if "inverter" not in names and "serial" not in names else []
    )
    faults = _faults(
        names, written, wide=len(wide) >= MIN_WIDE, shown=shown, row=row + 1, gateway=gateway, renamed=renamed
    )
    if faults:
        raise FileError(faults)
    if "serial" in names and "inverter" not in names:
        names[names.index("serial")] = "inverter"
    sample = [_cells(line, delimiter) for line in lines[row + 1 : row + 1 + SAMPLE_ROWS] if line.strip()]
    at = {one: names.index(one) if one in names else -1 for one in (*REQUIRED, *OPTIONAL)}
    notes = _assumed(names, at, wide=wide, row=row, gateway=gateway)
    if at["time"] < 0:
        at["time"], at["date"] = at["date"], -1
    unused = [
        one_line(name) or "one without a name" for k, name in enumerate(names) if name not in at and k not in wide
    ]
    notes += [f"columns not used: {', '.join(unused)}"] if unused else []
    columns = Columns(
        count=len(names),
        time=at["time"],
        date=at["date"],
        inverter=at["inverter"],
        gateway=at["gateway"],
        heard=at["heard"],
        level=at["level_dbm"],
        power=at["power_w"],
        branch=at["branch"],
        delimiter=delimiter,
        decimal="." if delimiter == "," else ",",
        line_break=line_break,
        wide=tuple(wide),
        wide_names=tuple(as_written(written[k]) for k in wide),
        wide_levels=bool(wide) and _are_levels([row[k] for row in sample for k in wide if k < len(row)]),
    )
    times = [row[columns.time].strip() for row in sample if columns.time < len(row)]
    unix = bool(times) and all(UNIX.fullmatch(one) for one in times) and columns.date < 0
    return Head(columns=columns, row=row + 1, unix=unix, notes=tuple(notes))


def _cells(line: str, delimiter: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=delimiter), [])
    except csv.Error:
        return line.split(delimiter)


def _names(line: str, delimiter: str, renamed: Mapping[str, str]) -> list[str]:
    """Names of columns as they are called here."""
    called = {name.strip().casefold(): one for one, name in renamed.items()}
    names = [one.strip().casefold() for one in _cells(line, delimiter)]
    return [called.get(one, f"{one} in the file" if one in renamed else one) for one in names]


def _are_levels(cells: Sequence[str]) -> bool:
    """Whether the cells of a wide table are levels, not words for an answer."""
    told = [one for one in cells if one.strip()]
    return any(answer_of(one) is None and level_of(one) is not None for one in told)


def _assumed(
    names: Sequence[str], at: Mapping[str, int], *, wide: Sequence[int], row: int, gateway: str | None
) -> list[str]:
    """What the reader assumes, in one line each."""
    notes = []
    if row:
        notes.append(f"lines before the header: {row}, skipped")
    if len(wide) >= MIN_WIDE:
        notes.append(f"a table with one column for each inverter: {len(wide)} of them")
    if at["gateway"] < 0:
        notes.append(f"no column names the gateway: all polls are taken to be of {gateway}")
    if at["heard"] < 0 and not wide:
        notes.append("no column says whether a poll was answered: one with a level was, one without was missed")
    if at["date"] >= 0 and "time" in names:
        notes.append("date and time of the day stand in two columns, read together")
    return notes


def _faults(
    names: Sequence[str],
    written: Sequence[str],
    *,
    wide: bool,
    shown: str,
    row: int,
    gateway: str | None,
    renamed: Mapping[str, str],
) -> list[Fault]:
    """Columns that are needed and missing, or there twice."""
    needed = {"time": "date" in names and "time" not in names}
    needed["inverter"] = wide or "serial" in names
    needed["gateway"] = gateway is not None
    needed["heard"] = wide or "level_dbm" in names
    faults = []
    for one in REQUIRED:
        if one not in names and not needed[one]:
            near = did_you_mean(one, [name for name in names if name not in REQUIRED])
            have = ", ".join(f'"{shortened(name)}"' for name in written if name)
            problem = f'no such column{near or f" among {have}"}; say which it is: --column {one}="NAME"'
            faults.append(Fault(file=shown, place=f"row {row}", key=one, problem=problem))
    faults += [
        Fault(file=shown, place=f"row {row}", key=one, problem="is there twice")
        for one in (*REQUIRED, *OPTIONAL)
        if names.count(one) > 1
    ]
    faults += [
        Fault(file=shown, place=f"row {row}", key=name, problem=f"no such column, which --column {one} names")
        for one, name in renamed.items()
        if name.strip().casefold() not in {text.casefold() for text in written}
    ]
    return faults
