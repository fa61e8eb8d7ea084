"""Links from inverter to inverter: what a message can hop along before it gets to a gateway."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import FloatArray, IntArray
from survey.base.limits import MAX_PAIRS
from survey.budget import MARGINAL_RELIABILITY, Progress, check_count, links_in_blocks
from survey.scene import Scene


@dataclass(frozen=True, kw_only=True)
class Hops:
    """The links between inverters that are worth something, those of inverter i in rows ``first[i]`` to ``first[i+1]``.

    Attributes
    ----------
    first : ndarray of int, shape (inverters + 1,)
        Where the rows of each inverter begin.
    to : ndarray of int, shape (hops,)
        The inverter at the other end.
    reliability : ndarray of float, shape (hops,)
        Chance that the link works. [-]
    margin_db : ndarray of float, shape (hops,)
        Its margin. [dB]
    """

    first: IntArray
    to: IntArray
    reliability: FloatArray
    margin_db: FloatArray

    def __len__(self) -> int:
        return len(self.to)

    @property
    def start(self) -> IntArray:
        """The inverter that each row belongs to, shape (hops,)."""
        return np.repeat(np.arange(len(self.first) - 1), np.diff(self.first))

    def row(self, start: int, to: int) -> int:
        """The row of the link between two inverters; there has to be one."""
        first, end = int(self.first[start]), int(self.first[start + 1])
        return int(first + np.searchsorted(self.to[first:end], to))


def hops_among(start: IntArray, to: IntArray, reliability: FloatArray, margin_db: FloatArray, *, count: int) -> Hops:
    """Links given one by one, each in one direction, as `Hops` among `count` inverters."""
    order = np.lexsort((to, start))
    first = np.concatenate([[0], np.cumsum(np.bincount(start, minlength=count))])
    return Hops(first=first, to=to[order], reliability=reliability[order], margin_db=margin_db[order])


def no_hops(count: int) -> Hops:
    """None at all, where every inverter talks to the gateway itself."""
    return hops_among(*(np.zeros(0, dtype=np.int64),) * 2, *(np.zeros(0),) * 2, count=count)


def hops_of(scene: Scene, *, progress: Progress | None = None) -> Hops:
    """Work out the links between the inverters of a site.

    Both ends use the inverter's radio, and the mounting costs its loss at both. A link that works less often than
    every second time (`MARGINAL_RELIABILITY`) is worth nothing as a part of a route.

    Parameters
    ----------
    scene : Scene
        The site.
    progress : callable, optional
        Told how many inverters are done.

    Returns
    -------
    Hops
        In both directions.

    Raises
    ------
    SurveyError
        Where the pairs are more than `MAX_PAIRS`.
    """
    inverters, parts = scene.inverters, []
    check_count(scene, len(inverters), len(inverters), most=MAX_PAIRS)
    for block, links in links_in_blocks(scene, inverters, inverters, progress=progress):
        worth = links.reliability >= MARGINAL_RELIABILITY
        worth[np.arange(block.start, block.stop), np.arange(block.stop - block.start)] = False  # to itself
        start, to = np.nonzero(worth)
        parts.append((start, to + block.start, links.reliability[worth], links.margin_db[worth]))
    start, to, reliability, margin_db = (np.concatenate(column) for column in zip(*parts, strict=True))
    return hops_among(start, to, reliability, margin_db, count=len(inverters))
