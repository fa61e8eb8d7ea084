"""Outermost inverters of an array that lie so near to the edge of their roof that modules would stick out over it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from survey.base.arrays import FloatArray
from survey.decisions.inspection.carriers import Carriers, Lie
from survey.decisions.inspection.wording import length, quoted
from survey.inputs.plan import Array

EDGE_SHARE = 0.25
"""Of the spacing: with an inverter to every second module, or one under its middle, a module reaches farther."""
HALVINGS = 12
"""Find an edge to a few thousandths of the distance looked at."""


def edge_warnings(array: Array, lie: Lie, carriers: Carriers) -> Iterator[str]:
    """Yield how many lie near to an edge, the worst of them, and how far to move the array, for each side of it.

    Parameters
    ----------
    array : Array
        An array that lies well on its roofs.
    lie : Lie
        How it lies.
    carriers : Carriers
        The roofs.
    """
    points_m = array.positions_m()
    ways = (
        (array.spacing_m, array.along, "back along the rows"),
        (array.spacing_m, -array.along, "along the rows"),
        (array.row_spacing_m, array.upslope, "down the slope"),
        (array.row_spacing_m, -array.upslope, "up the slope"),
    )
    for spacing_m, way, back in ways:
        margin_m = EDGE_SHARE * (spacing_m or 0.0)
        near = ~carriers.lie(points_m + margin_m * way).is_good
        if not margin_m or not near.any():
            continue
        to_edge_m = _to_edge_m(points_m[near], margin_m * way, carriers) * margin_m
        worst = int(np.argmin(to_edge_m))
        number = int(np.flatnonzero(near)[worst])
        name, least_m = array.inverter_names()[number], float(to_edge_m[worst])
        roof = quoted([carriers.names[int(lie.sheet[number])]])
        lies = "lies" if near.sum() == 1 else "lie"
        yield (
            f'array "{array.name}": {int(near.sum())} of {len(points_m)} {lies} nearer to the edge of {roof} than a '
            f"quarter of the spacing, {length(margin_m)}: {name} {length(least_m)}. The modules would reach beyond the "
            f"roof. Move the array {length(margin_m - least_m)} {back}, or measure the roof again"
        )


def _to_edge_m(points_m: FloatArray, step_m: FloatArray, carriers: Carriers) -> FloatArray:
    """Return which share of a step points can make before they leave their roof, shape (points,). [-]"""
    low, high = np.zeros(len(points_m)), np.ones(len(points_m))
    for _ in range(HALVINGS):
        middle = (low + high) / 2.0
        inside = carriers.lie(points_m + middle[:, None] * step_m).is_good
        low, high = np.where(inside, middle, low), np.where(inside, high, middle)
    return low
