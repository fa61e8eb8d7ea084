"""How much more another choice could bring at most, and which spots could be part of a better one."""

from __future__ import annotations

from dataclasses import dataclass
from time import monotonic

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.siting.columns import Columns

PATIENCE = 12
"""Rounds without a better bound after which the steps are halved."""
SMALLEST_STEP = 0.004
"""Where the search for a bound ends: a judgement, since a bound holds at any step."""
ROUNDS_IN_ANY_CASE = 30
"""However late it is: without them a bound says nothing."""


@dataclass(frozen=True, kw_only=True)
class Bound:
    """What a set of prices proves.

    Attributes
    ----------
    worth : float
        No set of so many spots is worth more.
    price : ndarray of float, shape (inverters,)
        What each inverter is taken to have anyway.
    above : ndarray of float, shape (spots,)
        What each spot brings above these prices.
    able : ndarray of int
        The spots that can be part of a set worth the target or more.
    """

    worth: float
    price: FloatArray
    above: FloatArray
    able: IntArray


def bound_of(
    columns: Columns,
    *,
    at_most: int,
    target: float,
    price: FloatArray,
    until: float,
    fixed: tuple[int, ...] = (),
    capacity: int = 0,
    rounds: int = 600,
) -> Bound:
    r"""Bound the worth of every set of spots from above.

    Parameters
    ----------
    columns : Columns
        What each spot is worth to each inverter.
    at_most : int
        Gateways, those at fixed spots included.
    target : float
        What a set must be worth to be of interest. The work ends when the bound falls below it.
    price : ndarray of float, shape (inverters,)
        Where to start: what each inverter has in a good answer.
    until : float
        When to stop, but for the first rounds. [s, of the monotonic clock]
    fixed : tuple of int
        Spots that are always chosen.
    capacity : int
        Inverters per gateway; 0 for no limit.
    rounds : int
        Steps at most.

    Returns
    -------
    Bound

    Notes
    -----
    For any prices :math:`\lambda_i \ge 0` no set of p spots is worth more than

    .. math:: \sum_i \lambda_i + \max_{|S| = p} \sum_{j \in S} \sum_i \max(0, v_{ij} - \lambda_i)

    since every inverter counts at one gateway only (Lagrangian relaxation [1]_). Prices are bettered by steps along the
    subgradient, sized by how far the bound lies above the target (B. T. Polyak 1969). A spot with which the same sum
    falls short of the target is part of no better set and is dropped.

    References
    ----------
    .. [1] G. Cornuejols, M. L. Fisher, G. L. Nemhauser, Location of bank accounts to optimize float, Management
       Science 23, 1977.
    """
    able = np.arange(len(columns))
    work, best, best_price, step, waited = columns, np.inf, price, 1.0, 0
    must = np.isin(able, fixed)
    keep: BoolArray = np.ones(len(able), dtype=bool)
    for done in range(rounds):
        above = work.gains(price, capacity)
        worth, picked, limit = _best_sum(price, above, must, at_most)
        keep &= must | (limit >= target)
        if worth < best - 1e-9 * max(1.0, abs(best) if np.isfinite(best) else 1.0):
            best, best_price, waited = worth, price, 0
        else:
            waited += 1
            if waited > PATIENCE:
                step, waited, price = step / 2.0, 0, best_price
                if step < SMALLEST_STEP:
                    break
                continue
        if best < target or (done > ROUNDS_IN_ANY_CASE and monotonic() > until):
            break
        slope = 1.0 - _counted(work, picked, price, capacity)
        slope[(price <= 0.0) & (slope > 0.0)] = 0.0
        length = float(slope @ slope)
        if length == 0.0:  # every inverter counts once: the bound is met
            break
        price = np.maximum(price - step * max(worth - target, 1e-7) / length * slope, 0.0)
        if keep.sum() < 0.7 * len(keep):
            able, must = able[keep], must[keep]
            work = picked_columns(work, np.flatnonzero(keep))
            keep = np.ones(len(able), dtype=bool)
    above = columns.gains(best_price, capacity)
    everywhere = np.isin(np.arange(len(columns)), fixed)
    worth, _, limit = _best_sum(best_price, above, everywhere, at_most)
    worth = min(worth, max(best, np.nextafter(target, -np.inf)))  # with what was dropped there is nothing worth it
    able = able[keep]
    able = able[everywhere[able] | (limit[able] >= target)]
    return Bound(worth=worth, price=best_price, above=above, able=able)


def picked_columns(columns: Columns, spots: IntArray) -> Columns:
    """Some of the columns."""
    lengths = np.diff(columns.start)[spots]
    start = np.concatenate([[0], np.cumsum(lengths)])
    entries = np.arange(start[-1]) + np.repeat(columns.start[spots] - start[:-1], lengths)
    rows, worth = columns.rows[entries], columns.worth[entries]
    return Columns(rows=rows, worth=worth, start=start, inverters=columns.inverters)


def _best_sum(
    price: FloatArray, above: FloatArray, must: BoolArray, at_most: int
) -> tuple[float, IntArray, FloatArray]:
    """The bound by these prices, the spots that make it, and what it would be with each spot forced among them."""
    free = max(0, at_most - int(must.sum()))
    others = np.flatnonzero(~must)
    order = others[np.argsort(-above[others], kind="stable")]
    picked = np.concatenate([np.flatnonzero(must), order[:free]])
    worth = float(price.sum() + above[picked].sum())
    last = above[order[free - 1]] if 0 < free <= len(order) else 0.0
    limit = np.full(len(above), worth) if free else np.full(len(above), -np.inf)
    limit[order[free:]] = worth - last + above[order[free:]] if free else -np.inf
    return worth, picked, limit


def _counted(columns: Columns, picked: IntArray, price: FloatArray, capacity: int) -> FloatArray:
    """How often each inverter counts among the picked spots."""
    count = np.zeros(columns.inverters)
    for j in picked.tolist():
        part = slice(columns.start[j], columns.start[j + 1])
        more = columns.worth[part] - price[columns.rows[part]]
        positive = np.flatnonzero(more > 0.0)
        if capacity and len(positive) > capacity:
            positive = positive[np.argpartition(-more[positive], capacity - 1)[:capacity]]
        count[columns.rows[part][positive]] += 1.0
    return count
