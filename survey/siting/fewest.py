"""The fewest gateways with which everyone holds who can, or holds twice so that any one gateway may fail."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from time import monotonic

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import IntArray
from survey.siting.choosing import Told, site_of
from survey.siting.room import Lack, Task


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
    short_of_room : int
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
    short_of_room: int
    bound: int
    seconds: float

    @property
    def proven(self) -> bool:
        """Whether it cannot be done with fewer; not where it cannot be done at all."""
        return not self.short_of_room and len(self.chosen) <= self.bound

    @property
    def gap(self) -> int:
        """How many gateways fewer might do, at most."""
        return max(0, len(self.chosen) - self.bound)


def fewest(
    holds: NDArray[np.bool_],
    reliability: NDArray[np.floating],
    margin_db: NDArray[np.floating],
    *,
    times: int = 1,
    capacity: int = 0,
    fixed: Sequence[int] = (),
    time_limit_s: float = 60.0,
    progress: Told | None = None,
) -> Fewest:
    """Choose the fewest spots with which every inverter holds that can hold at all.

    Parameters
    ----------
    holds, reliability, margin_db : ndarray, shape (inverters, spots)
        As for `choose`.
    times : int
        1: every inverter holds. 2: it does so with any one gateway out of order, too.
    capacity : int
        Inverters per gateway; 0 for no limit. With `times` 2 there is room for all with any one gateway out of order.
    fixed : sequence of int
        Spots that have a gateway in any case.
    time_limit_s : float
        When the proof ends, whether it is done or not. [s]
    progress : callable, optional
        Told what is being done.

    Returns
    -------
    Fewest

    Raises
    ------
    ValueError
        Where the arrays do not fit each other, or a number is out of its range.

    Notes
    -----
    Set covering. With a limit per gateway the solver first knows nothing of it; where its answer leaves a crowd without
    room, it is told how much the crowd needs (P. Hall's condition, 1935) and asked again. Each answer is a bound.

    Examples
    --------
    >>> holds = np.array([[1, 0, 1], [1, 1, 0], [0, 1, 1]], dtype=bool)
    >>> found, spare = fewest(holds, holds * 0.99, holds * 9.0), fewest(holds, holds * 0.99, holds * 9.0, times=2)
    >>> len(found.chosen), len(spare.chosen)
    (2, 3)
    """
    began = monotonic()
    until = began + time_limit_s
    site = site_of(holds, reliability, margin_db, capacity=capacity)
    if times not in {1, 2}:
        raise ValueError(f"times is {times}; write 1 or 2")
    unservable = np.flatnonzero(site.holds.sum(axis=1) < times)
    able = np.delete(site.holds, unservable, axis=0)
    task = Task(able=able, times=times, capacity=site.capacity, fixed=tuple(fixed))
    spots = task.good()
    short, bound = 0, 0
    if isinstance(spots, Lack):
        short, spots = spots.missing, ()
    else:
        if progress is not None:
            progress(f"{len(spots)} gateways serve everyone who can be served")
        spots, bound = task.proven(spots, until=until)
        spots = task.likelier(spots, site.reliability, until=until)
    standing = site.standing(spots) if spots else None
    return Fewest(
        chosen=spots,
        gateway_of=standing.gateway_of if standing else np.full(len(site.holds), -1),
        served=standing.served if standing else 0,
        expected_served=standing.expected_served if standing else 0.0,
        worst_margin_db=standing.worst_margin_db if standing else -np.inf,
        unservable=tuple(unservable.tolist()),
        short_of_room=short,
        bound=bound,
        seconds=monotonic() - began,
    )
