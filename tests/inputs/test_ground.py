"""Sloping ground: its height between the points that were measured, and the heights that count from it."""

import subprocess
import sys
import tomllib

import numpy as np
import pytest
from plans import MINIMAL

from survey.base.errors import PlanError
from survey.inputs.plan.ground import GroundSurface
from survey.inputs.plan_file import plan_of
from survey.output.export.sheets import sheets_text
from survey.scene import scene_of

SLOPE = "\n[[ground]]\npoints = [[0, 0, 1.0], [20, 0, 2.0], [0, 40, 3.0]]\n"
"""It rises by 0.05 to the east and to the north, from 1 m at the zero point."""
ABOVE = '\nheight_above = "ground"\n'
ENTRIES = {
    "spot": ('name = "p"\nat = [10, 20]\n', "height_m", 2.5, 5.0),
    "gateway": ('name = "p"\nat = [-10, 20]\n', "height_m", 2.5, 4.0),
    "inverter": ('name = "p"\nat = [10, 0]\n', "height_m", 0.5, 2.0),
    "array": ('name = "p"\nfirst = [10, 20]\nper_row = 3\nspacing_m = 2\n', "height_m", 1.0, 3.5),
    "box": (
        'name = "p"\ncentre = [10, 20]\nmaterial = "welded steel"\nlength_m = 2\nwidth_m = 1\nheight_m = 1\n',
        "base_m",
        None,
        2.5,
    ),
    "wall": ('name = "p"\nalong = [[20, 0], [20, 9]]\nmaterial = "brick 110 mm"\nheight_m = 2\n', "base_m", 0.5, 2.5),
    "foliage": ('name = "p"\nalong = [[20, 0], [20, 9]]\nwidth_m = 1\nheight_m = 2\n', "base_m", None, 2.0),
    "building": (
        (
            'name = "p"\ncorner = [20, 0]\nlength_m = 5\nwidth_m = 4\nbearing_deg = 90\neaves_m = 3\n'
            'wall_material = "brick 110 mm"\n'
        ),
        "base_m",
        -0.5,
        1.5,
    ),
}
"""By table: an entry, the key of its height, that height above the ground, and by hand above the zero point."""


def read(more):
    return plan_of(tomllib.loads(MINIMAL + more), file="yard.toml")


def told(more):
    with pytest.raises(PlanError) as caught:
        read(more)
    return [str(fault).removeprefix("yard.toml: ") for fault in caught.value.faults]


@pytest.mark.parametrize("table", ENTRIES)
def test_a_height_above_the_ground_is_one_above_the_zero_point(table):
    keys, height, above_m, whole_m = ENTRIES[table]
    written = "" if above_m is None else f"{height} = {above_m}\n"
    one = scene_of(read(f"{SLOPE}\n[[{table}]]\n{keys}{written}{ABOVE}"))
    other = scene_of(read(f"\n[[{table}]]\n{keys}{height} = {whole_m}\n"))
    assert one.inverters.at_m == pytest.approx(other.inverters.at_m)
    assert one.gateways_and_spots.at_m == pytest.approx(other.gateways_and_spots.at_m)
    assert [part.name for part in one.plan.obstacles] == [part.name for part in other.plan.obstacles]
    for part, same in zip(one.plan.obstacles, other.plan.obstacles, strict=True):
        assert np.concatenate(part.faces_m()) == pytest.approx(np.concatenate(same.faces_m()))


def test_each_point_of_a_search_stands_on_the_ground_under_it():
    search = '\n[[search]]\nname = "s"\nalong = [[0, 0], [0, 40]]\nstep_m = 20\nheights_m = [1.5, 2.5]\n'
    (found,) = read(SLOPE + search + ABOVE).searches
    assert found.positions_m()[:, 2] == pytest.approx([2.5, 3.5, 4.5, 3.5, 4.5, 5.5])
    assert found.spot_names()[:2] == ["s/0.00,0.00,2.50", "s/0.00,20.00,3.50"]


def test_a_search_on_sloping_ground_is_written_out_as_spots():
    search = '\n[[search]]\nname = "s"\nwithin = [[0, 0], [4, 0], [4, 4]]\nheights_m = [1.5]\nnote = "n"\n'
    plan = read(SLOPE + search + ABOVE)
    again = plan_of(tomllib.loads(sheets_text(plan)), file="x")
    assert scene_of(again).gateways_and_spots.at_m == pytest.approx(scene_of(plan).gateways_and_spots.at_m)
    assert [spot.name for spot in again.spots] == plan.searches[0].spot_names()


def test_a_box_carries_what_stands_on_it_up_the_slope():
    box = '\n[[box]]\nname = "can"\nsize = "20 ft"\ncentre = [10, 20]\n'
    (spot,) = read(f'{SLOPE}{box}{ABOVE}\n[[spot]]\nname = "p"\non = "can/top"\nmast_m = 1\n').spots
    assert spot.height_m == pytest.approx(2.5 + 2.591 + 1.0)


