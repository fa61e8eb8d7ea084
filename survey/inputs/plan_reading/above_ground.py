"""Heights that count from the ground, turned into heights above the plan's zero before anything else is done."""

from __future__ import annotations

from typing import Any

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.errors import EntryError
from survey.inputs.drawings import Placed
from survey.inputs.fields import Choice
from survey.inputs.plan.ground import Ground, GroundSurface, ground_faults
from survey.inputs.plan.kinds import HEIGHT, POINT
from survey.inputs.plan_reading.entries import EntryReader, written

KEY = "height_above"
GROUND = Choice(("ground",))
HEIGHTS = {
    "inverter": "height_m",
    "gateway": "height_m",
    "spot": "height_m",
    "array": "height_m",
    "search": "heights_m",
    "box": "base_m",
    "wall": "base_m",
    "foliage": "base_m",
    "building": "base_m",
}
"""The tables whose heights may count from the ground, each with the key of its height."""
POINTS = ("at", "first", "centre", "corner", "along", "within", "footprint", "corners")
"""The first of these that is written says where an entry is; of several points the first."""
CARRIERS = ("on", "inside", "beside", "against")
"""With one of these a height follows from what the entry stands on."""


def above_ground(reader: EntryReader, tables: dict[str, Any], grounds: list[tuple[str, Ground]]) -> dict[str, Any]:
    """Return the tables of a plan with every height above its zero.

    Parameters
    ----------
    reader : EntryReader
        Takes the faults.
    tables : dict
        As written, with what stands in drawings.
    grounds : list of (str, Ground)
        The entries of `[[ground]]`, each with its place: all their points together are the ground.
    """
    changed = dict(tables)
    surface = _surface(reader, tables, grounds)
    for table, height in HEIGHTS.items():
        entries = list(written(tables, table))
        if not any(KEY in values for _, values in entries):
            continue
        changed[table] = []
        for place, values in entries:
            rest = {key: value for key, value in values.items() if key != KEY}
            extra: dict[str, Any] = {}
            try:
                if KEY in values:
                    extra = _raised(rest, values[KEY], height, surface)
            except EntryError as error:
                for key, problem in error.problems:
                    reader.fault(place, key, problem)
            changed[table].append(Placed(place, rest, extra=extra))
    return changed


def _surface(
    reader: EntryReader, tables: dict[str, Any], grounds: list[tuple[str, Ground]]
) -> GroundSurface | str | None:
    """The ground of a plan; nothing where its fault is told, and why not where it has none."""
    if tables.get("ground") is None:
        return "needs the ground; write a [[ground]] with three points or more"
    if len(grounds) < len(list(written(tables, "ground"))) or not grounds:
        return None
    points = tuple(point for _, one in grounds for point in one.points)
    problem = next(ground_faults(points), None)
    if problem is None:
        return GroundSurface(points)
    reader.fault(grounds[-1][0], "points", problem)
    return None


def _raised(values: dict[str, Any], above: object, height: str, surface: GroundSurface | str | None) -> dict[str, Any]:
    """Raise an entry onto the ground; a search keeps its heights, and stands on the ground point by point.

    Raises
    ------
    EntryError
        Where that is not possible; without a problem where one is told elsewhere.
    """
    problem = GROUND.fault(above)
    carrier = next((key for key in CARRIERS if key in values and values[key] != "ground"), None)
    if problem is None and carrier is not None:
        problem = f'means nothing with "{carrier}"; leave it out'
    if problem is None and isinstance(surface, str):
        problem = surface
    if problem is not None:
        raise EntryError([(KEY, problem)])
    if not isinstance(surface, GroundSurface):
        return {}
    places_m = _places_m(values)
    if height == "heights_m":
        _under_m(surface, places_m)
        return {"ground": surface}
    if HEIGHT.fault(values.get(height, 0.0)) is None and (height in values or height == "base_m"):
        values[height] = float(values.get(height, 0.0)) + float(_under_m(surface, places_m[:1])[0])
    return {}


def _places_m(values: dict[str, Any]) -> FloatArray:
    """The points that say where an entry is, shape (n, 2). [m]"""
    name = next((name for name in POINTS if name in values), None)
    if name is None:
        raise EntryError([(KEY, f"needs a point to count from; write one of {', '.join(POINTS)}")])
    value = values[name]
    points = value if isinstance(value, list | tuple) and value and isinstance(value[0], list | tuple) else [value]
    if any(POINT.fault(point) for point in points):
        raise EntryError([])  # the reader of the entry says so
    return np.array(points, dtype=np.float64)


def _under_m(surface: GroundSurface, places_m: FloatArray) -> FloatArray:
    """The height of the ground under places. [m]"""
    heights_m = surface.height_m(places_m)
    beyond = np.isnan(heights_m)
    if beyond.any():
        x, y = places_m[beyond][0].tolist()
        raise EntryError([(KEY, f"{x:.2f}, {y:.2f} is beyond the points of the ground; measure a point beyond it")])
    return heights_m
