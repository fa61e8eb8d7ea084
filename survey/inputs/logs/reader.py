"""A log file: its header, its rows in blocks by two threads, and all that is wrong with it."""

from __future__ import annotations

from codecs import BOM_UTF8
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from survey.base.errors import Fault, FileError, did_you_mean, one_line, shortened, why_unread
from survey.inputs.csv_files import as_written
from survey.inputs.logs.cells import MOST_NAMES, Names, TooManyNamesError
from survey.inputs.logs.grid import Log, Resolved, log_of
from survey.inputs.logs.header import head_of
from survey.inputs.logs.rows import ROW_FIELDS, TOLD, Block, Faults, RowReader
from survey.inputs.logs.source import Source, opened
from survey.inputs.logs.style import DAY_FIRST, MAX_MONTH, ORDERS, Style

if TYPE_CHECKING:  # start-up time
    from concurrent.futures import Future

BLOCK_BYTES = 8_000_000
"""Read at a time: large for numpy, small for memory; a judgement."""
HEAD_BYTES = 262_144
"""The header, and some rows below it, lie within so many bytes. A judgement."""
AT_ONCE = 2
"""Blocks in work at once, one for each of two threads."""
MIN_KNOWN = 0.5
"""Where the plan knows the names of so many rows, the others are left out; else the log is of another site. [-]"""
BOTH_ORDERS = "say --dates day-first or --dates month-first"

Progress = Callable[[int, int], None]


