"""What moves by itself along what it stands on or at, by a figure of its own: as far as no slit opens."""

import numpy as np
import pytest

from survey.budget import links_between
from survey.inputs.plan_file import parse_text, plan_of
from survey.output.export.sheets import sheets_text
from survey.scene import pieces_of, scene_of
from survey.scene.own_moves import face_axes

HEAD = """plan_version = 1
[site]
name = "yard"
[radio]
frequency_mhz = 868.0
[radio.inverter]
tx_power_dbm = 10.0
antenna_gain_dbi = 0.0
sensitivity_dbm = -100.0
mounting_loss_db = 6.0
[radio.gateway]
tx_power_dbm = 10.0
antenna_gain_dbi = 0.0
sensitivity_dbm = -100.0

[[building]]
name = "hall"
corner = [0.0, 0.0]
length_m = 20.0
width_m = 10.0
bearing_deg = 90.0
eaves_m = 5.0
wall_material = "welded steel"

[[inverter]]
name = "i"
at = [5.0, 5.0]
height_m = 2.0
"""
LEAN_TO = """
[[building]]
name = "lean-to"
against = "hall/south wall"
depth_m = 3.0
length_m = 6.0
left_m = 1.0
eaves_m = 2.5
roof = "mono-pitch"
pitch_deg = 10.0
wall_material = "welded steel"
drawn_within_m = 0.5
"""
ON_IT = """
[[array]]
name = "A"
on = "lean-to/roof"
rows = 1
per_row = 3
spacing_m = 1.5
drawn_within_m = 0.2

[[spot]]
name = "s"
on = "lean-to/south wall"
up_m = 1.5
"""


def pieces(text):
    return pieces_of(scene_of(plan_of(parse_text(HEAD + text, "yard"), file="yard")))


def own(found, name):
    """The piece by which a thing moves by itself; -1 for none."""
    return next((k for k, one in enumerate(found.names) if one == name), -1)


def obstacle_moves_m(found, deviates, name):
    offsets_m = found.offsets_m(deviates)
    rows = [k for k, one in enumerate(found.scene.obstacles.names) if one.startswith(f"{name}/")]
    return offsets_m[found.obstacle[rows]].sum(axis=1)


def test_a_joined_building_slides_along_its_wall_and_what_is_on_it_slides_with_it():
    found = pieces(LEAN_TO + ON_IT)
    lean_to, array = own(found, "lean-to"), own(found, "A")
    deviates = np.zeros((len(found), 3))
    deviates[lean_to] = 1.0
    deviates[array] = [1.0, 0.0, 0.0]
    moved_m = obstacle_moves_m(found, deviates, "lean-to")
    assert moved_m == pytest.approx(np.tile([0.25, 0.0, 0.0], (len(moved_m), 1)))
    assert not obstacle_moves_m(found, deviates, "hall").any()
    scene = found.scene
    spots = found.moved_ends(scene.spots, found.of_ends(scene.spots, end="gateway"), deviates)
    assert spots.at_m - scene.spots.at_m == pytest.approx(np.array([[0.25, 0.0, 0.0]]))
    inverters = found.moved_ends(scene.inverters, found.of_ends(scene.inverters, end="inverter"), deviates)
    off_m = inverters.at_m - scene.inverters.at_m
    assert np.ptp(off_m[:3], axis=0) == pytest.approx(np.zeros(3))
    assert abs(off_m[0, 0]) == pytest.approx(0.35), "0.25 m with the lean-to and 0.1 m by itself"
    assert not off_m[3].any(), "the inverter inside the hall"


def test_with_the_hall_it_moves_as_before():
    found = pieces(LEAN_TO)
    deviates = np.zeros((len(found), 3))
    deviates[0] = 1.0
    assert np.allclose(obstacle_moves_m(found, deviates, "lean-to"), 0.05)
    assert np.allclose(obstacle_moves_m(found, deviates, "hall"), 0.05)


def test_it_ends_with_its_wall():
    found = pieces(LEAN_TO)
    deviates = np.zeros((len(found), 3))
    deviates[own(found, "lean-to"), 0] = -8.0  # 2 m, but the wall ends 1 m to its left
    assert obstacle_moves_m(found, deviates, "lean-to")[0] == pytest.approx([-1.0, 0.0, 0.0])
    deviates *= -1.0
    assert obstacle_moves_m(found, deviates, "lean-to")[0] == pytest.approx([1.0, 0.0, 0.0]), "four standard deviations"


@pytest.mark.parametrize(
    "change",
    [
        ("length_m = 6.0\nleft_m = 1.0\n", ""),
        ('eaves_m = 2.5\nroof = "mono-pitch"\npitch_deg = 10.0', "eaves_m = 6.0"),
        ("drawn_within_m = 0.5", "drawn_within_m = 0.0"),
    ],
    ids=["it takes the whole wall", "it has a wall of its own above the other", "it is exact"],
)
def test_where_it_would_open_a_slit_it_does_not_slide(change):
    old, new = change
    assert old in LEAN_TO
    assert own(pieces(LEAN_TO.replace(old, new)), "lean-to") == -1


