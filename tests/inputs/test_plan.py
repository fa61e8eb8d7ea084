"""What a plan stands for: inverters of arrays, points of searches, sheets of modules, and whose figures win."""

import tomllib

import numpy as np
import pytest
from plans import ALSO_ALLOWED, WHOLE_PLAN, array, changed, entry, search, wall

from survey.base.errors import EntryError
from survey.inputs.plan import Array, Search
from survey.inputs.plan_file import plan_of
from survey.inputs.slab import SUBSTANCES, slab_loss_db
from survey.scene import scene_of


def parsed(text):
    return plan_of(tomllib.loads(text), file="yard.toml")


# ------------------------------------------------------------------------------------------ what arrays expand to

# The array of the interface's plan. Rows run east, so the slope rises to the north: a row further is 1.8 cos 15 =
# 1.738666 m north and 1.8 sin 15 = 0.465874 m higher; the eighth inverter is 7 x 2.3 = 16.1 m east of the first.
WORKED_ARRAY = {
    "N-1-1": (2.0, 14.0, 3.2),
    "N-1-8": (18.1, 14.0, 3.2),
    "N-2-1": (2.0, 15.738666, 3.665874),
    "N-2-8": (18.1, 15.738666, 3.665874),
}


def test_the_array_of_the_interface_worked_by_hand():
    (block, _) = parsed(WHOLE_PLAN + ALSO_ALLOWED).arrays
    at_m = dict(zip(block.inverter_names(), block.positions_m().tolist(), strict=True))
    assert len(at_m) == 16
    assert list(at_m)[:9] == ["N-1-1", "N-1-2", "N-1-3", "N-1-4", "N-1-5", "N-1-6", "N-1-7", "N-1-8", "N-2-1"]
    for name, position in WORKED_ARRAY.items():
        assert at_m[name] == pytest.approx(position, abs=1e-6), name


# Facing along the bearing, the slope rises to the left: facing north to the west, facing south to the east, facing west
# to the south. At 60 degrees a slope of 2 m is 1 m across and root 3 = 1.732051 m up.
LEFT = [
    (0.0, (0.0, 3.0, 0.0), (-1.0, 0.0, 1.732051)),
    (90.0, (3.0, 0.0, 0.0), (0.0, 1.0, 1.732051)),
    (180.0, (0.0, -3.0, 0.0), (1.0, 0.0, 1.732051)),
    (270.0, (-3.0, 0.0, 0.0), (0.0, -1.0, 1.732051)),
    (-90.0, (-3.0, 0.0, 0.0), (0.0, -1.0, 1.732051)),
    (45.0, (2.121320, 2.121320, 0.0), (-0.707107, 0.707107, 1.732051)),
]


@pytest.mark.parametrize(("bearing_deg", "along", "up"), LEFT)
def test_rows_run_along_the_bearing_and_the_slope_rises_to_its_left(bearing_deg, along, up):
    block = Array(
        name="b",
        first=(10.0, 20.0),
        height_m=5.0,
        bearing_deg=bearing_deg,
        rows=2,
        per_row=2,
        spacing_m=3.0,
        row_spacing_m=2.0,
        tilt_deg=60.0,
    )
    first = np.array([10.0, 20.0, 5.0])
    expected = [first, first + along, first + up, first + along + up]
    assert block.positions_m() == pytest.approx(np.array(expected), abs=1e-6)
    assert block.inverter_names() == ["b-1-1", "b-1-2", "b-2-1", "b-2-2"]


def test_the_module_rows_of_the_interfaces_plan_worked_by_hand():
    """Half a spacing (1.15 m) at each end; 0.88 m down and up the slope: 0.850015 m across, 0.227761 m in height."""
    scene = scene_of(parsed(WHOLE_PLAN))
    (block,) = scene.plan.arrays
    row = np.array([[0.85, -0.850015, -0.227761], [19.25, -0.850015, -0.227761]])
    row = np.vstack([row, row[::-1] * [1.0, -1.0, -1.0]])
    first, second = (np.array(row.corners) for row in block.module_rows())
    assert first == pytest.approx(row + np.array([0.0, 14.0, 3.3]), abs=1e-6)
    assert second == pytest.approx(row + np.array([0.0, 15.738666, 3.765874]), abs=1e-6)
    modules = [one.name for one in scene.obstacles.entries if one.kind == "modules"]
    assert modules == ["N modules 1", "N modules 2"]


