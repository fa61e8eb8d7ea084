"""Proof that no other choice serves more, and that none that serves as many is to be expected to serve more."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from time import monotonic

import numpy as np

from survey.base.arrays import FloatArray
from survey.siting.bounds import bound_of
from survey.siting.choice import EQUAL, PROVEN, Assignment
from survey.siting.columns import columns_of, only_entries
from survey.siting.covering import cover
from survey.siting.enumeration import sets_worth
from survey.siting.matrix import CoverageMatrix
from survey.siting.programs import best_set
from survey.siting.reduction import reduced
from survey.siting.search import Search, best_pair

MOST_TIES = 2_000
"""Sets that are equal but for rounding: so many are told apart by their worst margin."""
MOST_CELLS = 20_000_000
"""Pairs of inverter and spot up to which sets are gone through or given to the solver: 160 MB."""
TRIPLES = 3
"""Up to so many gateways, going through sets is mostly quicker than the solver."""


@dataclass(frozen=True, kw_only=True)
class Claim:
    """The best set known of so many gateways, and what is proven of it; see `Choice`."""

    matrix: CoverageMatrix
    number: int
    assignment: Assignment
    bound_served: int
    bound_expected: float
    proven_worst: bool = False

    @classmethod
    def without_proof(cls, matrix: CoverageMatrix, number: int, assignment: Assignment) -> Claim:
        """What is plain to see: no inverter is served that holds nowhere, nor more than the gateways take."""
        able = int(np.count_nonzero(matrix.holds.any(axis=1)))
        best = matrix.reliability.max(axis=1).astype(np.float64)
        if matrix.limit and matrix.limit * number < len(best):
            able = min(able, matrix.limit * number)
            best = np.sort(best)[-matrix.limit * number :]
        return cls(
            matrix=matrix, number=number, assignment=assignment, bound_served=able, bound_expected=float(best.sum())
        )

    @property
    def settled(self) -> bool:
        """Whether no choice serves more."""
        return self.assignment.served >= self.bound_served

    def with_set(self, assignment: Assignment) -> Claim:
        """The same with a better set."""
        return replace(self, assignment=max(self.assignment, assignment, key=lambda one: one.key))


def bound_served(
    claim: Claim, search: Search, *, until: float, again: Callable[[tuple[int, ...]], Assignment]
) -> Claim:
    """Prove that no set serves more, or find one that does.

    First what costs nothing: all that hold anywhere are served; or every pair was counted. Then identical inverters are
    merged, identical and dominated spots dropped, and the rest is bounded by prices, gone through one by one, or given
    to the solver with the demand to serve one more.

    Parameters
    ----------
    claim : Claim
        What is known.
    search : Search
        Its capacity and fixed spots count.
    until : float
        When to stop. [s, of the monotonic clock]
    again : callable
        Betters a set that was found on the way.

    Returns
    -------
    Claim
    """
    matrix, number, fixed = claim.matrix, claim.number, search.fixed
    if claim.settled:
        return claim
    if number == 2 and not fixed:  # noqa: PLR2004  a pair
        pair = best_pair(matrix)
        if pair is not None:
            return replace(claim.with_set(again(pair[0])), bound_served=min(claim.bound_served, pair[1]))
    small = reduced(matrix.holds, keep=fixed, capacity=matrix.limit)
    here = tuple(np.flatnonzero(np.isin(small.spots, fixed)).tolist())
    columns, _ = columns_of(small.holds, np.zeros(small.holds.shape), 1.0)
    columns = replace(columns, worth=small.weight[columns.rows].astype(np.float64))
    smaller = Search(columns=columns, capacity=matrix.limit, fixed=here)
    known = tuple(np.flatnonzero(np.isin(small.spots, claim.assignment.spots)).tolist())
    late = False
    while not claim.settled and not late:
        late = monotonic() > until
        target = claim.assignment.served + 0.5
        outcome = _above(smaller, number=number, target=target, price=smaller.had(known)[1], until=until)
        bound = min(claim.bound_served, int(np.floor(outcome.bound + EQUAL)))
        claim = replace(claim, bound_served=max(bound, claim.assignment.served))
        better = [again(tuple(small.spots[list(spots)].tolist())) for spots in outcome.sets[:5]]
        if not better:
            break
        claim = claim.with_set(max(better, key=lambda one: one.key))
        claim = replace(claim, bound_served=max(claim.bound_served, claim.assignment.served))
        known = outcome.sets[0]
        if claim.assignment.served < target:
            break
    return claim


def bound_expected(claim: Claim, search: Search, *, bonus: float, left_out: float, until: float) -> Claim:
    """Prove that no set that serves as many has a greater expected number, or find one that does.

    Both numbers in one: an inverter that holds is worth so much more that serving one fewer never pays. So much is
    what the expected number could still grow by: far less than the number of inverters, which keeps the bounds tight.

    Parameters
    ----------
    claim : Claim
        What is known.
    search : Search
        Worths with a bonus for holding.
    bonus : float
        That bonus.
    left_out : float
        What an inverter may be worth more than the search says. [-]
    until : float
        When to stop. [s, of the monotonic clock]

    Returns
    -------
    Claim
    """
    matrix, assignment = claim.matrix, claim.assignment
    if assignment.expected_served >= claim.bound_expected - EQUAL:
        return claim
    few = _all_that_serve_as_many(claim, search, bonus=bonus, until=monotonic() + 0.3 * (until - monotonic()))
    if few is not None:
        best = max([assignment, *few], key=lambda one: one.key)
        return replace(claim, assignment=best, bound_expected=best.expected_served, proven_worst=True)
    slack = left_out * len(matrix.holds)
    work = _with_bonus(search, bonus, 0.0)
    alone = bound_of(
        work.columns,
        at_most=claim.number,
        target=assignment.expected_served,
        price=work.had(assignment.spots)[1],
        until=monotonic() + 0.2 * (until - monotonic()),
        fixed=search.fixed,
        capacity=search.capacity,
        rounds=200 if monotonic() < until else 3,
    )
    claim = replace(
        claim, bound_expected=max(assignment.expected_served, min(claim.bound_expected, alone.worth + slack))
    )
    if monotonic() > until:
        return claim
    smaller_bonus = 1.001 + claim.bound_expected - assignment.expected_served
    work = _with_bonus(search, bonus, smaller_bonus)
    while True:
        has = smaller_bonus * claim.assignment.served + claim.assignment.expected_served
        outcome = _above(
            work,
            number=claim.number,
            target=has - EQUAL,
            price=work.had(claim.assignment.spots)[1],
            until=until,
            enough=has + PROVEN / 2.0,
        )
        bound = min(claim.bound_expected, outcome.bound + slack - smaller_bonus * claim.assignment.served)
        ties = [matrix.assigned(spots) for spots in outcome.sets]
        before = claim.assignment
        best = max([before, *ties], key=lambda one: one.key)
        claim = replace(
            claim,
            assignment=best,
            bound_expected=max(bound, best.expected_served) if best.served == before.served else claim.bound_expected,
            bound_served=max(claim.bound_served, best.served),
            proven_worst=outcome.complete and not left_out,
        )
        if best.expected_served <= before.expected_served + PROVEN / 2.0 or outcome.complete or monotonic() > until:
            return claim


def better_worst(claim: Claim, *, fixed: tuple[int, ...], until: float) -> Claim:
    """Better the worst margin where every inverter has its very best chance anyway.

    Then any set will do that gives everyone a spot as good as the best, and the question is how high the least margin
    can be: the p-center problem. The answer is one of the margins; each trial asks for a cover by so many spots
    (bisection, as by E. Minieka 1970).

    Parameters
    ----------
    claim : Claim
        What is known; returned as it is where not everyone has the best chance, or there is a limit per gateway.
    fixed : tuple of int
        Spots that are always chosen.
    until : float
        When to stop. [s, of the monotonic clock]

    Returns
    -------
    Claim
    """
    matrix, assignment = claim.matrix, claim.assignment
    best = matrix.reliability.max(axis=1)
    missing = float(best.sum(dtype=np.float64)) - assignment.expected_served
    if claim.proven_worst or matrix.limit or missing > EQUAL or not claim.settled or monotonic() > until:
        return claim
    held = np.asarray(matrix.holds.any(axis=1))
    as_good = (matrix.reliability >= best[:, None] - EQUAL / (2.0 * len(best))) & (matrix.holds | ~held[:, None])
    margin_db = np.where(as_good, np.nan_to_num(matrix.margin_db, nan=-np.inf), -np.inf)
    tries = np.unique(margin_db[margin_db > assignment.worst_margin_db])
    # nobody's worst can be above the best margin of the inverter that has the worst best
    tries = tries[tries <= margin_db.max(axis=1).min()]
    low, high = -1, len(tries)
    while high - low > 1:
        middle = (low + high) // 2
        found = cover(margin_db >= tries[middle], at_most=claim.number, fixed=fixed, time_limit_s=until - monotonic())
        if found is None:
            return claim
        if found:
            low = middle
            claim = claim.with_set(matrix.assigned(found))
        else:
            high = middle
    return replace(claim, proven_worst=True)


def _all_that_serve_as_many(claim: Claim, search: Search, *, bonus: float, until: float) -> list[Assignment] | None:
    """Every set that serves as many where that is proven the most, not everyone, and there are few such sets."""
    matrix = claim.matrix
    everyone = int(np.count_nonzero(matrix.holds.any(axis=1)))
    if not claim.settled or claim.assignment.served == everyone or monotonic() > until:
        return None
    held = search.columns.worth >= bonus
    columns = only_entries(search.columns, held)
    target = claim.assignment.served - 0.5
    bound = bound_of(
        columns,
        at_most=claim.number,
        target=target,
        price=replace(search, columns=columns).had(claim.assignment.spots)[1],
        until=until,
        fixed=search.fixed,
        capacity=search.capacity,
    )
    if len(bound.able) * columns.inverters > MOST_CELLS:
        return None
    most = MOST_TIES // (10 if search.capacity else 1)  # to seat everybody takes a while
    sets = sets_worth(
        columns, bound, at_most=claim.number, target=target, until=until, fixed=search.fixed, most_sets=most
    )
    return [matrix.assigned(spots) for spots in sets.sets] if sets.complete else None


def _with_bonus(search: Search, bonus: float, other: float) -> Search:
    """The same search with another bonus for holding."""
    worth = search.columns.worth.copy()
    worth[worth >= bonus] -= bonus - other
    return replace(search, columns=replace(search.columns, worth=worth))


@dataclass(frozen=True, kw_only=True)
class _Outcome:
    """A bound on every set, sets found that may reach the target, and whether these are all."""

    bound: float
    sets: tuple[tuple[int, ...], ...]
    complete: bool


def _above(
    search: Search, *, number: int, target: float, price: FloatArray, until: float, enough: float | None = None
) -> _Outcome:
    """Look for sets worth the target: by prices, then one by one, then by the solver.

    A bound below `enough`, where given, is as good as one below the target: the solver need not get any lower.
    """
    columns, fixed = search.columns, search.fixed
    bound = bound_of(
        columns,
        at_most=number,
        target=target,
        price=np.zeros(columns.inverters) if number == 1 else price,
        until=monotonic() + 0.5 * (until - monotonic()),
        fixed=fixed,
        capacity=search.capacity,
    )
    if bound.worth < target:
        return _Outcome(bound=bound.worth, sets=(), complete=True)
    if len(bound.able) * columns.inverters > MOST_CELLS:
        return _Outcome(bound=bound.worth, sets=(), complete=False)
    most = MOST_TIES if search.capacity or enough is not None else 50
    sets = sets_worth(
        columns,
        bound,
        at_most=min(number, max(len(bound.able), len(fixed))),
        target=target,
        until=monotonic() + (0.4 if number <= TRIPLES else 0.15) * (until - monotonic()),
        fixed=fixed,
        most_sets=most,
    )
    reached: list[tuple[float, tuple[int, ...]]] = []
    half = monotonic() + 0.5 * (until - monotonic())
    for one in sets.sets[:most]:
        reached.append((search.had(one)[0], one))
        if monotonic() > half or (enough is None and search.capacity and reached[-1][0] >= target):
            break
    complete = sets.complete and len(reached) == len(sets.sets)
    reached.sort(reverse=True)
    good = tuple(one for worth, one in reached if worth >= target)
    top = max((worth for worth, _ in reached), default=-np.inf)
    if complete:
        return _Outcome(bound=max(top, target) if good else target - 2.0 * EQUAL, sets=good, complete=True)
    if (enough is None and good) or (enough is not None and bound.worth <= enough):
        return _Outcome(bound=bound.worth, sets=good, complete=False)
    solved = best_set(
        columns.dense(bound.able),
        at_most=number,
        at_least=max(target, top),
        no_more=bound.worth,
        time_limit_s=until - monotonic(),
        fixed=tuple(np.flatnonzero(np.isin(bound.able, fixed)).tolist()),
        capacity=search.capacity,
    )
    if solved.spots is not None:
        good = (tuple(bound.able[list(solved.spots)].tolist()), *good)
    elif solved.bound < max(target, top) and good:
        solved = replace(solved, bound=top)
    return _Outcome(bound=solved.bound, sets=good, complete=False)
