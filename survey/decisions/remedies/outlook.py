"""What becomes of all inverters with the gateways in use, and with one more or one changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.budget import HOLDS, state_of
from survey.routing import Network
from survey.scene import Scene
from survey.siting import SAME_DECIMALS, CoverageMatrix


@dataclass(frozen=True, kw_only=True)
class Outlook:
    """The route of every inverter under some gateways, or under each of several choices of them.

    Attributes
    ----------
    scene : Scene
        The site.
    margin_db, reliability : ndarray of float, shape (inverters,) or (inverters, choices)
        Of the weakest link, and of the whole route; -inf and 0 for an inverter without a gateway. [dB; -]
    """

    scene: Scene
    margin_db: FloatArray
    reliability: FloatArray

    @cached_property
    def state(self) -> NDArray[np.int8]:
        """Index into `budget.STATES`, of the same shape."""
        return state_of(self.scene, self.reliability)

    @cached_property
    def served(self) -> IntArray:
        """How many inverters hold, at each choice."""
        return np.asarray(np.sum(self.state == HOLDS, axis=0, dtype=np.int64))

    def at(self, choice: int) -> Outlook:
        """One of the choices."""
        return Outlook(scene=self.scene, margin_db=self.margin_db[:, choice], reliability=self.reliability[:, choice])

    def best_for(self, inverter: int, allowed: BoolArray) -> int:
        """The choice that does most for an inverter, -1 where none is allowed.

        Its state comes first, then how many inverters hold in all, then its chance, then its margin.
        """
        chance = np.round(self.reliability[inverter], SAME_DECIMALS)
        keys = (self.margin_db[inverter], chance, self.served, self.state[inverter])
        order = np.lexsort(keys)[::-1]
        order = order[allowed[order]]
        return int(order[0]) if len(order) else -1

    def best_together(self, inverters: Sequence[int], allowed: BoolArray) -> int:
        """The choice with which most of some inverters hold, -1 where none is allowed.

        Where two do alike, how many inverters hold in all comes next, then the sum of the chances of those named.
        """
        rows = list(inverters)
        chance = np.round(self.reliability[rows].sum(axis=0), SAME_DECIMALS)
        order = np.lexsort((chance, self.served, np.sum(self.state[rows] == HOLDS, axis=0)))[::-1]
        order = order[allowed[order]]
        return int(order[0]) if len(order) else -1


def in_use(scene: Scene, matrix: CoverageMatrix) -> Outlook:
    """All of the gateways in use: every inverter reports as `CoverageMatrix.gateway_of` says."""
    if not matrix.shape[1]:
        count = matrix.shape[0]
        return Outlook(scene=scene, margin_db=np.full(count, -np.inf), reliability=np.zeros(count))
    at, rows = matrix.gateway_of, np.arange(matrix.shape[0])
    return Outlook(
        scene=scene,
        margin_db=np.where(at >= 0, matrix.margin_db[rows, at], -np.inf),
        reliability=np.where(at >= 0, matrix.reliability[rows, at], 0.0),
    )


def with_each(scene: Scene, matrix: CoverageMatrix, more: CoverageMatrix) -> Outlook:
    """All of the gateways of one matrix in use and, at each choice, one of another."""
    if not matrix.shape[1]:
        alone = more.alone
        margin_db = np.nan_to_num(alone.margin_db, nan=-np.inf, neginf=-np.inf)
        return Outlook(scene=scene, margin_db=margin_db, reliability=alone.reliability)
    if matrix.limit:
        every = [in_use(scene, matrix.beside(more.only([k]))) for k in range(more.shape[1])]
        return Outlook(
            scene=scene,
            margin_db=np.stack([one.margin_db for one in every], axis=1),
            reliability=np.stack([one.reliability for one in every], axis=1),
        )
    now = in_use(scene, matrix)
    take = better(now.margin_db[:, None], now.reliability[:, None], more.margin_db, more.reliability)
    return Outlook(
        scene=scene,
        margin_db=np.where(take, more.margin_db, now.margin_db[:, None]),
        reliability=np.where(take, more.reliability, now.reliability[:, None]),
    )


def better(margin_db: FloatArray, reliability: FloatArray, other_db: FloatArray, other: FloatArray) -> BoolArray:
    """Whether another route works more often than a route or, where both do alike, has more margin."""
    one, two = np.round(reliability, SAME_DECIMALS), np.round(other, SAME_DECIMALS)
    return np.asarray((two > one) | ((two == one) & (other_db > margin_db)))


def outlook_of(network: Network) -> Outlook:
    """How the inverters of a network fare."""
    margin_db = np.where(np.isnan(network.weakest_margin_db), -np.inf, network.weakest_margin_db)
    return Outlook(scene=network.scene, margin_db=margin_db, reliability=network.reliability)
