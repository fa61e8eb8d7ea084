"""Readings pair by pair: all that was tried between one inverter and one gateway is one draw of shadowing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray, IntArray
from survey.inputs.readings import Readings

USUAL_FADE_DB = 3.0
"""Standard deviation of repeated readings of a pair, where there are few: an assumption. [dB]"""
LEAST_FADE_DB = 2.0
"""The same at least: registers step by 1 dB and more. An assumption. [dB]"""
ENOUGH_REPEATS = 10
"""With so many repeats their own spread is used instead of `USUAL_FADE_DB` (an assumption)."""


@dataclass(frozen=True, kw_only=True)
class Pairs:
    """What was read between each pair, arrays of shape (pairs,).

    Attributes
    ----------
    inverter, gateway : ndarray of int
        As in the readings.
    level_dbm : ndarray of float
        Mean of what was heard; NaN where nothing ever was. [dBm]
    heard, missed : ndarray of int
        How many tries were heard and how many were not.
    fade_db : float
        Standard deviation of repeats about their mean. [dB]
    """

    inverter: IntArray
    gateway: IntArray
    level_dbm: FloatArray
    heard: IntArray
    missed: IntArray
    fade_db: float

    def __len__(self) -> int:
        return len(self.level_dbm)

    @property
    def was_heard(self) -> NDArray[np.bool_]:
        """Whether a pair was heard at all."""
        return self.heard > 0

    def pick(self, chosen: NDArray[np.bool_]) -> Pairs:
        """Some of them."""
        return Pairs(
            inverter=self.inverter[chosen],
            gateway=self.gateway[chosen],
            level_dbm=self.level_dbm[chosen],
            heard=self.heard[chosen],
            missed=self.missed[chosen],
            fade_db=self.fade_db,
        )


def pairs_of(readings: Readings) -> Pairs:
    """Gather readings into pairs.

    Parameters
    ----------
    readings : Readings
        Row by row.

    Returns
    -------
    Pairs
        In the order in which pairs first appear.
    """
    both = np.column_stack([readings.inverter, readings.gateway])
    _, first, pair = np.unique(both, axis=0, return_index=True, return_inverse=True)
    order = np.argsort(np.argsort(first))
    pair = order[pair.ravel()]
    first = np.sort(first)
    heard = ~np.isnan(readings.level_dbm)
    count = len(first)
    tries = readings.tries.astype(np.float64)
    heard_tries = np.bincount(pair[heard], weights=tries[heard], minlength=count)
    missed_tries = np.bincount(pair[~heard], weights=tries[~heard], minlength=count)
    sums = np.bincount(pair[heard], weights=(tries * readings.level_dbm)[heard], minlength=count)
    level_dbm = np.where(heard_tries > 0, sums / np.maximum(heard_tries, 1.0), np.nan)
    rows = np.bincount(pair[heard], minlength=count)
    spare = int(np.sum(np.maximum(rows - 1, 0)))
    fade_db = USUAL_FADE_DB
    if spare >= ENOUGH_REPEATS:
        repeated = heard & (rows[pair] > 1)
        off_db = readings.level_dbm[repeated] - level_dbm[pair[repeated]]
        fade_db = max(LEAST_FADE_DB, float(np.sqrt(np.sum(off_db**2) / spare)))
    return Pairs(
        inverter=readings.inverter[first],
        gateway=readings.gateway[first],
        level_dbm=level_dbm,
        heard=heard_tries.astype(np.int64),
        missed=missed_tries.astype(np.int64),
        fade_db=fade_db,
    )
