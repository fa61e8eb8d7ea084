"""What `from` stands for in the tables of a plan: the keys and entries that it is written in place of."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from survey.base.errors import EntryError
from survey.inputs.drawings.library import Drawings
from survey.inputs.fields import Text

FROM = "from"
POSITIONS = ("inverter", "gateway", "spot")
"""Tables that a list, or points of a drawing, makes entries of."""
SHAPES = {"wall": ("along",), "search": ("along", "within"), "foliage": ("footprint",)}
"""Tables that take a line or an outline, and the keys that it is written in place of."""
IN_PLAN = ("on", "inside", "beside", "at", "left_m", "right_m", "up_m", "down_m", "mast_m")
"""Keys that say where something is, or on what: a list may then have no height."""

Fault = tuple[str, str, str]
"""Place, key and problem."""


class Placed(dict[str, Any]):
    """The keys of an entry that does not stand in the plan as such, and the place where messages say it is.

    Attributes
    ----------
    extra : dict
        Keys that no plan can write.
    """

    def __init__(self, place: str, keys: Mapping[str, Any], *, extra: Mapping[str, Any] | None = None) -> None:
        super().__init__(keys)
        self.place = place
        self.extra = dict(extra or {})


def expanded(
    table: str, entries: Iterable[tuple[str, dict[str, Any]]], drawings: Drawings
) -> tuple[list[dict[str, Any]], list[Fault]]:
    """Return the entries of a table with what `from` stands for, and what is wrong.

    Parameters
    ----------
    table : str
        One of `POSITIONS` or `SHAPES`.
    entries : iterable of (str, dict)
        As written, each with its place.
    drawings : Drawings
        Where it comes from.

    Returns
    -------
    list of dict
        Entries, each with the place that it was made at; those whose `from` cannot be used are left out.
    list of (str, str, str)
        Place, key and problem of each fault.
    """
    found: list[dict[str, Any]] = []
    faults: list[Fault] = []
    for place, written in entries:
        if FROM not in written:
            found.append(Placed(place, written))
            continue
        keys = dict(written)
        reference = keys.pop(FROM)
        try:
            found.extend(_entries(place, table, reference, keys, drawings))
        except EntryError as error:
            faults.extend((place, key, problem) for key, problem in error.problems)
    return found, faults


def _entries(place: str, table: str, reference: object, keys: dict[str, Any], drawings: Drawings) -> list[Placed]:
    """What one entry stands for."""
    problem = Text(needed=True).fault(reference)
    if problem:
        raise EntryError([(FROM, problem)])
    named = str(reference).strip()
    if table in SHAPES:
        return [Placed(place, keys | _shape(table, named, keys, drawings))]
    if drawings.is_list(named):
        return _listed(place, table, named, keys, drawings)
    return _pointed(place, named, keys, drawings)


def _refuse_given(keys: dict[str, Any], taken: Iterable[str], why: str) -> None:
    problems = [(key, why) for key in taken if key in keys]
    if problems:
        raise EntryError(problems)


def _shape(table: str, reference: str, keys: dict[str, Any], drawings: Drawings) -> dict[str, Any]:
    """A line or an outline."""
    _refuse_given(keys, SHAPES[table], "is given beside from; write one of the two")
    if table == "foliage":
        return {"footprint": drawings.outline(reference).tolist()}
    if table == "search" and drawings.is_outline(reference):
        return {"within": drawings.outline(reference).tolist()}
    return {"along": drawings.line(reference).tolist()}


def _listed(place: str, table: str, reference: str, keys: dict[str, Any], drawings: Drawings) -> list[Placed]:
    """An entry for each row of a list."""
    _refuse_given(keys, ["name"], "means nothing here: each row of the list has its own; leave it out")
    file, positions = drawings.positions(reference)
    columns = dict.fromkeys(key for one in positions for key in one.keys)
    _refuse_given(keys, columns, f"is given in {file} already; leave it out here, or the column there")
    first = positions[0].keys
    if "left_m" in first and "on" not in keys:
        raise EntryError([("on", f'is missing: {file} gives left and up on a face; write on = "BUILDING/FACE"')])
    rests = any(key in keys for key in (*IN_PLAN, "height_m"))
    without = [one for one in positions if "height_m" not in one.keys]
    if without and not rests:
        where = "" if len(without) == len(positions) else f" on line {without[0].line}"
        raise EntryError([("height_m", f"is missing: {file} has none{where}; add a column height_m, or write it here")])
    dropped = {"serial", "branch"} if table != "inverter" else set()
    start = place.partition('"')[0].rstrip()
    return [
        Placed(
            f'{start} "{file}" line {one.line} "{one.keys["name"]}"',
            keys | {key: value for key, value in one.keys.items() if key not in dropped},
        )
        for one in positions
    ]


def _pointed(place: str, reference: str, keys: dict[str, Any], drawings: Drawings) -> list[Placed]:
    """An entry for each point on a layer of a drawing."""
    _refuse_given(keys, ["at"], "is given beside from; write one of the two")
    layer, points_m = drawings.points(reference)
    name = keys.get("name", layer)
    if not isinstance(name, str) or not name.strip():  # the reader says what is wrong with it
        return [Placed(place, keys | {"at": points_m[0].tolist()})]
    start = place.partition('"')[0].rstrip()
    names = [f"{name}{number}" for number in range(1, len(points_m) + 1)] if len(points_m) > 1 else [name]
    return [
        Placed(f'{start} "{one}"', keys | {"name": one, "at": at})
        for one, at in zip(names, points_m.tolist(), strict=True)
    ]
