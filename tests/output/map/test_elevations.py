"""A site from its sides: left and right, near and far, what hides what, and heights behind names."""

from pathlib import Path

import numpy as np
import pytest
from plans import MINIMAL, array, entry, wall

from survey.inputs.plan_file import parse_text, plan_of
from survey.output import pictures
from survey.output.map.elevations import VIEWS, hidden_from, labels_from, named_in, seen_from, with_heights
from survey.scene import scene_of

SOUTH, EAST, NORTH, WEST = VIEWS


def site(more=""):
    return scene_of(plan_of(parse_text(MINIMAL + more, "plan.toml"), file="plan.toml", folder=Path()))


BOTH = wall(name='"near"', along="[[0, -5], [20, -5]]", height_m=3) + wall(
    name='"far"', along="[[0, 5], [20, 5]]", height_m=4
)


def test_the_farthest_comes_first_from_either_side():
    scene = site(BOTH)
    assert [one.obstacle.name for one in seen_from(scene, SOUTH)] == ["far", "near"]
    assert [one.obstacle.name for one in seen_from(scene, NORTH)] == ["near", "far"]


def test_a_wall_seen_from_its_end_is_a_line():
    assert [one.is_line for one in seen_from(site(BOTH), EAST)] == [True, True]
    assert [one.is_line for one in seen_from(site(BOTH), SOUTH)] == [False, False]


@pytest.mark.parametrize(("height_m", "hidden"), [(2.9, True), (3.1, False)])
def test_what_stands_behind_a_wall_is_hidden_and_what_stands_higher_is_not(height_m, hidden):
    scene = site(BOTH)
    at_m = np.array([[10.0, 0.0, height_m]])
    assert hidden_from(SOUTH, seen_from(scene, SOUTH), at_m).tolist() == [hidden]
    assert hidden_from(NORTH, seen_from(scene, NORTH), at_m).tolist() == [True], "the other wall is 4 m high"
    assert hidden_from(EAST, seen_from(scene, EAST), at_m).tolist() == [False]


def test_a_device_is_named_where_it_is_seen_and_from_the_south_where_it_never_is():
    box = entry("box", name='"b"', loss_db=3, centre="[0, 0]", length_m=2, width_m=2, height_m=3)
    assert named_in(site(BOTH))["office"] == ("east", "west")
    assert named_in(site(box))["office"] == ("south",)


def test_a_box_behind_a_wall_is_not_named():
    box = entry("box", name='"b"', loss_db=3, centre="[10, 12]", length_m=2, width_m=2, height_m=2)
    scene = site(BOTH + box)
    assert "b, 2" not in {
        one.text for one in labels_from(scene, SOUTH, seen_from(scene, SOUTH), (-5, 25), named_in(scene))
    }
    assert "b, 2" in {one.text for one in labels_from(scene, NORTH, seen_from(scene, NORTH), (-5, 25), named_in(scene))}


def test_an_obstacle_behind_another_is_named_only_where_it_shows():
    scene = site(BOTH.replace("height_m = 4", "height_m = 2"))
    texts = {
        view.name: {one.text for one in labels_from(scene, view, seen_from(scene, view), (-5, 25), named_in(scene))}
        for view in (SOUTH, NORTH)
    }
    assert "near, 3" in texts["south"]
    assert "far, 2" not in texts["south"]
    assert {"near, 3", "far, 2"} <= texts["north"]


def test_arrays_in_one_place_have_one_name_between_them():
    rows = array(name='"A"', first="[0, 20]", per_row=3) + array(name='"B"', first="[0, 30]", per_row=3)
    scene = site(rows)
    texts = [one.text for one in labels_from(scene, SOUTH, [], (-5, 25), named_in(scene))]
    assert "arrays A, B, 3" in texts


@pytest.mark.parametrize(
    ("name", "heights_m", "text"),
    [("wall", [0.0, 2.5], "wall, 2.5"), ("roof", [2.5, 4.0], "roof, 2.5-4"), ("x" * 40, [3.0], 34 * "x" + "…, 3")],
)
def test_heights_stand_behind_names(name, heights_m, text):
    shown = with_heights(name, np.array(heights_m))
    assert shown == text or (len(name) > 30 and len(shown) <= 30 and shown.endswith(", 3"))


def test_the_picture_has_five_parts_a_ground_line_and_west_to_the_left_from_the_south():
    axes = {one.get_label(): one for one in pictures.sides_picture(site(BOTH)).axes}
    assert list(axes) == ["from above", "from the south", "from the east", "from the north", "from the west"]
    rising = {name: one.get_xlim()[0] < one.get_xlim()[1] for name, one in axes.items()}
    assert [rising[f"from the {view.name}"] for view in VIEWS] == [True, True, False, False]
    for view in VIEWS:
        part = axes[f"from the {view.name}"]
        assert any(line.get_gid() == "ground line" for line in part.lines)
        tall_m, wide_m = np.ptp(part.get_ylim()), np.ptp(part.get_xlim())
        assert tall_m < wide_m
