"""The head of a log: which line names the columns, what each column holds, and how the file is written."""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from survey.base.errors import Fault, FileError, did_you_mean, one_line, shortened
from survey.inputs.csv_files import as_written
from survey.inputs.logs.columns import Columns
from survey.inputs.logs.naming import MIN_WIDE, NAMED, OPTIONAL, REQUIRED, Named, folded, inverter_in, named
from survey.inputs.logs.style import UNIX, Style, answer_of, level_of

DELIMITERS = (",", ";", "\t", "|")
MAX_PREAMBLE = 40
"""A header stands within so many lines."""
SEP = re.compile(r"sep=(.)\s*", re.IGNORECASE)
FIELDS = {"level_dbm": "level", "power_w": "power"}
"""Fields of `Columns` that are called otherwise than the columns."""
MIN_COLUMNS = 2
"""A line of comment that names fewer columns is no header. A judgement."""
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
    called : dict of str to str
        Columns whose name in the file is another: what each holds, and that name.
    notes : tuple of str
        What was assumed, and columns that are not used.
    """

    columns: Columns
    row: int
    unix: bool
    called: dict[str, str]
    notes: tuple[str, ...]


def head_of(
    lines: Sequence[str],
    *,
    shown: str,
    renamed: Mapping[str, str],
    inverters: Sequence[str],
    gateways: Sequence[str],
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
    gateways : sequence of str
        Names of gateways and spots.
    gateway : str or None
        The only gateway, for a log that does not say which.
    line_break : bytes
        What ends a row.

    Raises
    ------
    FileError
        Where a column that is needed is missing, or is there twice.
    """
    known = {folded(one) for one in inverters if one}
    row, delimiter = _header(lines, renamed, known, shown)
    written = [one.strip() for one in _cells(_bare(lines[row]), delimiter)]
    sample = [_cells(line, delimiter) for line in lines[row + 1 : row + 1 + SAMPLE_ROWS] if line.strip()]
    written = _as_wide_as(written, sample)
    meant = named(
        written,
        renamed,
        known=known,
        gateways={folded(one) for one in gateways},
        sample=sample,
        gateway=gateway,
    )
    names = meant.holds
    wide = (
        [k for k, one in enumerate(names) if inverter_in(one, known)]
        if "inverter" not in names and "serial" not in names
        else []
    )
    faults = _faults(
        names, written, wide=len(wide) >= MIN_WIDE, shown=shown, row=row + 1, gateway=gateway, renamed=renamed
    )
    if faults:
        raise FileError(faults)
    if "serial" in names and "inverter" not in names:
        names[names.index("serial")] = "inverter"
    at = {one: names.index(one) if one in names else -1 for one in (*REQUIRED, *OPTIONAL)}
    if at["time"] >= 0 and at["date"] >= 0 and _has_date(sample, at["time"]):
        names[at["date"]], at["date"] = written[at["date"]], -1
        meant.taken.pop("date", None)
    notes = _assumed(meant, at, wide=wide, row=row, gateway=gateway)
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
        wide_names=tuple(as_written(inverter_in(written[k], known)) for k in wide),
        header=tuple(written),
        wide_levels=bool(wide) and _are_levels([row[k] for row in sample for k in wide if k < len(row)]),
    )
    times = [row[columns.time].strip() for row in sample if columns.time < len(row)]
    unix = bool(times) and all(UNIX.fullmatch(one) for one in times) and columns.date < 0
    if unix:
        notes.insert(0, "times are Unix times, read as universal time (UTC)")
    called = {
        one: written[place]
        for one in (*REQUIRED, *OPTIONAL)
        if (place := getattr(columns, FIELDS.get(one, one))) >= 0 and written[place].casefold() != one
    }
    return Head(columns=columns, row=row + 1, unix=unix, called=called, notes=tuple(notes))


