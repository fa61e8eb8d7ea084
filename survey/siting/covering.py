"""The fewest spots that reach everyone so many times: a good answer, and the program that proves it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from survey.base.arrays import BoolArray, FloatArray
from survey.siting.bounds import PATIENCE
from survey.siting.programs import LARGEST
from survey.siting.reduction import reduced


@dataclass(frozen=True, kw_only=True)
class Demand:
    """Sum of `share` over the chosen spots must reach `need`; what inverters over capacity need."""

    share: FloatArray
    need: float


@dataclass(frozen=True, kw_only=True)
class Cover:
    """A cover, if one was found, and how few spots there must be."""

    spots: tuple[int, ...] | None
    bound: int


def greedy_cover(able: BoolArray, *, times: int = 1, fixed: Sequence[int] = ()) -> tuple[int, ...]:
    """Take the spot that reaches most who are not yet reached, until all are; then drop what is not needed.

    Parameters
    ----------
    able : ndarray of bool, shape (inverters, spots)
        Who is reached from where; everyone from `times` spots or more.
    times : int
        By how many spots each must be reached.
    fixed : sequence of int
        Spots that are taken in any case.

    Returns
    -------
    tuple of int
    """
    taken = list(fixed)
    left = np.maximum(times - able[:, taken].sum(axis=1), 0)
    while (left > 0).any():
        counts = able[left > 0].sum(axis=0)
        counts[taken] = -1
        taken.append(int(np.argmax(counts)))
        left = np.maximum(left - able[:, taken[-1]], 0)
    for spot in taken[len(fixed) :][::-1]:
        rest = [other for other in taken if other != spot]
        if (able[:, rest].sum(axis=1) >= times).all():
            taken = rest
    return tuple(taken)


def fewest_cover(
    able: BoolArray,
    *,
    times: int = 1,
    at_most: int | None = None,
    fixed: Sequence[int] = (),
    demands: Sequence[Demand] = (),
    time_limit_s: float,
) -> Cover:
    """The fewest spots that reach everyone, by mixed-integer programming.

    Parameters
    ----------
    able, times, fixed
        As for `greedy_cover`.
    at_most : int, optional
        Look only for covers of so many spots.
    demands : sequence of Demand
        What the chosen spots must come up to besides.
    time_limit_s : float
        For the solver. [s]

    Returns
    -------
    Cover
        Its bound is above `at_most` where there is none of so few.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp  # noqa: PLC0415  a third of a second, only here
    from scipy.sparse import csr_array, vstack  # noqa: PLC0415

    spots = able.shape[1]
    if times == 1 and not demands:
        small = reduced(able, keep=fixed)
        able, which = small.holds, small.spots
    else:
        able, which = np.unique(able, axis=0), np.arange(spots)
    able = _hardest(able)
    lowest = len(fixed) if times == 1 else max(times, len(fixed))
    if np.count_nonzero(able) > LARGEST or time_limit_s <= 0.0:
        return Cover(spots=None, bound=lowest)
    rows = [csr_array(able.astype(np.float64))]
    need = [np.full(len(able), float(times))]
    for demand in demands:
        rows.append(csr_array(demand.share[which][None]))
        need.append(np.array([demand.need]))
    most = float(len(which) if at_most is None else at_most)
    rows.append(csr_array(-np.ones((1, len(which)))))
    need.append(np.array([-most]))
    found = milp(
        np.ones(len(which)),
        integrality=np.ones(len(which), dtype=np.int64),
        bounds=Bounds(np.isin(which, fixed).astype(np.float64), np.ones(len(which))),
        constraints=LinearConstraint(vstack(rows), np.concatenate(need), np.inf),
        options={"time_limit": time_limit_s},
    )
    infeasible = 2
    if found.status == infeasible:
        return Cover(spots=None, bound=int(most) + 1)
    if found.mip_dual_bound is not None and np.isfinite(found.mip_dual_bound):
        lowest = max(lowest, int(np.ceil(found.mip_dual_bound - 1e-6)))
    if found.x is None:
        return Cover(spots=None, bound=lowest)
    return Cover(spots=tuple(which[found.x > 0.5].tolist()), bound=lowest)  # noqa: PLR2004


def fewest_by_prices(able: BoolArray, *, times: int, known: int, rounds: int = 300) -> int:
    r"""How few spots can reach everyone at best, without the solver.

    Parameters
    ----------
    able, times
        As for `greedy_cover`.
    known : int
        Spots of a cover that is known; the work ends when no fewer can do.
    rounds : int
        Steps at most.

    Returns
    -------
    int

    Notes
    -----
    For any prices :math:`u_i \ge 0` a cover has at least :math:`\sum_i t u_i - \sum_j \max(0, \sum_{i \in j} u_i - 1)`
    spots, t being `times`; prices are bettered along the subgradient (M. Held, R. M. Karp 1971).
    """
    inverter, spot = np.nonzero(able)
    inverters, spots = able.shape
    reached = np.bincount(spot, minlength=spots)[spot]
    price = np.zeros(inverters)
    np.maximum.at(price, inverter, reached)
    price = 1.0 / np.maximum(1.0, price)
    best, best_price, step, waited = 0.0, price, 1.0, 0
    for _ in range(rounds):
        above = np.bincount(spot, weights=price[inverter], minlength=spots) - 1.0
        taken = above > 0.0
        worth = float(times * price.sum() - above[taken].sum())
        if worth > best:
            best, best_price, waited = worth, price, 0
        else:
            waited += 1
        if best > known - 1 + 1e-6:
            break
        if waited > PATIENCE:
            step, waited, price = step / 2.0, 0, best_price
            continue
        slope = times - np.bincount(inverter, weights=taken[spot].astype(np.float64), minlength=inverters)
        length = float(slope @ slope)
        if length == 0.0:
            break
        price = np.maximum(price + step * (known - worth) / length * slope, 0.0)
    return int(np.ceil(best - 1e-6))


def cover(able: BoolArray, *, at_most: int, fixed: Sequence[int] = (), time_limit_s: float) -> tuple[int, ...] | None:
    """Some cover by so many spots: empty where there is none, None where the time did not suffice to tell."""
    if not able.any(axis=1).all():
        return ()
    quick = greedy_cover(able, fixed=fixed)
    if len(quick) <= at_most:
        return quick
    found = fewest_cover(able, at_most=at_most, fixed=fixed, time_limit_s=time_limit_s)
    if found.spots is not None:
        return found.spots
    return () if found.bound > at_most else None


def _hardest(able: BoolArray) -> BoolArray:
    """Without the inverters that are reached wherever another one is: a row that contains another row says nothing."""
    as_float = able.astype(np.float32)
    counts = as_float.sum(axis=1)
    easy = np.zeros(len(able), dtype=bool)
    for first in range(0, len(able), 500):
        part = slice(first, first + 500)
        shared = as_float[part] @ as_float.T
        contains = (shared > counts - 0.5) & (counts < counts[part, None])
        easy[part] = contains.any(axis=1)
    return able[~easy]
