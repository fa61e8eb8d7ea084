"""How long a choice of several gateways takes, with its proof; each run checks its answer by plain adding up.

Run `python -m pytest tests/benchmarks --benchmark-enable -k siting` for figures.
"""

import resource
import sys
from dataclasses import replace

import numpy as np
import pytest

from survey.base.probability import chance_above
from survey.siting import CoverageMatrix
from survey.siting.choosing import choose
from survey.siting.fewest import fewest


def field(*, inverters, spots, extent_m, walls, exponent, seed=1):
    """Invented links in single precision: inverters anywhere, spots on a grid, upright walls that cost 8 dB each."""
    rng = np.random.default_rng(seed)
    starts_m = rng.uniform(0.0, extent_m, (inverters, 2))
    side = int(np.ceil(np.sqrt(spots)))
    grid_m = np.linspace(0.0, extent_m, side)
    ends_m = np.stack(np.meshgrid(grid_m, grid_m), axis=-1).reshape(-1, 2)[:spots]
    middles_m = rng.uniform(0.0, extent_m, (walls, 2))
    angles_rad = rng.uniform(0.0, np.pi, walls)
    halves_m = (rng.uniform(0.025, 0.125, walls) * extent_m)[:, None] * np.column_stack(
        [np.cos(angles_rad), np.sin(angles_rad)]
    )
    margin_db = np.empty((inverters, spots), dtype=np.float32)
    reliability = np.empty_like(margin_db)
    for first in range(0, inverters, 100):
        part = slice(first, first + 100)
        apart_m = np.linalg.norm(starts_m[part, None] - ends_m, axis=2)
        level_db = 58.0 - 10.0 * exponent * np.log10(np.maximum(apart_m, 1.0))
        for middle_m, half_m in zip(middles_m, halves_m, strict=True):
            level_db -= 8.0 * crossed(starts_m[part], ends_m, middle_m, half_m)
        margin_db[part] = level_db
        far = level_db < -30.0
        reliability[part] = 0.0
        reliability[part][~far] = chance_above(level_db[~far], 6.0)
    return CoverageMatrix(reliability=reliability, margin_db=margin_db, required=0.95)


def crossed(starts_m, ends_m, middle_m, half_m):
    """Which lines cross one wall in plan."""
    normal = np.array([-half_m[1], half_m[0]])
    length = half_m @ half_m
    side, other = (starts_m - middle_m) @ normal, (ends_m - middle_m) @ normal
    along, further = (starts_m - middle_m) @ half_m / length, (ends_m - middle_m) @ half_m / length
    with np.errstate(divide="ignore", invalid="ignore"):
        share = side[:, None] / (side[:, None] - other)
        place = along[:, None] + share * (further - along[:, None])
    return (np.sign(side)[:, None] != np.sign(other)) & (np.abs(place) <= 1.0)


def check(found, matrix):
    """The figures of a choice by plain adding up, and that one swap never betters a count that is proven."""
    holds, reliability, capacity = matrix.holds, matrix.reliability, matrix.capacity
    chosen = list(found.chosen)
    has = found.gateway_of >= 0
    at = np.where(has, found.gateway_of, 0)
    rows = np.arange(len(holds))
    assert set(at[has].tolist()) <= set(chosen)
    assert (holds[rows, at] & has).sum() == found.served <= found.bound_served
    assert np.sum(reliability[rows, at][has], dtype=float) == pytest.approx(found.expected_served, rel=1e-6)
    if capacity:
        assert np.bincount(at[has]).max() <= capacity
        return
    assert holds[:, chosen].any(axis=1).sum() == found.served
    for out in chosen:
        rest = holds[:, [spot for spot in chosen if spot != out]].any(axis=1)
        swapped = rest.sum() + (holds & ~rest[:, None]).sum(axis=0)
        assert not found.proven_served or swapped.max() <= found.served


SITES = {  # extent, walls: dense, walled and sparse coverage; the shares of links that hold are 0.8, 0.3 and 0.1
    "open": {"extent_m": 80.0, "walls": 0, "exponent": 2.7},
    "walled": {"extent_m": 80.0, "walls": 60, "exponent": 2.4},
    "wide": {"extent_m": 300.0, "walls": 60, "exponent": 2.4},
}


@pytest.mark.parametrize("size", ["small", "commercial"])
@pytest.mark.parametrize("number", [2, 3])
@pytest.mark.parametrize("site", SITES)
def test_choose(benchmark, site, number, size):
    """400 inverters and 2,000 spots, the optimum proven; small: 60 and 150."""
    if size == "commercial" and benchmark.disabled:
        pytest.skip("the large size runs with --benchmark-enable only")
    inverters, spots = (400, 2_000) if size == "commercial" else (60, 150)
    matrix = field(inverters=inverters, spots=spots, **SITES[site])
    found = benchmark.pedantic(choose, (matrix,), {"at_most": number}, rounds=1)
    check(found, matrix)
    assert found.proven


@pytest.mark.parametrize("size", ["small", "commercial"])
def test_choose_with_a_limit_per_gateway(benchmark, size):
    if size == "commercial" and benchmark.disabled:
        pytest.skip("the large size runs with --benchmark-enable only")
    inverters, spots = (400, 2_000) if size == "commercial" else (60, 150)
    matrix = field(inverters=inverters, spots=spots, **SITES["walled"])
    matrix = replace(matrix, capacity=inverters // 3)
    found = benchmark.pedantic(choose, (matrix,), {"at_most": 3}, rounds=1)
    check(found, matrix)
    assert found.proven_served


@pytest.mark.parametrize("times", [1, 2])
@pytest.mark.parametrize("size", ["small", "commercial"])
def test_fewest(benchmark, size, times):
    if size == "commercial" and benchmark.disabled:
        pytest.skip("the large size runs with --benchmark-enable only")
    inverters, spots = (400, 2_000) if size == "commercial" else (60, 150)
    matrix = field(inverters=inverters, spots=spots, **SITES["wide"])
    found = benchmark.pedantic(fewest, (matrix,), {"times": times}, rounds=1)
    able = np.delete(matrix.holds, found.unservable, axis=0)
    assert (able[:, list(found.chosen)].sum(axis=1) >= times).all()
    assert found.bound <= len(found.chosen) <= found.bound + 1
    assert not (np.delete(matrix.holds, found.unservable, axis=0).sum(axis=1) < times).any()


@pytest.mark.parametrize("size", ["small", "field"])
def test_choose_on_a_large_field(benchmark, size):
    """5,000 inverters and 10,000 spots, sparse: the best within the time limit, with its gap, in less than 2 GiB."""
    if size == "field" and benchmark.disabled:
        pytest.skip("the large size runs with --benchmark-enable only")
    inverters, spots = (5_000, 10_000) if size == "field" else (300, 400)
    matrix = field(
        inverters=inverters, spots=spots, extent_m=2_000.0 if size == "field" else 400.0, walls=10, exponent=2.9
    )
    asked = {"at_most": 10, "time_limit_s": 60.0 if size == "field" else 5.0}
    found = benchmark.pedantic(choose, (matrix,), asked, rounds=1)
    check(found, matrix)
    benchmark.extra_info.update(served=found.served, gap=found.gap, share_that_holds=float(matrix.holds.mean()))
    if size == "field":
        assert found.gap <= 0.1 * found.served
        if sys.platform == "linux":
            assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss < 2 * 1024**2, "in KiB"
