"""Rows of a log: a block of bytes to columns of numbers; whatever looks odd is read again with care."""

from __future__ import annotations

import csv
from dataclasses import dataclass, field
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray, IntArray
from survey.base.errors import shortened
from survey.base.layout import counted
from survey.inputs.csv_files import TOO_LONG
from survey.inputs.logs.cells import SPARE_BYTES, Names, numbers_of
from survey.inputs.logs.columns import Columns
from survey.inputs.logs.stamps import DAY_S, seconds_of
from survey.inputs.logs.style import (
    ANSWER_WANTED,
    LEVEL_WANTED,
    MILLISECONDS,
    TIME_WANTED,
    Style,
    answer_of,
    each,
    level_of,
)

Bytes = NDArray[np.uint8]

NEWLINE, RETURN, QUOTE, SPACE = 10, 13, 34, 32
"""Their codes in ASCII, and so in UTF-8."""
TOLD = 5
"""How many bad rows are told one by one for each thing that may be wrong: beyond, their number."""
MOST_BAD = 10_000
"""After so many bad rows a log is not read on: it is one mistake many times."""
RETURN_WITHIN = "has a carriage return (CR) amid its fields; end every row with LF or CR LF"
OVER_0_DBM = "above 0 dBm, too strong for a reading: is it in milliwatts? Write dBm"
MOST_LEVEL_DBM = 0.0
"""No receiver on a wall ever sees more than this; a level above it is in other units. [dBm]"""


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


ROW_FIELDS = ("seconds", "offset_min", "inverter", "gateway", "heard", "level_dbm", "power_w")


