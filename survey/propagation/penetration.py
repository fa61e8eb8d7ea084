"""What a straight line loses in going through what stands on it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from survey.geometry import Chords, Crossings

FloatArray = NDArray[np.float64]


def total_over_links(met: Crossings | Chords, each: FloatArray, *, shape: tuple[int, int]) -> FloatArray:
    """Add a figure of every crossing, or of every chord, up over its link.

    Parameters
    ----------
    met : Crossings or Chords
        What the lines meet.
    each : ndarray of float, shape (met,)
        A figure for each, such as a loss [dB] or the square of a spread [dB^2].
    shape : tuple of int
        Number of starts and of ends.

    Returns
    -------
    ndarray of float, shape (starts, ends)
        Sums; zero where a line meets nothing.
    """
    link = met.start * shape[1] + met.end
    sums = np.bincount(link, weights=each, minlength=shape[0] * shape[1])
    return np.asarray(sums, dtype=np.float64).reshape(shape)
