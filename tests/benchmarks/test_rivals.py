"""Embree, where the extra `bench` has it: what it says of the small scene is what the kernel says."""

import numpy as np
import pytest
import scenes
from rivals import LOSS_DB, bare_embree, embree_through_trimesh

from survey.geometry import crossings
from survey.scene import scene_of


@pytest.mark.filterwarnings("ignore")  # the ray tracers' own
@pytest.mark.parametrize("rival", [bare_embree, embree_through_trimesh])
def test_crossings_of_the_small_scene_are_those_that_embree_finds(benchmark, rival):
    pytest.importorskip("embreex")
    pytest.importorskip("trimesh")
    plan = scenes.small()
    scene = scene_of(plan)
    starts_m, ends_m = scene.inverters.at_m, scene.spots.at_m
    losses_db = benchmark(rival(plan), starts_m, ends_m)
    met = crossings(starts_m, ends_m, scene.sheets)
    counts = np.bincount(met.start * len(ends_m) + met.end, minlength=len(losses_db))
    assert np.array_equal(losses_db, LOSS_DB * counts)
