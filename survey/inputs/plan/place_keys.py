"""The keys by which a plan says what a thing stands on, by table; kept apart, since every plan is read with them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from survey.inputs.fields import Choice, Kind, Number, Numbers, Points, Text, type_of
from survey.inputs.plan.kinds import ALONG_A_FACE, BEARING, COMPASS_WORD, EXTENT, NAME, POINT
from survey.inputs.plan.opening import OPENINGS

BUILDING = "building"
GAP = Number(0.1, 50.0)
"""Between a device and its face: nearer than a hand's breadth it would stand on the sheet. A judgement. [m]"""
MAST = Number(0.1, 50.0)
"""Above the top of a wall or a roof. A judgement. [m]"""
THING_GAP = Number(0.0, 1_000.0)
"""Between a box and what it stands on or beside. [m]"""
ARRAY_GAP = Number(0.0, 10.0)
"""Of inverters above their roof, square to it. [m]"""
SEARCH_GAP = Number(0.0, 50.0)
"""Of the points of a search from the walls around them. [m]"""
WIDTH = Number(0.01, 1_000.0)
"""Of a hedge. [m]"""
OUTSIDE, INSIDE = "outside", "inside"
SIDE = Choice((OUTSIDE, INSIDE))
MAX_LIST = 1_000
"""Faces or points in one entry, at most. A judgement."""


@dataclass(frozen=True, slots=True)
class NameOrNames:
    """The name of a face, or a list of such names."""

    def fault(self, value: object) -> str | None:
        """Say what is wrong with a value, or None."""
        if not isinstance(value, list | tuple):
            return NAME.fault(value)
        if not 1 <= len(value) <= MAX_LIST:
            return f"holds {len(value)} names; write 1 to {MAX_LIST}"
        return next((f"name {i}: {told}" for i, one in enumerate(value, 1) if (told := NAME.fault(one))), None)

    def clean(self, value: Any) -> tuple[str, ...]:  # noqa: ANN401
        """Return the names as a tuple."""
        return tuple(NAME.clean(one) for one in (value if isinstance(value, list | tuple) else [value]))


@dataclass(frozen=True, slots=True)
class PointOrPoints:
    """A point in plan, or a list of points."""

    def fault(self, value: object) -> str | None:
        """Say what is wrong with a value, or None."""
        if not isinstance(value, list | tuple):
            return f"{type_of(value)}; write [x, y], or a list of such points"
        if value and all(isinstance(one, list | tuple) for one in value):
            return Points(POINT, least=1, most=MAX_LIST).fault(value)
        return POINT.fault(value)

    def clean(self, value: Any) -> tuple[tuple[float, ...], ...]:  # noqa: ANN401
        """Return the points as a tuple."""
        is_list = isinstance(value[0], list | tuple)
        return tuple(POINT.clean(one) for one in (value if is_list else [value]))


ALONG = {"left_m": ALONG_A_FACE, "right_m": ALONG_A_FACE}
DEVICE: Mapping[str, Kind] = {
    "on": NAME,
    "inside": NAME,
    **ALONG,
    "up_m": ALONG_A_FACE,
    "down_m": ALONG_A_FACE,
    "side": SIDE,
    "gap_m": GAP,
    "mast_m": MAST,
}
PLACE_KEYS: Mapping[str, Mapping[str, Kind]] = {
    "spot": DEVICE,
    "gateway": DEVICE,
    "inverter": DEVICE,
    "array": {
        "on": NameOrNames(),
        "left_m": ALONG_A_FACE,
        "up_m": ALONG_A_FACE,
        "gap_m": ARRAY_GAP,
        "faces": COMPASS_WORD,
        "faces_deg": BEARING,
    },
    "search": {
        "on": NAME,
        "inside": NAME,
        "left_m": ALONG_A_FACE,
        "length_m": EXTENT,
        "side": SIDE,
        "gap_m": SEARCH_GAP,
        "ups_m": Numbers(ALONG_A_FACE, least=1, most=100),
    },
    "box": {
        "on": NAME,
        "beside": NAME,
        **ALONG,
        "up_m": ALONG_A_FACE,
        "gap_m": THING_GAP,
        "size": Text(needed=True),
        "opening": OPENINGS,
    },
    "wall": {"opening": OPENINGS},
    "foliage": {
        "along": Points(POINT, least=2, most=100),
        "width_m": WIDTH,
        "centre": POINT,
        "across_m": EXTENT,
    },
}
"""By table, the keys that are turned into others before the entry is read, and what each may be."""


def has_places(written: Mapping[str, Sequence[tuple[str, Mapping[str, Any]]]]) -> bool:
    """Return whether a plan has a building, or anything that stands on a face."""
    return bool(written[BUILDING]) or any(
        not values.keys().isdisjoint(keys) for table, keys in PLACE_KEYS.items() for _, values in written[table]
    )
