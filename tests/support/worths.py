"""Small tables of worth for tests of the solvers, and their answers by brute force."""

from itertools import combinations

import numpy as np
from hypothesis import strategies as st


@st.composite
def tables(draw, *, most_inverters=9, most_spots=7):
    """What each inverter is worth at each spot: holding (10) and its chance, in tenths, so that many are equal."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    inverters, spots = draw(st.integers(1, most_inverters)), draw(st.integers(1, most_spots))
    reliability = np.round(rng.random((inverters, spots)), 1)
    return reliability >= draw(st.sampled_from([0.3, 0.6, 0.8])), reliability


def sets_of(spots, number, fixed=()):
    """Every set of so many of some spots that has the fixed ones in it."""
    return [one for one in combinations(range(spots), number) if set(fixed) <= set(one)]


def best_sum(worth, capacity):
    """The greatest sum with each inverter at one column at most, by trying everything."""
    best = 0.0
    places = [0] * worth.shape[1]

    def follow(inverter, total):
        nonlocal best
        if inverter == len(worth):
            best = max(best, total)
            return
        follow(inverter + 1, total)
        for column, value in enumerate(worth[inverter]):
            if np.isfinite(value) and (not capacity or places[column] < capacity):
                places[column] += 1
                follow(inverter + 1, total + value)
                places[column] -= 1

    follow(0, 0.0)
    return best
