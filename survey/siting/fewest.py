"""The fewest gateways with which everyone holds who can, or holds twice so that any one gateway may fail."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from time import monotonic

import numpy as np

from survey.base.arrays import IntArray
from survey.siting.capacity import Shortage, Task
from survey.siting.choosing import Report, check_chances
from survey.siting.matrix import CoverageMatrix


@dataclass(frozen=True, kw_only=True)
class Fewest:
    """The fewest gateways.

    Attributes
    ----------
    chosen : tuple of int
        The spots; empty where nobody can be served.
    gateway_of : ndarray of int, shape (inverters,)
        The spot that each inverter talks to while all gateways work; -1 for none.
    served : int
        Inverters that hold there.
    expected_served, worst_margin_db : float
        As in `Choice`.
    unservable : tuple of int
        Inverters that hold at no spot, or at too few of them; the rest are all served as asked.
    over_capacity : int
        Inverters that the gateways could not take even with one at every spot; where this is not 0, `chosen` is empty.
    bound : int
        Fewer gateways than this cannot do it.
    seconds : float
        How long it took. [s]
    """

    chosen: tuple[int, ...]
    gateway_of: IntArray
    served: int
    expected_served: float
    worst_margin_db: float
    unservable: tuple[int, ...]
    over_capacity: int
    bound: int
    seconds: float

    @property
    def proven(self) -> bool:
        """Whether it cannot be done with fewer; not where it cannot be done at all."""
        return not self.over_capacity and len(self.chosen) <= self.bound

    @property
    def gap(self) -> int:
        """How many gateways fewer might do, at most."""
        return max(0, len(self.chosen) - self.bound)


def fewest(
    matrix: CoverageMatrix,
    *,
    times: int = 1,
    fixed: Sequence[int] = (),
    time_limit_s: float = 60.0,
    progress: Report | None = None,
) -> Fewest:
    """Choose the fewest spots with which every inverter holds that can hold at all.

    Parameters
    ----------
    matrix : CoverageMatrix
        One inverter or more, at one spot or more.
    times : int
        1: every inverter holds. 2: it does so with any one gateway out of order, too, within the capacity of the rest.
    fixed : sequence of int
        Spots that have a gateway in any case.
    time_limit_s : float
        When the proof ends, whether it is done or not. [s]
    progress : callable, optional
        Report what is being done.

    Returns
    -------
    Fewest

    Raises
    ------
    ValueError
        Where a reliability is no chance, or a number is out of its range.

    Notes
    -----
    Set covering. With a limit per gateway the solver first knows nothing of it; where its answer leaves a group of
    inverters over capacity, it is told how much that group needs (P. Hall's condition, 1935) and asked again. Each
    answer is a bound.

    Examples
    --------
    >>> chance = 0.99 * np.array([[1, 0, 1], [1, 1, 0], [0, 1, 1]])
    >>> matrix = CoverageMatrix(reliability=chance, margin_db=9.0 * chance, required=0.95)
    >>> len(fewest(matrix).chosen), len(fewest(matrix, times=2).chosen)
    (2, 3)
    """
    began = monotonic()
    until = began + time_limit_s
    check_chances(matrix)
    if times not in {1, 2}:
        raise ValueError(f"times is {times}; write 1 or 2")
    unservable = np.flatnonzero(matrix.holds.sum(axis=1) < times)
    able = np.delete(matrix.holds, unservable, axis=0)
    task = Task(able=able, times=times, capacity=matrix.limit, fixed=tuple(fixed))
    spots = task.greedy_set()
    short, bound = 0, 0
    if isinstance(spots, Shortage):
        short, spots = spots.missing, ()
    else:
        if progress is not None:
            progress(f"{len(spots)} gateways serve everyone who can be served")
        spots, bound = task.proven(spots, until=until)
        spots = task.improve_expected(spots, matrix.reliability, until=until)
    assignment = matrix.assigned(spots) if spots else None
    return Fewest(
        chosen=spots,
        gateway_of=assignment.gateway_of if assignment else np.full(len(matrix.holds), -1),
        served=assignment.served if assignment else 0,
        expected_served=assignment.expected_served if assignment else 0.0,
        worst_margin_db=assignment.worst_margin_db if assignment else -np.inf,
        unservable=tuple(unservable.tolist()),
        over_capacity=short,
        bound=bound,
        seconds=monotonic() - began,
    )
