"""Rows of a log: a block of bytes to columns of numbers; whatever looks odd is read again with care."""

from __future__ import annotations

import csv
from dataclasses import dataclass, field
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray, IntArray
from survey.base.errors import shortened
from survey.inputs.csv_files import TOO_LONG
from survey.inputs.logs.cells import SPARE_BYTES, Names, numbers_of
from survey.inputs.logs.stamps import seconds_of, seconds_of_text

Bytes = NDArray[np.uint8]

NEWLINE, RETURN, QUOTE = 10, 13, 34
"""Their codes in ASCII, and so in UTF-8."""
TOLD = 5
"""How many bad rows are told one by one for each thing that may be wrong: beyond, their number."""
MOST_BAD = 10_000
"""After so many bad rows a log is not read on: it is one mistake many times."""
RETURN_WITHIN = "has a carriage return (CR) amid its fields; end every row with LF or CR LF"
MOST_LEVEL_DBM = 0.0
"""No receiver on a wall ever sees more than this; a level above it is in other units. [dBm]"""


@dataclass(frozen=True, kw_only=True)
class Columns:
    """Where each column of a log stands, -1 where there is none, and how its fields and row ends are written."""

    count: int
    time: int
    inverter: int
    gateway: int
    heard: int
    level: int
    power: int
    branch: int
    delimiter: str
    decimal: str
    line_break: bytes = b"\n"


@dataclass
class Faults:
    """What is wrong with the rows of a log: the first few of each kind, and how many there are."""

    rows: dict[tuple[str, str], list[tuple[int, str]]] = field(default_factory=dict)
    counts: dict[tuple[str, str], int] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    @property
    def too_many(self) -> bool:
        """Whether it is no use to read on."""
        with self._lock:
            return sum(self.counts.values()) > MOST_BAD

    def add(self, row: int, key: str, problem: str, found: str = "") -> None:
        """One bad field."""
        with self._lock:
            kind = (key, problem)
            self.counts[kind] = self.counts.get(kind, 0) + 1
            told = self.rows.setdefault(kind, [])
            told.append((row, found))
            if len(told) > 4 * TOLD:  # threads may come with later rows first
                told.sort()
                del told[2 * TOLD :]


@dataclass(frozen=True, kw_only=True)
class Block:
    """Some rows of a log, each field of shape (rows,)."""

    seconds: IntArray
    offset_min: NDArray[np.int16]
    inverter: NDArray[np.int16]
    gateway: NDArray[np.int16]
    heard: BoolArray
    level_dbm: NDArray[np.float16]
    power_w: NDArray[np.float16]
    branches: dict[tuple[int, int], int]


