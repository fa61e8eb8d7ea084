"""How long it takes to say how sure a recommendation is; each run checks its answer link by link and draw by draw.

Run `python -m pytest tests/benchmarks/test_draws_benchmark.py --benchmark-enable` for figures.
"""

import numpy as np
import pytest
from places import SITES

from survey.budget import links_between
from survey.decisions.simulation import certainty_of, search_of, spot_runs
from survey.inputs.plan_file import read_plan
from survey.scene import scene_of

SIZES = {"farm": 200, "warehouse": 1_000}
"""Demo sites with how often each is drawn: 40 inverters and 62 spots; 400 inverters and 110 spots."""


@pytest.fixture(scope="module")
def ranked():
    """Links of a demo site to all its spots in an order of the ranking, worked out once."""
    found = {}

    def links_of(site):
        if site not in found:
            scene = scene_of(read_plan(SITES / f"{site}.toml"))
            links = links_between(scene, scene.inverters, scene.spots)
            found[site] = links.to(np.argsort(-links.reliability.sum(axis=0), kind="stable"))
        return found[site]

    return links_of


@pytest.mark.parametrize("site", SIZES)
def test_how_sure(benchmark, ranked, site):
    if site == "warehouse" and benchmark.disabled:
        pytest.skip("the large size runs with --benchmark-enable only")
    links, draws = ranked(site), SIZES[site]
    found = benchmark(certainty_of, links, draws=draws, seed=0)
    assert found.best_share.sum() == pytest.approx(1.0)
    drawn = spot_runs(links, draws=draws, seed=0)
    assert found.mean_served == pytest.approx(drawn.counts.mean(axis=0)), "the same draws, counted otherwise"
    once = links.spread_squared_db2 * links.straight_share < 1e-3
    plain = np.flatnonzero(once.all(axis=0))
    assert len(plain), "spots whose links meet nothing unknown: there the sum of the chances is exact"
    scatter = drawn.counts[:, plain].std(axis=0) / np.sqrt(draws)
    assert np.all(np.abs(found.mean_served - links.reliability.sum(axis=0))[plain] <= 5.0 * scatter + 0.01)


@pytest.mark.parametrize("site", SIZES)
def test_the_unknown_that_matters_most(benchmark, ranked, site):
    if site == "warehouse" and benchmark.disabled:
        pytest.skip("the large size runs with --benchmark-enable only")
    links = ranked(site)
    found = benchmark(search_of, links)
    assert "steel cladding" in found.tried
    assert found.nearest is None or found.nearest.spreads <= 2.0
