"""A plan written out in loose sheets, boxes and points: what is computed with, in words that need no faces."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import fields
from typing import Any

from survey.inputs.fields import Entry, keys_of
from survey.inputs.plan import Array, Inverter, ModuleRow, Obstacle, OwnRadio, Part, Plan, Search, Spot

MAX_CORNERS = 8
"""What a roof of a plan may have; pieces of more are written as several."""
RADIO_ENDS = ("inverter", "gateway")


def sheets_text(plan: Plan) -> str:
    """Return a plan as TOML, in sheets, boxes and points; pieces of one obstacle share `part_of`.

    Parameters
    ----------
    plan : Plan
        Any plan.

    Returns
    -------
    str
        A plan whose path losses are the same.
    """
    head = f"# {plan.site.name}: written out in sheets, boxes and points by `survey check --sheets`\nplan_version = 1\n"
    return head + "".join(f"\n{table}" for table in tables_of(plan))


def tables_of(plan: Plan) -> Iterator[str]:
    """Yield each table of a plan as TOML, everything as sheets, boxes and points."""
    yield table_text("[site]", values_of(plan.site, without=("joint_m",)))
    radio = plan.radio
    yield table_text("[radio]", {key: value for key, value in values_of(radio).items() if key not in RADIO_ENDS})
    for end in RADIO_ENDS:
        yield table_text(f"[radio.{end}]", values_of(getattr(radio, end)))
    yield table_text("[environment]", values_of(plan.environment))
    yield table_text("[requirement]", values_of(plan.requirement))
    for material in plan.own_materials:
        yield table_text("[[material]]", values_of(material))
    for array in plan.arrays:
        if _is_plain(array):
            yield table_text("[[array]]", values_of(array))
        else:
            for inverter in _inverters(array):
                yield table_text("[[inverter]]", values_of(inverter))
    written_rows = {array.name for array in plan.arrays if _is_plain(array)}
    lists: Sequence[tuple[str, Sequence[Entry]]] = (
        ("inverter", plan.inverters),
        ("gateway", plan.gateways),
        ("spot", (*plan.spots, *(spot for search in plan.searches if search.ground for spot in _spots(search)))),
        ("search", [search for search in plan.searches if not search.ground]),
    )
    for table, entries in lists:
        for one in entries:
            yield table_text(f"[[{table}]]", values_of(one))
    for obstacle in plan.obstacles:
        if not (isinstance(obstacle, ModuleRow) and obstacle.array in written_rows):
            yield from _obstacle(obstacle)


def _is_plain(array: Array) -> bool:
    """Whether an array has only keys that say how its rows step."""
    return isinstance(array.per_row, int) and not array.skip and array.module_tilt_deg is None


def _inverters(array: Array) -> Iterator[Inverter]:
    own = {one.name: getattr(array, one.name) for one in fields(OwnRadio)}
    serials = array.serials or ("",) * len(array.positions_m())
    for name, (x, y, z), serial in zip(array.inverter_names(), array.positions_m().tolist(), serials, strict=True):
        yield Inverter(name=name, at=(x, y), height_m=z, serial=serial, branch=array.branch, **own)


def _spots(search: Search) -> Iterator[Spot]:
    """The spots of a search whose heights count from sloping ground."""
    own = {one.name: getattr(search, one.name) for one in fields(OwnRadio)}
    for name, (x, y, z) in zip(search.spot_names(), search.positions_m().tolist(), strict=True):
        yield Spot(name=name, at=(x, y), height_m=z, note=search.note, **own)


def _obstacle(one: Obstacle) -> Iterator[str]:
    """An obstacle as it is written, or as sheets."""
    if one.table:
        yield table_text(f"[[{one.table}]]", values_of(one))
        return
    pieces = [piece for sheet_m in one.sheets_m() for piece in _of_few_corners(sheet_m.tolist())]
    is_whole = len(pieces) == 1 and not isinstance(one, Part)
    own = values_of(one, without=("name", "pieces", "corners", "whole", "array"))
    for number, corners in enumerate(pieces, start=1):
        name = {"name": one.name} if is_whole else {"name": f"{one.name} piece {number}", "part_of": one.name}
        yield table_text("[[roof]]", name | own | {"corners": corners})


def _of_few_corners(corners: list[list[float]]) -> Iterator[list[list[float]]]:
    """A convex piece, cut where it has more corners than a plan may write."""
    while len(corners) > MAX_CORNERS:
        yield corners[:MAX_CORNERS]
        corners = [corners[0], *corners[MAX_CORNERS - 1 :]]
    yield corners


def values_of(one: Entry, *, without: Sequence[str] = ()) -> dict[str, Any]:
    """The keys of an entry that are not left out."""
    found = {key.name: getattr(one, key.name) for key in keys_of(type(one)) if key.name not in (*without, "part_of")}
    return {name: value for name, value in found.items() if value is not None and value not in ((), "")}


def table_text(head: str, values: dict[str, Any]) -> str:
    """Return one table as TOML, a line for each key."""
    return f"{head}\n" + "".join(f"{name} = {_toml(value)}\n" for name, value in values.items())


def _toml(value: object) -> str:
    """A value as TOML has it: the escapes of JSON are TOML's too, and floats come back to the last bit."""
    if isinstance(value, list | tuple):
        return f"[{', '.join(_toml(one) for one in value)}]"
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{name} = {_toml(one)}' for name, one in value.items())} }}"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return repr(value) if isinstance(value, float) else str(value)
