"""Points and weights of the integrals, Gauss and Legendre's."""

from __future__ import annotations

import numpy as np

NODES = 24
"""Points on half a line: beside 48 the loss of a string is right to some 0.01 dB."""
SPAN_NODES = 40
"""Points on a window between two edges."""
REACH = 7.0
"""Half a line is followed for so many of its widths."""
CROWDING = 1.6
"""How much its points crowd towards the edge."""


def _gauss(count: int) -> tuple[list[float], list[float]]:
    points, weights = np.polynomial.legendre.leggauss(count)
    return [(float(one) + 1.0) / 2.0 for one in points], [float(one) / 2.0 for one in weights]


SPAN_POINTS, SPAN_WEIGHTS = _gauss(SPAN_NODES)
_SHARES, _PARTS = _gauss(NODES)
POINTS = [REACH * one**CROWDING for one in _SHARES]
WEIGHTS = [part * REACH * CROWDING * one ** (CROWDING - 1.0) for one, part in zip(_SHARES, _PARTS, strict=True)]
"""Of the points from an edge to where nothing arrives any more, which crowd at the edge."""
