"""Routes: the way of every inverter's messages to a gateway, over a limited number of other inverters."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from survey.base.arrays import FloatArray, IntArray
from survey.routing.hops import Hops

DIRECT = -1
"""Stands for the gateway itself where the next inverter of a route would stand."""
LEAST_GAIN = 1e-6
"""A route over more inverters has to be better by this much, one in a million: else it counts as equal."""
COLUMNS_AT_ONCE = 256
"""For how many gateways routes are worked out in one go: few enough to stay in a processor's cache."""

Joined = Callable[[FloatArray, FloatArray], FloatArray]


@dataclass(frozen=True, kw_only=True)
class Level:
    """The best routes with a given number of inverters in between, or fewer; arrays of shape (inverters, gateways).

    Attributes
    ----------
    value : ndarray of float
        What the route is worth.
    margin_db : ndarray of float
        The margin of its weakest link. [dB]
    via : ndarray of int
        The next inverter; `DIRECT` where there is none.
    rest : ndarray of int
        Index of the level in which the next inverter's own route stands.
    """

    value: FloatArray
    margin_db: FloatArray
    via: IntArray
    rest: IntArray


def levels(
    hops: Hops, direct: FloatArray, margin_db: FloatArray, *, max_relays: int, joined: Joined = np.multiply
) -> Iterator[Level]:
    """The best routes with no inverter in between, with up to one, and so on up to `max_relays`.

    Parameters
    ----------
    hops : Hops
        Links between inverters.
    direct, margin_db : ndarray of float, shape (inverters, gateways)
        Worth and margin of each inverter's own links to the gateways.
    max_relays : int
        How many inverters may stand in between.
    joined : callable
        ``numpy.multiply`` where the worth is a reliability, so that links have to work together; ``numpy.minimum``
        where it is the margin of the weakest link.

    Yields
    ------
    Level
        Of routes of equal worth the one over fewer inverters.

    Notes
    -----
    A route with one inverter more is a hop and then the best route of the inverter that it leads to: Bellman's
    principle, with the number of hops as the stage [1]_. A route that came by the same inverter twice would be no
    better than the one that leaves the circle out, so it never wins.

    References
    ----------
    .. [1] R. Bellman, "On a routing problem", Quarterly of Applied Mathematics 16 (1958), 87-90.
    """
    by_hop = hops.reliability if joined is np.multiply else hops.margin_db
    last = Level(
        value=direct,
        margin_db=margin_db,
        via=np.full(direct.shape, DIRECT),
        rest=np.zeros(direct.shape, dtype=np.int64),
    )
    yield last
    for relays in range(1, max_relays + 1):
        level = Level(
            value=last.value.copy(), margin_db=last.margin_db.copy(), via=last.via.copy(), rest=last.rest.copy()
        )
        for left in range(0, direct.shape[1], COLUMNS_AT_ONCE):
            columns = slice(left, left + COLUMNS_AT_ONCE)
            _one_more(hops, by_hop, (last, level), columns=columns, rest=relays - 1, joined=joined)
        if np.array_equal(level.value, last.value):
            return  # nothing gains by one more, so nothing gains by two
        yield level
        last = level


def _one_more(
    hops: Hops, by_hop: FloatArray, both: tuple[Level, Level], *, columns: slice, rest: int, joined: Joined
) -> None:
    """Put into a level what is better with a hop in front of a route of the last level."""
    last, level = both
    value, margin_db = last.value[:, columns], last.margin_db[:, columns]
    every = np.arange(value.shape[1])
    for inverter, (first, end) in enumerate(zip(hops.first[:-1].tolist(), hops.first[1:].tolist(), strict=True)):
        if first == end:
            continue
        to = hops.to[first:end]
        offered = joined(by_hop[first:end, None], value[to])
        best = np.argmax(offered, axis=0)
        worth = offered[best, every]
        better = np.flatnonzero(worth > value[inverter] + LEAST_GAIN)
        if not better.size:
            continue
        chosen, over = best[better], better + columns.start
        level.value[inverter, over] = worth[better]
        level.margin_db[inverter, over] = np.minimum(hops.margin_db[first + chosen], margin_db[to[chosen], better])
        level.via[inverter, over] = to[chosen]
        level.rest[inverter, over] = rest


def relayed(
    hops: Hops, reliability: FloatArray, margin_db: FloatArray, *, max_relays: int
) -> tuple[FloatArray, FloatArray]:
    """Reliability and weakest margin of every inverter's most reliable route to each of many gateways.

    Parameters
    ----------
    hops : Hops
        Links between inverters.
    reliability, margin_db : ndarray of float, shape (inverters, gateways)
        Of the links of every inverter to each gateway.
    max_relays : int
        How many inverters may stand in between.

    Returns
    -------
    tuple of two ndarrays of float, shape (inverters, gateways)
        Reliability [-] and margin of the weakest link [dB].
    """
    last = None
    for level in levels(hops, reliability, margin_db, max_relays=max_relays):
        last = level
    assert last is not None
    return last.value, last.margin_db


def relays_of(every: Sequence[Level], inverter: int, column: int, level: int = -1) -> list[int]:
    """The inverters in between on the route of one inverter, in order."""
    at, found = level % len(every), []
    while every[at].via[inverter, column] != DIRECT:
        at, inverter = int(every[at].rest[inverter, column]), int(every[at].via[inverter, column])
        found.append(inverter)
    return found
