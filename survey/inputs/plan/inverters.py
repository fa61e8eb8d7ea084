"""Inverters: one by one, and blocks of rows."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import Field, dataclass
from typing import Any

import numpy as np

from survey.base.arrays import FloatArray, IntArray
from survey.base.units import direction_of_bearing
from survey.inputs.fields import Number, NumberOrList, Texts, key
from survey.inputs.plan.kinds import ANY_TEXT, BEARING, DRAWN_WITHIN, HEIGHT, NAME, POINT
from survey.inputs.plan.obstacles import ModuleRow
from survey.inputs.plan.radio import OwnRadio


@dataclass(frozen=True, kw_only=True)
class Inverter(OwnRadio):
    """One inverter."""

    name: str = key(NAME)
    at: tuple[float, float] = key(POINT)
    height_m: float = key(HEIGHT)
    serial: str = key(ANY_TEXT, default="")
    branch: str = key(ANY_TEXT, default="")
    note: str = key(ANY_TEXT, default="")
    drawn_within_m: float | None = key(DRAWN_WITHIN, default=None, repr=False)


MOST_IN_ARRAY = 100_000
"""Inverters in one array, at most: twenty times the largest site foreseen."""


@dataclass(frozen=True, kw_only=True)
class Array(OwnRadio):
    """A block of rows of inverters."""

    name: str = key(NAME)
    first: tuple[float, float] = key(POINT)
    height_m: float = key(HEIGHT)
    bearing_deg: float = key(BEARING, default=90.0)
    rows: int = key(Number(1, 10_000, whole=True), default=1)
    per_row: int | tuple[int, ...] = key(NumberOrList(Number(1, 10_000, whole=True), most=10_000))
    spacing_m: float | None = key(Number(0.01, 1_000.0), default=None)
    row_spacing_m: float | None = key(Number(0.01, 1_000.0), default=None)
    tilt_deg: float = key(Number(0.0, 90.0), default=0.0)
    module_depth_m: float | None = key(Number(0.01, 100.0), default=None)
    clearance_m: float = key(Number(0.0, 10.0), default=0.1)
    serials: tuple[str, ...] = key(Texts(MOST_IN_ARRAY), default=())
    branch: str = key(ANY_TEXT, default="")
    module_tilt_deg: float | None = key(Number(0.0, 90.0), default=None)
    skip: tuple[str, ...] = key(Texts(MOST_IN_ARRAY), default=())
    drawn_within_m: float | None = key(DRAWN_WITHIN, default=None, repr=False)
    flush_left: bool = False

    def __post_init__(self) -> None:
        super().__post_init__()
        if isinstance(self.per_row, tuple):
            object.__setattr__(self, "rows", len(self.per_row))

    @classmethod
    def default_of(cls, one: Field[Any], given: Mapping[str, object]) -> object:
        """A list of rows says how many there are."""
        if one.name == "rows" and isinstance(given.get("per_row"), list | tuple):
            return None
        return super().default_of(one, given)

    def inconsistencies(self) -> Iterator[tuple[str, str]]:
        """Rows without spacings, more inverters than a site can have, or places skipped that there are not."""
        if isinstance(self.per_row, tuple) and self.rows not in (1, len(self.per_row)):
            yield "rows", f"is {self.rows}, but per_row lists {len(self.per_row)} rows; leave it out"
            return
        if self.spacing_m is None and (max(self.row_lengths) > 1 or self.module_depth_m is not None):
            yield "spacing_m", "is missing; write the distance between inverters along a row"
        if self.row_spacing_m is None and len(self.row_lengths) > 1:
            yield "row_spacing_m", "is missing; write the distance between rows, measured up the slope"
        count = sum(self.row_lengths)
        if count > MOST_IN_ARRAY:
            yield "rows", f"make {count} inverters with per_row; up to {MOST_IN_ARRAY} fit in one array"
            return
        yield from self._skip_faults()
        count -= len(set(self.skip))
        if self.serials and len(self.serials) != count:
            yield (
                "serials",
                f'holds {len(self.serials)} for {count} inverters; write one each, row by row, "" where unknown',
            )

    def _skip_faults(self) -> Iterator[tuple[str, str]]:
        """Places to be left empty that are none, and an array of nothing else."""
        lengths = self.row_lengths
        for one in self.skip:
            row, _, column = one.partition("-")
            if not (row.isdecimal() and column.isdecimal() and len(one) < 12):  # noqa: PLR2004  two numbers to 10000
                yield "skip", f'"{one}" is no place in the array; write "ROW-COLUMN", such as "2-3"'
            elif not (1 <= int(row) <= len(lengths) and 1 <= int(column) <= lengths[int(row) - 1]):
                has = f"row {row} has {lengths[int(row) - 1]}" if 1 <= int(row) <= len(lengths) else "no such row"
                yield "skip", f'"{one}" is no place in the array: {has}'
        if len(set(self.skip)) >= sum(lengths):
            yield "skip", "leaves no inverter; leave out the array"

    @property
    def row_lengths(self) -> tuple[int, ...]:
        """How many places each row has."""
        return self.per_row if isinstance(self.per_row, tuple) else (self.per_row,) * self.rows

    def _cells(self) -> tuple[IntArray, IntArray]:
        """Row and column of each inverter, from 0: row by row, without the places that are skipped."""
        lengths = np.array(self.row_lengths)
        rows = np.repeat(np.arange(len(lengths)), lengths)
        columns = np.arange(len(rows)) - np.repeat(np.cumsum(lengths) - lengths, lengths)
        if self.skip:
            skipped = {(int(row) - 1, int(column) - 1) for row, column in (one.split("-") for one in self.skip)}
            kept = np.array([cell not in skipped for cell in zip(rows.tolist(), columns.tolist(), strict=True)])
            rows, columns = rows[kept], columns[kept]
        return rows, columns

    def _starts(self) -> FloatArray:
        """How many places each row begins after the first one: shorter rows stand in its middle unless flush left."""
        lengths = np.array(self.row_lengths, dtype=np.float64)
        return np.zeros(len(lengths)) if self.flush_left else (lengths[0] - lengths) / 2.0

    @property
    def along(self) -> FloatArray:
        """Unit vector of the way a row runs, shape (3,)."""
        return np.append(direction_of_bearing(self.bearing_deg), 0.0)

    @property
    def upslope(self) -> FloatArray:
        """Unit vector of the way the slope rises, to the left of the bearing, shape (3,)."""
        return self._rising(self.tilt_deg)

    def _rising(self, tilt_deg: float) -> FloatArray:
        level = direction_of_bearing(self.bearing_deg - 90.0)
        tilt_rad = math.radians(tilt_deg)
        return np.append(level * math.cos(tilt_rad), math.sin(tilt_rad))

    def positions_m(self) -> FloatArray:
        """Where its inverters are: row by row, shape (inverters, 3). [m]"""
        rows, columns = self._cells()
        steps_m = (columns + self._starts()[rows]) * (self.spacing_m or 0.0)
        climbs_m = rows * (self.row_spacing_m or 0.0)
        corner = np.append(self.first, self.height_m)
        return np.asarray(corner + climbs_m[:, None] * self.upslope + steps_m[:, None] * self.along)

    def inverter_names(self) -> list[str]:
        """Names in the order of `positions_m`: NAME-row-column, from 1."""
        rows, columns = self._cells()
        return [
            f"{self.name}-{row + 1}-{column + 1}" for row, column in zip(rows.tolist(), columns.tolist(), strict=True)
        ]

    def module_rows(self) -> tuple[ModuleRow, ...]:
        """The sheets of modules over each row, one for each run without a gap; none without `module_depth_m`."""
        if self.module_depth_m is None or self.spacing_m is None:
            return ()
        rows, columns = self._cells()
        firsts_m = self.positions_m() + np.array([0.0, 0.0, self.clearance_m])
        rising = self._rising(self.tilt_deg if self.module_tilt_deg is None else self.module_tilt_deg)
        depths = np.array([-0.5, -0.5, 0.5, 0.5])[:, None] * self.module_depth_m * rising
        begins = np.flatnonzero(np.append(True, (np.diff(rows) != 0) | (np.diff(columns) != 1)))
        runs: dict[int, list[tuple[float, float, float]]] = {}
        for begin, end in zip(begins.tolist(), [*begins[1:].tolist(), len(rows)], strict=True):
            ends = np.array([-0.5, end - begin - 0.5])[[0, 1, 1, 0], None] * self.spacing_m * self.along
            corners_m = firsts_m[begin] + ends + depths
            runs.setdefault(int(rows[begin]) + 1, []).extend((x, y, z) for x, y, z in corners_m.tolist())
        return tuple(
            ModuleRow(name=f"{self.name} modules {row}", array=self.name, corners=tuple(corners))
            for row, corners in runs.items()
        )
