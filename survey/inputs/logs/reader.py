"""A log file: its header, its rows in blocks by two threads, and all that is wrong with it."""

from __future__ import annotations

from codecs import BOM_UTF8
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from survey.base.errors import Fault, FileError, one_line, shortened, why_unread
from survey.inputs.logs.cells import MOST_NAMES, Names, TooManyNamesError
from survey.inputs.logs.grid import Log, log_of
from survey.inputs.logs.header import head_of
from survey.inputs.logs.in_plan import Planned, in_plan, unknown_faults
from survey.inputs.logs.rows import TOLD, Block, Faults, RowReader
from survey.inputs.logs.source import Source, opened, whole_rows
from survey.inputs.logs.style import DAY_FIRST, MAX_MONTH, ORDERS, Style

if TYPE_CHECKING:  # start-up time
    from concurrent.futures import Future

HEAD_BYTES = 262_144
"""The header, and some rows below it, lie within so many bytes. A judgement."""
AT_ONCE = 2
"""Blocks in work at once, one for each of two threads."""
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
    resolved, blocks, unknown = in_plan(
        blocks,
        (reader.inverters.names, reader.gateways.names, reader.branches.names),
        Planned(inverters=inverters, serials=serials, gateways=gateways, gateway=gateway),
        notes,
    )
    faults += unknown_faults(unknown, path, reader.columns, called)
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


def _blocks(
    file: Source, reader: RowReader, rest: bytes, first_row: int, *, shown: str, total: int, progress: Progress | None
) -> Iterator[Block]:
    """All rows, a block at a time, in the order of the file."""
    from concurrent.futures import ThreadPoolExecutor  # noqa: PLC0415  start-up time

    waiting: deque[tuple[Future[Block], int]] = deque()
    with ThreadPoolExecutor(AT_ONCE) as pool:
        for data, row in whole_rows(file, rest, first_row, shown, reader.columns.line_break):
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
