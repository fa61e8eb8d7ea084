"""Lists of positions: a CSV file of which each row is an inverter, a spot or a gateway."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.earth import Earth
from survey.base.errors import Fault, TableError, did_you_mean
from survey.inputs.csv_files import Table, number_of, read_table, refuse
from survey.inputs.drawings.entry import UNITS_M, Drawing
from survey.inputs.drawings.pieces import check_file
from survey.inputs.drawings.placing import FAR, MAX_DISTANCE_M, far, turned

MAX_ROWS = 100_000
"""Positions in one list: as many as inverters in one array."""
MIN_HEIGHT_M, MAX_HEIGHT_M = -100.0, 1_000.0
"""What a plan allows of heights. [m]"""
TEXTS = ("serial", "branch", "note")
LENGTHS = ("x", "y", "left", "up", "height")
FLAT, EARTH, FACE = ("x", "y"), ("lat_deg", "lon_deg"), ("left", "up")
WAYS = (FLAT, EARTH, FACE)
"""The ways to say where something is: in the plan, on the earth, or on a face."""
COLUMNS = (*(f"{name}_{unit}" for name in LENGTHS for unit in UNITS_M), *EARTH, *TEXTS)
NEEDED = "name and x and y, or lat_deg and lon_deg, or left and up, each length with its unit: x_m, x_mm, left_ft"


@dataclass(frozen=True, slots=True)
class Position:
    """One row: where it stands in the file, and what it says as keys of the plan."""

    line: int
    keys: dict[str, Any]


def read_positions(path: Path, *, file: str, earth: Earth | None, drawing: Drawing | None = None) -> list[Position]:
    """Read a list of positions.

    Parameters
    ----------
    path : Path
        A CSV file: UTF-8, UTF-16 with its mark, or Windows-1252.
    file : str
        What messages call it.
    earth : Earth or None
        Where the plan is, for latitude and longitude.
    drawing : Drawing or None
        What shifts and turns x and y.

    Returns
    -------
    list of Position
        With the keys ``name``, ``at`` or ``left_m`` and ``up_m``, and ``height_m`` and texts where there are such
        columns and the cell is not empty.

    Raises
    ------
    EntryError
        For ``file``: it cannot be read.
    TableError
        With every fault in it: row, column, what is found and what is allowed.
    """
    check_file(path)
    try:
        table = read_table(path, needed=("name",), also=COLUMNS, coding_if_not_utf_8="windows-1252")
    except TableError as error:
        raise TableError([replace(fault, file=file) for fault in error.faults]) from None
    return _List(table, file, earth, drawing).positions()


class _List:
    """A table on its way to positions, and what is wrong on that way."""

    def __init__(self, table: Table, file: str, earth: Earth | None, drawing: Drawing | None) -> None:
        self.table, self.file, self.earth, self.drawing = table, file, earth, drawing
        self.faults: list[Fault] = []
        self.lengths = self._lengths()

    def positions(self) -> list[Position]:
        """Every row."""
        self._check_columns()
        if len(self.table) > MAX_ROWS:
            self._fault("", "", f"has {len(self.table)} rows; up to {MAX_ROWS} are read")
        refuse(self.faults)
        columns = self._columns()
        for row, name in enumerate(self.table.columns["name"]):
            if not name:
                self._fault(self._place(row), "name", "is empty; write a name")
        refuse(self.faults)
        return [
            Position(line, {key: values[row] for key, values in columns.items() if values[row] is not None})
            for row, line in enumerate(self.table.lines)
        ]

    def _fault(self, place: str, column: str, problem: str) -> None:
        self.faults.append(Fault(file=self.file, place=place, key=column, problem=problem))

    def _place(self, row: int) -> str:
        return f"line {self.table.lines[row]}"

    def _lengths(self) -> dict[str, tuple[str, float]]:
        """The columns of lengths: name of each quantity to column and metres in its unit."""
        found: dict[str, tuple[str, float]] = {}
        for name in LENGTHS:
            columns = [f"{name}_{unit}" for unit in UNITS_M if f"{name}_{unit}" in self.table.columns]
            if columns:
                found[name] = columns[0], UNITS_M[columns[0].removeprefix(f"{name}_")]
            if len(columns) > 1:
                self._fault("header", columns[1], f"is there beside {columns[0]}; keep one of them")
        return found

    def _check_columns(self) -> None:
        """What is wrong with a header as a whole: no way of saying where, half of one, or two."""
        bare = [one for one in self.table.ignored if one.casefold() in LENGTHS]
        for name in bare:
            self._fault("header", name, f"has no unit; write {name.casefold()}_m, {name.casefold()}_mm or another")
        if bare:
            return
        ways = {way: [column for name in way if (column := self._column_of(name))] for way in WAYS}
        there = [way for way, columns in ways.items() if columns]
        if not there:
            near = (f'; found "{one}"{did_you_mean(one, COLUMNS)}' for one in self.table.ignored)
            seen = next((hint for hint in near if "did you mean" in hint), "")
            self._fault("header", "", f"gives no position; the first line must name {NEEDED}{seen}")
            return
        way, columns = there[0], ways[there[0]]
        if len(there) > 1:
            among = ", ".join(column for one in there for column in ways[one])
            problem = (
                f"are {len(there)} ways to give the position; keep one: x and y, lat_deg and lon_deg, or left and up"
            )
            self._fault("header", among, problem)
        elif len(columns) == 1:
            missing = next(name for name in way if not self._column_of(name))
            near_name = did_you_mean(missing, self.table.ignored).replace("did you mean", "is it")
            unit = "" if way == EARTH else f"; write it with its unit, {missing}_m"
            self._fault("header", missing, f"no such column{near_name}{unit}")
        elif way == EARTH and self.earth is None:
            problem = "needs the plan's place on the earth; write zero_lat_deg and zero_lon_deg in [site]"
            self._fault("header", "lat_deg", problem)
        drawing = self.drawing
        if drawing is not None and (drawing.zero is not None or drawing.up_deg) and way != FLAT:
            self._fault(
                "header", ", ".join(columns), "zero and up_deg of the drawing move only x and y; leave them out"
            )

    def _column_of(self, name: str) -> str:
        """The column that gives a quantity, if there is one."""
        if name in self.lengths:
            return self.lengths[name][0]
        return name if name in self.table.columns else ""

    def _columns(self) -> dict[str, list[Any]]:
        """Every key of the plan with its values, None where a cell says nothing."""
        columns: dict[str, list[Any]] = {"name": self.table.columns["name"]}
        if "left" in self.lengths:
            columns |= {f"{name}_m": self._length_m(name, 0.0, MAX_DISTANCE_M).tolist() for name in ("left", "up")}
        else:
            columns["at"] = (self._flat_m() if "x" in self.lengths else self._from_earth_m()).tolist()
        if "height" in self.lengths:
            heights_m = self._length_m("height", MIN_HEIGHT_M, MAX_HEIGHT_M, may_be_empty=True)
            columns["height_m"] = [None if math.isnan(height_m) else height_m for height_m in heights_m.tolist()]
        texts = {text: self.table.columns[text] for text in TEXTS if text in self.table.columns}
        return columns | {text: [cell or None for cell in cells] for text, cells in texts.items()}

    def _flat_m(self) -> FloatArray:
        """Points by x and y."""
        zero = (self.drawing.zero if self.drawing else None) or (0.0, 0.0)
        read = [
            self._length_m(name, -MAX_DISTANCE_M, MAX_DISTANCE_M, zero=start)
            for name, start in zip(FLAT, zero, strict=True)
        ]
        return turned(np.column_stack(read), self.drawing.up_deg if self.drawing else 0.0)

    def _from_earth_m(self) -> FloatArray:
        """Points by latitude and longitude."""
        assert self.earth is not None
        lat_deg, lon_deg = self._numbers("lat_deg", -90.0, 90.0), self._numbers("lon_deg", -180.0, 180.0)
        at_m = self.earth.plan_m(np.column_stack([lon_deg, lat_deg]))
        told = {fault.place for fault in self.faults}
        for row in np.flatnonzero(far(at_m)).tolist():
            if self._place(row) not in told:
                cells = ", ".join(self.table.columns[name][row] for name in EARTH)
                self._fault(self._place(row), ", ".join(EARTH), f"{cells} {FAR}")
        return at_m

    def _length_m(
        self, name: str, low_m: float, high_m: float, *, zero: float = 0.0, may_be_empty: bool = False
    ) -> FloatArray:
        """A column of lengths, counted from a zero in the file's own figures."""
        column, unit_m = self.lengths[name]
        read = self._numbers(column, zero + low_m / unit_m, zero + high_m / unit_m, may_be_empty=may_be_empty)
        return (read - zero) * unit_m

    def _numbers(self, column: str, low: float, high: float, *, may_be_empty: bool = False) -> FloatArray:
        """A column of numbers, NaN where there is none."""
        values = np.full(len(self.table), np.nan)
        for row, text in enumerate(self.table.columns[column]):
            if text or not may_be_empty:
                values[row], problem = number_of(text, low=low, high=high)
                if problem:
                    problem = problem if text else f"is empty; write a number from {low:.10g} to {high:.10g}"
                    self._fault(self._place(row), column, problem)
        return values