@pytest.mark.parametrize("count", [3, 4, 30])
def test_points_of_a_plane_give_that_plane(count):
    draw = np.random.default_rng(count)
    flat_m = draw.uniform(-50.0, 50.0, size=(count, 2))
    heights_m = 2.0 + flat_m @ [0.03, -0.11]
    surface = GroundSurface(tuple(map(tuple, np.column_stack([flat_m, heights_m]).tolist())))
    inside_m = draw.dirichlet(np.ones(count), size=100) @ flat_m
    assert surface.height_m(inside_m) == pytest.approx(2.0 + inside_m @ [0.03, -0.11])


def test_the_ground_is_the_linear_interpolation_of_the_library():
    from scipy.interpolate import LinearNDInterpolator  # noqa: PLC0415

    draw = np.random.default_rng(1)
    points_m = draw.uniform(0.0, 30.0, size=(40, 3))
    places_m = draw.uniform(-2.0, 32.0, size=(2000, 2))
    found = GroundSurface(tuple(map(tuple, points_m.tolist()))).height_m(places_m)
    expected = LinearNDInterpolator(points_m[:, :2], points_m[:, 2])(places_m)
    inside = ~np.isnan(expected)
    assert inside.sum() > 1000
    assert found[inside] == pytest.approx(expected[inside], abs=1e-9)
    assert np.isnan(found[~inside]).mean() > 0.98  # others lie within a centimetre of the edge


def test_a_point_that_was_measured_has_its_height():
    points_m = np.random.default_rng(2).uniform(0.0, 30.0, size=(12, 3))
    surface = GroundSurface(tuple(map(tuple, points_m.tolist())))
    assert surface.height_m(points_m[:, :2]) == pytest.approx(points_m[:, 2], abs=1e-9)


SPOT = '\n[[spot]]\nname = "p"\nat = [90, 90]\nheight_m = 2\n' + ABOVE
P = '[[spot]] 1 "p": height_above: '


@pytest.mark.parametrize(
    ("more", "line"),
    [
        (SPOT, f"{P}needs the ground; write a [[ground]] with three points or more"),
        (SLOPE + SPOT.replace('"ground"', '"roof"'), f'{P}"roof" is not known; write "ground"'),
        (
            SLOPE.replace("3.0]]", "3.0], [20, 40, 3.5]]") + SPOT,
            f"{P}90.00, 90.00 is beyond the points of the ground; measure a point beyond it",
        ),
        (
            "\n[[ground]]\npoints = [[0, 0, 1], [9, 9, 2]]\n" + SPOT,
            "[[ground]] 1: points: holds 2 points; measure 3 or more, not on one line",
        ),
        (
            "\n[[ground]]\npoints = [[0, 0, 1], [9, 9, 2], [18, 18, 2]]\n",
            "[[ground]] 1: points: has all its points on one line; measure one beside it",
        ),
        (
            SLOPE + "\n[[ground]]\npoints = [[0, 0, 2]]\n",
            "[[ground]] 2: points: has two points at 0.00, 0.00; write one of them",
        ),
        (
            "\n[[ground]]\npoints = [[0, 0]]\n" + SPOT,
            "[[ground]] 1: points: point 1: holds 2 values; write [x, y, z], numbers from -100000 to 100000",
        ),
        (
            (
                '\n[[wall]]\nname = "w"\nmaterial = "brick 110 mm"\nalong = [[0, 0], [9, 0]]\nheight_m = 2\n'
                f'{SLOPE}\n[[spot]]\nname = "p"\non = "w"\n{ABOVE}'
            ),
            f'{P}means nothing with "on"; leave it out',
        ),
        (
            SLOPE + SPOT.replace("height_m = 2\n", ""),
            '[[spot]] 1 "p": height_m: is missing',
        ),
        (
            SLOPE + SPOT.replace("[90, 90]", "[90]"),
            '[[spot]] 1 "p": at: holds 1 values; write [x, y], numbers from -100000 to 100000',
        ),
    ],
)
def test_what_cannot_be_is_refused_by_one_line(more, line):
    assert told(more) == [line]


def test_a_slope_of_three_points_does_not_load_scipy():
    code = (
        "import sys, tomllib; from survey.inputs.plan_file import plan_of; "
        f"plan_of(tomllib.loads({MINIMAL + SLOPE + SPOT!r}), file='x'); "
        "print([m for m in sys.modules if m.startswith(('scipy', 'survey.inputs.places'))])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_spot_of_the_page_stands_as_high_as_the_page_says():
    """In the triangle of the last three points its shares are 13/24, 5/24 and 1/4: 1.94 m and 3 m."""
    points = "[[0, 0, 0], [30, 0, 0.3], [30, 40, 2.4], [0, 40, 2.0], [15, 20, 0.9]]"
    spot = SPOT.replace("[90, 90]", "[20, 35]").replace("height_m = 2", "height_m = 3")
    assert read(f"\n[[ground]]\npoints = {points}\n{spot}").spots[0].height_m == pytest.approx(4.94, abs=0.005)
