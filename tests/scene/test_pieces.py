"""What moves as one, and that a site moved by shifting arrays is the site of a plan written so."""

from dataclasses import replace

import numpy as np
import pytest
from yards import box, yard

from survey.budget import links_between
from survey.inputs.plan import Array, Attached, Box, Foliage, Inverter, Roof, Search, Site, Spot, Wall
from survey.propagation.around.bodies import SHORT_M
from survey.propagation.around.of_scene import bodies_of_scene
from survey.scene import pieces_of, scene_of
from survey.scene.contacts import JOINED_M, nearest_sheet, touching
from survey.scene.pieces import ISO_WIDTH_M


def wall(name, *along, **more):
    return Wall(**{"name": name, "material": "steel cladding", "along": along, "height_m": 3.0, **more})


def site(*obstacles, inverters=(), spots=(), within_m=0.1, **more):
    plan = yard(
        [(50.0, 50.0)],
        [(60.0, 60.0)],
        obstacles=tuple(obstacles),
        site=Site(name="yard", drawn_within_m=within_m),
        **more,
    )
    plan = replace(plan, inverters=(*plan.inverters, *inverters), spots=(*plan.spots, *spots))
    return scene_of(plan)


def piece(pieces, name):
    """The piece of an obstacle, or of an inverter or a spot."""
    names = pieces.scene.obstacles.names
    if name in names:
        return int(pieces.obstacle[names.index(name), 0])
    return next(of[0] for (_, entry), of in pieces.entries.items() if entry == name)


@pytest.mark.parametrize(("gap_m", "joined"), [(0.0, True), (0.02, True), (0.05, True), (0.07, False)])
def test_loose_sheets_that_meet_move_as_one(gap_m, joined):
    """Two walls end to end, and a wall under a roof: so far apart."""
    for one, other in (
        (wall("a", (0.0, 0.0), (5.0, 0.0)), wall("b", (5.0 + gap_m, 0.0), (5.0 + gap_m, 5.0))),
        (
            wall("a", (0.0, 0.0), (5.0, 0.0)),
            Roof(
                name="b",
                loss_db=20.0,
                corners=tuple((x, y, 3.0 + gap_m) for x, y in ((-1, -1), (6, -1), (6, 1), (-1, 1))),
            ),
        ),
    ):
        pieces = pieces_of(site(one, other))
        assert (piece(pieces, "a") == piece(pieces, "b")) is joined


def test_sheets_that_cross_in_their_middle_move_as_one():
    pieces = pieces_of(site(wall("a", (-7.0, 0.0), (9.0, 0.0)), wall("b", (1.3, -6.0), (1.3, 7.0), height_m=2.0)))
    assert piece(pieces, "a") == piece(pieces, "b")


def test_what_counts_as_joined_is_what_paths_around_take_for_closed():
    assert JOINED_M == SHORT_M


@pytest.mark.parametrize(("apart_m", "joined"), [(0.15, True), (0.29, True), (0.35, False)])
def test_points_near_a_sheet_move_with_it(apart_m, joined):
    one = wall("a", (0.0, 0.0), (5.0, 0.0))
    spots = (Spot(name="s", at=(2.0, apart_m), height_m=2.0),)
    inverters = (Inverter(name="i", at=(2.0, -apart_m), height_m=2.0),)
    pieces = pieces_of(site(one, spots=spots, inverters=inverters))
    assert (piece(pieces, "s") == piece(pieces, "a")) is joined
    assert (piece(pieces, "i") == piece(pieces, "a")) is joined


def test_an_array_moves_as_one_with_the_roof_that_most_of_it_lies_on_and_its_modules_with_it():
    roof = Roof(name="roof", loss_db=20.0, corners=((0, 0, 3), (20, 0, 3), (20, 8, 3), (0, 8, 3)))
    far = Roof(name="far", loss_db=20.0, corners=((20.2, 0, 3), (30, 0, 3), (30, 8, 3), (20.2, 8, 3)))
    array = Array(name="A", first=(11.0, 2.0), height_m=3.17, per_row=8, spacing_m=1.5, module_depth_m=1.0)
    plan = site(roof, far, *array.module_rows(), arrays=(array,))
    pieces = pieces_of(plan)
    assert piece(pieces, "A") == piece(pieces, "roof") == piece(pieces, "A modules 1") != piece(pieces, "far")
    of = pieces.of_ends(plan.inverters, end="inverter")
    assert set(of[:8, 0]) == {piece(pieces, "A")}


