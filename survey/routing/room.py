"""Who reports to which gateway, where a gateway takes so many inverters only: one rule for all commands."""

from __future__ import annotations

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.budget import HOLDS, state_of
from survey.scene import Scene

SAME = 9
"""Chances that agree to so many decimals are told apart by margin."""


def room_of(scene: Scene) -> int:
    """How many inverters a gateway takes where that leaves somebody out; 0 where one takes them all."""
    room = scene.plan.requirement.inverters_per_gateway
    return room if room < len(scene.inverters) else 0


def best_gateway(reliability: FloatArray, margin_db: FloatArray) -> IntArray:
    """The gateway of every inverter's most reliable route; of equals, the one of greater margin.

    Parameters
    ----------
    reliability, margin_db : ndarray of float, shape (inverters, gateways)
        Of the route of every inverter to each gateway, and of its weakest link. [-; dB]

    Returns
    -------
    ndarray of int, shape (inverters,)

    Examples
    --------
    >>> best_gateway(np.array([[0.9, 0.9], [0.9, 0.5]]), np.array([[4.0, 5.0], [4.0, 9.0]])).tolist()
    [1, 0]
    """
    value = np.round(reliability, SAME)
    equal = value == value.max(axis=1, keepdims=True)
    return np.asarray(np.argmax(np.where(equal, margin_db, -np.inf), axis=1))


def gateway_of(scene: Scene, reliability: FloatArray, margin_db: FloatArray) -> IntArray:
    """The gateway that every inverter reports to, all gateways being in use.

    Parameters
    ----------
    scene : Scene
        The site; its plan says how many inverters a gateway takes.
    reliability, margin_db : ndarray of float, shape (inverters, gateways)
        Of the route of every inverter to each gateway, and of its weakest link. [-; dB]

    Returns
    -------
    ndarray of int, shape (inverters,)
        Without a limit that of the most reliable route. With one, so that the most inverters hold, and of such choices
        the one with the greatest sum of chances; -1 for whom no gateway has room.

    Examples
    --------
    >>> from types import SimpleNamespace as Any
    >>> wanted = Any(inverters_per_gateway=1, reliability=0.95)
    >>> scene = Any(plan=Any(requirement=wanted), inverters="ab")
    >>> chance = np.array([[0.99, 0.96], [0.98, 0.5]])
    >>> gateway_of(scene, chance, 10.0 * chance).tolist()
    [1, 0]
    """
    room = room_of(scene)
    if not room:
        return best_gateway(reliability, margin_db)
    if reliability.shape[1] == 1:
        return np.where(has_room(scene, reliability, margin_db)[:, 0], 0, -1)
    from survey.siting.choice import Site  # noqa: PLC0415  most sites never need it, and a short list waits for it

    holds = state_of(scene, reliability) == HOLDS
    site = Site(holds=holds, reliability=reliability, margin_db=margin_db, capacity=room)
    return site.standing(tuple(range(reliability.shape[1]))).gateway_of


def has_room(scene: Scene, reliability: FloatArray, margin_db: FloatArray) -> BoolArray:
    """For whom each gateway has room, were it the only one: those that it hears best.

    Parameters
    ----------
    scene, reliability, margin_db
        As for `gateway_of`.

    Returns
    -------
    ndarray of bool, shape (inverters, gateways)
    """
    room = room_of(scene)
    if not room:
        return np.ones(reliability.shape, dtype=bool)
    heard = np.where(np.isnan(margin_db), -np.inf, margin_db)
    best = np.lexsort((-heard, -reliability), axis=0)[:room]
    found = np.zeros(reliability.shape, dtype=bool)
    np.put_along_axis(found, best, values=True, axis=0)
    return found


def alone(scene: Scene, reliability: FloatArray, margin_db: FloatArray) -> tuple[FloatArray, FloatArray]:
    """What every inverter's route to each gateway is worth were it the only one: nothing for whom it has no room.

    Parameters
    ----------
    scene, reliability, margin_db
        As for `gateway_of`.

    Returns
    -------
    tuple of two ndarrays of float, shape (inverters, gateways)
        Reliability [-] and margin of the weakest link [dB]; 0 and NaN without room.
    """
    if not room_of(scene):
        return reliability, margin_db
    there = has_room(scene, reliability, margin_db)
    return np.where(there, reliability, 0.0), np.where(there, margin_db, np.nan)
