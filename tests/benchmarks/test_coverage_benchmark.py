"""How long a coverage grid takes; each run checks its answer.

Run `python -m pytest tests/benchmarks/test_coverage_benchmark.py --benchmark-enable` for figures, and this file itself
for the table of docs/speed.md.
"""

import time

import numpy as np
import pytest
from places import SITES

from survey.budget import links_between
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
    """200 points of the grid have the margin that their links have alone."""
    found = benchmark.pedantic(over, (site, place, 3_600 if benchmark.disabled else FINE), rounds=1)
    row, column = np.random.default_rng(7).integers(0, found.margin_db.shape, (200, 2)).T
    scene = found.scene
    at_m = np.column_stack([found.x_m[column], found.y_m[row], found.heights_m[row, column]])
    alone = links_between(scene, radios_at(scene.plan, scene.plan.radio.inverter, at_m), found.gateways)
    off_db = np.abs(alone.margin_db[:, 0] - found.margin_db[row, column])
    assert np.all(off_db == 0.0)
    assert np.any(alone.straight_db > 20.0)


def table():
    """Lines of docs/speed.md: time by the clock and processor time of a grid."""
    for site, place in PLACES:
        start_s, start_cpu_s = time.perf_counter(), time.process_time()
        found = over(site, place, FINE)
        seconds = time.perf_counter() - start_s, time.process_time() - start_cpu_s
        holds = 100.0 * np.mean(found.certainty >= found.wanted_certainty)
        yield f"| {site} | {place} | {seconds[0]:.1f} | {seconds[1]:.1f} | {holds:.2f} % |"


if __name__ == "__main__":
    for line in table():
        print(line, flush=True)
