"""Proof by mixed-integer programming (HiGHS, by way of scipy), of what bounds and enumeration leave open."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import FloatArray, IntArray

LARGEST = 600_000
"""Programs with more coefficients than this are not begun: reading them takes longer than there is time."""
LARGEST_PAIRS = 20_000
"""The same for pairs of inverter and spot under a limit per gateway: the solver does not look at the clock in time."""


@dataclass(frozen=True, kw_only=True)
class Solved:
    """What a program came to.

    Attributes
    ----------
    spots : tuple of int or None
        The best set that it found; None where it found none.
    bound : float
        No set is worth more.
    """

    spots: tuple[int, ...] | None
    bound: float


def best_set(
    worth: FloatArray,
    *,
    at_most: int,
    at_least: float,
    no_more: float,
    time_limit_s: float,
    fixed: tuple[int, ...] = (),
    capacity: int = 0,
) -> Solved:
    r"""Find the set of spots that is worth most, or prove that none is worth `at_least`.

    Parameters
    ----------
    worth : ndarray of float, shape (inverters, spots)
        What each spot is worth to each inverter, never negative; 0 where it cannot talk to it.
    at_most : int
        Gateways, those at fixed spots included.
    at_least : float
        What the set must be worth; a bound below it says that there is none.
    no_more : float
        A bound that is known already.
    time_limit_s : float
        For the solver. [s]
    fixed : tuple of int
        Columns that are always chosen.
    capacity : int
        Inverters per gateway; 0 for no limit.

    Returns
    -------
    Solved

    Notes
    -----
    Without a limit per gateway the program says of each inverter, level by level of the worths that it could have, that
    either it does not reach the level or a spot of that level is chosen or it reaches the level above [1]_: three
    coefficients a level, and a tight relaxation. With a limit, one variable for each pair that can talk.

    References
    ----------
    .. [1] S. Elloumi, A tighter formulation of the p-median problem, Journal of Combinatorial Optimization 19, 2010.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp  # noqa: PLC0415  a third of a second, only here
    from scipy.sparse import csr_array, vstack  # noqa: PLC0415

    if np.count_nonzero(worth) > (LARGEST_PAIRS if capacity else LARGEST / 3) or time_limit_s <= 0.0:
        return Solved(spots=None, bound=no_more)
    spots = worth.shape[1]
    levels = _pairs(worth, capacity) if capacity else _levels(worth)
    size = spots + len(levels.worth)
    choose = csr_array((np.ones(spots), (np.zeros(spots, dtype=int), np.arange(spots))), shape=(1, size))
    value = csr_array((levels.worth, (np.zeros(len(levels.worth), dtype=int), np.arange(spots, size))), shape=(1, size))
    rows = csr_array((levels.coefficient, (levels.row, levels.column)), shape=(len(levels.upper), size))
    narrow = vstack([choose, value, rows], format="csc")
    narrow.indices, narrow.indptr = (
        narrow.indices.astype(np.int32),
        narrow.indptr.astype(np.int32),
    )  # all that scipy 1.12 takes
    lowest = np.zeros(size)
    lowest[list(fixed)] = 1.0
    found = milp(
        np.concatenate([np.zeros(spots), -levels.worth]),
        integrality=np.concatenate([np.ones(spots), np.zeros(size - spots)]),
        bounds=Bounds(lowest, np.ones(size)),
        constraints=LinearConstraint(
            narrow,
            np.concatenate([[0.0, at_least], np.full(len(levels.upper), -np.inf)]),
            np.concatenate([[float(at_most), np.inf], levels.upper]),
        ),
        options={"time_limit": time_limit_s, "mip_rel_gap": 1e-9},
    )
    infeasible = 2
    if found.status == infeasible:
        return Solved(spots=None, bound=min(no_more, at_least - 2e-6))
    bound = no_more if found.mip_dual_bound is None else min(no_more, -float(found.mip_dual_bound))
    if found.x is None:
        return Solved(spots=None, bound=bound)
    return Solved(spots=tuple(np.flatnonzero(found.x[:spots] > 0.5).tolist()), bound=bound)  # noqa: PLR2004


@dataclass(frozen=True, kw_only=True)
class _Rows:
    """Rows of a program, and what its variables other than the spots are worth."""

    worth: FloatArray
    row: IntArray
    column: IntArray
    coefficient: FloatArray
    upper: FloatArray


def _levels(worth: FloatArray) -> _Rows:
    """Inverter i reaches level k at most if a spot of this level is chosen or it reaches level k + 1."""
    spots = worth.shape[1]
    inverter, spot = np.nonzero(worth)
    order = np.lexsort((worth[inverter, spot], inverter))
    inverter, spot = inverter[order], spot[order]
    value = worth[inverter, spot]
    first_of_inverter = np.concatenate([[True], inverter[1:] != inverter[:-1]]) if len(value) else np.zeros(0, bool)
    new = first_of_inverter.copy()
    new[1:] |= value[1:] != value[:-1]
    level = np.cumsum(new) - 1
    begins = np.flatnonzero(new)
    height = value[begins]
    lowest = first_of_inverter[begins]
    step = height - np.where(lowest, 0.0, np.concatenate([[0.0], height[:-1]]))
    count = len(begins)
    has_above = np.flatnonzero(np.concatenate([~lowest[1:], [False]])) if count else np.zeros(0, dtype=np.int64)
    each = np.arange(count)
    return _Rows(
        worth=step,
        row=np.concatenate([each, has_above, level]),
        column=np.concatenate([spots + each, spots + has_above + 1, spot]),
        coefficient=np.concatenate([np.ones(count), -np.ones(len(has_above)), -np.ones(len(spot))]),
        upper=np.zeros(count),
    )


def _pairs(worth: FloatArray, capacity: int) -> _Rows:
    """Every inverter at one gateway at most, only at chosen ones, and no more than its limit at any."""
    inverters, spots = worth.shape
    inverter, spot = np.nonzero(worth)
    count = len(inverter)
    pair = np.arange(count)
    most = min(capacity, inverters)
    row = [inverter, inverters + spot, inverters + np.arange(spots), inverters + spots + pair, inverters + spots + pair]
    column = [spots + pair, spots + pair, np.arange(spots), spots + pair, spot]
    coefficient = [np.ones(count), np.ones(count), np.full(spots, -float(most)), np.ones(count), -np.ones(count)]
    return _Rows(
        worth=worth[inverter, spot],
        row=np.concatenate(row),
        column=np.concatenate(column),
        coefficient=np.concatenate(coefficient),
        upper=np.concatenate([np.ones(inverters), np.zeros(spots + count)]),
    )
