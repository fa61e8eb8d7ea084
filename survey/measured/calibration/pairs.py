"""Readings pair by pair: all that was tried between one inverter and one gateway is one draw of shadowing."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray, IntArray
from survey.inputs.readings import Readings

USUAL_FADE_DB = 3.0
"""Standard deviation of repeated readings of a pair, where there are few: an assumption. [dB]"""
LEAST_FADE_DB = 2.0
"""The same at least: registers step by 1 dB and more. An assumption. [dB]"""
MAX_TRIES = 200.0
"""Tries that one pair without a level counts as, at most: the share that gets through is then known to 3 %, and what is
lost at any level differs by as much from hour to hour (a judgement)."""
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
        Mean of the levels; NaN where there is none. [dBm]
    heard, missed : ndarray of int
        How many tries were heard and how many were not.
    starts_m, ends_m : ndarray of float, shape (pairs, 3)
        Where their ends are. [m]
    is_counted : bool
        Whether tries were counted. Else a pair that was never heard lies below what the receiver needs, or was lost.
    fade_db : float
        Standard deviation of repeats about their mean: the fading in time. [dB]
    """

    inverter: IntArray
    gateway: IntArray
    level_dbm: FloatArray
    heard: IntArray
    missed: IntArray
    starts_m: FloatArray
    ends_m: FloatArray
    fade_db: float
    is_counted: bool = False

    def __len__(self) -> int:
        return len(self.level_dbm)

    @property
    def has_level(self) -> NDArray[np.bool_]:
        """Whether a level of a pair was read."""
        return ~np.isnan(self.level_dbm)

    @property
    def sorts(self) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Which pairs without a level were only missed, and which are counts."""
        never = ~self.has_level & (self.heard == 0) & (not self.is_counted)
        return never, ~self.has_level & ~never

    @property
    def counted(self) -> FloatArray:
        """How many tries were heard and missed, without a level scaled to `MAX_TRIES` at most, shape (2, pairs)."""
        scale = np.where(self.has_level, 1.0, MAX_TRIES / np.maximum(self.heard + self.missed, MAX_TRIES))
        return np.stack([self.heard * scale, self.missed * scale])

    def pick(self, chosen: NDArray[np.bool_]) -> Pairs:
        """Some of them."""
        names = ("inverter", "gateway", "level_dbm", "heard", "missed", "starts_m", "ends_m")
        return replace(self, **{name: getattr(self, name)[chosen] for name in names})


def pairs_of(readings: Readings, *, starts_m: FloatArray, ends_m: FloatArray) -> Pairs:
    """Gather readings into pairs.

    Parameters
    ----------
    readings : Readings
        Row by row.
    starts_m, ends_m : ndarray of float, shapes (inverters, 3) and (gateways, 3)
        Where everything stands that the readings may name. [m]

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
    read, count = ~np.isnan(readings.level_dbm), len(first)
    heard = np.bincount(pair, weights=readings.heard, minlength=count)
    missed = np.bincount(pair, weights=readings.tries - readings.heard, minlength=count)
    weights = readings.heard.astype(np.float64)
    sums = np.bincount(pair[read], weights=(weights * readings.level_dbm)[read], minlength=count)
    total = np.bincount(pair[read], weights=weights[read], minlength=count)
    level_dbm = np.where(total > 0, sums / np.maximum(total, 1.0), np.nan)
    rows = np.bincount(pair[read], minlength=count)
    spare = int(np.sum(np.maximum(rows - 1, 0)))
    fade_db = USUAL_FADE_DB
    if spare >= ENOUGH_REPEATS:
        repeated = read & (rows[pair] > 1)
        off_db = readings.level_dbm[repeated] - level_dbm[pair[repeated]]
        fade_db = max(LEAST_FADE_DB, float(np.sqrt(np.sum(off_db**2) / spare)))
    inverter, gateway = readings.inverter[first], readings.gateway[first]
    return Pairs(
        inverter=inverter,
        gateway=gateway,
        level_dbm=level_dbm,
        heard=heard.astype(np.int64),
        missed=missed.astype(np.int64),
        starts_m=starts_m[inverter],
        ends_m=ends_m[gateway],
        fade_db=fade_db,
        is_counted=readings.received is not None,
    )