def test_an_array_without_modules_is_in_nobodys_way():
    scene = scene_of(parsed(changed(more=array())))
    assert scene.inverters.names == ("N-1-1", "N-1-2", "i1")
    assert len(scene.obstacles) == 0


# ----------------------------------------------------------------------------------------- what searches expand to


def test_a_search_along_a_line_names_its_points_by_where_they_are():
    plan = parsed(WHOLE_PLAN)
    (fence,) = plan.searches
    names = fence.spot_names()
    assert len(names) == 2 * 21
    assert names[0] == "south fence/0.00,0.00,1.50"
    assert names[3] == "south fence/3.00,0.00,1.50", "the example of the interface"
    assert names[20:22] == ["south fence/20.00,0.00,1.50", "south fence/0.00,0.00,3.00"]
    assert scene_of(plan).spots.names[1:] == tuple(names), "spots first, then searches"


def test_a_search_along_a_line_keeps_its_step_round_the_corners():
    line = Search(name="s", along=((0.0, 0.0), (2.0, 0.0), (2.0, 3.0)), heights_m=(1.0,), step_m=1.5)
    assert line.positions_m() == pytest.approx(np.array([[0, 0, 1], [1.5, 0, 1], [2, 1, 1], [2, 2.5, 1]]))


def test_a_search_along_a_line_reaches_its_end_where_the_step_fits():
    line = Search(name="s", along=((0.0, 0.0), (0.3, 0.0)), heights_m=(1.0,), step_m=0.1)
    assert line.spot_names() == ["s/0.00,0.00,1.00", "s/0.10,0.00,1.00", "s/0.20,0.00,1.00", "s/0.30,0.00,1.00"]


def test_a_search_in_an_area_has_the_points_on_its_edge():
    triangle = Search(name="s", within=((0.0, 0.0), (2.0, 0.0), (0.0, 2.0)), heights_m=(1.0,), step_m=1.0)
    assert sorted(map(tuple, triangle.positions_m()[:, :2].tolist())) == [
        (0, 0),
        (0, 1),
        (0, 2),
        (1, 0),
        (1, 1),
        (2, 0),
    ]


def test_a_search_in_an_area_leaves_out_what_a_corner_cuts_away():
    """An L of five squares: of the 16 points of its grid only (2, 2), (2, 3), (3, 2) and (3, 3) lie outside."""
    ell = ((0.0, 0.0), (3.0, 0.0), (3.0, 1.0), (1.0, 1.0), (1.0, 3.0), (0.0, 3.0))
    found = Search(name="s", within=ell, heights_m=(1.0,), step_m=1.0).positions_m()
    outside = {(2.0, 2.0), (2.0, 3.0), (3.0, 2.0), (3.0, 3.0)}
    assert {tuple(point) for point in found[:, :2].tolist()} == {(x, y) for x in range(4) for y in range(4)} - outside
    assert len(found) == 12


def test_a_search_worked_out_a_few_columns_at_a_time_is_the_same(monkeypatch):
    area = Search(name="s", within=((0.0, 0.0), (7.0, 1.0), (5.0, 6.0)), heights_m=(1.0, 2.0), step_m=0.5)
    whole = area.positions_m()
    monkeypatch.setattr("survey.inputs.plan.spots.MOST_SEARCH_POINTS", 30)
    assert area.positions_m().tolist() == whole.tolist()


def test_a_search_has_no_point_twice():
    back = Search(name="s", along=((0.0, 0.0), (1.0, 0.0), (0.0, 0.0)), heights_m=(1.5, 1.5, 1.4999), step_m=0.5)
    assert back.spot_names() == ["s/0.00,0.00,1.50", "s/0.50,0.00,1.50", "s/1.00,0.00,1.50"]


def test_a_name_never_has_a_minus_before_a_zero():
    line = Search(name="s", along=((-0.001, 0.0), (0.001, 0.0)), heights_m=(-0.004,), step_m=1.0)
    assert line.spot_names() == ["s/0.00,0.00,0.00"]


