"""Plain values for JSON."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

Record = dict[str, Any]
DECIMALS = 6
"""Of figures in JSON: a millionth of a decibel is far below what any model tells, and far above rounding."""


def plain(value: Any) -> Any:  # noqa: ANN401  whatever a result holds
    """A number as JSON has it: rounded, and null where there is none.

    Examples
    --------
    >>> plain(np.float64(1.23456789)), plain(float("nan")), plain(np.int64(3)), plain(-1e-9)
    (1.234568, None, 3, 0.0)
    """
    if isinstance(value, bool | str | None):
        return value
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, list | tuple):
        return [plain(one) for one in value]
    if isinstance(value, int | np.integer):
        return int(value)
    number = float(value)
    return round(number, DECIMALS) + 0.0 if math.isfinite(number) else None  # no minus zero
