"""Which inverter talks to which gateway, where each gateway takes so many only."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray, IntArray

SMALL = 1e-9
"""What rounding may do to a sum of worths."""


def assign(worth: FloatArray, capacity: int) -> tuple[IntArray, FloatArray]:
    """Give every inverter one gateway at most, and every gateway `capacity` inverters at most, for the greatest sum.

    Parameters
    ----------
    worth : ndarray of float, shape (inverters, gateways)
        What each inverter is worth at each gateway; -inf where it cannot talk to it; never less than 0 otherwise.
    capacity : int
        Inverters per gateway; 0 for no limit.

    Returns
    -------
    gateway_of : ndarray of int, shape (inverters,)
        Column of each inverter's gateway, or -1 where it has none.
    price : ndarray of float, shape (gateways,)
        What one more place at each gateway would be worth: 0 where one is free.

    Notes
    -----
    Every inverter goes to its best gateway first. While one is too full, the cheapest chain of moves that ends where a
    place is free is made: successive shortest paths between gateways, which keeps the sum the greatest for the places
    used [1]_, chapter 9. Going without a gateway costs what the inverter is worth there.

    References
    ----------
    .. [1] R. K. Ahuja, T. L. Magnanti, J. B. Orlin, Network Flows, Prentice Hall 1993.

    Examples
    --------
    Two want the first gateway, which takes one; the second of them loses less by moving.

    >>> gateway_of, price = assign(np.array([[9.0, 1.0], [8.0, 7.0]]), 1)
    >>> gateway_of.tolist(), price.tolist()
    ([0, 1], [1.0, 0.0])
    """
    inverters, gateways = worth.shape
    none = gateways
    worth = np.column_stack([worth, np.zeros(inverters)])
    at = np.argmax(worth, axis=1)
    if not capacity or not inverters:
        return np.where(at == none, -1, at), np.zeros(gateways)
    places = np.full(gateways + 1, capacity)
    places[none] = inverters + 1
    places -= np.bincount(at, minlength=gateways + 1)
    cost = np.full((gateways + 1, gateways + 1), np.inf)
    cheapest = np.zeros((gateways + 1, gateways + 1), dtype=np.int64)

    def look_at(gateway: int) -> None:
        """Find whom to move from a gateway to each other one, and what that costs."""
        members = np.flatnonzero(at == gateway)
        if len(members):
            loss = worth[members, gateway][:, None] - worth[members]
            first = np.argmin(loss, axis=0)
            cost[gateway], cheapest[gateway] = loss[first, np.arange(gateways + 1)], members[first]
        else:
            cost[gateway] = np.inf
        cost[gateway, gateway] = np.inf

    for gateway in range(gateways + 1):
        look_at(gateway)
    while (places < 0).any():
        distance, onward = _ways_to(places > 0, cost)
        full = np.flatnonzero(places < 0)
        gateway = int(full[np.argmin(distance[full])])
        places[gateway] += 1
        moves: list[tuple[int, int]] = []
        while places[gateway] <= 0 or not moves:
            moves.append((int(cheapest[gateway, onward[gateway]]), int(onward[gateway])))
            gateway = int(onward[gateway])
        places[gateway] -= 1
        touched = {int(at[inverter]) for inverter, _ in moves} | {target for _, target in moves}
        for inverter, target in moves:
            at[inverter] = target
        for one in touched:
            look_at(one)
    price = np.zeros(gateways + 1)
    for _ in range(gateways + 1):  # a place is worth what someone would gain by it, and what the place left would bring
        price = np.maximum(price, (price[:, None] - cost).max(axis=0))
    return np.where(at == none, -1, at), np.where(places > 0, 0.0, price)[:gateways]


def _ways_to(has_place: NDArray[np.bool_], cost: FloatArray) -> tuple[FloatArray, IntArray]:
    """The cheapest way from each gateway to one with a free place, and its first step (Bellman and Ford)."""
    distance = np.where(has_place, 0.0, np.inf)
    onward = np.arange(len(has_place))
    for _ in range(len(has_place)):
        through = cost + distance
        step = np.argmin(through, axis=1)
        shorter = through[np.arange(len(has_place)), step]
        better = ~has_place & (shorter < distance - SMALL)
        if not better.any():
            break
        distance, onward = np.where(better, shorter, distance), np.where(better, step, onward)
    return distance, onward


def competing(able: NDArray[np.bool_], gateway_of: IntArray, unserved: IntArray) -> IntArray:
    """The inverters that compete for places with those that have none: more of them than all their gateways take.

    Parameters
    ----------
    able : ndarray of bool, shape (inverters, gateways)
        Where each inverter holds.
    gateway_of : ndarray of int, shape (inverters,)
        An assignment that serves as many as can be.
    unserved : ndarray of int
        Inverters without a gateway in it.

    Returns
    -------
    ndarray of int
        The unserved, and whoever sits where they could go, and so on (the set of P. Hall's theorem, 1935).
    """
    group = np.zeros(len(able), dtype=bool)
    group[unserved] = True
    while True:
        wanted = np.asarray(able[group].any(axis=0))
        grown = group | ((gateway_of >= 0) & wanted[gateway_of])
        if grown.sum() == group.sum():
            return np.flatnonzero(group)
        group = grown
