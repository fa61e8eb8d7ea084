"""A log file: its header, its rows in blocks by two threads, and all that is wrong with it."""

from __future__ import annotations

import csv
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from survey.base.errors import Fault, FileError, did_you_mean, one_line, shortened, why_unread
from survey.inputs.csv_files import as_written
from survey.inputs.logs.cells import MOST_NAMES, Names, TooManyNamesError
from survey.inputs.logs.grid import Log, Resolved, log_of
from survey.inputs.logs.rows import TOLD, Block, Columns, Faults, RowReader

if TYPE_CHECKING:  # start-up time
    from concurrent.futures import Future

BLOCK_BYTES = 8_000_000
"""Read at a time: large for numpy, small for memory; a judgement."""
AT_ONCE = 2
"""Blocks in work at once, one for each of two threads."""
LONGEST_ROW = 10_000
"""A longer line is no row of a log: a judgement. [bytes]"""
REQUIRED = ("time", "inverter", "gateway", "heard")
OPTIONAL = ("level_dbm", "power_w", "branch")
DELIMITERS = (",", ";", "\t")
UTF_16 = (b"\xff\xfe", b"\xfe\xff")

Progress = Callable[[int, int], None]


def read_log(
    path: Path,
    *,
    inverters: Sequence[str],
    serials: Sequence[str],
    gateways: Sequence[str],
    progress: Progress | None = None,
) -> Log:
    """Read a log of polls.

    Parameters
    ----------
    path : Path
        CSV with a header: ``time,inverter,gateway,heard`` and, if need be, ``level_dbm``, ``power_w``, ``branch``.
    inverters, serials : sequence of str
        Names of the plan's inverters, and the serial of each, empty where it has none.
    gateways : sequence of str
        Names of the plan's gateways and spots.
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
    try:
        total = path.stat().st_size
        with path.open("rb") as file:
            columns, ignored = _columns(file, shown)
            reader = RowReader(columns=columns, inverters=Names(), gateways=Names(), branches=Names(), faults=Faults())
            blocks = list(_blocks(file, reader, shown=shown, total=total, progress=progress))
    except (OSError, ValueError) as error:
        raise FileError([Fault(file=shown, problem=why_unread(path, error))]) from None
    except TooManyNamesError:
        problem = (
            f"holds more than {MOST_NAMES} different names of inverters, gateways or branches: are columns mixed up?"
        )
        raise FileError([Fault(file=shown, problem=problem)]) from None
    faults = _row_faults(reader.faults, shown)
    resolved = Resolved(
        inverter=_resolve(reader.inverters.names, inverters, serials, what="inverter", shown=shown, faults=faults),
        gateway=_resolve(reader.gateways.names, gateways, (), what="gateway", shown=shown, faults=faults),
        branches=tuple(reader.branches.names),
    )
    if faults:
        raise FileError(faults)
    if not sum(len(one.seconds) for one in blocks):
        raise FileError([Fault(file=shown, problem="has a header but no rows")])
    notes = [f"columns not used: {', '.join(ignored)}"] if ignored else []
    return log_of(blocks, resolved, file=shown, columns=columns, inverters=len(inverters), notes=notes)


def _columns(file: BinaryIO, shown: str) -> tuple[Columns, list[str]]:
    """The header: where each column stands, and which are not used."""
    raw = file.readline(LONGEST_ROW)
    problem = ""
    if not raw.strip():
        problem = "is empty; a log begins with time,inverter,gateway,heard"
    elif raw.startswith(UTF_16) or b"\0" in raw:
        problem = "is not plain text, or not in UTF-8; save it as CSV in UTF-8"
    if problem:
        raise FileError([Fault(file=shown, problem=problem)])
    head = raw.rstrip(b"\r\n").split(b"\r")[0]
    old = len(head) < len(raw.rstrip(b"\r\n"))  # rows end with CR alone, as old spreadsheets write them
    if old:
        file.seek(len(head) + 1)
    header = head.decode("utf-8-sig", "replace")
    delimiter = max(DELIMITERS, key=header.count)
    names = [one.strip().casefold() for one in next(csv.reader([header], delimiter=delimiter))]
    if "serial" in names and "inverter" not in names:
        names[names.index("serial")] = "inverter"
    faults = []
    for one in REQUIRED:
        if one not in names:
            near = did_you_mean(one, [name for name in names if name not in REQUIRED])
            faults.append(Fault(file=shown, place="row 1", key=one, problem=f"no such column{near}"))
    faults += [
        Fault(file=shown, place="row 1", key=one, problem="is there twice")
        for one in (*REQUIRED, *OPTIONAL)
        if names.count(one) > 1
    ]
    if faults:
        raise FileError(faults)
    at = {one: names.index(one) if one in names else -1 for one in (*REQUIRED, *OPTIONAL)}
    columns = Columns(
        count=len(names),
        time=at["time"],
        inverter=at["inverter"],
        gateway=at["gateway"],
        heard=at["heard"],
        level=at["level_dbm"],
        power=at["power_w"],
        branch=at["branch"],
        delimiter=delimiter,
        decimal="." if delimiter == "," else ",",
        line_break=b"\r" if old else b"\n",
    )
    return columns, [one_line(name) or "one without a name" for name in names if name not in at]


def _blocks(file: BinaryIO, reader: RowReader, *, shown: str, total: int, progress: Progress | None) -> Iterator[Block]:
    """All rows, a block at a time, in the order of the file."""
    from concurrent.futures import ThreadPoolExecutor  # noqa: PLC0415  start-up time

    waiting: deque[tuple[Future[Block], int]] = deque()
    with ThreadPoolExecutor(AT_ONCE) as pool:
        for data, row in _whole_rows(file, shown, reader.columns.line_break):
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


def _whole_rows(file: BinaryIO, shown: str, line_break: bytes) -> Iterator[tuple[bytes, int]]:
    """Pieces of the file that end with LF, whatever ended their rows, each with the number of its first row."""
    row, rest = 2, b""
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


def _row_faults(found: Faults, shown: str) -> list[Fault]:
    """What is wrong with rows: the first of each kind by their numbers, then how many more there are."""
    faults = []
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
                    key=key,
                    problem=f'"{shortened(text)}" is {problem}' if key else f"{text}: {problem}",
                )
            )
        more = found.counts[key, problem] - min(TOLD, len(rows))
        if more:
            faults.append(Fault(file=shown, key=key, problem=f"and {more} more rows like these{stopped}"))
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
    by_serial: dict[str, list[int]] = {}
    for i, serial in enumerate(serials):
        if serial:
            by_serial.setdefault(serial, []).append(i)
    numbers = []
    told = []
    for name in map(as_written, found):
        owners = by_serial.get(name, []) if name not in at else [at[name]]
        numbers.append(owners[0] if len(owners) == 1 else -1)
        if len(owners) > 1:
            both = " and ".join(f'"{names[i]}"' for i in owners)
            told.append(Fault(file=shown, problem=f'serial "{name}" belongs to {both} in the plan'))
        elif "\ufffd" in name:
            told.append(
                Fault(file=shown, problem=f'{what} "{name}": is not text in UTF-8; save the log as CSV in UTF-8')
            )
        elif not owners:
            near = did_you_mean(name, [*names, *by_serial])
            told.append(Fault(file=shown, problem=f'no {what} of the plan is named "{name}"{near}'))
    faults += sorted(told, key=lambda one: one.problem)  # names are numbered as threads meet them
    return numbers