def test_points_of_a_search_move_with_what_each_of_them_stands_at():
    search = Search(name="line", along=((1.0, 0.2), (1.0, 4.2)), heights_m=(2.0,), step_m=2.0)
    plan = site(wall("a", (0.0, 0.0), (5.0, 0.0)), searches=(search,))
    pieces = pieces_of(plan)
    of = pieces.of_ends(plan.spots, end="gateway")[1:, 0].tolist()
    assert of == [piece(pieces, "a"), piece(pieces, "line"), piece(pieces, "line")]


def test_what_the_plan_says_is_carried_moves_with_its_carrier():
    scene = site(box("shed", (0.0, 0.0)), spots=(Spot(name="mast", at=(0.0, 9.0), height_m=6.0),))
    assert piece(pieces_of(scene), "mast") != piece(pieces_of(scene), "shed")
    object.__setattr__(scene.plan, "attached", {"mast": Attached(carrier="shed", face="shed/top")})
    assert piece(pieces_of(scene), "mast") == piece(pieces_of(scene), "shed")


def test_its_own_tolerance_wins_and_a_container_by_the_standard_keeps_its_height():
    plan = site(
        wall("exact", (0.0, 0.0), (5.0, 0.0), drawn_within_m=0.0),
        wall("paced", (0.0, 10.0), (5.0, 10.0), drawn_within_m=0.3),
        wall("tape", (0.0, 20.0), (5.0, 20.0)),
        Box(name="iso", loss_db=40.0, centre=(30.0, 0.0), length_m=6.058, width_m=ISO_WIDTH_M, height_m=2.591),
        Box(name="tank", loss_db=40.0, centre=(30.0, 9.0), length_m=6.0, width_m=2.4, height_m=2.6),
    )
    pieces = pieces_of(plan)
    spreads_m = {name: pieces.spread_m[piece(pieces, name)].tolist() for name in plan.obstacles.names}
    assert spreads_m == {
        "exact": [0.0, 0.0, 0.0],
        "paced": [0.15] * 3,
        "tape": [0.05] * 3,
        "iso": [0.05, 0.05, 0.0],
        "tank": [0.05] * 3,
    }


def test_what_is_fixed_to_a_wall_moves_by_itself_only_along_it():
    spots = (Spot(name="s", at=(2.0, 0.1), height_m=2.0, drawn_within_m=0.5),)
    scene = site(wall("a", (0.0, 0.0), (5.0, 0.0)), spots=spots)
    pieces = pieces_of(scene)
    deviates = np.random.default_rng(1).standard_normal((len(pieces), 3))
    of = pieces.of_ends(scene.spots, end="gateway")
    off_m = pieces.moved_ends(scene.spots, of, deviates).at_m - scene.spots.at_m
    wall_m = pieces.offsets_m(deviates)[piece(pieces, "a")]
    assert off_m[1, 1] == pytest.approx(wall_m[1])  # no nearer to the wall
    assert np.all(np.abs(off_m[1] - wall_m)[[0, 2]] > 1e-3)


def test_a_moved_site_is_that_of_a_plan_written_so():
    """Every obstacle a piece of its own; the oracle reads a plan with the moved figures."""
    hedge = Foliage(name="hedge", footprint=((8, -6), (10, -6), (10, 6), (8, 6)), height_m=2.0, base_m=0.5)
    roof = Roof(name="roof", loss_db=15.0, corners=((20, -5, 4), (26, -5, 4), (26, 5, 5), (20, 5, 5)))
    things = (wall("a", (4.0, -5.0), (5.0, 5.0), base_m=0.5, height_m=2.0), box("b", (14.0, 0.0)), hedge, roof)
    near, far = Inverter(name="near", at=(0.0, 1.0), height_m=1.6), Spot(name="far", at=(32.0, 0.5), height_m=2.2)
    scene = site(*things, inverters=(near,), spots=(far,))
    pieces = pieces_of(scene)
    deviates = np.random.default_rng(3).standard_normal((len(pieces), 3))
    by_m = {
        name: pieces.offsets_m(deviates)[piece(pieces, name)]
        for name in ("a", "b", "hedge", "roof", "i0", "near", "s0", "far")
    }
    by_m["b"][2] = 0.0  # it stands on the ground
    deviates[piece(pieces, "b"), 2] = 0.0

    def shifted(point, name):
        return tuple((np.array(point) + by_m[name][: len(point)]).tolist())

    a, b, hedge, roof = (next(one for one in things if one.name == name) for name in ("a", "b", "hedge", "roof"))
    plan = scene.plan
    written = replace(
        plan,
        obstacles=(
            replace(a, along=tuple(shifted(p, "a") for p in a.along), base_m=a.base_m + by_m["a"][2]),
            replace(b, centre=shifted(b.centre, "b")),
            replace(
                hedge, footprint=tuple(shifted(p, "hedge") for p in hedge.footprint), base_m=0.5 + by_m["hedge"][2]
            ),
            replace(roof, corners=tuple(shifted(p, "roof") for p in roof.corners)),
        ),
        inverters=tuple(
            replace(one, at=shifted(one.at, one.name), height_m=one.height_m + by_m[one.name][2])
            for one in plan.inverters
        ),
        spots=tuple(
            replace(one, at=shifted(one.at, one.name), height_m=one.height_m + by_m[one.name][2]) for one in plan.spots
        ),
    )
    oracle = scene_of(written)
    expected = links_between(oracle, oracle.inverters, oracle.spots)
    found = links_between(
        pieces.moved(deviates),
        pieces.moved_ends(scene.inverters, pieces.of_ends(scene.inverters, end="inverter"), deviates),
        pieces.moved_ends(scene.spots, pieces.of_ends(scene.spots, end="gateway"), deviates),
    )
    assert len(found.crossings)
    assert np.allclose(found.margin_db, expected.margin_db, atol=1e-6)
    assert np.array_equal(found.crossings.sheet, expected.crossings.sheet)