@dataclass(frozen=True, kw_only=True)
class RowReader:
    """Reads blocks of whole rows."""

    columns: Columns
    inverters: Names
    gateways: Names
    branches: Names
    faults: Faults

    def read(self, data: bytes, first_row: int) -> Block:
        """One block: whole rows, each with its line break."""
        columns = self.columns
        buffer = np.frombuffer(data + bytes(SPARE_BYTES), dtype=np.uint8)
        newline = np.flatnonzero(buffer == NEWLINE)
        begins = np.concatenate([[0], newline[:-1] + 1])
        finishes = newline - ((newline > begins) & (buffer[newline - 1] == RETURN))
        marks = np.flatnonzero(buffer == ord(columns.delimiter))
        before = np.searchsorted(marks, newline)
        counts = np.diff(before, prepend=0)
        filled = finishes > begins
        regular = (counts == columns.count - 1) & filled
        rows = np.flatnonzero(regular)
        inner = marks[(before - counts)[rows, None] + np.arange(columns.count - 1)]
        starts = np.column_stack([begins[rows], inner + 1]).T
        ends = np.column_stack([inner, finishes[rows]]).T
        starts, ends = np.ascontiguousarray(starts), np.ascontiguousarray(ends)
        quotes = np.flatnonzero(buffer == QUOTE)
        if len(quotes):
            quoted = (buffer[starts] == QUOTE) & (ends - starts > 1) & (buffer[ends - 1] == QUOTE)
            starts, ends = starts + quoted, ends - quoted
            # Quotes beside those around a field are doubled ones, or slips.
            within = np.diff(np.searchsorted(quotes, newline), prepend=0)[rows] != 2 * quoted.sum(axis=0)
            regular[rows[within]] = False
            rows, starts, ends = rows[~within], starts[:, ~within], ends[:, ~within]
        block, odd = self._fast(buffer, starts, ends)
        careful = np.concatenate([rows[odd], np.flatnonzero(~regular & filled)])
        kept = ~odd
        extra = [
            one
            for i in np.sort(careful).tolist()
            if (one := self._careful(data[begins[i] : finishes[i]], first_row + i)) is not None
        ]
        return self._joined(block, kept, extra)

    def _fast(
        self, buffer: Bytes, starts: IntArray, ends: IntArray
    ) -> tuple[tuple[NDArray[np.generic], ...], BoolArray]:
        """Columns of all rows as far as they are plainly written, and which rows are not."""
        c = self.columns
        seconds, offset, good = seconds_of(buffer, starts[c.time], ends[c.time])
        inverter, long = self.inverters.numbers(buffer, starts[c.inverter], ends[c.inverter])
        gateway, long_too = self.gateways.numbers(buffer, starts[c.gateway], ends[c.gateway])
        heard = buffer[starts[c.heard]]
        odd = ~good | long | long_too | (ends[c.heard] - starts[c.heard] != 1)
        odd |= (heard != ord("0")) & (heard != ord("1"))
        values = []
        for column in (c.level, c.power):
            if column < 0:
                values.append(np.full(len(odd), np.nan))
                continue
            value, good = numbers_of(buffer, starts[column], ends[column], decimal=c.decimal)
            odd |= ~good
            values.append(value)
        odd |= values[0] > MOST_LEVEL_DBM
        branch = np.full(len(odd), -1)
        if c.branch >= 0:
            branch, long = self.branches.numbers(buffer, starts[c.branch], ends[c.branch])
            odd |= long
        return (seconds, offset, inverter, gateway, heard == ord("1"), *values, branch), odd

    def _careful(self, line: bytes, row: int) -> tuple[int, int, int, int, bool, float, float, int] | None:
        """One row by the CSV rules; None where something is wrong with it, which is then told."""
        c, told = self.columns, self.faults.add
        text = line.decode("utf-8", "replace")
        if not text.strip():
            return None
        try:
            fields = [one.strip() for one in next(csv.reader([text], delimiter=c.delimiter))]
        except csv.Error:
            told(row, "", RETURN_WITHIN if "\r" in text else TOO_LONG, shortened(text))
            return None
        if len(fields) != c.count:
            told(row, "", f"the number of fields is not that of the header, which has {c.count}", f"{len(fields)}")
            return None
        at = seconds_of_text(fields[c.time])
        if at is None:
            told(row, "time", "not a time; write it as in 2026-05-01T06:30", fields[c.time])
        heard = fields[c.heard]
        if heard not in {"0", "1"}:
            told(row, "heard", "neither 0 nor 1", heard)
        level, power = (
            self._number(fields, column, name, row) for column, name in ((c.level, "level_dbm"), (c.power, "power_w"))
        )
        if level is not None and level > MOST_LEVEL_DBM:
            told(
                row,
                "level_dbm",
                "above 0 dBm, too strong for a reading: is it in milliwatts? Write dBm",
                fields[c.level],
            )
        if at is None or heard not in {"0", "1"} or level is None or power is None or level > MOST_LEVEL_DBM:
            return None
        branch = self.branches.number_of(fields[c.branch]) if c.branch >= 0 else -1
        names = self.inverters.number_of(fields[c.inverter]), self.gateways.number_of(fields[c.gateway])
        return (*at, *names, heard == "1", level, power, branch)

    def _number(self, fields: list[str], column: int, name: str, row: int) -> float | None:
        text = fields[column] if column >= 0 else ""
        if not text:
            return float("nan")
        try:
            plain = text.replace("\N{MINUS SIGN}", "-")
            value = float(plain.replace(",", ".") if self.columns.decimal == "," else plain)
        except ValueError:
            value = float("nan")
        if np.isfinite(value):
            return value
        self.faults.add(row, name, "not a number", text)
        return None

    def _joined(
        self,
        block: tuple[NDArray[np.generic], ...],
        kept: BoolArray,
        extra: list[tuple[int, int, int, int, bool, float, float, int]],
    ) -> Block:
        columns = [one[kept] for one in block] if not kept.all() else list(block)
        if extra:
            columns = [
                np.concatenate([one, more])
                for one, more in zip(columns, map(np.array, zip(*extra, strict=True)), strict=True)
            ]
        seconds, offset, inverter, gateway, heard, level, power, branch = columns
        branches: dict[tuple[int, int], int] = {}
        if self.columns.branch >= 0 and len(branch):
            width = int(branch.max()) + 1
            pairs, times = np.unique(inverter.astype(np.int64) * width + branch.astype(np.int64), return_counts=True)
            branches = {(one // width, one % width): n for one, n in zip(pairs.tolist(), times.tolist(), strict=True)}
        return Block(
            seconds=seconds.astype(np.int64),
            offset_min=offset.astype(np.int16),
            inverter=inverter.astype(np.int16),
            gateway=gateway.astype(np.int16),
            heard=heard.astype(bool),
            level_dbm=level.astype(np.float16),
            power_w=np.clip(power, -6e4, 6e4).astype(np.float16),
            branches=branches,
        )
