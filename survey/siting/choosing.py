"""At most so many gateways that serve the most: a good answer first, then its proof."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from time import monotonic

import numpy as np

from survey.siting.choice import EQUAL, Assignment, Choice
from survey.siting.columns import Columns, columns_of
from survey.siting.matrix import CoverageMatrix
from survey.siting.proof import Claim, better_worst, bound_expected, bound_served
from survey.siting.search import Search, best_pair

Report = Callable[[str], None]
"""Called with a few words on what is being done."""


def choose(
    matrix: CoverageMatrix,
    *,
    at_most: int,
    fixed: Sequence[int] = (),
    thrifty: bool = True,
    time_limit_s: float = 60.0,
    progress: Report | None = None,
) -> Choice:
    """Choose at most so many spots that serve the most inverters.

    Most that hold; then the greatest expected number served; then fewer gateways; then the best worst margin. The last
    two change places where `thrifty` is false.

    Parameters
    ----------
    matrix : CoverageMatrix
        One inverter or more, at one spot or more.
    at_most : int
        Gateways, those at fixed spots included.
    fixed : sequence of int
        Spots that have a gateway in any case.
    thrifty : bool
        Whether a gateway is left out that brings no more than a better worst margin.
    time_limit_s : float
        When the proof ends, whether it is done or not. The good answer comes before it and never waits for it. [s]
    progress : callable, optional
        Report what is being done.

    Returns
    -------
    Choice
        Also where nothing holds anywhere: then the least bad. Its bounds are those of `at_most` gateways.

    Raises
    ------
    ValueError
        Where a reliability is no chance, or no number of gateways fits.

    Examples
    --------
    Three inverters, three spots: no single spot serves all, the first and the last together do.

    >>> reliability = np.array([[0.99, 0.5, 0.0], [0.99, 0.99, 0.97], [0.0, 0.6, 0.98]])
    >>> matrix = CoverageMatrix(reliability=reliability, margin_db=10.0 * reliability, required=0.95)
    >>> found = choose(matrix, at_most=2)
    >>> found.chosen, found.served, found.proven, found.gateway_of.tolist()
    ((0, 2), 3, True, [0, 0, 2])
    """
    solver = _solver(matrix, fixed=fixed, at_most=at_most, progress=progress)
    began = monotonic()
    until = began + time_limit_s
    best: list[Assignment] = []
    for number in solver.numbers(at_most):
        best.append(solver.good(number, best[-1] if best else None, until=began + 0.5 * time_limit_s))
    claim = solver.prove(at_most, best[-1], until=until)
    enough = next((one for one in best if _as_good(one, claim.assignment, thrifty=thrifty)), claim.assignment)
    claim = solver.with_fewer(claim, enough, until=until)
    return solver.choice(claim, monotonic() - began)


def choose_each(
    matrix: CoverageMatrix,
    *,
    at_most: int,
    fixed: Sequence[int] = (),
    thrifty: bool = True,
    time_limit_s: float = 60.0,
    progress: Report | None = None,
) -> Iterator[Choice]:
    """Choose for every number of gateways from the first possible to `at_most`, each with its proof.

    Parameters and errors are those of `choose`; the time that is left is shared among the numbers still to come.

    Yields
    ------
    Choice
        For one gateway (or as many as are fixed), for two, and so on; another gateway never serves fewer. Where one
        more brings nothing, fewer are chosen than could be.
    """
    solver = _solver(matrix, fixed=fixed, at_most=at_most, progress=progress)
    ends = monotonic() + time_limit_s
    before: Assignment | None = None
    numbers = list(solver.numbers(at_most))
    for k, number in enumerate(numbers):
        began = monotonic()
        until = began + max(0.0, ends - began) / (len(numbers) - k)
        claim = solver.prove(number, solver.good(number, before, until=(began + until) / 2.0), until=until)
        if before is not None and _as_good(before, claim.assignment, thrifty=thrifty):
            claim = solver.with_fewer(claim, before, until=until)
        before = claim.assignment
        yield solver.choice(claim, monotonic() - began)


def _as_good(one: Assignment, other: Assignment, *, thrifty: bool) -> bool:
    if not thrifty:
        return one.key >= other.key
    return one.served >= other.served and one.expected_served >= other.expected_served - EQUAL


def _solver(matrix: CoverageMatrix, *, fixed: Sequence[int], at_most: int, progress: Report | None) -> _Solver:
    """Check what is asked and prepare the worths."""
    check_chances(matrix)
    inverters, spots = matrix.shape
    if not 1 <= at_most <= spots:
        raise ValueError(f"at_most is {at_most}; there are {spots} spots")
    if len(set(fixed)) != len(fixed) or len(fixed) > at_most or not all(0 <= j < spots for j in fixed):
        raise ValueError(f"fixed is {list(fixed)}; write at most {at_most} different spots from 0 to {spots - 1}")
    bonus = inverters + 1.0
    columns, left_out = columns_of(matrix.holds, matrix.reliability, bonus)
    return _Solver(
        matrix=matrix, columns=columns, bonus=bonus, left_out=left_out, fixed=tuple(fixed), progress=progress
    )


def check_chances(matrix: CoverageMatrix) -> None:
    """Refuse a matrix of no inverter or no spot, or one with a reliability that is no chance.

    Raises
    ------
    ValueError
        For each of these.
    """
    if not matrix.reliability.size:
        raise ValueError(f"the matrix has the shape {matrix.shape}; an answer needs an inverter and a spot")
    if not (np.min(matrix.reliability) >= 0.0 and np.max(matrix.reliability) <= 1.0):
        raise ValueError("a reliability is no number from 0 to 1")


@dataclass(frozen=True, kw_only=True)
class _Solver:
    """One matrix, and the answers for several numbers of gateways."""

    matrix: CoverageMatrix
    columns: Columns
    bonus: float
    left_out: float
    fixed: tuple[int, ...]
    progress: Report | None

    def numbers(self, at_most: int) -> range:
        return range(max(1, len(self.fixed)), at_most + 1)

    def report(self, text: str) -> None:
        if self.progress is not None:
            self.progress(text)

    @property
    def search(self) -> Search:
        return Search(columns=self.columns, capacity=self.matrix.limit, fixed=self.fixed)

    def good(self, number: int, before: Assignment | None, *, until: float) -> Assignment:
        """A good set of so many spots, never worse than the one before it: greedy, pairs, other starts; then swaps."""
        search = self.search
        starts = [search.grown(before.spots if before else self.fixed, number)]
        if number == 2 and not self.fixed:  # noqa: PLR2004  a pair
            pair = best_pair(self.matrix)
            starts += [pair[0]] if pair else []
        found = [before] if before else []
        starts += search.random_starts(number) if number > max(1, len(self.fixed)) else []
        found += [self.matrix.assigned(search.swapped(start, until=until)) for start in dict.fromkeys(starts)]
        best = max(found, key=lambda one: one.key)
        self.report(f"{number} gateways: {best.served} inverters")
        return best

    def prove(self, number: int, assignment: Assignment, *, until: float) -> Claim:
        """Bound what any other set gives; take a better one where the proof finds it."""
        began = monotonic()
        claim = Claim.without_proof(self.matrix, number, assignment)
        half = began + 0.6 * (until - began)
        claim = bound_served(claim, self.search, until=half, again=lambda one: self._again(one, until=until))
        self.report(
            f"{number} gateways: {claim.assignment.served} inverters, no choice serves more than {claim.bound_served}"
        )
        claim = bound_expected(claim, self.search, bonus=self.bonus, left_out=self.left_out, until=until)
        return better_worst(claim, fixed=self.fixed, until=until)

    def with_fewer(self, claim: Claim, assignment: Assignment, *, until: float) -> Claim:
        """The same claim for a set of fewer spots that is as good; its worst margin is bettered among such sets."""
        if len(assignment.spots) >= len(claim.assignment.spots):
            return claim
        fewer = replace(claim, assignment=assignment, number=len(assignment.spots), proven_worst=False)
        return better_worst(fewer, fixed=self.fixed, until=until)

    def _again(self, spots: tuple[int, ...], *, until: float) -> Assignment:
        """The assignment of a set that the proof found, after swaps."""
        found = [spots, self.search.swapped(spots, until=until)]
        return max((self.matrix.assigned(one) for one in found), key=lambda one: one.key)

    def choice(self, claim: Claim, seconds: float) -> Choice:
        """Put the spots in order: the one whose loss would cost most first."""
        assignment = claim.assignment
        search = self.search

        def left_without(spot: int) -> float:
            return search.had(tuple(other for other in assignment.spots if other != spot))[0]

        return Choice(
            chosen=tuple(sorted(assignment.spots, key=lambda spot: (round(left_without(spot), 6), spot))),
            gateway_of=assignment.gateway_of,
            served=assignment.served,
            expected_served=assignment.expected_served,
            worst_margin_db=assignment.worst_margin_db,
            bound_served=claim.bound_served,
            bound_expected=claim.bound_expected,
            proven_worst=claim.proven_worst and claim.bound_served <= assignment.served,
            seconds=seconds,
        )
