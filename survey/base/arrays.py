"""The arrays of this program by what they hold, and runs in them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


def runs_of(flags: BoolArray) -> tuple[IntArray, IntArray]:
    """Begins and ends of the runs of true values.

    Examples
    --------
    >>> [one.tolist() for one in runs_of(np.array([False, True, True, False, True]))]
    [[1, 4], [3, 5]]
    """
    edges = np.diff(np.concatenate([[0], flags.astype(np.int8), [0]]))
    return np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
