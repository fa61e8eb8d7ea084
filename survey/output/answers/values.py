"""Plain values for JSON and CSV."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from survey.inputs.csv_files import inert

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


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """Return a table as CSV: text is `inert`, also each name of several in a cell; a figure stays a number."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow(map(_cell, row))
    return text.getvalue().removesuffix("\n")


def _cell(value: Any) -> Any:  # noqa: ANN401  whatever a table holds
    if isinstance(value, tuple):
        return "; ".join(map(inert, value))
    return inert(value) if isinstance(value, str) else plain(value)
