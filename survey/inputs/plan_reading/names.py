"""Names that stand twice in a plan, whether written or made by an array, a search, a building or openings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import chain
from typing import TYPE_CHECKING, Any

from survey.inputs.plan.place_keys import BUILDING
from survey.inputs.plan_reading.entries import EntryReader, name_of, written

if TYPE_CHECKING:  # it is loaded where a plan has a building, or anything that stands on a face
    from survey.inputs.places import Layout


def check_names(
    reader: EntryReader,
    tables: dict[str, Any],
    lists: dict[str, list[tuple[str, Any]]],
    *,
    made: list[tuple[str, str]],
) -> None:
    """Refuse names that stand twice.

    Parameters
    ----------
    reader : EntryReader
        Takes the faults.
    tables : dict
        As written.
    lists : dict of str to list of (str, Entry)
        By table, the entries that are in order, each with its place.
    made : list of (str, str)
        Names that buildings and openings make, each with what makes it.
    """
    named = (*(table for table in reader.list_tables if table != "material"), BUILDING)
    entries = (entry for table in named for entry in written(tables, table))
    owners = _by_name((name_of(values), place) for place, values in entries)
    told = _twice(reader, owners)
    given = list(owners)
    for place, array in lists["array"]:
        rows = [row.name for row in array.module_rows()]
        for name in chain(array.inverter_names(), rows):
            owners.setdefault(name, []).append(place)
    for name, place in made:
        owners.setdefault(name, []).append(place)
    for place, search in lists["search"]:  # not made until a name looks like one of them: there may be a million
        alike = [name for name in given if name.startswith(f"{search.name}/")]
        points = set(search.spot_names()) if alike else set()
        for name in alike:
            if name in points:
                owners[name].append(place)
    _twice(reader, {name: places for name, places in owners.items() if tuple(places) not in told})
    own = ((name_of(values), place) for place, values in written(tables, "material"))
    _twice(reader, _by_name((name and name.casefold(), place) for name, place in own))


def _twice(reader: EntryReader, owners: dict[str, list[str]]) -> set[tuple[str, ...]]:
    """Tell of names with more than one owner, and give back which owners those were."""
    shared: dict[tuple[str, ...], list[str]] = {}
    for name, places in owners.items():
        if len(places) > 1:
            shared.setdefault(tuple(places), []).append(name)
    for among, names in shared.items():
        more = f" and {len(names) - 1} more are used" if len(names) > 1 else " is used"
        problem = f'"{names[0]}"{more} {len(among)} times; every name in a plan must be different'
        reader.fault(" and ".join(dict.fromkeys(among)), "name", problem)
    return set(shared)


def made_names(layout: Layout | None) -> Iterator[tuple[str, str]]:
    """Yield names that buildings, and openings of walls and boxes, make, with what makes them."""
    if layout is not None:
        for face in layout.faces:
            yield face.name, f'[[building]] "{face.owner}"'
        for name, parts in layout.opened.items():
            for part in parts[1:]:
                yield part.name, f'the openings of "{name}"'


def _by_name(named: Iterable[tuple[str | None, str]]) -> dict[str, list[str]]:
    """The places where each name stands."""
    places: dict[str, list[str]] = {}
    for name, place in named:
        if name is not None:
            places.setdefault(name, []).append(place)
    return places
