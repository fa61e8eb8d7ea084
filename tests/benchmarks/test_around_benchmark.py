"""How long the ways around take where nearly every line is blocked; each run checks its answer.

Run `python -m pytest tests/benchmarks/test_around_benchmark.py --benchmark-enable` for figures.
"""

from dataclasses import replace

import numpy as np
import pytest
import scenes
import shapely

from survey.budget import links_between
from survey.geometry import SIDES, Crossings, crossings, footprints_of, leg_crossings, lines_between, strings_around
from survey.geometry.plain import EDGE_M, ON_SHEET_M
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


@pytest.mark.parametrize("size", SIZES)
def test_legs_against_few_sheets(benchmark, size):
    """Legs from anywhere to anywhere: what plain testing of all legs against all sheets finds, no leg differing."""
    skip_large(benchmark, size)
    scene, rng = steel(size), np.random.default_rng(3)
    count, extent_m = (2_000, 40_000)[size == "commercial"], SIZES[size]["extent_m"]
    starts_m = np.column_stack([rng.uniform(0.0, extent_m, (count, 2)), rng.uniform(0.0, 6.0, count)])
    ends_m = starts_m + rng.normal(0.0, extent_m / 5.0, (count, 3)) * [1.0, 1.0, 0.05]
    ends_m[::20, :2] = starts_m[::20, :2]  # straight up
    beside_m = np.where(rng.random(len(scene.sheets)) < 0.5, 1.0, EDGE_M)
    footprints = footprints_of(scene.sheets, beside_m)
    stands = (rng.random(count) < 0.5, rng.random(count) < 0.5)
    found = benchmark(
        leg_crossings, starts_m, ends_m, scene.sheets, footprints=footprints, beside_m=beside_m, stands=stands
    )
    plain = plain_legs(starts_m, ends_m, scene.sheets, beside_m, stands)
    assert len(plain[0]) > 0
    assert len(plain[1]) > 0
    for one, other in zip(found, plain, strict=True):
        order = np.lexsort((other.sheet, other.start))
        assert np.array_equal(one.leg, other.start[order])
        assert np.array_equal(one.sheet, other.sheet[order])
        assert np.allclose(one.inside_m, other.inside_m[order], atol=1e-9)


def plain_legs(starts_m, ends_m, sheets, beside_m, stands):
    """What lines given one by one cross, and what they miss by little: every line against every sheet."""
    found = [(np.zeros(0, dtype=np.int64),) * 2 + (np.zeros(0),) * 2]
    for k in range(len(sheets) if len(starts_m) else 0):
        side_1 = starts_m @ sheets.normal[k] - sheets.offset_m[k]
        side_2 = ends_m @ sheets.normal[k] - sheets.offset_m[k]
        line = np.flatnonzero((side_1 > 0) != (side_2 > 0))
        if not len(line):
            continue
        one, other = side_1[line], side_2[line]
        inside_1 = starts_m[line] @ sheets.edge_normal[k].T - sheets.edge_offset_m[k]
        inside_2 = ends_m[line] @ sheets.edge_normal[k].T - sheets.edge_offset_m[k]
        share = one / (one - other)
        inside_m = np.min(inside_1 + share[:, None] * (inside_2 - inside_1), axis=1)
        met = inside_m >= -beside_m[k]
        on_1 = (np.abs(one) <= ON_SHEET_M) & np.all(inside_1 >= -ON_SHEET_M, axis=1)
        on_2 = (np.abs(other) <= ON_SHEET_M) & np.all(inside_2 >= -ON_SHEET_M, axis=1)
        on_1 &= stands[0][line]
        on_2 &= stands[1][line]
        met &= ~on_1 & ~on_2
        found.append((line[met], np.full(int(met.sum()), k), share[met], inside_m[met]))
    line, sheet, fraction, inside_m = (np.concatenate(column) for column in zip(*found, strict=True))
    every = Crossings(line, line, sheet, fraction, inside_m)
    missed = every.inside_m < -EDGE_M
    return every.pick(~missed), every.pick(missed)


def strings_in_plan(seed):
    """Walls 60 m tall, all ends at 30 m: strings, the plan's walls, and how often each string says it meets one."""
    plan = scenes.random_site(inverters=20, spots=30, sheets=15, extent_m=40.0, seed=seed, material="welded steel")
    scene = scene_of(replace(plan, obstacles=tuple(replace(wall, height_m=60.0) for wall in plan.obstacles)))
    starts_m, ends_m = scene.inverters.at_m.copy(), scene.spots.at_m.copy()
    starts_m[:, 2] = ends_m[:, 2] = 30.0
    met = crossings(starts_m, ends_m, scene.sheets)
    lines = lines_between(starts_m[met.start], ends_m[met.end])
    near = (np.arange(len(met)), scene.screens.of_sheet[met.sheet], np.ones(len(met), dtype=bool))
    strings = strings_around(lines, near, screens=scene.screens, sheets=scene.sheets, wavelength_m=0.123)
    walls = shapely.linestrings([wall.along for wall in plan.obstacles])
    return strings, walls, np.bincount(strings.met_string, minlength=len(strings))


def crossed_in_plan(strings, k, walls):
    """How often the legs of a string cross walls, and where each leg heads."""
    legs_m = strings.legs_m[k][~np.isnan(strings.legs_m[k, :, 0, 0])][..., :2]
    headings_rad = np.unwrap(np.arctan2(*(legs_m[:, 1] - legs_m[:, 0]).T[::-1]))
    return int(shapely.intersects(shapely.linestrings(legs_m)[:, None], walls).sum()), headings_rad


@pytest.mark.parametrize("seed", [1, 4])
def test_strings_meet_what_shapely_says(seed):
    """What a string past the sides still crosses in plan is what it says it met, and it always turns the same way."""
    strings, walls, said = strings_in_plan(seed)
    sideways = np.flatnonzero(strings.side >= SIDES.index("left"))
    assert len(sideways) > 500
    assert said.sum() > 0
    for k in sideways.tolist():
        crossed, headings_rad = crossed_in_plan(strings, k, walls)
        assert crossed == said[k]
        towards = -1.0 if strings.side[k] == SIDES.index("left") else 1.0
        assert np.all(towards * np.diff(headings_rad) > 0)


def test_a_string_with_a_grazed_edge_before_its_first_corner_pays_for_what_it_goes_through():
    """Taken for a line that only touches an edge, three strings of this site went through a wall for nothing."""
    strings, walls, said = strings_in_plan(2)
    first_is_grazed = (strings.paths.screen[:, 0] >= 0) & np.isfinite(strings.paths.nu[:, 0])
    paying = np.flatnonzero(first_is_grazed & strings.paths.corners.any(axis=1) & (said > 0))
    assert len(paying) == 3
    assert [crossed_in_plan(strings, k, walls)[0] for k in paying.tolist()] == said[paying].tolist()
