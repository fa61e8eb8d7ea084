"""How much an antenna gives at each elevation: the kinds that a plan may name, and tables of the user's own."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from survey.base.arrays import FloatArray, IntArray
from survey.base.errors import EntryError, Fault, PatternError, nearest, why_unread
from survey.base.files import read_up_to
from survey.base.units import DIPOLE_GAIN_DBI

NULL_DB = -40.0
"""Where theory has nothing leave the ends of a dipole, so much is left of its gain at the horizon. An assumption: its
cable and whatever stands near it fill the null, and a link needs a number. It holds within 1 degree of straight up and
straight down; a level that rests on it says that the link is poor, not how poor."""
LOWEST_DEG, HIGHEST_DEG = -90.0, 90.0
"""Straight down and straight up. [deg]"""
LEAST_DBI, MOST_DBI = -60.0, 40.0
"""Gains from a deep null to a large dish: beyond them a file holds something else. A judgement. [dBi]"""
ELEVATION, GAIN = COLUMNS = ("elevation_deg", "gain_dbi")
"""The columns of a file. What a value in them may be: `LOWEST_DEG` to `HIGHEST_DEG`, `LEAST_DBI` to `MOST_DBI`."""
ENDING = ".csv"
MOST_BYTES = 100_000
"""A row for each tenth of a degree takes a quarter of this: a longer file is something else. A judgement."""
MOST_FAULTS = 10
"""How many bad rows of a file are told one by one: beyond that it is one mistake many times."""


def dipole_gain_db(elevation_deg: ArrayLike) -> FloatArray:
    r"""Gain of a vertical half-wave dipole, over its gain at the horizon.

    Parameters
    ----------
    elevation_deg : array_like
        Elevation, positive upward. [deg]

    Returns
    -------
    ndarray of float
        Never positive, and never below `NULL_DB`; NaN where the elevation is. [dB]

    Notes
    -----
    .. math:: 20 \log_{10} \frac{\cos(\frac{\pi}{2} \cos\theta)}{\sin\theta}

    of [1]_, with :math:`\theta` from the axis. Near the axis that divides two small numbers, so it is worked out as
    :math:`\sin(\frac{\pi}{2} \sin^2\theta / (1 + |\cos\theta|)) / \sin\theta`, which is the same.

    References
    ----------
    .. [1] C. A. Balanis, Antenna Theory, the half-wavelength dipole (from memory).

    Examples
    --------
    >>> dipole_gain_db([0.0, 45.0, -60.0, 90.0]).round(2).tolist()
    [0.0, -4.04, -7.58, -40.0]
    """
    elevation_rad = np.deg2rad(np.asarray(elevation_deg, dtype=np.float64))
    across, along = np.abs(np.cos(elevation_rad)), np.abs(np.sin(elevation_rad))
    across = np.maximum(across, 1e-9)
    field = np.sin(np.pi / 2.0 * across**2 / (1.0 + along)) / across
    return np.asarray(np.maximum(20.0 * np.log10(field), NULL_DB))


@dataclass(frozen=True, kw_only=True)
class Pattern:
    """What an antenna gives at each elevation, the same to every side.

    Attributes
    ----------
    name : str
        As the plan has it.
    elevation_deg : tuple of float
        From -90, straight down, to 90, straight up, always rising. [deg]
    gain_db : tuple of float
        Gain at each of them; straight lines lie between. Over the gain at the horizon or, without `horizon_dbi`, over
        an isotropic antenna. [dB, dBi]
    horizon_dbi : float, optional
        Gain at the horizon where the plan gives none. Without it the gains are those of a whole antenna, and what the
        plan gives is not used. [dBi]

    Raises
    ------
    EntryError
        Where the points make no pattern.

    Examples
    --------
    >>> whip = Pattern(name="whip.csv", elevation_deg=(-90.0, 0.0, 90.0), gain_db=(-20.0, 5.0, -20.0))
    >>> whip.gain_dbi([0.0, 45.0]).tolist()
    [5.0, -7.5]
    """

    name: str
    elevation_deg: tuple[float, ...]
    gain_db: tuple[float, ...]
    horizon_dbi: float | None = None

    def __post_init__(self) -> None:
        problems = tuple(self._problems())
        if problems:
            raise EntryError(problems)

    def _problems(self) -> Iterator[tuple[str, str]]:
        """What is wrong with the points."""
        if not self.elevation_deg or len(self.elevation_deg) != len(self.gain_db):
            yield "gain_db", "must be one for each elevation, of which there is one or more"
        elif not all(map(math.isfinite, (*self.elevation_deg, *self.gain_db))):
            yield "gain_db", "must be a number at each elevation, and so must that"
        elif not all(one < other for one, other in pairwise(self.elevation_deg)):
            yield "elevation_deg", "must rise from each to the next"
        elif (self.elevation_deg[0], self.elevation_deg[-1]) != (LOWEST_DEG, HIGHEST_DEG):
            reach = f"goes from {self.elevation_deg[0]:g} to {self.elevation_deg[-1]:g}"
            wanted = f"a pattern goes from {LOWEST_DEG:g}, straight down, to {HIGHEST_DEG:g}, straight up"
            yield "elevation_deg", f"{reach}; {wanted}"

    def base_gain_dbi(self, antenna_gain_dbi: float | None) -> float:
        """What stands under the pattern's own gains.

        Parameters
        ----------
        antenna_gain_dbi : float or None
            What the plan gives, if it does. [dBi]

        Returns
        -------
        float
            The gain at the horizon; 0 where the pattern's gains are those of a whole antenna. [dBi]
        """
        if self.horizon_dbi is None:
            return 0.0
        return self.horizon_dbi if antenna_gain_dbi is None else antenna_gain_dbi

    def gain_dbi(self, elevation_deg: ArrayLike, *, base_gain_dbi: ArrayLike | None = None) -> FloatArray:
        """Gain over an isotropic antenna.

        Parameters
        ----------
        elevation_deg : array_like
            Elevation, positive upward. [deg]
        base_gain_dbi : array_like, optional
            From `base_gain_dbi`; without it, as where the plan gives no gain. [dBi]

        Returns
        -------
        ndarray of float
            Of the shape of both together; NaN where the elevation is. [dBi]
        """
        base = self.base_gain_dbi(None) if base_gain_dbi is None else base_gain_dbi
        return np.asarray(np.asarray(base, dtype=np.float64) + self._over_base_db(elevation_deg))

    def peak_gain_dbi(self, antenna_gain_dbi: float | None) -> float:
        """Gain in the direction in which it is largest, for what the plan gives, if it does. [dBi]"""
        return self.base_gain_dbi(antenna_gain_dbi) + max(self.gain_db)

    def _over_base_db(self, elevation_deg: ArrayLike) -> FloatArray:
        return np.asarray(np.interp(np.asarray(elevation_deg), self.elevation_deg, self.gain_db))


class _Dipole(Pattern):
    """A vertical half-wave dipole: its points are true, and so is all that lies between them."""

    def _over_base_db(self, elevation_deg: ArrayLike) -> FloatArray:
        return dipole_gain_db(elevation_deg)


_WHOLE_DEGREES = tuple(float(one) for one in range(-90, 91))
"""Where the gain of a dipole is tabled; between them it is worked out, by its formula. [deg]"""

ISOTROPIC = Pattern(name="isotropic", elevation_deg=(LOWEST_DEG, HIGHEST_DEG), gain_db=(0.0, 0.0), horizon_dbi=0.0)
"""The same in every direction, by definition."""
DIPOLE = _Dipole(
    name="dipole",
    elevation_deg=_WHOLE_DEGREES,
    gain_db=tuple(dipole_gain_db(_WHOLE_DEGREES).tolist()),
    horizon_dbi=DIPOLE_GAIN_DBI,
)
KINDS: Mapping[str, Pattern] = MappingProxyType({one.name: one for one in (ISOTROPIC, DIPOLE)})
"""The kinds of antenna that need no file, by the name in a plan."""


def gains_dbi(
    patterns: Sequence[Pattern], index: IntArray, *, base_gain_dbi: FloatArray, elevation_deg: FloatArray
) -> FloatArray:
    """Gains of many antennas, each in directions of its own.

    Parameters
    ----------
    patterns : sequence of Pattern
        The first of them isotropic.
    index : ndarray of int, shape (n,)
        Which pattern each antenna has.
    base_gain_dbi : ndarray of float, shape (n,)
        What stands under the pattern, from `Pattern.base_gain_dbi`. [dBi]
    elevation_deg : ndarray of float, shape (n, ...)
        Elevations at which something leaves each antenna or comes in, positive upward. [deg]

    Returns
    -------
    ndarray of float
        Of the shape of `elevation_deg`. NaN where that is, but for isotropic antennas, which do not look at it. Where
        all are isotropic this is a view of `base_gain_dbi`, to be read only. [dBi]

    Examples
    --------
    >>> gains_dbi(
    ...     (ISOTROPIC, DIPOLE),
    ...     np.array([0, 1]),
    ...     base_gain_dbi=np.array([3.0, 2.15]),
    ...     elevation_deg=np.array([[0.0, 45.0], [0.0, 45.0]]),
    ... ).round(2).tolist()
    [[3.0, 3.0], [2.15, -1.89]]
    """
    base = base_gain_dbi.reshape(-1, *(1,) * (elevation_deg.ndim - 1))
    gains = np.broadcast_to(base, elevation_deg.shape)
    if not index.any():
        return gains
    gains = gains.copy()
    for number in np.unique(index[index > 0]).tolist():
        those = index == number
        gains[those] = patterns[number].gain_dbi(elevation_deg[those], base_gain_dbi=base[those])
    return gains


def read_pattern(path: Path) -> Pattern:
    """Read a table of gain by elevation.

    Parameters
    ----------
    path : Path
        A CSV file in UTF-8 with the columns `elevation_deg` and `gain_dbi`, parted by commas or semicolons, its rows in
        any order. A line that begins with ``#`` is a note.

    Returns
    -------
    Pattern
        With the gains of a whole antenna, from straight down to straight up.

    Raises
    ------
    PatternError
        With every fault of the file, each with its row: the line of the file, counted from 1.
    """
    file = str(path)
    lines = [
        (row, line)
        for row, line in enumerate(_text(path).splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise _refused(file, f"is empty; write a header {','.join(COLUMNS)} and a row for each elevation")
    (header_row, header), *rows = lines
    delimiter = ";" if ";" in header else ","
    columns = _cells(header, delimiter)
    faults = [
        Fault(file=file, place=f"row {header_row}", key=key, problem=problem)
        for key, problem in _header_problems(columns)
    ]
    if faults:
        raise PatternError(faults)
    gain_dbi: dict[float, float] = {}
    row_of: dict[float, int] = {}
    for row, line in rows:
        cells = _cells(line, delimiter)
        problems = list(_row_problems(columns, cells))
        if not problems and any(cells):
            elevation, gain = (float(cells[columns.index(name)]) + 0.0 for name in COLUMNS)  # no minus zero
            if elevation in row_of:
                stands = f"{elevation:g} is in row {row_of[elevation]} too; write each elevation once"
                problems.append((ELEVATION, stands))
            row_of.setdefault(elevation, row)
            gain_dbi[elevation] = gain
        faults += [Fault(file=file, place=f"row {row}", key=key, problem=problem) for key, problem in problems]
    if len(faults) > MOST_FAULTS:
        rest = f"has {len(faults) - MOST_FAULTS} more faults of this kind"
        faults[MOST_FAULTS:] = [Fault(file=file, problem=rest)]
    if faults:
        raise PatternError(faults)
    if not gain_dbi:
        raise _refused(file, "has no row below its header; write one for each elevation")
    elevations_deg = tuple(sorted(gain_dbi))
    try:
        return Pattern(
            name=path.name, elevation_deg=elevations_deg, gain_db=tuple(gain_dbi[one] for one in elevations_deg)
        )
    except EntryError as error:
        raise PatternError(Fault(file=file, key=key, problem=problem) for key, problem in error.problems) from None


def _refused(file: str, problem: str) -> PatternError:
    return PatternError([Fault(file=file, problem=problem)])


def _text(path: Path) -> str:
    """What stands in a file."""
    file = str(path)
    try:
        if path.is_dir():
            raise _refused(file, "is a folder; name the file in it")
        raw = read_up_to(path, MOST_BYTES)
    except (OSError, ValueError) as error:
        raise _refused(file, why_unread(path, error)) from None
    if raw is None:
        raise _refused(file, f"is longer than {MOST_BYTES} bytes, the limit for a pattern")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = raw.count(b"\n", 0, error.start) + 1
        raise _refused(file, f"is not UTF-8 text (byte {error.start + 1}, row {row}); save it as UTF-8") from None


def _cells(line: str, delimiter: str) -> list[str]:
    """The values of one row, without space around them."""
    return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter))]


def _header_problems(columns: list[str]) -> Iterator[tuple[str, str]]:
    """Columns that are not there, or twice."""
    for name in COLUMNS:
        near = nearest(name, [column for column in columns if column not in COLUMNS])
        if name not in columns and near:
            yield near, f"no such column; did you mean {name}?"
        elif name not in columns:
            yield name, f"no such column; the header must name {' and '.join(COLUMNS)}"
        elif columns.count(name) > 1:
            yield name, f"is in the header {columns.count(name)} times; name each column once"


def _row_problems(columns: list[str], cells: list[str]) -> Iterator[tuple[str, str]]:
    """What is wrong with one row; nothing where it holds nothing."""
    if not any(cells):
        return
    if any(cells[len(columns) :]):
        yield "", f"has {len(cells)} values below {len(columns)} columns; write numbers with a decimal point"
        return
    for name, low, high in ((ELEVATION, LOWEST_DEG, HIGHEST_DEG), (GAIN, LEAST_DBI, MOST_DBI)):
        position = columns.index(name)
        problem = _number_problem(cells[position] if position < len(cells) else "", low=low, high=high)
        if problem:
            yield name, problem


def _number_problem(text: str, *, low: float, high: float) -> str | None:
    """What is wrong with the text of a number."""
    allowed = f"write a number from {low:g} to {high:g}"
    if not text:
        return f"is missing; {allowed}"
    if text.casefold().lstrip("+-") in ("nan", "inf", "infinity"):
        return f"{text} is not a number to calculate with; {allowed}"
    if not re.fullmatch(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?", text):
        comma = ", with a decimal point" if re.fullmatch(r"[+-]?[0-9]*,[0-9]+", text) else ""
        return f'"{text}" is not a number; {allowed}{comma}'
    return None if low <= float(text) <= high else f"{text} is out of range; {allowed}"