def test_nor_where_it_touches_something_else():
    fence = (
        '\n[[wall]]\nname = "fence"\nmaterial = "welded steel"\nalong = [[7.0, -2.0], [12.0, -2.0]]\nheight_m = 2.0\n'
    )
    assert own(pieces(LEAN_TO), "lean-to") >= 0
    assert own(pieces(LEAN_TO + fence), "lean-to") == -1


@pytest.mark.parametrize("seed", range(4))
def test_nothing_gets_out_of_the_lean_to_however_it_slides(seed):
    inside = '\n[[spot]]\nname = "in"\ninside = "lean-to"\nup_m = 1.2\n'
    inside += '\n[[spot]]\nname = "out"\nat = [4.0, -20.0]\nheight_m = 3.0\n'
    found = pieces(LEAN_TO + inside)
    deviates = np.zeros((len(found), 3))
    deviates[own(found, "lean-to")] = 3.0 * np.random.default_rng(seed).standard_normal(3)
    scene = found.scene
    near = found.moved_ends(scene.spots, found.of_ends(scene.spots, end="gateway"), deviates)
    links = links_between(
        found.moved(deviates),
        found.moved_ends(scene.inverters, found.of_ends(scene.inverters, end="inverter"), deviates),
        near,
    )
    assert links.obstacle_loss_db[0, 0] > 45.0, "from the hall into the lean-to"
    assert links.obstacle_loss_db[0, 1] > 45.0, "and out of the hall"


@pytest.mark.parametrize(
    ("text", "axes"),
    [
        ('on = "hall/roof"\nleft_m = 5.0\nup_m = 4.0\n', [[1, 0, 0], [0, 1, 0]]),
        ('beside = "hall/south wall"\ngap_m = 1.0\n', [[1, 0, 0]]),
    ],
    ids=["on a roof both ways", "beside a wall along it"],
)
def test_a_box_moves_along_what_it_is_on_or_beside(text, axes):
    box = '\n[[box]]\nname = "b"\nmaterial = "welded steel"\nlength_m = 2.0\nwidth_m = 1.0\nheight_m = 1.0\n'
    box += f"drawn_within_m = 0.3\n{text}"
    found = pieces(box)
    number = own(found, "b")
    assert found.axes[number][found.spread_m[number] > 0].round(9).tolist() == axes
    assert found.spread_m[number][found.spread_m[number] > 0] == pytest.approx(0.15)


@pytest.mark.parametrize(("corner", "moves"), [("[3.0, 3.0]", True), ("[0.1, 3.0]", False)])
def test_a_building_on_a_roof_stays_over_it(corner, moves):
    """The other corner is 10 cm from the roof's edge, and 0.3 m are four standard deviations of 0.15 m."""
    house = (
        f'\n[[building]]\nname = "stairs"\non = "hall/roof"\ncorner = {corner}\nlength_m = 3.0\nwidth_m = 2.0\n'
        'eaves_m = 2.5\nwall_material = "welded steel"\ndrawn_within_m = 0.15\n'
    )
    assert (own(pieces(house), "stairs") >= 0) is moves


WALL = """
[[wall]]
name = "w"
material = "welded steel"
along = [[30.0, 0.0], [30.0, 6.0]]
height_m = 3.0
drawn_within_m = 0.4
opening = [{ name = "gate", width_m = 2.0, height_m = 2.0 }]

[[box]]
name = "c"
material = "welded steel"
centre = [40.0, 0.0]
length_m = 6.0
width_m = 3.0
height_m = 3.0
drawn_within_m = 0.6
opening = [{ on = "north side", name = "door", width_m = 1.0, height_m = 2.0, material = "glass 6 mm" }]
"""


def test_walls_and_boxes_with_openings_keep_what_they_are_drawn_within_also_as_loose_sheets():
    found = pieces(WALL)
    for one in (found, pieces_of(scene_of(plan_of(parse_text(sheets_text(found.scene.plan), "yard"), file="yard")))):
        spread_m = {
            name.partition("/")[0]: one.spread_m[k, 0]
            for name, k in zip(one.scene.obstacles.names, one.obstacle[:, 0], strict=True)
        }
        assert spread_m["w"] == pytest.approx(0.2)
        assert spread_m["c"] == pytest.approx(0.3)


def test_a_building_keeps_what_it_is_drawn_within_as_loose_sheets():
    text = HEAD.replace('wall_material = "welded steel"', 'wall_material = "welded steel"\ndrawn_within_m = 0.7')
    plan = plan_of(parse_text(text, "yard"), file="yard")
    again = pieces_of(scene_of(plan_of(parse_text(sheets_text(plan), "yard"), file="yard")))
    assert again.spread_m[again.obstacle[0, 0]] == pytest.approx(0.35)


@pytest.mark.parametrize("normal", [(0.0, 0.0, 1.0), (0.6, 0.0, 0.8), (0.0, -1.0, 0.0)])
def test_the_axes_of_a_face_are_square_to_each_other_and_the_first_is_level(normal):
    """Along it, up it and square to it; a level face has no direction of its own and takes that of x."""
    along, up, out = face_axes(np.array(normal))
    assert np.array([along, up, out]) @ np.array([along, up, out]).T == pytest.approx(np.eye(3))
    assert np.cross(along, up) == pytest.approx(normal)
    assert along[2] == 0.0
    assert up[2] >= 0.0
    assert normal != (0.0, 0.0, 1.0) or along.tolist() == [1.0, 0.0, 0.0]
