"""How much of a transmitted wave arrives: one module for each effect, added up here."""

from __future__ import annotations

from collections.abc import Iterable
from enum import IntEnum

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.units import db_from_ratio, ratio_from_db


class Way(IntEnum):
    """The paths around what stands in a line: the places of their losses along the first axis of an array."""

    OVER = 0
    """Over it or under it."""
    LEFT = 1
    RIGHT = 2
    REFLECTED = 3


def power_sum_loss_db(ways_db: Iterable[FloatArray]) -> FloatArray:
    """Loss of several ways that a wave takes at once, their powers added.

    Parameters
    ----------
    ways_db : ndarray of float, or several of one shape
        Loss of each way, along the first axis; NaN where a way is not there. [dB]

    Returns
    -------
    ndarray of float
        Never more than the smallest of them; infinite where there is no way at all. [dB]

    References
    ----------
    .. [1] Recommendation ITU-R P.526-15 (2019), section 5.1: average loss of a screen with several edges.

    Examples
    --------
    >>> float(power_sum_loss_db([np.array(21.0), np.array(15.007), np.array(np.nan)]).round(2))
    14.03
    """
    ways_db = tuple(ways_db)
    if len(ways_db) == 1:
        return np.where(np.isnan(ways_db[0]), np.inf, ways_db[0])
    arrived = sum(np.where(np.isnan(way_db), 0.0, ratio_from_db(-way_db)) for way_db in ways_db)
    return np.asarray(-db_from_ratio(np.asarray(arrived)))
