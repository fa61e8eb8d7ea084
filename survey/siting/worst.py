"""The best worst margin among choices that are equal in all else."""

from __future__ import annotations

from dataclasses import replace
from time import monotonic

import numpy as np

from survey.siting.choice import EQUAL
from survey.siting.covering import cover
from survey.siting.proof import Claim


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
