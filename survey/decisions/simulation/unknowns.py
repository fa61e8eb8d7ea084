"""What the plan knows only roughly of its obstacles: a shift common to all that is made alike."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from survey.base.arrays import FloatArray, IntArray
from survey.base.units import db_from_ratio, ratio_from_db
from survey.budget import CARRIERS, Links
from survey.scene import Scene


@dataclass(frozen=True, kw_only=True, slots=True)
class Unknown:
    """A loss that the plan gives with a spread.

    Attributes
    ----------
    name : str
        The material; or the obstacle that carries a loss or a spread of its own.
    kind : str
        ``material``, ``obstacle`` or ``foliage``.
    spread_db : float
        Standard deviation of the loss of a pass, for foliage of the first metre. [dB; dB/m]
    loss_db : float
        That loss, square on: a shift takes no more than that away, since no obstacle adds power. [dB; dB/m]
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
    obstacles = scene.obstacles
    losses_db = obstacles.loss_db + (0.0 if scene.correction is None else scene.correction.change_db)
    found: dict[Unknown, int] = {}
    number = np.full(len(obstacles), -1, dtype=np.int64)
    for k, obstacle in enumerate(obstacles.entries):
        if not obstacles.spread_db[k]:
            continue
        own = obstacle.has_own_spread
        material = "" if own else scene.plan.materials[obstacle.made_of.casefold()].name
        unknown = Unknown(
            name=material or obstacle.name,
            kind="material" if material else "foliage" if obstacle.volume() is not None else "obstacle",
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
    """How often the ways of each link pass through what is unknown: straight lines, and ways that leave a building.

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
        self._links, self._number = links, number
        self._count = int(number.max(initial=-1)) + 1
        lanes = len(CARRIERS)
        self._straight = straight, of_straight, times = self._unknown_passes()
        # A lane is a link's straight line, or what arrives by one of its ways around and has gone through something.
        path_passes = links.path_passes.pick(number[links.path_passes.owner] >= 0)
        lane = np.concatenate([straight * lanes, path_passes.link * lanes + 1 + path_passes.way])
        unknown = np.concatenate([of_straight, number[path_passes.owner]])
        each = np.concatenate([times, path_passes.passes])
        pairs, place = np.unique(lane * max(1, self._count) + unknown, return_inverse=True)
        self._times = np.bincount(place, weights=each, minlength=len(pairs)).astype(np.float64)
        self._unknown = pairs % max(1, self._count)
        lane, self._first = np.unique(pairs // max(1, self._count), return_index=True)
        self.link, self._first_lane = np.unique(lane // lanes, return_index=True)
        is_straight = lane % lanes == 0
        self._lane_db = links.straight_db.ravel()[lane // lanes]
        self._lane_db[~is_straight] = -db_from_ratio(self._power_of(lane[~is_straight]))
        self._rest = self._certain(lane)

    def _unknown_passes(self) -> tuple[IntArray, IntArray, FloatArray]:
        """Links whose straight line goes through an unknown, which one, and how often; a row for each pass."""
        link, owner, times = self._links.passes_through
        known = self._number[owner] >= 0
        return link[known], self._number[owner[known]], times[known]

    def _power_of(self, lane: IntArray) -> FloatArray:
        """What has gone through something by the ways around of some lanes. [-]"""
        path_passes, lanes = self._links.path_passes, len(CARRIERS)
        key, at = np.unique(path_passes.link * lanes + 1 + path_passes.way, return_index=True)
        return np.asarray(path_passes.power[at][np.searchsorted(key, lane)]) if len(lane) else np.zeros(0)

    def _certain(self, lane: IntArray) -> FloatArray:
        """What arrives at the links that meet an unknown by all that meets none. [-]"""
        lanes, links = len(CARRIERS), self._links
        ways_db = [links.straight_db, *links.around_db]
        at = np.searchsorted(self.link, lane // lanes)
        known = np.zeros((len(self.link), lanes))
        known[at, lane % lanes] = 1.0
        leaking = np.flatnonzero(lane % lanes)
        power = np.zeros(known.shape)
        power[at[leaking], lane[leaking] % lanes] = self._power_of(lane[leaking])
        rest = np.zeros(len(self.link))
        for k, way_db in enumerate(ways_db):
            here_db = way_db.ravel()[self.link]
            arrived = np.where(np.isnan(here_db), 0.0, ratio_from_db(-np.nan_to_num(here_db, nan=np.inf)))
            if k:
                rest += np.maximum(arrived - power[:, k], 0.0)
            else:
                rest += np.where(known[:, 0] > 0, 0.0, arrived)
        return rest

    @cached_property
    def _dense(self) -> FloatArray:
        link, unknown, times = self._straight
        size = self._links.shape[0] * self._links.shape[1]
        found = np.bincount(unknown * size + link, times, self._count * size)
        return found.astype(np.float64).reshape(-1, *self._links.shape)

    def times(self) -> FloatArray:
        """How often each straight line passes through each unknown, shape (unknowns, inverters, gateways). [-; m]"""
        return self._dense

    def weights(self) -> FloatArray:
        """How many dB all links together lose for each dB that an unknown is off, shape (unknowns,). [-]"""
        links = self._links
        total = (self.times() * links.straight_share).sum(axis=(1, 2))
        path_passes = links.path_passes.pick(self._number[links.path_passes.owner] >= 0)
        share = links.passing_share[self._number[links.path_passes.owner] >= 0]
        return np.asarray(
            total + np.bincount(self._number[path_passes.owner], share * path_passes.passes, minlength=self._count)
        )

    def shifted(self, unknown: int, shift_db: float) -> Links:
        """The links with one unknown off by so much for every pass. [dB]"""
        links = self._links
        straight_db = links.straight_db + self.times()[unknown] * shift_db
        owners = np.flatnonzero(self._number == unknown)
        path_passes, around_db = links.path_passes.with_extra_loss(links.around_db, owners, shift_db)
        return replace(links, straight_db=straight_db, around_db=around_db, path_passes=path_passes)

    def obstacle_loss_db(self, shifts_db: FloatArray) -> FloatArray:
        """What all that stands there costs the links that meet an unknown.

        Parameters
        ----------
        shifts_db : ndarray of float, shape (draws, unknowns)
            How far each unknown is off. [dB]

        Returns
        -------
        ndarray of float, shape (draws, met)
            The power sum of straight through and the ways around, each shifted once for each pass. [dB]
        """
        if not len(self.link):
            return np.zeros((len(shifts_db), 0))
        more_db = np.add.reduceat(shifts_db[:, self._unknown] * self._times, self._first, axis=1)
        arrived = ratio_from_db(-(self._lane_db + more_db))
        if len(self._first_lane) < len(self._lane_db):
            arrived = np.add.reduceat(arrived, self._first_lane, axis=1)
        return -db_from_ratio(self._rest + arrived)
