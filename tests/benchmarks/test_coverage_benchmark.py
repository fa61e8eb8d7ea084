"""How long a coverage grid takes, told by neighbours and worked out at every point; each run checks its answer.

Run `python -m pytest tests/benchmarks/test_coverage_benchmark.py --benchmark-enable` for figures, and this file itself
for the table of docs/speed.md.
"""

import sys
import time

import numpy as np
import pytest
from places import SITES

from survey.budget import coverage, links_between
from survey.budget.coverage import chosen_gateways, coverage_of
from survey.inputs.plan_file import read_plan
from survey.output.pictures import field_m
from survey.scene import radios_at, scene_of

PLACES = [
    ("farm", "office"),
    ("farm", "roller door"),
    ("house", "behind the shed"),
    ("warehouse", "switch room"),
    ("warehouse", "stair house mast"),
    ("warehouse", "gatehouse"),
    ("warehouse", "chiller panel"),
]
FINE = 40_000


def over(site, place, points):
    scene = scene_of(read_plan(SITES / f"{site}.toml"))
    return coverage_of(scene, chosen_gateways(scene, (place,)), area_m=field_m(scene), points=points)


@pytest.mark.parametrize(("site", "place"), PLACES)
def test_a_grid_of_points(benchmark, site, place):
    """Of 200 points of the grid nearly all have the margin that their links have alone."""
    found = benchmark.pedantic(over, (site, place, 3_600 if benchmark.disabled else FINE), rounds=1)
    row, column = np.random.default_rng(7).integers(0, found.margin_db.shape, (200, 2)).T
    scene = found.scene
    at_m = np.column_stack([found.x_m[column], found.y_m[row], np.full(200, found.height_m)])
    alone = links_between(scene, radios_at(scene.plan, scene.plan.radio.inverter, at_m), found.gateways)
    off_db = np.abs(alone.margin_db[:, 0] - found.margin_db[row, column])
    assert np.mean(off_db <= 0.5) >= 0.98
    assert np.any(alone.straight_db > 20.0)


def table():
    """Lines of docs/speed.md: processor time of a grid told by neighbours, and of one worked out at every point."""
    fewest = coverage.ALL_POINTS
    for site, place in PLACES:
        seconds, found = [], []
        for coverage.ALL_POINTS in (sys.maxsize, fewest):
            start_s = time.process_time()
            found.append(over(site, place, FINE))
            seconds.append(time.process_time() - start_s)
        whole, told = found
        off_db = np.abs(whole.margin_db - told.margin_db)
        holds, holds_told = (np.mean(one.certainty >= one.wanted_certainty) for one in found)
        cells = [
            site,
            place,
            f"{seconds[0]:.1f}",
            f"{seconds[1]:.1f}",
            f"{100 * told.told_share:.0f} %",
            *(f"{100 * np.mean(off_db > limit_db):.2f} %" for limit_db in (0.5, 3.0)),
            f"{100 * holds:.2f} %",
            f"{100 * holds_told:.2f} %",
        ]
        yield f"| {' | '.join(cells)} |"


if __name__ == "__main__":
    for line in table():
        print(line, flush=True)
