"""The names in a log: which inverter or gateway of the plan each means, and what is said of those that it lacks."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from survey.base.errors import Fault, did_you_mean, one_line, shortened
from survey.inputs.csv_files import as_written
from survey.inputs.logs.columns import Columns
from survey.inputs.logs.grid import Resolved
from survey.inputs.logs.naming import folded
from survey.inputs.logs.rows import ROW_FIELDS, TOLD, Block
from survey.inputs.logs.source import opened, whole_rows

MIN_KNOWN = 0.5
"""Where the plan knows the names of so many rows, the others are left out; else the log is of another site. [-]"""
Unknown = dict[tuple[str, str], str]
"""Names that the plan lacks: what each should be and the name, and what to say of it."""


@dataclass(frozen=True, kw_only=True)
class Planned:
    """Names in the plan: its inverters, the serial of each, its gateways and spots, and its only gateway if any."""

    inverters: Sequence[str]
    serials: Sequence[str]
    gateways: Sequence[str]
    gateway: str | None


def in_plan(
    blocks: list[Block], names: tuple[Sequence[str], Sequence[str], Sequence[str]], plan: Planned, notes: list[str]
) -> tuple[Resolved, list[Block], Unknown]:
    """Find the names of a log in the plan.

    Parameters
    ----------
    blocks : list of Block
        Rows.
    names : tuple of sequence of str
        Those of inverters, gateways and branches, as the blocks number them.
    plan : Planned
        The plan's.
    notes : list of str
        To which is added what was assumed and left out.

    Returns
    -------
    tuple of Resolved, list of Block and dict
        What the names mean; the rows whose names the plan knows where these are most, else all; and what it lacks.
    """
    unknown: Unknown = {}
    used = [
        {i for block in blocks for i in np.flatnonzero(np.bincount(getattr(block, field))).tolist()}
        for field in ("inverter", "gateway")
    ]
    resolved = Resolved(
        inverter=_resolve(names[0], used[0], plan.inverters, plan.serials, what="inverter", unknown=unknown),
        gateway=_gateways(names[1], used[1], plan, notes, unknown),
        branches=tuple(names[2]),
    )
    lost = [
        (known, [i for i in sorted(there) if numbers[i] < 0], field)
        for known, numbers, field, there in (
            (names[0], resolved.inverter, "inverter", used[0]),
            (names[1], resolved.gateway, "gateway", used[1]),
        )
    ]
    return resolved, _known_rows(blocks, lost, unknown, notes), unknown


def _gateways(found: Sequence[str], used: set[int], plan: Planned, notes: list[str], unknown: Unknown) -> list[int]:
    """Which of the plan's each gateway of the log means; one alone under a name of its own is the plan's only one."""
    told: Unknown = {}
    numbers = _resolve(found, used, plan.gateways, (), what="gateway", unknown=told)
    alone = found[min(used)] if len(used) == 1 and told else ""
    if plan.gateway is not None and alone and not did_you_mean(alone, plan.gateways):
        notes.append(f'the log calls its only gateway "{shortened(alone)}": it is taken to be {plan.gateway}')
        numbers[min(used)] = list(plan.gateways).index(plan.gateway)
        return numbers
    unknown.update(told)
    return numbers


def _known_rows(
    blocks: list[Block], lost: Sequence[tuple[Sequence[str], list[int], str]], unknown: Unknown, notes: list[str]
) -> list[Block]:
    """The rows whose names the plan knows, where these are most; the faults of the others become a note."""
    if not any(rows for _, rows, _ in lost) or any("belongs to" in problem for problem in unknown.values()):
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


def _resolve(
    found: Sequence[str],
    used: set[int],
    names: Sequence[str],
    serials: Sequence[str],
    *,
    what: str,
    unknown: Unknown,
) -> list[int]:
    """Which of the plan's each name of the log means; -1 where none, which is then told if rows have it."""
    at = {name: i for i, name in enumerate(names)}
    alike_names: dict[str, list[int]] = {}
    for i, name in enumerate(names):
        alike_names.setdefault(folded(name), []).append(i)
    by_serial: dict[str, list[int]] = {}
    for i, serial in enumerate(serials):
        if serial:
            by_serial.setdefault(folded(serial), []).append(i)
    numbers = []
    for k, written in enumerate(found):
        name = as_written(written)
        alike = alike_names.get(folded(name), [])
        owners = [at[name]] if name in at else alike if len(alike) == 1 else by_serial.get(folded(name), [])
        numbers.append(owners[0] if len(owners) == 1 else -1)
        if numbers[-1] >= 0 or k not in used:
            continue
        if len(owners) > 1:
            both = " and ".join(f'"{names[i]}"' for i in owners)
            problem = f'serial "{name}" belongs to {both} in the plan'
        elif "\ufffd" in name:
            problem = f'{what} "{name}": is not text in UTF-8; save the log as CSV in UTF-8'
        else:
            near = did_you_mean(name, [*names, *(one for one in serials if one)])
            some = ", ".join(f'"{shortened(one)}"' for one in names[:TOLD])
            more = f" and {len(names) - TOLD} more" if len(names) > TOLD else ""
            problem = f'no {what} of the plan is named "{shortened(name)}"{near or f"; it has {some}{more}"}'
        unknown[what, written] = problem
    return numbers


def unknown_faults(unknown: Unknown, path: Path, columns: Columns, called: Mapping[str, str]) -> list[Fault]:
    """Names that the plan lacks, each with the first row that has it; the first few, and how many more."""
    if not unknown:
        return []
    places = {what: getattr(columns, what) for what in ("inverter", "gateway")}
    rows: dict[tuple[str, str], int] = {}
    with opened(path, []) as file:
        ends = columns.line_break
        lines = (one for data, _ in whole_rows(file, b"", 1, str(path), ends) for one in data.split(b"\n")[:-1])
        for row, line in enumerate(lines, start=1):
            try:
                cells = next(csv.reader([line.decode("utf-8", "replace")], delimiter=columns.delimiter), [])
            except csv.Error:
                continue
            for what, place in places.items():
                if 0 <= place < len(cells) and (name := (what, cells[place].strip())) in unknown:
                    rows.setdefault(name, row)
            if len(rows) == len(unknown):
                break
    faults = []
    for name in sorted(unknown, key=lambda one: (rows.get(one, 0), one)):
        what, place = name[0], f"row {rows[name]}" if name in rows else ""
        key = f'{what} (column "{one_line(called[what])}")' if what in called else what
        faults.append(Fault(file=str(path), place=place, key=key, problem=unknown[name]))
    if len(faults) > TOLD:
        more = f"and {len(faults) - TOLD} more names that the plan lacks"
        faults[TOLD:] = [Fault(file=str(path), problem=more)]
    return faults
