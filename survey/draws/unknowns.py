"""What the plan knows only roughly of its obstacles: a shift common to all that is made alike."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.links import Links
from survey.propagation import power_sum_loss_db
from survey.scene import Scene
from survey.units import db_from_ratio, ratio_from_db

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, slots=True)
class Unknown:
    """A loss that the plan gives with a spread.

    Attributes
    ----------
    name : str
        The material; or the obstacle that carries a loss or a spread of its own.
    kind : str
        ``material`` or ``obstacle``.
    spread_db : float
        Standard deviation of the loss of a pass. [dB]
    loss_db : float
        That loss, square on: a shift takes no more than that away, since no sheet adds power. [dB]
    """

    name: str
    kind: str
    spread_db: float
    loss_db: float


def unknowns_of(scene: Scene) -> tuple[tuple[Unknown, ...], IntArray]:
    """The losses that a plan gives with a spread.

    Parameters
    ----------
    scene : Scene
        The site.

    Returns
    -------
    tuple of Unknown, and ndarray of int, shape (obstacles,)
        The unknowns in the order of the plan, and which of them each obstacle has; -1 where it has none.
    """
    plan, obstacles = scene.plan, scene.obstacles
    entries = {one.name: one for one in (*plan.walls, *plan.boxes, *plan.roofs)}
    losses_db = obstacles.loss_db + (0.0 if scene.correction is None else scene.correction.change_db)
    found: dict[Unknown, int] = {}
    number = np.full(len(obstacles), -1, dtype=np.int64)
    for k, name in enumerate(obstacles.names):
        if not obstacles.spread_db[k]:
            continue
        entry = entries.get(name)
        own = entry is not None and (entry.loss_db is not None or entry.spread_db is not None)
        own = own or not obstacles.materials[k]
        material = scene.plan.materials[obstacles.materials[k].casefold()].name if not own else ""
        unknown = Unknown(
            name=material or name,
            kind="material" if material else "obstacle",
            spread_db=float(obstacles.spread_db[k]),
            loss_db=float(losses_db[k]),
        )
        number[k] = found.setdefault(unknown, len(found))
    return tuple(found), number


def units_of(scene: Scene, number: IntArray, count: int) -> IntArray:
    """Which loss of a fit each unknown is, shape (count,); -1 where there is no fit, or it did not find it."""
    units = np.full(count, -1, dtype=np.int64)
    if scene.correction is not None:
        known = number >= 0
        units[number[known]] = scene.correction.unit[known]
    return units


class Shifts:
    """Draws of how far each unknown is off.

    Each has random numbers of its own, begun by its name: another one in the plan does not move them.

    Parameters
    ----------
    unknowns : sequence of Unknown
        What is unknown.
    seed : int
        Beginning of the random numbers.
    """

    def __init__(self, unknowns: Sequence[Unknown], *, seed: int) -> None:
        self._unknowns = unknowns
        self._random = [
            np.random.default_rng([seed, 1, zlib.crc32(f"{one.kind} {one.name}".encode())]) for one in unknowns
        ]

    def next(self, draws: int) -> FloatArray:
        """The next draws, shape (draws, unknowns); none takes more from a loss than there is. [dB]"""
        drawn = np.zeros((draws, len(self._unknowns)))
        for k, (one, random) in enumerate(zip(self._unknowns, self._random, strict=True)):
            drawn[:, k] = np.maximum(one.spread_db * random.standard_normal(draws), -one.loss_db)
        return drawn


class Passes:
    """How often each link's straight line passes through what is unknown.

    Parameters
    ----------
    links : Links
        The links.
    number : ndarray of int, shape (obstacles,)
        Which unknown each obstacle has, as `unknowns_of` tells; -1 for none.

    Attributes
    ----------
    link : ndarray of int, shape (met,)
        The links that meet an unknown, as inverter times gateways plus gateway, rising.
    """

    def __init__(self, links: Links, number: IntArray) -> None:
        met = links.crossings
        of_crossing = number[links.scene.sheets.owner[met.sheet]] if len(met) else np.zeros(0, dtype=np.int64)
        known = of_crossing >= 0
        count = int(number.max(initial=-1)) + 1
        key = (met.start[known] * links.shape[1] + met.end[known]) * max(1, count) + of_crossing[known]
        pairs, self._times = np.unique(key, return_counts=True)
        self._unknown = pairs % max(1, count)
        self.link, self._first = np.unique(pairs // max(1, count), return_index=True)
        self._shape, self._count = links.shape, count
        ways_db = [way.ravel()[self.link] for way in links.around_db.values()]
        self._straight_db = links.straight_db.ravel()[self.link]
        self._around = ratio_from_db(-power_sum_loss_db(ways_db)) if ways_db else np.zeros(len(self.link))

    def times(self) -> FloatArray:
        """How often each link passes through each unknown, shape (unknowns, inverters, gateways). [-]"""
        dense = np.zeros((self._count, self._shape[0] * self._shape[1]))
        of_pair = np.repeat(self.link, np.diff(np.append(self._first, len(self._times))))
        dense[self._unknown, of_pair] = self._times
        return dense.reshape(-1, *self._shape)

    def obstacle_loss_db(self, shifts_db: FloatArray) -> FloatArray:
        """What all that stands there costs the links that meet an unknown.

        Parameters
        ----------
        shifts_db : ndarray of float, shape (draws, unknowns)
            How far each unknown is off. [dB]

        Returns
        -------
        ndarray of float, shape (draws, met)
            The power sum of straight through, shifted once for each pass, and the ways around. [dB]
        """
        if not len(self.link):
            return np.zeros((len(shifts_db), 0))
        more_db = np.add.reduceat(shifts_db[:, self._unknown] * self._times, self._first, axis=1)
        return -db_from_ratio(self._around + ratio_from_db(-(self._straight_db + more_db)))
