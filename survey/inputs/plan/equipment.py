"""Radios, and where they are: inverters, gateways, and the places where a gateway could go."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import Field, dataclass, fields, replace
from itertools import pairwise
from typing import Any

import numpy as np

from survey.base import polygon
from survey.base.arrays import FloatArray, IntArray
from survey.base.units import direction_of_bearing
from survey.inputs.antennas import KINDS
from survey.inputs.fields import Choice, Entry, Number, NumberOrList, Numbers, Points, Texts, key
from survey.inputs.plan.kinds import (
    ANTENNA,
    ANY_TEXT,
    BEARING,
    DRAWN_WITHIN,
    EXTRA_LOSS,
    GAIN,
    HEIGHT,
    NAME,
    POINT,
    SENSITIVITY,
    TX_POWER,
    area_faults,
)
from survey.inputs.plan.obstacles import ModuleRow

MOST_SEARCH_POINTS = 1_000_000
"""Points of a search at most: a judgement, more would take very long."""
MOST_GRID_POINTS = 20_000_000
"""How many points a search may try to find those that lie inside its area: a few seconds' work."""


@dataclass(frozen=True, kw_only=True)
class RadioEnd(Entry):
    """The radio of an inverter or a gateway."""

    tx_power_dbm: float = key(TX_POWER)
    antenna_gain_dbi: float | None = key(GAIN, default=None)
    sensitivity_dbm: float = key(SENSITIVITY)
    mounting_loss_db: float = key(EXTRA_LOSS, default=0.0)
    cable_loss_db: float = key(EXTRA_LOSS, default=0.0)
    noise_rise_db: float = key(EXTRA_LOSS, default=0.0)
    antenna: str = key(ANTENNA, default="isotropic")

    @classmethod
    def default_of(cls, one: Field[Any], given: Mapping[str, object]) -> object:
        """A gain that is left out is the one that the kind of antenna has; a file has its own."""
        if one.name != "antenna_gain_dbi":
            return super().default_of(one, given)
        antenna = given.get("antenna", "isotropic")
        return KINDS[antenna].horizon_dbi if isinstance(antenna, str) and antenna in KINDS else None


@dataclass(frozen=True, kw_only=True)
class Radio(Entry):
    """The radio system as its data sheets describe it."""

    frequency_mhz: float = key(Number(30.0, 30_000.0))
    polarisation: str = key(Choice(("unknown", "vertical", "horizontal")), default="unknown")
    inverter: RadioEnd
    gateway: RadioEnd


@dataclass(frozen=True, kw_only=True)
class OwnRadio(Entry):
    """An entry that may carry radio figures of its own; None where the common one holds."""

    tx_power_dbm: float | None = key(TX_POWER, default=None)
    antenna_gain_dbi: float | None = key(GAIN, default=None)
    sensitivity_dbm: float | None = key(SENSITIVITY, default=None)
    mounting_loss_db: float | None = key(EXTRA_LOSS, default=None)
    cable_loss_db: float | None = key(EXTRA_LOSS, default=None)
    noise_rise_db: float | None = key(EXTRA_LOSS, default=None)
    antenna: str | None = key(ANTENNA, default=None)

    def radio(self, common: RadioEnd) -> RadioEnd:
        """The radio that stands here: the common figures, and its own where given."""
        own = {one.name: getattr(self, one.name) for one in fields(RadioEnd)}
        own = {name: value for name, value in own.items() if value is not None}
        return replace(common, **own) if own else common


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


@dataclass(frozen=True, kw_only=True)
class Spot(OwnRadio):
    """A place for a gateway: one that stands there today, or one where a gateway could go."""

    name: str = key(NAME)
    at: tuple[float, float] = key(POINT)
    height_m: float = key(HEIGHT)
    note: str = key(ANY_TEXT, default="")
    drawn_within_m: float | None = key(DRAWN_WITHIN, default=None, repr=False)


