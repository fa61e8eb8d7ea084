"""How long the ways around take where nearly every line is blocked; each run checks its answer.

Run `python -m pytest tests/benchmarks/test_around_benchmark.py --benchmark-enable` for figures.
"""

import numpy as np
import pytest
import scenes

from survey.budget import links_between
from survey.scene import scene_of

SIZES = {
    "small": {"inverters": 10, "spots": 30, "sheets": 12, "extent_m": 30.0},
    "commercial": {"inverters": 400, "spots": 2_000, "sheets": 150, "extent_m": 120.0},
}
"""The second is the commercial size; one spot of `EVERY` is worked out."""
EVERY = {"small": 1, "commercial": 40}


def steel(size):
    return scene_of(scenes.random_site(**SIZES[size], material="welded steel"))


def skip_large(benchmark, size):
    if size == "commercial" and benchmark.disabled:
        pytest.skip("the large size runs with --benchmark-enable only")


@pytest.mark.parametrize("size", SIZES)
def test_links_behind_steel(benchmark, size):
    """Links alone, and from their other end, are what they are among all others."""
    skip_large(benchmark, size)
    scene = steel(size)
    spots = scene.spots.pick(slice(None, None, EVERY[size]))
    found = benchmark.pedantic(links_between, (scene, scene.inverters, spots), rounds=1)
    blocked = np.argwhere(found.straight_db >= 60.0)
    assert len(blocked) > 0.4 * found.straight_db.size
    for i, j in np.random.default_rng(5).permutation(blocked)[:25].tolist():
        inverter, spot = scene.inverters.pick([i]), spots.pick([j])
        assert links_between(scene, inverter, spot).path_loss_db[0, 0] == found.path_loss_db[i, j], "alone"
        back = links_between(scene, spot, inverter)
        assert back.path_loss_db[0, 0] == pytest.approx(found.path_loss_db[i, j], abs=1e-6), "swapped"
