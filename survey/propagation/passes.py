"""What paths around go through all the same: out of a shed, and then over a container."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.base.units import db_from_ratio, ratio_from_db
from survey.propagation import Way

WAYS = len(Way)
"""So many ways have passes."""


@dataclass(frozen=True, kw_only=True)
class PathPasses:
    """Passes of paths around through weaker sheets, a row for each link, way and obstacle.

    Attributes
    ----------
    link : ndarray of int, shape (rows,)
        Which link, rising: inverter times the number of gateways plus gateway.
    way : ndarray of int, shape (rows,)
        Which `Way`.
    owner : ndarray of int, shape (rows,)
        Which obstacle.
    passes : ndarray of float, shape (rows,)
        How often its sheets are gone through, the mean by power of the paths that make the way up. [-]
    power : ndarray of float, shape (rows,)
        Power of that way, relative to the line with nothing there; of one way the same in all rows. [-]
    """

    link: IntArray
    way: IntArray
    owner: IntArray
    passes: FloatArray
    power: FloatArray

    def __len__(self) -> int:
        return len(self.link)

    def pick(self, chosen: IntArray | BoolArray) -> PathPasses:
        """Return some of the rows."""
        return PathPasses(**{one.name: getattr(self, one.name)[chosen] for one in fields(self)})

    def to(self, gateways: IntArray, *, columns: int) -> PathPasses:
        """Return the rows of the links to some of the gateways of so many, numbered in the order asked for."""
        place = np.full(columns, -1)
        place[gateways] = np.arange(len(gateways))
        inverter, gateway = np.divmod(self.link, columns)
        inside = place[gateway] >= 0
        found = replace(self.pick(inside), link=(inverter * len(gateways) + place[gateway])[inside])
        return found.pick(np.lexsort((found.owner, found.way, found.link)))

    def with_extra_loss(
        self, around_db: FloatArray, owners: IntArray | int, extra_db: float
    ) -> tuple[PathPasses, FloatArray]:
        """Return these, and the losses of the ways, with more loss at every pass through some obstacles.

        Parameters
        ----------
        around_db : ndarray of float, shape (ways, ...)
            Loss of each `Way` of each link. [dB]
        owners : ndarray of int, or int
            Which obstacles.
        extra_db : float
            How much more. [dB]
        """
        thicker = np.isin(self.owner, owners)
        if not np.any(thicker):
            return self, around_db
        _, first, place = np.unique(self.link * WAYS + self.way, return_index=True, return_inverse=True)
        way, link, power = self.way[first], self.link[first], self.power[first]
        left = power * ratio_from_db(-np.bincount(place, weights=self.passes * thicker) * extra_db)
        loss_db = around_db.reshape(len(around_db), -1).copy()
        loss_db[way, link] = -db_from_ratio(ratio_from_db(-loss_db[way, link]) - power + left)
        return replace(self, power=left[place]), loss_db.reshape(around_db.shape)
