"""Materials and antennas that a plan names: that there are such, and the files of gains."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

from survey.base.errors import PatternError, did_you_mean
from survey.inputs.antennas import KINDS, Pattern, read_pattern
from survey.inputs.fields import Entry, keys_of
from survey.inputs.materials import BUILT_IN
from survey.inputs.plan import ANTENNA, OwnRadio
from survey.inputs.plan.opening import OPEN
from survey.inputs.plan_reading.entries import RADIO_ENDS, EntryReader, name_of, written

if TYPE_CHECKING:  # it is loaded where a plan has a building
    from survey.inputs.buildings import Building


def check_materials(
    reader: EntryReader,
    tables: dict[str, Any],
    buildings: Iterable[tuple[str, Building]],
    leaf_materials: Iterable[tuple[str, str, str]],
) -> None:
    """Refuse materials that are neither built in nor the plan's own.

    Parameters
    ----------
    reader : EntryReader
        Takes the faults.
    tables : dict
        As written.
    buildings : iterable of (str, Building)
        Those that are in order, each with its place; in them "open" is no sheet.
    leaf_materials : iterable of (str, str, str)
        Place, key and material of openings of loose walls and boxes; there too.
    """
    own = (name_of(values) for _, values in written(tables, "material"))
    known = {name.casefold(): name for name in (*BUILT_IN, *own) if name is not None}
    with_open = known | {OPEN: OPEN}
    for place, building in buildings:
        for key, name in building.material_names():
            _check_known(reader, place, key, name, with_open)
    for place, values in written(tables, "material"):
        if name_of(values) == OPEN:
            reader.fault(place, "name", '"open" means no sheet at all; give the material another name')
    for place, key, name in leaf_materials:
        _check_known(reader, place, key, name, with_open)
    for table in (name for name, (_, entry) in reader.list_tables.items() if _has_key(entry, "material")):
        for place, values in written(tables, table):
            _check_known(reader, place, "material", name_of(values, "material"), known)


def _check_known(reader: EntryReader, place: str, key: str, name: str | None, known: Mapping[str, str]) -> None:
    """Refuse a material that there is not."""
    if name is not None and name.casefold() not in known:
        near = did_you_mean(name, known.values())
        problem = f'"{name}" is not known; `survey materials` lists them, [[material]] adds one'
        reader.fault(place, key, problem + near)


def _has_key(entry: type[Entry], name: str) -> bool:
    """Whether entries have a key of this name."""
    return any(one.name == name for one in keys_of(entry))


def read_patterns(reader: EntryReader, tables: dict[str, Any], *, folder: Path) -> Mapping[str, Pattern]:
    """Return every kind of antenna and every file of gains that the plan names; faults in a file are told once."""
    radio = tables.get("radio")
    ends = radio if isinstance(radio, dict) else {}
    places = [(f"[radio.{name}]", ends[name]) for name in RADIO_ENDS if isinstance(ends.get(name), dict)]
    kinds = (name for name, (_, entry) in reader.list_tables.items() if issubclass(entry, OwnRadio))
    named: dict[str, str] = {}
    for place, values in chain(places, *(written(tables, kind) for kind in kinds)):
        antenna = values.get("antenna")
        if isinstance(antenna, str) and ANTENNA.names_file(antenna):
            named.setdefault(antenna, place)
    patterns = dict(KINDS)
    for name, place in named.items():
        try:
            patterns[name] = read_pattern(folder / name)
        except PatternError as error:
            for fault in error.faults:
                reader.fault(place, "antenna", str(replace(fault, file=name)))
    return patterns
