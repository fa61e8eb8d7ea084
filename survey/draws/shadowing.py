"""Shadowing in draws: what the plan does not show, alike on links whose ends lie close together."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

SAME_PLACE_DECIMALS = 3
"""Ends within a millimetre stand at the same place, and are shadowed alike."""


def end_correlation(points_m: FloatArray, *, correlation_m: float) -> FloatArray:
    r"""Correlation of the shadowing of links with their other end in common.

    Parameters
    ----------
    points_m : ndarray of float, shape (points, 3)
        Where the ends that differ are. [m]
    correlation_m : float
        Over this distance correlation falls to 1/e. [m]

    Returns
    -------
    ndarray of float, shape (points, points)
        From 0 to 1. [-]

    Notes
    -----
    .. math:: \rho = e^{-|\Delta| / d}

    with :math:`\Delta` the distance between the two, after [1]_, who found it along the way of one moving end.

    References
    ----------
    .. [1] M. Gudmundson, "Correlation model for shadow fading in mobile radio systems", Electronics Letters 27 (1991),
       pages 2145 and 2146.

    Examples
    --------
    >>> end_correlation(np.array([[0.0, 0.0, 0.0], [5.0, 0.0, 0.0]]), correlation_m=5.0).round(3).tolist()
    [[1.0, 0.368], [0.368, 1.0]]
    """
    apart_m = np.linalg.norm(points_m[:, None] - points_m[None], axis=2)
    return np.asarray(np.exp(-apart_m / correlation_m))


class Shadowing:
    r"""Draws of a standard normal variable for every link between some starts and some ends.

    Two links have the product of the correlations of their starts and of their ends:

    .. math:: \rho = e^{-|\Delta_1| / d} \, e^{-|\Delta_2| / d}

    with :math:`\Delta_1, \Delta_2` the distances between their starts and between their ends. For one end the law is
    Gudmundson's; that both ends act each by its own, and multiply, is an assumption, in line with [1]_, where either
    end was found to act by itself and as much as the other. Then a draw is :math:`L_1 Z L_2^T`, with :math:`L L^T` the correlation of either kind
    of end and Z independent normal numbers: no matrix over all pairs of links is needed.

    The same places give the same draws, in whatever order they stand; and the first draws are the same however many
    follow.

    Parameters
    ----------
    starts_m, ends_m : ndarray of float, shapes (starts, 3) and (ends, 3)
        Where the two ends of the links are. [m]
    correlation_m : float
        Over this distance correlation falls to 1/e. [m]
    seed : int
        Beginning of the random numbers.
    stream : int
        Which of the streams of that seed: streams are independent of each other.

    References
    ----------
    .. [1] Z. Wang, E. Tameh, A. Nix, "A joint shadowing process model for multihop/ad-hoc networks in urban
       environment", 11th Wireless World Research Forum, Oslo, 2004: its abstract.
    """

    def __init__(
        self, starts_m: FloatArray, ends_m: FloatArray, *, correlation_m: float, seed: int, stream: int = 0
    ) -> None:
        self._start_factor, self._start = _factor(starts_m, correlation_m=correlation_m)
        self._end_factor, self._end = _factor(ends_m, correlation_m=correlation_m)
        self._random = np.random.default_rng([seed, stream])

    def next(self, draws: int) -> FloatArray:
        """The next draws, shape (draws, starts, ends); mean 0, standard deviation 1. [-]"""
        shape = (draws, len(self._start_factor), len(self._end_factor))
        drawn = self._start_factor @ self._random.standard_normal(shape) @ self._end_factor.T
        return np.asarray(drawn[:, self._start[:, None], self._end[None]])


def _factor(points_m: FloatArray, *, correlation_m: float) -> tuple[FloatArray, IntArray]:
    """Lower triangle whose product with itself is the correlation of all places, and the place of every point."""
    rounded_m = np.round(points_m, SAME_PLACE_DECIMALS) + 0.0  # no minus zero
    places_m, place = np.unique(rounded_m, axis=0, return_inverse=True)
    factor = np.linalg.cholesky(end_correlation(places_m, correlation_m=correlation_m))
    return np.asarray(factor, dtype=np.float64), np.asarray(place.reshape(-1), dtype=np.int64)
