"""How long a recommendation takes; each run checks its answer against plain broadcasting and shapely.

Run `python -m pytest tests/benchmarks --benchmark-enable -k commercial` for figures.
"""

import numpy as np
import pytest
import scenes
import shapely

from survey.budget import links_between
from survey.decisions.placement import place
from survey.geometry import crossings
from survey.scene import scene_of


def plain_counts(starts_m, ends_m, scene):
    """Upright walls crossed by each line: every pair against every sheet, textbook formula, one sheet at a time."""
    counts = np.zeros((len(starts_m), len(ends_m)), dtype=int)
    for wall in scene.plan.obstacles:
        (ax, ay), (bx, by) = wall.along
        d = ends_m[None] - starts_m[:, None]
        across = (by - ay) * d[..., 0] - (bx - ax) * d[..., 1]
        with np.errstate(divide="ignore", invalid="ignore"):
            t = ((by - ay) * (ax - starts_m[:, None, 0]) - (bx - ax) * (ay - starts_m[:, None, 1])) / across
            x, y = starts_m[:, None, 0] + t * d[..., 0], starts_m[:, None, 1] + t * d[..., 1]
            u = ((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / ((bx - ax) ** 2 + (by - ay) ** 2)
            z = starts_m[:, None, 2] + t * d[..., 2]
        counts += (t >= 0) & (t <= 1) & (u >= 0) & (u <= 1) & (z >= 0) & (z <= wall.height_m)
    return counts


@pytest.mark.parametrize("size", ["small", "commercial"])
def test_crossings(benchmark, size):
    if size == "commercial" and benchmark.disabled:
        pytest.skip("the large size runs with --benchmark-enable only")
    scene = scene_of(getattr(scenes, size)())
    starts_m, ends_m = scene.inverters.at_m, scene.spots.at_m
    met = benchmark(crossings, starts_m, ends_m, scene.sheets)
    counts = np.zeros((len(starts_m), len(ends_m)), dtype=int)
    np.add.at(counts, (met.start, met.end), 1)
    assert np.array_equal(counts, plain_counts(starts_m, ends_m, scene)), "no link may differ"


def test_small_scene_agrees_with_shapely_in_plan():
    """Walls made endlessly tall, so that only the plan counts; shapely 2 as the oracle."""
    plan = scenes.random_site(inverters=30, spots=200, sheets=20, extent_m=40.0)
    scene = scene_of(plan)
    starts_m, ends_m = scene.inverters.at_m.copy(), scene.spots.at_m.copy()
    starts_m[:, 2] = ends_m[:, 2] = 0.5
    met = crossings(starts_m, ends_m, scene.sheets)
    counts = np.zeros((len(starts_m), len(ends_m)), dtype=int)
    np.add.at(counts, (met.start, met.end), 1)
    lines = shapely.linestrings([[(s[:2], e[:2]) for e in ends_m] for s in starts_m])
    walls = shapely.linestrings([wall.along for wall in plan.obstacles])
    assert np.array_equal(counts, shapely.intersects(lines[..., None], walls).sum(axis=-1))


def worst_free_db(margin_db):
    """The worst margin at each spot if no wall cost anything, at the better of both directions. [dB]"""
    return (margin_db + (96.0 - 94.0)).min(axis=0)


def whole(scene):
    """A recommendation with all that the command prints of it."""
    placement = place(scene)
    assert placement.certainty.draws == placement.runs.draws
    assert placement.reason
    return placement


@pytest.mark.parametrize("size", ["small", "commercial"])
def test_place(benchmark, size):
    if size == "commercial" and benchmark.disabled:
        pytest.skip("the large size runs with --benchmark-enable only")
    scene = scene_of(getattr(scenes, size)())
    found = benchmark(whole, scene)
    straight_db = 6.0 * plain_counts(scene.inverters.at_m, scene.spots.at_m, scene)
    distance_m = np.linalg.norm(scene.inverters.at_m[:, None] - scene.spots.at_m[None], axis=2)
    margin_db = 8.0 + 2.0 - 6.0 - 20 * np.log10(4 * np.pi * 2440e6 / 299_792_458 * distance_m) - straight_db + 94.0
    margin_db = np.where(distance_m < 1.0, np.nan, margin_db)
    close = ~np.isnan(margin_db).any(axis=0)
    uplink_db = margin_db + (96.0 - 94.0)
    worst_db = np.minimum(uplink_db, margin_db + 2.0).min(axis=0)
    # Paths around the walls add to the direct one, up to all that the walls cost; a grazed edge takes up to 6 dB.
    free_db = worst_free_db(margin_db + straight_db)
    assert np.all(found.scores.worst_margin_db[close] >= worst_db[close] - 6.0)
    assert np.all(found.scores.worst_margin_db[close] <= free_db[close] + 1e-6)


@pytest.mark.parametrize("size", ["small", "middle"])
def test_place_behind_steel(benchmark, size):
    """Walls of steel everywhere: nearly every link needs its ways around. Answers are checked link by link."""
    if size == "middle" and benchmark.disabled:
        pytest.skip("the larger size runs with --benchmark-enable only")
    sizes = {"small": (10, 30, 12, 30.0), "middle": (100, 200, 60, 80.0)}
    inverters, spots, sheets, extent_m = sizes[size]
    plan = scenes.random_site(
        inverters=inverters, spots=spots, sheets=sheets, extent_m=extent_m, material="welded steel"
    )
    scene = scene_of(plan)
    found = benchmark(whole, scene)
    best = int(found.order[0])
    rng = np.random.default_rng(5)
    for i in rng.integers(0, inverters, 5).tolist():
        one = links_between(scene, scene.inverters.pick([i]), scene.spots.pick([best]))
        assert one.margin_db[0, 0] == found.network.links.margin_db[i, 0], "alone or among others, a link is the same"
        ways = [one.straight_db[0, 0], *(way[0, 0] for way in one.around_db if not np.isnan(way[0, 0]))]
        power = sum(10 ** (-way / 10) for way in ways)
        assert one.obstacle_loss_db[0, 0] == pytest.approx(-10 * np.log10(power), abs=1e-9)