@dataclass(frozen=True, kw_only=True)
class Search(OwnRadio):
    """Many spots: points every step along a line, or inside a polygon."""

    name: str = key(NAME)
    along: tuple[tuple[float, float], ...] | None = key(Points(POINT, least=2, most=1_000), default=None)
    within: tuple[tuple[float, float], ...] | None = key(Points(POINT, least=3, most=200), default=None)
    heights_m: tuple[float, ...] = key(Numbers(HEIGHT, least=1, most=100))
    step_m: float = key(Number(0.05, 1_000.0), default=1.0)
    note: str = key(ANY_TEXT, default="")
    drawn_within_m: float | None = key(DRAWN_WITHIN, default=None, repr=False)

    def inconsistencies(self) -> Iterator[tuple[str, str]]:
        """Both a line and a polygon or neither, no length or area, or too many points."""
        if (self.along is None) == (self.within is None):
            yield "along", "or within: write exactly one of the two, a line of points or the corners of an area"
            return
        if self.along is not None and _length_m(self.along) == 0:
            yield "along", "has no length: its points are all the same; move one"
        if self.within is not None:
            problems = list(area_faults("within", self.within))
            if problems:
                yield from problems
                return
        count, tried = self.most_points, self._grid_points
        if count > MOST_SEARCH_POINTS:
            yield (
                "step_m",
                f"makes about {count} points; up to {MOST_SEARCH_POINTS} are allowed, so write a longer step",
            )
        elif tried > MOST_GRID_POINTS:
            problem = f"lays a grid of {tried} points over the area; up to {MOST_GRID_POINTS} are allowed"
            yield "step_m", f"{problem}, so write a longer step or split the area"

    @property
    def _grid_points(self) -> int:
        """How many points the grid over the area has, in it or not; none along a line."""
        if self.within is None:
            return 0
        corners = np.array(self.within)
        return int(np.prod(np.floor((corners.max(axis=0) - corners.min(axis=0)) / self.step_m) + 1))

    @property
    def most_points(self) -> int:
        """How many points there will be at most, without making them."""
        if self.along is not None:
            per_height = int(_length_m(self.along) / self.step_m) + 1
        else:
            corners = np.array(self.within)
            sides_m = corners.max(axis=0) - corners.min(axis=0)
            filled = min(1.0, abs(polygon.signed_area_m2(corners)) / float(np.prod(sides_m)))
            across = sides_m / self.step_m + 1
            per_height = (
                int(filled * float(np.prod(across)) + float(np.sum(across)))
                if filled < 1
                else int(float(np.prod(np.floor(across))))
            )
        return per_height * len(self.heights_m)

    def positions_m(self) -> FloatArray:
        """Where its spots are, height by height, shape (n, 3). [m]

        Along a line the first point is its start, and the distance is measured along the line round its corners.
        Inside an area the points stand on a grid from its lowest x and lowest y; points on its edge belong to it.
        """
        flat = self._along_m(np.array(self.along)) if self.along is not None else self._within_m(np.array(self.within))
        flat = flat + 0.0  # no minus zero in names
        names = np.round(flat, 2)
        _, first = np.unique(names, axis=0, return_index=True)
        flat = flat[np.sort(first)]
        heights = np.unique(np.round(self.heights_m, 2), return_index=True)[1]
        layers = [np.column_stack([flat, np.full(len(flat), self.heights_m[i])]) for i in np.sort(heights)]
        return np.concatenate(layers)

    def _along_m(self, corners: FloatArray) -> FloatArray:
        lengths_m = np.hypot(*np.diff(corners, axis=0).T)
        reached_m = np.concatenate([[0.0], np.cumsum(lengths_m)])
        count = int(np.floor(reached_m[-1] / self.step_m + 1e-9)) + 1
        stops_m = np.minimum(np.arange(count) * self.step_m, reached_m[-1])
        return np.column_stack([np.interp(stops_m, reached_m, corners[:, axis]) for axis in (0, 1)])

    def _within_m(self, corners: FloatArray) -> FloatArray:
        low, high = corners.min(axis=0), corners.max(axis=0)
        counts = np.floor((high - low) / self.step_m + 1e-9).astype(int) + 1
        x, y = (low[axis] + np.arange(counts[axis]) * self.step_m for axis in (0, 1))
        at_once = max(1, MOST_SEARCH_POINTS // len(y))  # columns of the grid: memory does not grow with its extent
        inside = []
        for first in range(0, len(x), at_once):
            grid = np.stack(np.meshgrid(x[first : first + at_once], y, indexing="ij"), axis=-1).reshape(-1, 2)
            inside.append(grid[polygon.contains(corners, grid, edge_m=1e-6)])
        return np.concatenate(inside)

    def spot_names(self) -> list[str]:
        """Names in the order of `positions_m`: NAME/x,y,height with two decimals."""
        rounded = np.round(self.positions_m(), 2) + 0.0
        return [f"{self.name}/{x:.2f},{y:.2f},{z:.2f}" for x, y, z in rounded.tolist()]


def _length_m(points: tuple[tuple[float, float], ...]) -> float:
    return sum(math.dist(start, end) for start, end in pairwise(points))