def _header(lines: Sequence[str], renamed: Mapping[str, str], known: set[str], shown: str) -> tuple[int, str]:
    """The number of the header's line, from 0, and what stands between its cells.

    It is the line that names most columns; a line of comment may be it where no other names as many.
    """
    given = ""
    best: tuple[float, int, str] = (-1.0, 0, "")
    for number, line in enumerate(lines[:MAX_PREAMBLE]):
        separator = SEP.fullmatch(line.strip())
        if separator or line.strip().startswith("sep=\\t"):
            given = separator[1] if separator else "\t"
            continue
        text = _bare(line)
        if not text.strip():
            continue
        is_comment = text is not line
        delimiter = given or max(DELIMITERS, key=text.count)
        cells = _cells(text, delimiter)
        names = named(cells, renamed, known=known).holds
        own = sum(one.strip().casefold() in NAMED for one in cells)
        score = sum(one in NAMED for one in names) + 0.1 * own
        score += MIN_WIDE if sum(bool(inverter_in(one, known)) for one in names) >= MIN_WIDE else 0
        score -= 1.0 if is_comment else 0.0
        if is_comment and score < MIN_COLUMNS:
            continue
        if score > best[0]:
            best = score, number, delimiter
    if best[0] < 0:
        problem = "is empty; a log begins with time,inverter,gateway,heard"
        raise FileError([Fault(file=shown, problem=problem)])
    return best[1], best[2]


def _bare(line: str) -> str:
    """A line of comment without its mark; any other line itself."""
    text = line.lstrip()
    return text.lstrip("#/").lstrip() if text.startswith(("#", "//")) else line


def _as_wide_as(written: list[str], sample: Sequence[Sequence[str]]) -> list[str]:
    """The header with as many cells as the rows, where only empty cells at the ends make the difference."""
    if not sample:
        return written
    least, most = min(map(len, sample)), max(map(len, sample))
    if least > len(written) and not any(cell.strip() for row in sample for cell in row[len(written) :]):
        return written + [""] * (least - len(written))
    if most < len(written) and not any(written[most:]):
        return written[:most]
    return written


def _has_date(sample: Sequence[Sequence[str]], column: int) -> bool:
    """Whether the cells of a column hold a date and a time of the day."""
    style, told = Style(), [row[column] for row in sample if column < len(row) and row[column].strip()]
    return bool(told) and all(style.seconds_of(one) is not None for one in told)


def _cells(line: str, delimiter: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=delimiter), [])
    except csv.Error:
        return line.split(delimiter)


def _are_levels(cells: Sequence[str]) -> bool:
    """Whether the cells of a wide table are levels, not words for an answer."""
    told = [one for one in cells if one.strip()]
    return any(answer_of(one) is None and level_of(one) is not None for one in told)


def _assumed(meant: Named, at: Mapping[str, int], *, wide: Sequence[int], row: int, gateway: str | None) -> list[str]:
    """What the reader assumes, in one line each."""
    notes = []
    if meant.taken:
        told = ", ".join(f'{one} from "{one_line(name)}"' for one, name in meant.taken.items())
        notes.append(f"columns taken by their names: {told}")
    if row:
        notes.append(f"lines before the header: {row}, skipped")
    if len(wide) >= MIN_WIDE:
        notes.append(f"a table with one column for each inverter: {len(wide)} of them")
    if at["gateway"] < 0:
        notes.append(f"no column names the gateway: all polls are taken to be of {gateway}")
    if at["heard"] < 0 and not wide:
        notes.append("no column says whether a poll was answered: one with a level was, one without was missed")
    if at["date"] >= 0 and at["time"] >= 0:
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
    missing = [one for one in REQUIRED if one not in names and not needed[one]]
    polls = [name for name in written if Style().seconds_of(name) is not None]
    if missing and polls:
        problem = f'"{shortened(polls[0])}" is a time: the file has no header; write {",".join(REQUIRED)} above it'
        return [Fault(file=shown, place=f"row {row}", problem=problem)]
    for one in missing:
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
