"""Polls that have no row in the file, counted from the rhythm of the others."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray, IntArray, runs_of

Counts = NDArray[np.uint8]

MIN_RUN, MIN_RUN_S = 6, 3_600
"""Fewer intervals without a row, or less time, are rows lost one by one, which say nothing."""
ACTIVE = 0.5
"""An interval counts where so many of a gateway's links have a row in it. [-]"""


def absent_polls(
    polls: Counts, *, inverter: IntArray, gateway: IntArray, step_s: int, answers_only: bool
) -> Counts | None:
    """Return which polls have no row though they were due; None where there are none.

    Parameters
    ----------
    polls : ndarray of uint8, shape (links, times)
        Rows of each link by time.
    inverter, gateway : ndarray of int, shape (links,)
        The links' ends.
    step_s : int
        Usual time between two polls of a link. [s]
    answers_only : bool
        Whether only answers have rows, so that each interval without one is a missed poll, once a link has begun.

    Notes
    -----
    An inverter that another gateway polls meanwhile is not absent. Before its first row nothing is due.
    """
    empty = polls == 0
    if answers_only:  # of two polls that fell into one interval one belongs to the next
        twice = polls > 1
        empty[:, 1:] &= ~twice[:, :-1]
        empty[:, :-1] &= ~twice[:, 1:]
    else:
        empty &= _others_polled(polls, gateway)
    begun = np.cumsum(polls > 0, axis=1, dtype=np.int32) > 0
    empty &= begun
    for one in np.unique(inverter[np.bincount(inverter)[inverter] > 1]).tolist():
        own = np.flatnonzero(inverter == one)
        elsewhere = (polls[own] > 0).any(axis=0)
        last = _latest(polls[own] > 0)
        empty[own] &= ~elsewhere & (last == np.arange(len(own))[:, None])
    if not answers_only:
        _only_long(empty, polls, gateway, step_s)
    return empty.astype(np.uint8) if empty.any() else None


def _others_polled(polls: Counts, gateway: IntArray) -> BoolArray:
    """Where most links of the same gateway have a row."""
    found = np.zeros(polls.shape, dtype=bool)
    for one in np.unique(gateway).tolist():
        own = np.flatnonzero(gateway == one)
        there = polls[own] > 0
        begun = np.cumsum(there, axis=1, dtype=np.int32) > 0
        ceased = np.cumsum(there[:, ::-1], axis=1, dtype=np.int32)[:, ::-1] == 0
        due = np.maximum((begun & ~ceased).sum(axis=0), 1)
        found[own] = there.sum(axis=0) >= np.maximum(ACTIVE * due, min(2, len(own) - 1))
    return found


def _latest(there: BoolArray) -> IntArray:
    """Which of an inverter's links had the last row up to each time."""
    times = np.where(there, np.arange(there.shape[1]), -1)
    return np.asarray(np.argmax(np.maximum.accumulate(times, axis=1), axis=0))


def _only_long(empty: BoolArray, polls: Counts, gateway: IntArray, step_s: int) -> None:
    """Leave only stretches without a row that last; times at which the gateway polls nobody do not break them."""
    for one in np.unique(gateway).tolist():
        own = np.flatnonzero(gateway == one)
        active = np.flatnonzero((polls[own] > 0).any(axis=0))
        for link in own.tolist():
            begins, ends = runs_of(empty[link, active])
            short = (ends - begins < MIN_RUN) | ((ends - begins) * step_s < MIN_RUN_S)
            for begin, end in zip(begins[short].tolist(), ends[short].tolist(), strict=True):
                empty[link, active[begin:end]] = False