def read_log(
    path: Path,
    *,
    inverters: Sequence[str],
    serials: Sequence[str],
    gateways: Sequence[str],
    gateway: str | None = None,
    dates: str | None = None,
    columns: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> Log:
    """Read a log of polls.

    Parameters
    ----------
    path : Path
        CSV with a header: ``time,inverter,gateway,heard`` and, if need be, ``level_dbm``, ``power_w``, ``branch``; or
        a spreadsheet file with the same. docs/dropouts.md lists what else is read.
    inverters, serials : sequence of str
        Names of the plan's inverters, and the serial of each, empty where it has none.
    gateways : sequence of str
        Names of the plan's gateways and spots.
    gateway : str, optional
        The only gateway, for a log that does not say which; without it such a log is refused.
    dates : str, optional
        ``day-first`` or ``month-first``, where local dates do not tell it themselves.
    columns : mapping of str to str, optional
        Names of columns in the file by what they hold, such as ``{"heard": "State"}``.
    progress : callable, optional
        Called with the bytes read and the bytes there are.

    Returns
    -------
    Log
        Polls by link and time.

    Raises
    ------
    FileError
        With all that is wrong with the file.
    """
    shown = str(path)
    notes: list[str] = []
    style = Style(order=dates or DAY_FIRST, given=dates is not None)
    plan = [*inverters, *serials]
    try:
        reader, blocks, called = _read(path, style, plan, gateways, gateway, columns or {}, notes, progress)
        if style.is_local and style.told_order not in {style.order, ""}:  # now known: read again
            notes.clear()
            style = Style(order=style.told_order, given=True, first_max=1)
            reader, blocks, called = _read(path, style, plan, gateways, gateway, columns or {}, notes, progress)
    except (OSError, ValueError) as error:
        raise FileError([Fault(file=shown, problem=why_unread(path, error))]) from None
    except TooManyNamesError:
        problem = (
            f"holds more than {MOST_NAMES} different names of inverters, gateways or branches: are columns mixed up?"
        )
        raise FileError([Fault(file=shown, problem=problem)]) from None
    faults = _row_faults(reader.faults, shown, called)
    faults += _date_faults(style, shown)
    if style.is_local and not faults:
        notes.append(
            f"dates are read {style.order.replace('-', ' ')}, " + ("as asked" if dates else "as the column tells")
        )
    unknown: list[Fault] = []
    resolved = Resolved(
        inverter=_resolve(reader.inverters.names, inverters, serials, what="inverter", shown=shown, faults=unknown),
        gateway=_resolve(reader.gateways.names, gateways, (), what="gateway", shown=shown, faults=unknown),
        branches=tuple(reader.branches.names),
    )
    blocks = _known_rows(blocks, resolved, reader, unknown, notes)
    faults += unknown
    if faults:
        raise FileError(faults)
    if not sum(len(one.seconds) for one in blocks):
        raise FileError([Fault(file=shown, problem="has a header but no rows")])
    return log_of(blocks, resolved, file=shown, columns=reader.columns, inverters=len(inverters), notes=notes)


def _read(  # noqa: PLR0917  what read_log is given
    path: Path,
    style: Style,
    plan: Sequence[str],
    gateways: Sequence[str],
    gateway: str | None,
    renamed: Mapping[str, str],
    notes: list[str],
    progress: Progress | None,
) -> tuple[RowReader, list[Block], dict[str, str]]:
    """All rows of a file, the reader that knows their names and faults, and other names of its columns."""
    shown, total = str(path), path.stat().st_size
    with opened(path, notes) as file:
        data = file.read(HEAD_BYTES).removeprefix(BOM_UTF8)
        line_break = b"\r" if b"\r" in data.split(b"\n")[0].rstrip(b"\r\n") else b"\n"
        lines = data.split(line_break)
        texts = [one.decode("utf-8", "replace").rstrip("\r\n") for one in lines]
        head = head_of(
            texts,
            shown=shown,
            renamed=renamed,
            inverters=plan,
            gateways=gateways,
            gateway=gateway,
            line_break=line_break,
        )
        notes += head.notes
        style.unix = head.unix
        reader = RowReader(
            columns=head.columns,
            inverters=Names(),
            gateways=Names(),
            branches=Names(),
            faults=Faults(),
            style=style,
            gateway=gateway or "",
        )
        rest = line_break.join(lines[head.row :])
        blocks = list(_blocks(file, reader, rest, head.row + 1, shown=shown, total=total, progress=progress))
    return reader, blocks, head.called


def _date_faults(style: Style, shown: str) -> list[Fault]:
    """Local dates that may be read in two ways, or in none."""
    if not style.is_local or style.told_order:
        return []
    if style.first_max > MAX_MONTH:
        problem = "holds dates with more than 12 in the first place and others with more than 12 in the second"
        return [Fault(file=shown, key="time", problem=f"{problem}; {BOTH_ORDERS}")]
    if not style.example:
        return []
    first, second = (Style(order=order, given=True).day_of(style.example) or 0 for order in ORDERS)
    readings = " or ".join(f"{date(1970, 1, 1) + timedelta(days=one):%d %B %Y}" for one in (first, second))
    problem = f'"{style.example}" may be {readings}, and no date of the column tells which; {BOTH_ORDERS}'
    return [Fault(file=shown, key="time", problem=problem)]


def _known_rows(
    blocks: list[Block], resolved: Resolved, reader: RowReader, unknown: list[Fault], notes: list[str]
) -> list[Block]:
    """The rows whose names the plan knows, where these are most; the faults of the others become a note."""
    lost = [
        (names, [i for i, number in enumerate(numbers) if number < 0], field)
        for names, numbers, field in (
            (reader.inverters.names, resolved.inverter, "inverter"),
            (reader.gateways.names, resolved.gateway, "gateway"),
        )
    ]
    if not any(rows for _, rows, _ in lost) or any("belongs to" in one.problem for one in unknown):
        return blocks
    masks = [
        np.logical_and.reduce([~np.isin(getattr(block, field), rows) for _, rows, field in lost]) for block in blocks
    ]
    known, total = sum(int(one.sum()) for one in masks), sum(len(one) for one in masks)
    if not known or known < MIN_KNOWN * total:
        return blocks
    unknown.clear()
    for names, rows, field in lost:
        if rows:
            counts = {i: sum(int((getattr(block, field) == i).sum()) for block in blocks) for i in rows}
            told = ", ".join(f'"{shortened(names[i])}" ({counts[i]} rows)' for i in rows[:TOLD])
            more = f" and {len(rows) - TOLD} more" if len(rows) > TOLD else ""
            notes.append(f"no {field} of the plan is named {told}{more}: left out")
    return [
        block if mask.all() else replace(block, **{name: getattr(block, name)[mask] for name in ROW_FIELDS})
        for block, mask in zip(blocks, masks, strict=True)
    ]


def _blocks(
    file: Source, reader: RowReader, rest: bytes, first_row: int, *, shown: str, total: int, progress: Progress | None
) -> Iterator[Block]:
    """All rows, a block at a time, in the order of the file."""
    from concurrent.futures import ThreadPoolExecutor  # noqa: PLC0415  start-up time

    waiting: deque[tuple[Future[Block], int]] = deque()
    with ThreadPoolExecutor(AT_ONCE) as pool:
        for data, row in _whole_rows(file, rest, first_row, shown, reader.columns.line_break):
            if reader.faults.too_many:
                break
            waiting.append((pool.submit(reader.read, data, row), file.tell()))
            if len(waiting) > AT_ONCE:
                block, done = waiting.popleft()
                yield block.result()
                if progress:
                    progress(min(done, total), total)
        while waiting:
            yield waiting.popleft()[0].result()
    if progress:
        progress(total, total)


def _whole_rows(file: Source, rest: bytes, row: int, shown: str, line_break: bytes) -> Iterator[tuple[bytes, int]]:
    """Pieces of the file that end with LF, whatever ended their rows, each with the number of its first row."""
    rest = rest if line_break == b"\n" else rest.replace(line_break, b"\n")
    while piece := file.read(BLOCK_BYTES):
        data = rest + (piece if line_break == b"\n" else piece.replace(line_break, b"\n"))
        cut = data.rfind(b"\n") + 1
        if not cut:
            if len(data) > BLOCK_BYTES:
                raise FileError([Fault(file=shown, problem="has a row without an end; is it a CSV file?")])
            rest = data
            continue
        yield data[:cut], row
        row += data.count(b"\n", 0, cut)
        rest = data[cut:]
    if rest:
        yield rest + b"\n", row


def _row_faults(found: Faults, shown: str, called: Mapping[str, str] | None = None) -> list[Fault]:
    """What is wrong with rows: the first of each kind by their numbers, then how many more there are.

    `called` gives the names in the file of columns that are called otherwise there.
    """
    faults = []
    other = {one: f'{one} (column "{one_line(name)}")' for one, name in (called or {}).items()}
    stopped = " as far as it was read" if found.too_many else ""
    for rows in found.rows.values():
        rows.sort()
    for (key, problem), rows in sorted(
        found.rows.items(), key=lambda kind: kind[1][0]
    ):  # threads may find later ones first
        for row, text in rows[:TOLD]:
            faults.append(
                Fault(
                    file=shown,
                    place=f"row {row}",
                    key=other.get(key, key),
                    problem=f'"{shortened(text)}" is {problem}' if key else f"{text}: {problem}",
                )
            )
        more = found.counts[key, problem] - min(TOLD, len(rows))
        if more:
            faults.append(
                Fault(file=shown, key=other.get(key, key), problem=f"and {more} more rows like these{stopped}")
            )
    return faults


def _resolve(
    found: Sequence[str],
    names: Sequence[str],
    serials: Sequence[str],
    *,
    what: str,
    shown: str,
    faults: list[Fault],
) -> list[int]:
    """Which of the plan's each name of the log means; -1 where none, which is then told."""
    at = {name: i for i, name in enumerate(names)}
    folded: dict[str, list[int]] = {}
    for i, name in enumerate(names):
        folded.setdefault(name.casefold(), []).append(i)
    by_serial: dict[str, list[int]] = {}
    for i, serial in enumerate(serials):
        if serial:
            by_serial.setdefault(serial.casefold(), []).append(i)
    numbers = []
    told = []
    for name in map(as_written, found):
        alike = folded.get(name.casefold(), [])
        owners = [at[name]] if name in at else alike if len(alike) == 1 else by_serial.get(name.casefold(), [])
        numbers.append(owners[0] if len(owners) == 1 else -1)
        if len(owners) > 1:
            both = " and ".join(f'"{names[i]}"' for i in owners)
            told.append(Fault(file=shown, problem=f'serial "{name}" belongs to {both} in the plan'))
        elif "\ufffd" in name:
            told.append(
                Fault(file=shown, problem=f'{what} "{name}": is not text in UTF-8; save the log as CSV in UTF-8')
            )
        elif not owners:
            near = did_you_mean(name, [*names, *(one for one in serials if one)])
            told.append(Fault(file=shown, problem=f'no {what} of the plan is named "{name}"{near}'))
    faults += sorted(told, key=lambda one: one.problem)  # names are numbered as threads meet them
    return numbers
