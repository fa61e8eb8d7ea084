"""The keys by which a plan says what a thing stands on, by table; kept apart, since every plan is read with them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

BUILDING = "building"
OPEN = "open"
"""The material of what is no sheet at all."""
DEVICE = ("on", "inside", "left_m", "right_m", "up_m", "down_m", "side", "gap_m", "mast_m")
PLACE_KEYS: Mapping[str, tuple[str, ...]] = {
    "spot": DEVICE,
    "gateway": DEVICE,
    "inverter": DEVICE,
    "array": ("on", "left_m", "up_m", "gap_m", "faces", "faces_deg"),
    "search": ("on", "inside", "left_m", "length_m", "side", "gap_m", "ups_m"),
    "box": ("on", "beside", "left_m", "right_m", "up_m", "gap_m", "size", "opening"),
    "wall": ("opening",),
    "foliage": ("along", "width_m", "centre", "across_m"),
}
"""What is turned into other keys before an entry is read (`places.words.KEYS` has what each may be)."""


def has_places(written: Mapping[str, Sequence[tuple[str, Mapping[str, Any]]]]) -> bool:
    """Return whether a plan has a building, or anything that stands on a face."""
    return bool(written[BUILDING]) or any(
        not values.keys().isdisjoint(keys) for table, keys in PLACE_KEYS.items() for _, values in written[table]
    )
