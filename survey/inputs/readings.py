"""Levels measured on site, from a CSV file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from survey.base.errors import Fault, did_you_mean, shortened
from survey.inputs.csv_files import Table, number_of, read_table, refuse

MISSED = ("", "missed")
HEARD = "heard"
"""In the place of a level: there was an answer, and no level was read."""
LOWEST_DBM = -200.0
"""Far below thermal noise in 1 Hz, -174 dBm: no reading. [dBm]"""
MOST_DBM = 60.0
"""A kilowatt: no meter takes it. [dBm]"""
MOST_TRIES = 1_000_000
"""Behind one row; more is a column mixed up. A judgement."""
DONE = "done"
"""Column of the sheet for a day of readings: a mark in it says that the inverter was tried."""
OF_THE_SHEET = (DONE, "date", "expected_dbm", "low_dbm", "high_dbm")
"""Columns of that sheet, which a file may have; figures that were expected teach nothing."""
LINES_NAMED = 5
"""How many lines a message lists. A judgement."""


@dataclass(frozen=True, kw_only=True)
class Names:
    """The names that a plan has: inverters with their serials, and places of a receiver, gateways before inverters."""

    plan_file: str
    inverters: Sequence[str]
    serials: Sequence[str]
    places: Sequence[str]


@dataclass(frozen=True, kw_only=True)
class Readings:
    """What was tried and what was heard; arrays of shape (readings,).

    Attributes
    ----------
    file : str
        The file as the user named it.
    inverter, gateway : ndarray of int
        Index into the names that were given.
    level_dbm : ndarray of float
        Level of the inverter at the gateway; NaN where it was not heard. [dBm]
    tries : ndarray of int
        How many tries a row stands for.
    lines : ndarray of int
        Where each stands in the file.
    notes : tuple of str
        What the reader should be told, such as columns that were ignored.
    received : ndarray of int, optional
        How many of the tries were heard, where they were counted; -1 in rows without a count.
    day : str
        Of the newest time in the file, as ``2026-03-05``; nothing where it has none.
    """

    file: str
    inverter: NDArray[np.int64]
    gateway: NDArray[np.int64]
    level_dbm: NDArray[np.float64]
    tries: NDArray[np.int64]
    lines: NDArray[np.int64]
    notes: tuple[str, ...] = ()
    received: NDArray[np.int64] | None = None
    day: str = ""

    def __len__(self) -> int:
        return len(self.level_dbm)

    @property
    def heard(self) -> NDArray[np.int64]:
        """How many tries of each row were heard: of a row without a count all where it has a level, else none."""
        by_level = np.where(np.isnan(self.level_dbm), 0, self.tries)
        return by_level if self.received is None else np.where(self.received < 0, by_level, self.received)


def read_readings(path: Path, names: Names) -> Readings:
    """Read a file of readings.

    Parameters
    ----------
    path : Path
        CSV with the columns ``inverter`` (or ``serial``), ``gateway`` and ``level_dbm``, and perhaps ``time``, ``note``
        and ``tries``, the number of tries that a row stands for; or ``sent`` and ``received``, counts of messages,
        with a level or without. In a sheet of ``survey report --form``, which has a column ``done``, a row without a
        level, a count and a mark there was not tried, and is left out.
    names : Names
        What the plan has.

    Returns
    -------
    Readings
        Row by row; several rows of one pair are repeats.

    Raises
    ------
    TableError
        With every fault of the file: unknown names with the nearest ones, no numbers or times, levels above 0 dBm.
    """
    also = ("level_dbm", "inverter", "serial", "time", "note", "tries", "sent", "received", *OF_THE_SHEET)
    table = read_table(path, needed=("gateway",), also=also)
    if not {"level_dbm", "received"} & set(table.columns):
        problem = "no such column; give level_dbm, or sent and received"
        refuse([Fault(file=table.file, place="header", key="level_dbm", problem=problem)])
    if not {"inverter", "serial"} & set(table.columns):
        problem = "no such column; the first line must name inverter (or serial), gateway and level_dbm"
        refuse([Fault(file=table.file, place="header", key="inverter", problem=problem)])
    faults: list[Fault] = []
    inverter = _inverters(table, names, faults)
    gateway = _numbered(table, "gateway", names.places, f"gateway, spot or inverter of {names.plan_file}", faults)
    _refuse_own_levels(table, names, inverter, gateway, faults)
    level_dbm = _levels_dbm(table, faults)
    tries = _tries(table, faults)
    received = _received(table, tries, level_dbm, faults)
    for row, text in enumerate(table.columns.get("time", ())):
        if text and not _is_time(text):
            problem = f'"{shortened(text)}" is not a time; write it as 2026-03-05T14:30 or 2026-03-05T14:30+10:00'
            faults.append(table.fault(row, "time", problem))
    tried = _was_tried(table)
    if not tried.any():
        problem = "no row has a level or a mark under done; write what was read, or missed where there was no answer"
        faults.append(Fault(file=table.file, problem=problem))
    refuse(faults)
    return Readings(
        file=table.file,
        inverter=inverter[tried],
        gateway=gateway[tried],
        level_dbm=level_dbm[tried],
        tries=tries[tried],
        lines=np.array(table.lines, dtype=np.int64)[tried],
        day=max((text[:10] for text in table.columns.get("time", ()) if text), default=""),
        received=None if received is None else received[tried],
        notes=(f"columns ignored: {', '.join(table.ignored)}",) if table.ignored else (),
    )


def _was_tried(table: Table) -> NDArray[np.bool_]:
    """Whether each row was tried: in a sheet with a column for marks, an empty row was not."""
    marks = table.columns.get(DONE)
    if marks is None:
        return np.ones(len(table), dtype=np.bool_)
    told = [marks, *(table.columns[name] for name in ("level_dbm", "received") if name in table.columns)]
    return np.array([any(cells) for cells in zip(*told, strict=True)])


def _inverters(  # noqa: C901  one case after another
    table: Table, names: Names, faults: list[Fault]
) -> NDArray[np.int64]:
    """Which inverter each row is about, by name or by serial."""
    by_name = {name: i for i, name in enumerate(names.inverters)}
    by_serial = {serial: i for i, serial in enumerate(names.serials) if serial}
    doubled = {serial for serial, times in Counter(one for one in names.serials if one).items() if times > 1}
    cells = table.columns.get("inverter") or [""] * len(table)
    serials = table.columns.get("serial") or [""] * len(table)
    found = np.full(len(table), -1, dtype=np.int64)
    told: set[tuple[str, str]] = set()
    for row, (name, serial) in enumerate(zip(cells, serials, strict=True)):
        used = name if name not in by_name else ""
        problem = key = ""
        if name in by_name:
            found[row] = by_name[name]
        used = used or serial
        if not name and not serial:
            key, problem = "inverter", "is empty; write the inverter's name or its serial"
        elif used in doubled:
            twice = " and ".join(one for one, own in zip(names.inverters, names.serials, strict=True) if own == used)
            key, problem = "serial", f'"{used}" is in {names.plan_file} more than once: {twice}'
        elif name in by_name:
            if serial and serial not in by_serial and by_serial:
                key, problem = "serial", f'no inverter of {names.plan_file} has the serial "{serial}"'
                problem += did_you_mean(serial, by_serial)
            elif serial and by_serial.get(serial, by_name[name]) != by_name[name]:
                other = names.inverters[by_serial[serial]]
                key, problem = "serial", f'"{serial}" belongs to {other} in {names.plan_file}, not to {name}'
        elif used in by_serial:
            found[row] = by_serial[used]
        elif name:
            key = "inverter"
            problem = f'no inverter of {names.plan_file} has the name or serial "{name}"'
            problem += did_you_mean(name, [*by_name, *by_serial])
        else:
            key, problem = "serial", f'no inverter of {names.plan_file} has the serial "{serial}"'
            problem += did_you_mean(serial, by_serial)
        if problem and (key, problem) not in told:
            told.add((key, problem))
            faults.append(table.fault(row, key, problem))
    return found


def _numbered(table: Table, column: str, known: Sequence[str], what: str, faults: list[Fault]) -> NDArray[np.int64]:
    """The names in a column as indices; every unknown one is told once."""
    index = {name: i for i, name in reversed(list(enumerate(known)))}
    found = np.array([index.get(name, -1) for name in table.columns[column]], dtype=np.int64)
    for row in np.flatnonzero(found < 0).tolist():
        name = table.columns[column][row]
        if name not in index:
            index[name] = -1
            problem = f'no {what} is named "{name}"{did_you_mean(name, known)}' if name else "is empty; write a name"
            faults.append(table.fault(row, column, problem))
    return found


def _refuse_own_levels(
    table: Table, names: Names, inverter: NDArray[np.int64], gateway: NDArray[np.int64], faults: list[Fault]
) -> None:
    """Refuse a level of an inverter at itself."""
    for row in np.flatnonzero((inverter >= 0) & (gateway >= len(names.places) - len(names.inverters))).tolist():
        if names.places[gateway[row]] != names.inverters[inverter[row]]:
            continue
        problem = f'"{names.inverters[inverter[row]]}" is the inverter itself; write the one that heard it'
        faults.append(table.fault(row, "gateway", problem))


def _levels_dbm(table: Table, faults: list[Fault]) -> NDArray[np.float64]:
    """The levels; what was not heard is NaN."""
    levels_dbm = np.full(len(table), np.nan)
    above = []
    for row, text in enumerate(table.columns.get("level_dbm", ())):
        if text.casefold() in (*MISSED, HEARD):
            continue
        levels_dbm[row], problem = number_of(text, low=LOWEST_DBM, high=MOST_DBM)
        if levels_dbm[row] > 0:
            above.append(row)
        elif problem:
            faults.append(table.fault(row, "level_dbm", f"{problem}, or missed if there was no answer"))
    if above:
        where = ", ".join(str(table.lines[row]) for row in above[:LINES_NAMED])
        more = f" and {len(above) - LINES_NAMED} more" if len(above) > LINES_NAMED else ""
        problem = (
            f"is above 0 dBm on line {where}{more}: is it in mW (then dBm = 10 log10(mW)), or is a minus sign "
            "missing? Usual levels are -30 to -110 dBm"
        )
        faults.append(Fault(file=table.file, key="level_dbm", problem=problem))
    return levels_dbm


def _tries(table: Table, faults: list[Fault]) -> NDArray[np.int64]:
    """How many tries each row stands for: 1 where nothing is said."""
    tries = np.ones(len(table), dtype=np.int64)
    for row, text in enumerate(table.columns.get("tries", ())):
        if not text:
            continue
        value, problem = number_of(text, low=1, high=MOST_TRIES)
        if problem is None and value != int(value):
            problem = f"{text} is not a whole number; write the number of tries"
        if problem:
            faults.append(table.fault(row, "tries", problem))
        else:
            tries[row] = int(value)
    return tries


def _received(  # noqa: C901  one case after another
    table: Table, tries: NDArray[np.int64], levels_dbm: NDArray[np.float64], faults: list[Fault]
) -> NDArray[np.int64] | None:
    """How many tries of each row were heard, where they were counted; the tries are then those that were sent."""
    counts = {name: table.columns.get(name) for name in ("sent", "received")}
    answered = [row for row, text in enumerate(table.columns.get("level_dbm", ())) if text.casefold() == HEARD]
    if not any(counts.values()) and not answered:
        return None
    received = np.full(len(table), -1, dtype=np.int64)
    received[answered] = tries[answered]
    for row in range(len(table)):
        cells = {name: column[row] if column else "" for name, column in counts.items()}
        if not any(cells.values()):
            if "level_dbm" not in table.columns:
                faults.append(table.fault(row, "received", "is empty; write how many were sent and received"))
            continue
        found: dict[str, int] = {}
        for name, text in cells.items():
            value, problem = number_of(text, low=0 if name == "received" else 1, high=MOST_TRIES)
            if problem is None and value != int(value):
                problem = f"{text} is not a whole number"
            if problem:
                faults.append(table.fault(row, name, problem if text else "is empty; write both sent and received"))
            else:
                found[name] = int(value)
        if len(found) < len(cells):
            continue
        if found["received"] > found["sent"]:
            faults.append(table.fault(row, "received", f"{found['received']} of {found['sent']} sent; no more can be"))
        elif not found["received"] and not np.isnan(levels_dbm[row]):
            faults.append(table.fault(row, "received", "is 0 beside a level; one message at least was received"))
        tries[row], received[row] = found["sent"], found["received"]
    return received


def _is_time(text: str) -> bool:
    try:
        datetime.fromisoformat(text)
    except ValueError:
        return False
    return True