def test_no_move_opens_a_slit():
    """A closed shed whose walls end up to 5 cm under the roof: nothing gets out, however it is moved."""
    corners = [(0.0, 0.0), (8.0, 0.0), (8.0, 6.0), (0.0, 6.0)]
    walls = [wall(f"w{k}", corners[k - 1], corners[k], material=None, loss_db=60.0) for k in range(4)]
    roof = Roof(name="roof", loss_db=60.0, corners=tuple((*corner, 3.045) for corner in corners))
    scene = site(*walls, roof, inverters=(Inverter(name="in", at=(3.0, 2.0), height_m=1.5),), within_m=0.5)
    pieces = pieces_of(scene)
    assert len({piece(pieces, one.name) for one in (*walls, roof)}) == 1
    before = links_between(scene, scene.inverters.pick([1]), scene.spots)
    rng = np.random.default_rng(2)
    for _ in range(20):
        deviates = rng.standard_normal((len(pieces), 3))
        offsets_m = pieces.offsets_m(deviates)[piece(pieces, "roof")]
        near = scene.inverters.pick([1])
        near = replace(near, at_m=near.at_m + offsets_m)  # it stays inside
        far = pieces.moved_ends(scene.spots, pieces.of_ends(scene.spots, end="gateway"), deviates)
        links = links_between(pieces.moved(deviates), near, far)
        assert links.obstacle_loss_db[0, 0] == pytest.approx(before.obstacle_loss_db[0, 0], abs=3.0)


def test_pieces_that_come_to_touch_do_so():
    """Two walls 10 cm apart that move onto each other: the paths around find no gap between them."""
    scene = site(
        wall("a", (0.0, -4.0), (0.0, 0.0), material=None, loss_db=60.0),
        wall("b", (0.0, 0.1), (0.0, 4.0), material=None, loss_db=60.0),
    )
    pieces = pieces_of(scene)
    assert list(touching(scene.sheets)) == []
    deviates = np.zeros((len(pieces), 3))
    deviates[piece(pieces, "a"), 1] = 0.09 / 0.05
    assert bodies_of_scene(scene).touch.tolist() == []
    assert bodies_of_scene(pieces.moved(deviates)).touch.tolist() == [1, 0]


def test_points_are_near_the_nearest_of_sheets():
    scene = site(wall("a", (0.0, 0.0), (5.0, 0.0)), wall("b", (0.0, 0.4), (5.0, 0.4)))
    points_m = np.array([[1.0, 0.1, 1.0], [1.0, 0.25, 1.0], [1.0, 2.0, 1.0]])
    assert nearest_sheet(points_m, scene.sheets).tolist() == [0, 1, -1]
    assert nearest_sheet(points_m, scene.sheets, without=np.array([1])).tolist() == [0, 0, -1]


def test_parts_of_a_thing_move_with_it():
    """A leaf in the opening of a container is called after it, and lies anywhere."""
    scene = site(
        box("A1", (0.0, 0.0)), wall("A1/doors", (9.0, 0.0), (9.0, 2.0)), wall("B/doors", (20.0, 0.0), (20.0, 2.0))
    )
    pieces = pieces_of(scene)
    assert piece(pieces, "A1/doors") == piece(pieces, "A1")
    assert piece(pieces, "B/doors") != piece(pieces, "A1")