# ------------------------------------------------------------------------------------------------------ whose wins


def ends_of(text):
    scene = scene_of(parsed(text))
    return {
        name: (power, gain, loss, need)
        for ends in (scene.inverters, scene.gateways_and_spots)
        for name, power, gain, loss, need in zip(
            ends.names,
            ends.tx_power_dbm.tolist(),
            ends.antenna_gain_dbi.tolist(),
            ends.loss_db.tolist(),
            ends.need_dbm.tolist(),
            strict=True,
        )
    }


def test_radio_figures_of_its_own_win_and_the_others_stay_common():
    """Power, gain, mounting and cable loss together, and sensitivity plus noise rise."""
    found = ends_of(WHOLE_PLAN + ALSO_ALLOWED)
    assert found["N-1-1"] == found["S1"] == (8.0, 0.0, 6.0, -94.0)
    assert found["office"] == found["switchboard"] == found["south fence/0.00,0.00,1.50"] == (10.0, 2.0, 0.0, -96.0)
    for name in ("own array-1-1", "own inverter", "own gateway", "own spot"):
        assert found[name] == (5.0, 1.0, 3.0, -86.0), name


def test_one_figure_of_its_own_leaves_the_rest_as_they_are():
    found = ends_of(changed(more=search(along="[[0, 0], [1, 0]]", cable_loss_db=2.5)))
    assert found["s/0.00,0.00,1.50"] == (10.0, 0.0, 2.5, -98.0)
    assert found["office"] == (10.0, 0.0, 0.0, -98.0)


def test_a_loss_of_its_own_wins_over_the_materials_and_so_does_a_spread():
    obstacles = scene_of(parsed(WHOLE_PLAN + ALSO_ALLOWED)).obstacles
    found = {
        name: (loss, spread)
        for name, loss, spread in zip(
            obstacles.names, obstacles.loss_db.tolist(), obstacles.spread_db.tolist(), strict=True
        )
    }
    assert found["own wall"] == (12.0, 1.0), "both its own, the material says 30 and 6"
    assert found["own box"] == (15.0, 0.0), "no material at all"
    slab_db = float(slab_loss_db(SUBSTANCES["concrete"], thickness_m=0.2, frequency_mhz=2440.0)[0])
    assert found["own roof"] == (pytest.approx(slab_db, abs=1e-9), 5.0), (
        "the loss of its material, a spread of its own; the material says 2"
    )


def test_a_loss_of_its_own_keeps_the_spread_of_its_material():
    own = entry("material", name='"mesh"', loss_db=9, spread_db=4)
    obstacles = scene_of(parsed(changed(more=own + wall(material='"mesh"', loss_db=2)))).obstacles
    assert (obstacles.loss_db.tolist(), obstacles.spread_db.tolist()) == ([2.0], [4.0])


def test_a_search_takes_an_area_of_up_to_200_corners():
    def corners(count):
        angles = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
        return tuple(zip((50.0 * np.cos(angles)).tolist(), (50.0 * np.sin(angles)).tolist(), strict=True))

    assert len(Search(name="s", within=corners(200), heights_m=(2.0,), step_m=50.0).positions_m()) > 0
    with pytest.raises(EntryError, match="holds 201 points; write 3 to 200 points"):
        Search(name="s", within=corners(201), heights_m=(2.0,), step_m=50.0)


def test_the_grid_over_an_area_is_counted_by_hand_wherever_it_lies():
    """20 by 10 m in steps of 0.5 m: 41 times 21 points, half of them in the triangle; along a line there is no grid."""
    for x, y in ((0.0, 0.0), (100.0, -40.0)):
        triangle = ((x, y), (x + 20.0, y), (x, y + 10.0))
        search = Search(name="s", within=triangle, heights_m=(2.0,), step_m=0.5)
        assert search.grid_points == 41 * 21
        assert len(search.positions_m()) <= search.most_points < 41 * 21
    line = Search(name="s", along=((100.0, 0.0), (120.0, 0.0)), heights_m=(2.0, 3.0), step_m=0.5)
    assert line.grid_points == 0
    assert line.most_points == len(line.positions_m()) == 2 * 41
