"""The normal distribution, without the half second that loading a statistics library takes."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray


def normal_cdf(z: ArrayLike) -> NDArray[np.float64]:
    """Chance that a standard normal variable is at most `z`.

    Parameters
    ----------
    z : array_like
        Standard deviations from the mean. [-]

    Returns
    -------
    ndarray of float, of the same shape
        Probability, by the C library's complementary error function, right to its last digits in both tails. [-]

    Examples
    --------
    >>> normal_cdf([0.0, 1.6448536]).round(4).tolist()
    [0.5, 0.95]
    """
    argument = np.asarray(z, dtype=np.float64) / -math.sqrt(2.0)
    tails = np.fromiter(map(math.erfc, argument.ravel().tolist()), dtype=np.float64, count=argument.size)
    return np.asarray(0.5 * tails.reshape(argument.shape))


def chance_above(excess_db: ArrayLike, sigma_db: ArrayLike) -> NDArray[np.float64]:
    """Chance that something spread normally about `excess_db` is above zero.

    Parameters
    ----------
    excess_db : array_like
        Mean. [dB]
    sigma_db : array_like
        Standard deviation; where it is zero the answer is 0 or 1, and 0.5 for a mean of exactly zero. [dB]

    Returns
    -------
    ndarray of float
        Probability. [-]
    """
    excess_db, sigma_db = np.broadcast_arrays(np.asarray(excess_db, dtype=np.float64), np.asarray(sigma_db))
    certain = sigma_db == 0
    z = np.where(certain, np.sign(excess_db) * 40.0, excess_db / np.where(certain, 1.0, sigma_db))
    return normal_cdf(z)