@dataclass(frozen=True, kw_only=True)
class RowReader:
    """Reads blocks of whole rows."""

    columns: Columns
    inverters: Names
    gateways: Names
    branches: Names
    faults: Faults
    style: Style = field(default_factory=Style)
    gateway: str = ""

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
        if columns.wide:
            return self._wide(data, buffer, starts, ends, begins, finishes, rows, ~regular & filled, first_row)
        block, odd = self._fast(buffer, starts, ends)
        careful = np.sort(np.concatenate([rows[odd], np.flatnonzero(~regular & filled)]))
        read = [(i, self._careful(data[begins[i] : finishes[i]], first_row + i)) for i in careful.tolist()]
        extra = {i: one for i, one in read if one is not None}
        return self._joined(block, ~odd, rows[~odd], extra)

    def _fast(
        self, buffer: Bytes, starts: IntArray, ends: IntArray
    ) -> tuple[tuple[NDArray[np.generic], ...], BoolArray]:
        """Columns of all rows as far as they are plainly written, and which rows are not."""
        c = self.columns
        seconds, offset, good = self._times(buffer, starts, ends)
        inverter, long = self.inverters.numbers(buffer, starts[c.inverter], ends[c.inverter])
        odd = ~good | long
        if c.gateway >= 0:
            gateway, long = self.gateways.numbers(buffer, starts[c.gateway], ends[c.gateway])
            odd |= long
        else:
            gateway = np.full(len(odd), self.gateways.number_of(self.gateway))
        heard = None
        if c.heard >= 0:
            first = buffer[starts[c.heard]]
            heard = first == ord("1")
            if ((ends[c.heard] - starts[c.heard] != 1) | ~heard & (first != ord("0"))).any():
                told, good = each(buffer, starts[c.heard], ends[c.heard], answer_of, bad=False)
                heard = told.astype(bool)
                odd |= ~good
        values = []
        for column in (c.level, c.power):
            if column < 0:
                values.append(np.full(len(odd), np.nan))
                continue
            value, good = numbers_of(buffer, starts[column], ends[column], decimal=c.decimal)
            if not good.all() and column == c.level:
                told, good = each(buffer, starts[column], ends[column], level_of, bad=np.nan)
                value = told.astype(np.float64)
            odd |= ~good
            values.append(value)
        odd |= values[0] > MOST_LEVEL_DBM
        branch = np.full(len(odd), -1)
        if c.branch >= 0:
            branch, long = self.branches.numbers(buffer, starts[c.branch], ends[c.branch])
            odd |= long
        if heard is None:
            heard = np.isfinite(values[0])
        return (seconds, offset, inverter, gateway, heard, *values, branch), odd

    def _times(self, buffer: Bytes, starts: IntArray, ends: IntArray) -> tuple[IntArray, NDArray[np.int16], BoolArray]:
        """Times of all rows: ISO in bulk; else each different date and each different time of the day once."""
        c = self.columns
        start, end = starts[c.time], ends[c.time]
        if c.date < 0 and not self.style.unix:
            seconds, offset, good = seconds_of(buffer, start, end)
            if good.any() or not len(good):
                return seconds, offset, good
            texts = bytes(buffer[start[0] : end[0]]).decode("utf-8", "replace")
            if len(texts.split()) > 2:  # noqa: PLR2004  more parts than a date and a time: a date in words, AM or PM
                both, good = each(buffer, start, end, self.style.seconds_of, bad=(0, 0))
                both = np.asarray(both).astype(np.int64).reshape(len(start), 2)
                return both[:, 0], both[:, 1].astype(np.int16), good
        if self.style.unix:
            value, good = numbers_of(buffer, start, end, decimal=".")
            value = np.where(good & (value > 0), value, 0.0)
            value = np.where(value >= MILLISECONDS, value / 1000.0, value)
            return value.astype(np.int64), np.zeros(len(start), dtype=np.int16), good & (value > 0)
        if c.date >= 0:
            parts = (starts[c.date], ends[c.date]), (start, end)
        else:
            gaps = np.append(np.flatnonzero((buffer == SPACE) | (buffer == ord("T"))), len(buffer))
            gap = np.minimum(gaps[np.minimum(np.searchsorted(gaps, start), len(gaps) - 1)], end)
            parts = (start, gap - (buffer[np.maximum(gap - 1, 0)] == ord(","))), (np.minimum(gap + 1, end), end)
        days, good = each(buffer, *parts[0], self.style.day_of, bad=0)
        clock, good_too = each(buffer, *parts[1], self.style.clock_of, bad=(0, 0))
        times = np.asarray(clock).astype(np.int64).reshape(len(start), 2)
        return days.astype(np.int64) * DAY_S + times[:, 0], times[:, 1].astype(np.int16), good & good_too

    def _wide(  # noqa: PLR0917  what read has found
        self,
        data: bytes,
        buffer: Bytes,
        starts: IntArray,
        ends: IntArray,
        begins: IntArray,
        finishes: IntArray,
        rows: IntArray,
        irregular: BoolArray,
        first_row: int,
    ) -> Block:
        """One block of a table with a column for each inverter: a poll for each cell."""
        c, count = self.columns, len(self.columns.wide)
        seconds, offset, good = self._times(buffer, starts, ends)
        read = level_of if c.wide_levels else answer_of
        parts: list[NDArray[np.generic]] = []
        fine = good.copy()
        told = []
        for column in c.wide:
            value, understood = each(buffer, starts[column], ends[column], read, bad=np.nan)
            empty = ends[column] <= starts[column]
            number = value.astype(np.float64)
            told.append((number, empty))
            fine &= (understood | empty) & ~((number > MOST_LEVEL_DBM) & c.wide_levels)
        for i in np.concatenate([rows[~fine], np.flatnonzero(irregular)]).tolist():
            self._tell_wide(data[begins[i] : finishes[i]], first_row + i)
        inverters = [self.inverters.number_of(name) for name in c.wide_names]
        gateway = self.gateways.number_of(self.gateway)
        for inverter, (value, empty) in zip(inverters, told, strict=True):
            keep = fine if c.wide_levels else fine & ~empty  # no level is a missed poll; no word is no poll
            heard = np.isfinite(value) if c.wide_levels else value == 1.0
            level = value if c.wide_levels else np.full(len(value), np.nan)
            part = (seconds, offset, np.full(len(value), inverter), np.full(len(value), gateway), heard, level)
            parts.append(np.array([one[keep] for one in part], dtype=np.float64))
        joined = np.concatenate(parts, axis=1) if count else np.zeros((6, 0))
        order = np.argsort(joined[0], kind="stable")
        seconds, offset, links, gateways, heard, level = joined[:, order]
        none = np.full(len(order), np.nan)
        block = (seconds, offset, links, gateways, heard.astype(bool), level, none, np.full(len(order), -1))
        return self._joined(block, np.ones(len(order), dtype=bool), order, {})

    def _tell_wide(self, line: bytes, row: int) -> None:
        """Say what is wrong with a row of such a table."""
        c, told = self.columns, self.faults.add
        text = line.decode("utf-8", "replace")
        fields = [one.strip() for one in next(csv.reader([text], delimiter=c.delimiter))]
        if not text.strip() or text.lstrip().startswith("#") or tuple(fields) == c.header:
            return
        if len(fields) != c.count:
            told(row, "", c.wrong_count, f"{shortened(text)}: {counted(len(fields), 'cell')}")
            return
        if self._time_of(fields) is None:
            told(row, "time", TIME_WANTED, self._time_text(fields))
        read, wanted = (level_of, LEVEL_WANTED) if c.wide_levels else (answer_of, ANSWER_WANTED)
        for column, name in zip(c.wide, c.wide_names, strict=True):
            value = read(fields[column]) if fields[column] else None
            if fields[column] and value is None:
                told(row, name, wanted, fields[column])
            elif c.wide_levels and value is not None and value > MOST_LEVEL_DBM:
                told(row, name, OVER_0_DBM, fields[column])

    def _time_text(self, fields: list[str]) -> str:
        c = self.columns
        return fields[c.time] if c.date < 0 else f"{fields[c.date]} {fields[c.time]}"

    def _time_of(self, fields: list[str]) -> tuple[int, int] | None:
        c = self.columns
        return (
            self.style.seconds_of(fields[c.time]) if c.date < 0 else self.style.joined(fields[c.date], fields[c.time])
        )

    def _careful(self, line: bytes, row: int) -> tuple[int, int, int, int, bool, float, float, int] | None:
        """One row by the CSV rules; None where something is wrong with it, which is then told."""
        c, told = self.columns, self.faults.add
        text = line.decode("utf-8", "replace")
        if not text.strip() or text.lstrip().startswith("#"):
            return None
        try:
            fields = [one.strip() for one in next(csv.reader([text], delimiter=c.delimiter))]
        except csv.Error:
            told(row, "", RETURN_WITHIN if "\r" in text else TOO_LONG, shortened(text))
            return None
        if tuple(fields) == c.header:
            return None
        if len(fields) != c.count:
            told(row, "", c.wrong_count, f"{shortened(text)}: {counted(len(fields), 'cell')}")
            return None
        at = self._time_of(fields)
        if at is None:
            told(row, "time", TIME_WANTED, self._time_text(fields))
        level = level_of(fields[c.level]) if c.level >= 0 else float("nan")
        if level is None:
            told(row, "level_dbm", LEVEL_WANTED, fields[c.level])
        power = self._number(fields, c.power, "power_w", row)
        heard = answer_of(fields[c.heard]) if c.heard >= 0 else level is not None and np.isfinite(level)
        if heard is None:
            told(row, "heard", ANSWER_WANTED, fields[c.heard])
        if level is not None and level > MOST_LEVEL_DBM:
            told(row, "level_dbm", OVER_0_DBM, fields[c.level])
        if at is None or heard is None or level is None or power is None or level > MOST_LEVEL_DBM:
            return None
        branch = self.branches.number_of(fields[c.branch]) if c.branch >= 0 else -1
        gateway = fields[c.gateway] if c.gateway >= 0 else self.gateway
        names = self.inverters.number_of(fields[c.inverter]), self.gateways.number_of(gateway)
        return (*at, *names, bool(heard), level, power, branch)

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
        rows: IntArray,
        extra: dict[int, tuple[int, int, int, int, bool, float, float, int]],
    ) -> Block:
        """The rows read in bulk, whose numbers are given, and those read with care, in the order of the file."""
        columns = [one[kept] for one in block] if not kept.all() else list(block)
        if extra:
            order = np.argsort(np.concatenate([rows, list(extra)]), kind="stable")
            columns = [
                np.concatenate([one, more])[order]
                for one, more in zip(columns, map(np.array, zip(*extra.values(), strict=True)), strict=True)
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
            level_dbm=np.clip(level, -6e4, 6e4).astype(np.float16),
            power_w=np.clip(power, -6e4, 6e4).astype(np.float16),
            branches=branches,
        )
