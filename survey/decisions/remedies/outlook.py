"""How all inverters fare with the gateways in use, and with one more or one changed: by their routes, as elsewhere."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.budget import HOLDS, Links, Progress, links_in_blocks, state_of
from survey.routing import SAME, Hops, Network, alone, gateway_of, reached, room_of
from survey.scene import Scene


@dataclass(frozen=True, kw_only=True)
class Outlook:
    """The route of every inverter under some gateways, or under each of several choices of them.

    Attributes
    ----------
    scene : Scene
        The site.
    margin_db, reliability : ndarray of float, shape (inverters,) or (inverters, choices)
        Of the weakest link, and of the whole route; -inf and 0 for whom no gateway has room. [dB; -]
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
        chance = np.round(self.reliability[inverter], SAME)
        keys = (self.margin_db[inverter], chance, self.served, self.state[inverter])
        order = np.lexsort(keys)[::-1]
        order = order[allowed[order]]
        return int(order[0]) if len(order) else -1


@dataclass(frozen=True, kw_only=True)
class Routes:
    """What every inverter's route to each of some gateways is worth, room left aside.

    Attributes
    ----------
    scene : Scene
        The site.
    margin_db, reliability : ndarray of float, shape (inverters, gateways)
        Of the weakest link, and of the whole route. [dB; -]
    """

    scene: Scene
    margin_db: FloatArray
    reliability: FloatArray

    def only(self, gateways: Sequence[int]) -> Routes:
        """Those to some of the gateways."""
        chosen = list(gateways)
        return Routes(scene=self.scene, margin_db=self.margin_db[:, chosen], reliability=self.reliability[:, chosen])

    def together(self) -> Outlook:
        """All of the gateways in use: everybody goes where `routing.gateway_of` says."""
        if not self.margin_db.shape[1]:
            count = len(self.margin_db)
            return Outlook(scene=self.scene, margin_db=np.full(count, -np.inf), reliability=np.zeros(count))
        at, rows = gateway_of(self.scene, self.reliability, self.margin_db), np.arange(len(self.margin_db))
        return Outlook(
            scene=self.scene,
            margin_db=np.where(at >= 0, self.margin_db[rows, at], -np.inf),
            reliability=np.where(at >= 0, self.reliability[rows, at], 0.0),
        )

    def with_each(self, more: Routes) -> Outlook:
        """All of these gateways in use and, at each choice, one of some others."""
        if not self.margin_db.shape[1]:
            reliability, margin_db = alone(self.scene, more.reliability, more.margin_db)
            return Outlook(
                scene=self.scene,
                margin_db=np.nan_to_num(margin_db, nan=-np.inf, neginf=-np.inf),
                reliability=reliability,
            )
        if room_of(self.scene):
            every = [self._and(more.only([k])).together() for k in range(more.margin_db.shape[1])]
            return Outlook(
                scene=self.scene,
                margin_db=np.stack([one.margin_db for one in every], axis=1),
                reliability=np.stack([one.reliability for one in every], axis=1),
            )
        now = self.together()
        take = better(now.margin_db[:, None], now.reliability[:, None], more.margin_db, more.reliability)
        return Outlook(
            scene=self.scene,
            margin_db=np.where(take, more.margin_db, now.margin_db[:, None]),
            reliability=np.where(take, more.reliability, now.reliability[:, None]),
        )

    def _and(self, other: Routes) -> Routes:
        return Routes(
            scene=self.scene,
            margin_db=np.concatenate([self.margin_db, other.margin_db], axis=1),
            reliability=np.concatenate([self.reliability, other.reliability], axis=1),
        )


def better(margin_db: FloatArray, reliability: FloatArray, other_db: FloatArray, other: FloatArray) -> BoolArray:
    """Whether another route works more often than a route or, where both do alike, has more margin."""
    one, two = np.round(reliability, SAME), np.round(other, SAME)
    return np.asarray((two > one) | ((two == one) & (other_db > margin_db)))


def routes_of(links: Links, hops: Hops | None) -> Routes:
    """The routes to each of some gateways, by way of others where `hops` gives the links between inverters."""
    reliability, margin_db = reached(links, hops)
    return Routes(scene=links.scene, margin_db=margin_db, reliability=reliability)


def outlook_of(network: Network) -> Outlook:
    """How the inverters of a network fare."""
    margin_db = np.where(np.isnan(network.weakest_margin_db), -np.inf, network.weakest_margin_db)
    return Outlook(scene=network.scene, margin_db=margin_db, reliability=network.reliability)


def spots_routes(scene: Scene, *, hops: Hops | None = None, progress: Progress | None = None) -> Routes:
    """The routes to every spot; 16 bytes of memory for each inverter at each spot."""
    shape = len(scene.inverters), len(scene.spots)
    margin_db, reliability = np.empty(shape), np.empty(shape)
    for block, links in links_in_blocks(scene, scene.inverters, scene.spots, progress=progress):
        reliability[:, block], margin_db[:, block] = reached(links, hops)
    return Routes(scene=scene, margin_db=margin_db, reliability=reliability)
