"""Foliage as it is seen: a hedge along a line, a crown around a trunk."""

from __future__ import annotations

from typing import Any

import numpy as np

from survey.base import polygon
from survey.base.errors import EntryError
from survey.inputs.places.words import Written

CROWN_CORNERS = 12
"""Corners of a crown, as of a round building."""
MAX_MITRE = 3.0
"""A hedge that turns so sharply that its corner would lie farther out than this many half widths is refused. [-]"""


def footprint_of(one: Written) -> dict[str, Any]:
    """Return the footprint of a hedge or a crown; nothing where the plan writes the footprint itself.

    Raises
    ------
    EntryError
        For two ways of saying it, or half of one.
    """
    hedge, crown = ("along", "width_m"), ("centre", "across_m")
    forms = [form for form in (hedge, crown) if any(name in one.given for name in form)]
    if not forms:
        return {}
    if "footprint" in one.rest or len(forms) > 1:
        other = "footprint" if "footprint" in one.rest else crown[0]
        first = next(name for name in forms[0] if name in one.given)
        raise EntryError([(first, f"{other} is given too; write footprint, along and width_m, or centre and across_m")])
    missing = [name for name in forms[0] if name not in one.given]
    if missing:
        there = next(name for name in forms[0] if name in one.given)
        raise EntryError([(missing[0], f"is missing; {there} needs it")])
    return {"footprint": _hedge(one) if forms[0] is hedge else _crown(one)}


def _crown(one: Written) -> list[list[float]]:
    """Corners on a circle, the first due north, anticlockwise."""
    angles = np.deg2rad(90.0 + np.arange(CROWN_CORNERS) * 360.0 / CROWN_CORNERS)
    circle = np.column_stack([np.cos(angles), np.sin(angles)]) * one.get("across_m") / 2.0
    return (np.array(one.get("centre")) + circle).tolist()  # type: ignore[no-any-return]  # a list of lists


def _hedge(one: Written) -> list[list[float]]:
    """The outline of a strip along a line, its corners mitred."""
    points_m, half_m = np.array(one.get("along")), one.get("width_m") / 2.0
    steps = np.diff(points_m, axis=0)
    lengths_m = np.hypot(*steps.T)
    if lengths_m.min() <= 0:
        at = int(np.argmin(lengths_m)) + 1
        raise EntryError([("along", f"points {at} and {at + 1} are the same; move one")])
    left = np.column_stack([-steps[:, 1], steps[:, 0]]) / lengths_m[:, None]
    before, after = np.vstack([left[:1], left]), np.vstack([left, left[-1:]])
    both = before + after
    square = np.maximum(np.sum(both**2, axis=1, keepdims=True), 1e-9)
    out = 2.0 * both / square
    if (np.hypot(*out.T) > MAX_MITRE).any():
        at = int(np.argmax(np.hypot(*out.T))) + 1
        raise EntryError([("along", f"turns back too sharply at point {at}; write two hedges")])
    outline_m = np.concatenate([points_m + half_m * out, (points_m - half_m * out)[::-1]])
    if polygon.crosses_itself(outline_m):
        raise EntryError([("along", "comes back upon itself within its width; write it as two hedges")])
    return outline_m.tolist()  # type: ignore[no-any-return]  # a list of lists
