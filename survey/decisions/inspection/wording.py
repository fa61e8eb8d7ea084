"""How warnings name things and write figures."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from survey.base.arrays import BoolArray, FloatArray
from survey.scene import Ends

MAX_NAMES = 5
"""How many names one warning gives before it counts the rest; by eye."""
MIN_IN_METRES_M = 0.995
"""Shorter lengths are written in centimetres, as on a tape."""


def listed(names: Sequence[str], what: str = "") -> str:
    """Return names for a warning, the first few of many, after what they are in the singular or the plural."""
    many = " or ".join(f"{one}s" for one in what.split(" or "))
    shown = f"{what if len(names) == 1 else many} " if what else ""
    shown += ", ".join(names[:MAX_NAMES])
    return f"{shown} and {len(names) - MAX_NAMES} more" if len(names) > MAX_NAMES else shown


def chosen_names(ends: Ends, chosen: BoolArray) -> list[str]:
    """Return the names of some ends."""
    return [ends.names[i] for i in np.flatnonzero(chosen).tolist()]


def quoted(names: Iterable[str]) -> str:
    """Return names in quotes, each once.

    Examples
    --------
    >>> quoted(["a", "b", "a"])
    '"a" and "b"'
    """
    return " and ".join(f'"{name}"' for name in dict.fromkeys(names))


def length(metres: float) -> str:
    """Return a length as on a tape: millimetres below one centimetre, centimetres below one metre.

    Examples
    --------
    >>> length(0.004), length(0.07), length(1.2)
    ('4 mm', '7 cm', '1.20 m')
    """
    if metres < 0.0095:  # noqa: PLR2004  rounds to less than 1 cm
        return f"{metres * 1000:.0f} mm"
    return f"{metres * 100:.0f} cm" if metres < MIN_IN_METRES_M else f"{metres:.2f} m"


def point(coordinates_m: FloatArray | Sequence[float]) -> str:
    """Return a point as a plan writes it.

    Examples
    --------
    >>> point([4.5, 0.0, -0.0])
    '[4.5, 0, 0]'
    """
    return f"[{', '.join(f'{round(float(one), 2) + 0.0:g}' for one in coordinates_m)}]"
