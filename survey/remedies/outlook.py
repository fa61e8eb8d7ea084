"""How all inverters fare with the gateways in use, and with one more or one changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from survey.links import HOLDS, Links, Progress, links_in_blocks, state_of
from survey.placement import Scores
from survey.scene import Ends, Scene

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

SAME = 9
"""Chances that agree to so many decimals are told apart by margin."""


@dataclass(frozen=True, kw_only=True)
class Outlook:
    """The best link of every inverter under some gateways, or under each of several choices of them.

    Attributes
    ----------
    scene : Scene
        The site.
    margin_db, reliability : ndarray of float, shape (inverters,) or (inverters, choices)
        Of the link that works most often. [dB; -]
    """

    scene: Scene
    margin_db: FloatArray
    reliability: FloatArray

    @cached_property
    def state(self) -> NDArray[np.int8]:
        """Index into `links.STATES`, of the same shape."""
        return state_of(self.scene, self.reliability)

    @cached_property
    def served(self) -> IntArray:
        """How many inverters hold, at each choice."""
        return np.asarray(np.sum(self.state == HOLDS, axis=0, dtype=np.int64))

    def at(self, choice: int) -> Outlook:
        """One of the choices."""
        return Outlook(scene=self.scene, margin_db=self.margin_db[:, choice], reliability=self.reliability[:, choice])

    def beside(self, other: Outlook) -> Outlook:
        """Every inverter takes the better of its links under this and, at each choice, under the other."""
        if np.all(np.isneginf(self.margin_db)):  # nobody: the other as it is, without another copy of it
            return other
        take = better(self.margin_db[:, None], self.reliability[:, None], other.margin_db, other.reliability)
        return Outlook(
            scene=self.scene,
            margin_db=np.where(take, other.margin_db, self.margin_db[:, None]),
            reliability=np.where(take, other.reliability, self.reliability[:, None]),
        )

    def scores(self, spots: Ends) -> Scores:
        """The choices as spots to be ranked."""
        worst = np.argmin(self.margin_db, axis=0)
        return Scores(
            spots=spots,
            served=self.served,
            expected_served=np.sum(self.reliability, axis=0),
            worst_inverter=worst,
            worst_margin_db=self.margin_db[worst, np.arange(len(worst))],
            median_margin_db=np.median(self.margin_db, axis=0),
        )

    def best_for(self, inverter: int, allowed: BoolArray) -> int:
        """The choice that does most for an inverter, -1 where none is allowed.

        Its state comes first, then how many inverters hold in all, then its chance, then its margin.
        """
        chance = np.round(self.reliability[inverter], SAME)
        keys = (self.margin_db[inverter], chance, self.served, self.state[inverter])
        order = np.lexsort(keys)[::-1]
        order = order[allowed[order]]
        return int(order[0]) if len(order) else -1


def better(margin_db: FloatArray, reliability: FloatArray, other_db: FloatArray, other: FloatArray) -> BoolArray:
    """Whether another link works more often than a link or, where both do alike, has more margin."""
    one, two = np.round(reliability, SAME), np.round(other, SAME)
    return np.asarray((two > one) | ((two == one) & (other_db > margin_db)))


def nobody(scene: Scene) -> Outlook:
    """Without any gateway."""
    count = len(scene.inverters)
    return Outlook(scene=scene, margin_db=np.full(count, -np.inf), reliability=np.zeros(count))


def each_of(links: Links) -> Outlook:
    """Each gateway alone, as a choice."""
    return Outlook(scene=links.scene, margin_db=links.margin_db, reliability=links.reliability)


def best_gateways(links: Links) -> IntArray:
    """The gateway by which each inverter fares best, shape (inverters,)."""
    best = np.zeros(links.shape[0], dtype=np.int64)
    rows = np.arange(links.shape[0])
    for j in range(1, links.shape[1]):
        now = links.margin_db[rows, best], links.reliability[rows, best]
        best[better(*now, links.margin_db[:, j], links.reliability[:, j])] = j
    return best


def together(links: Links, gateways: Sequence[int]) -> Outlook:
    """Some of the gateways in use at once."""
    found, each = nobody(links.scene), each_of(links)
    for j in gateways:
        found = found.beside(
            Outlook(scene=links.scene, margin_db=each.margin_db[:, [j]], reliability=each.reliability[:, [j]])
        ).at(0)
    return found


def spots_outlook(scene: Scene, *, progress: Progress | None = None) -> Outlook:
    """Every spot alone, as a choice; 16 bytes of memory for each inverter at each spot."""
    shape = len(scene.inverters), len(scene.spots)
    margin_db, reliability = np.empty(shape), np.empty(shape)
    for block, links in links_in_blocks(scene, scene.inverters, scene.spots, progress=progress):
        margin_db[:, block], reliability[:, block] = links.margin_db, links.reliability
    return Outlook(scene=scene, margin_db=margin_db, reliability=reliability)
