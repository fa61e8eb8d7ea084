"""Out of a closed building that leaks, and around what stands outside: through the one and around the other."""

import dataclasses

import numpy as np
import pytest
from one_link import closed_building, container, excess_db, link, plan, steel, way_db

from survey.budget import links_between, links_of
from survey.budget.explanation import budget_of
from survey.decisions.simulation import Passes, drawn_margins_db, unknowns_of
from survey.inputs.plan import Box, OwnMaterial, Roof, Spot, Wall
from survey.inputs.readings import Readings
from survey.measured.calibration import correction_of, fit
from survey.output.pictures.sections import strings_of
from survey.scene import corrected, scene_of
from survey.scene.correction import Correction

ENDS = ((32.0, 4.0), (6.0, 4.0))
"""An inverter in the open, and a gateway in the middle of a building of 12 by 8 m."""


def outside(y=4.0, x=20.0):
    return container(x, y, bearing_deg=90.0)


def shed(loss_db, *, spread_db=0.0, east=None):
    """The building, every sheet with a spread of its own; its east wall, towards the inverter, perhaps another."""
    sheets = [dataclasses.replace(one, spread_db=spread_db) for one in closed_building(loss_db) if one.name != "wall 1"]
    return [*sheets, *([Wall(name="wall 1", along=((12, 0), (12, 8)), height_m=3.0, loss_db=loss_db,
                             spread_db=spread_db)] if east is None else east)]  # fmt: skip


def through(*obstacles, **more):
    return link(*obstacles, **({"ends": ENDS} | more))


@pytest.mark.parametrize("frequency_mhz", [433.0, 868.0, 2440.0])
@pytest.mark.parametrize("wall_db", [10.0, 12.0, 25.0])
def test_by_hand_the_wall_and_then_the_way_over_the_container(wall_db, frequency_mhz):
    """Each way loses what it loses without the building, and the wall once: to 0.01 dB, whatever the frequency.

    From 20 dB on the walls also reflect: one path leaves by way of a wall inside and misses the container.
    """
    free = through(outside(), frequency_mhz=frequency_mhz)
    found = through(*shed(wall_db), outside(), frequency_mhz=frequency_mhz)
    for way in ("over", "left", "right"):
        assert way_db(found, way) == pytest.approx(way_db(free, way) + wall_db, abs=0.01)
    reflected = 10 ** (-way_db(found, "reflected") / 10) if wall_db >= 20.0 else 0.0
    expected_db = -10 * np.log10(10 ** (-(excess_db(free) + wall_db) / 10) + reflected)
    assert excess_db(found) == pytest.approx(expected_db, abs=0.05)
    straight_db = found.straight_db[0, 0] - found.grazed_db[0, 0]
    assert straight_db == pytest.approx(120.0 + wall_db), "straight through all of it as before"


def test_a_wall_of_known_substance_loses_by_the_angle_of_each_leg():
    """Concrete of 200 mm, 868 MHz, slab by ITU-R P.2040-3: as the straight line meets it without the container."""
    wall = [Wall(name="wall 1", along=((12, 0), (12, 8)), height_m=3.0, material="concrete 200 mm")]
    alone = through(*shed(30.0, east=wall))
    found = through(*shed(30.0, east=wall), outside())
    free = through(outside())
    for way in ("over", "left", "right"):
        assert way_db(found, way) == pytest.approx(way_db(free, way) + alone.straight_db[0, 0], abs=0.4)


def test_out_of_one_building_into_another():
    """Both walls, and the container between the two once."""
    moved = [
        dataclasses.replace(one, name=f"far {one.name}", along=tuple((x + 30.0, y) for x, y in one.along))
        if isinstance(one, Wall)
        else dataclasses.replace(
            one, name=f"far {one.name}", corners=tuple((x + 30.0, y, z) for x, y, z in one.corners)
        )
        for one in closed_building(15.0)
    ]
    ends = ((36.0, 4.0), (6.0, 4.0))
    free = through(outside(), ends=ends)
    found = through(*shed(12.0), *moved, outside(), ends=ends)
    assert excess_db(found) == pytest.approx(excess_db(free) + 12.0 + 15.0, abs=0.1)


def test_another_building_between_is_gone_around_like_a_container():
    other = Box(name="shed", centre=(20.0, 4.0), bearing_deg=90.0, length_m=6.06, width_m=2.44, height_m=2.59,
                loss_db=26.0)  # fmt: skip
    free, found = through(other), through(*shed(12.0), other)
    assert way_db(free, "over") < 20.0, "its two faces cost 52"
    assert excess_db(found) == pytest.approx(excess_db(free) + 12.0, abs=0.3)


def test_a_gateway_in_a_box_that_leaks():
    """No wave bends out of a box, but through its face and over the container it comes: 14 dB and what that costs."""
    box = Box(name="cabin", centre=(6.0, 4.0), bearing_deg=0.0, length_m=3.0, width_m=3.0, height_m=3.0, loss_db=14.0)
    free, found = through(outside()), through(box, outside())
    assert excess_db(found) == pytest.approx(excess_db(free) + 14.0, abs=0.1)


LEAN_TO = Roof(name="lean-to", corners=((12, 0, 2.8), (12, 8, 2.8), (15, 8, 2.3), (15, 0, 2.3)), loss_db=30.0)


@pytest.mark.parametrize(("height_m", "part"), [(2.9, "near its free edge"), (3.4, "near the wall")])
def test_a_lean_to_is_gone_around_though_it_touches_the_building(height_m, part):
    """By hand: through the wall once, and around the lean-to as if it stood alone; 42 dB straight through both.

    No string turns at an edge that lies on a wall, though a weak one lets it: the program loses 1.7 and 5.7 dB more.
    """
    of = {"ends": ((20.0, 4.0), (6.0, 4.0)), "heights_m": (height_m, 1.5)}
    free, found = through(LEAN_TO, **of), through(*shed(12.0), LEAN_TO, **of)
    assert excess_db(free) < 20.0, part
    assert excess_db(free) + 12.0 - 0.1 < excess_db(found) < excess_db(free) + 12.0 + 6.0
    assert found.straight_db[0, 0] == pytest.approx(42.0)


def test_a_room_within_the_building_is_left_through_both_of_its_walls():
    partition = Roof(name="partition", corners=((4, 0, 0), (4, 8, 0), (4, 8, 3), (4, 4, 4.5), (4, 0, 3)), loss_db=11.0)
    ends = ((32.0, 4.0), (2.0, 4.0))
    free, found = through(outside(), ends=ends), through(*shed(12.0), partition, outside(), ends=ends)
    assert excess_db(found) == pytest.approx(excess_db(free) + 11.0 + 12.0, abs=0.1)


OUTSIDE = {
    "a container": lambda y: [outside(y + 1.78)],
    "a container turned": lambda y: [container(18.0, y, bearing_deg=40.0)],
    "a wall": lambda y: [steel((18.0, y - 3.0), (19.0, y + 3.0))],
    "a shed that leaks": lambda y: [Box(name="s", centre=(20.0, y + 1.5), bearing_deg=90.0, length_m=6.0, width_m=3.0,
                                        height_m=2.6, loss_db=12.0)],
    "a second one": lambda y: [outside(y + 1.78), steel((26.0, 1.0), (26.0, 3.95), height_m=4.0)],
}  # fmt: skip


CASES = [(what, 868.0) for what in OUTSIDE] + [("a container", 2440.0)]


def slid(what, frequency_mhz):
    """Links with a building around one end while something slides into the line outside, in steps of 1 cm."""
    sheets = shed(12.0, spread_db=4.0)
    return [through(*sheets, *OUTSIDE[what](float(y)), frequency_mhz=frequency_mhz) for y in np.arange(0.6, 1.6, 0.01)]


@pytest.mark.parametrize(("what", "frequency_mhz"), CASES)
@pytest.mark.slow
def test_no_loss_jumps_as_something_slides_into_the_line_outside(what, frequency_mhz):
    losses_db = np.array([excess_db(one) for one in slid(what, frequency_mhz)])
    assert np.ptp(losses_db) > 2.0, "it does come into the line"
    assert np.abs(np.diff(losses_db)).max() < 1.0


@pytest.mark.parametrize(("what", "frequency_mhz"), CASES)
@pytest.mark.slow
def test_no_sigma_jumps_as_something_slides_into_the_line_outside(what, frequency_mhz):
    assert np.abs(np.diff([one.sigma_db[0, 0] for one in slid(what, frequency_mhz)])).max() < 0.2


@pytest.mark.slow
def test_nothing_jumps_as_something_rises_into_the_line_or_the_inverter_moves():
    sheets = shed(18.0)
    rising = [excess_db(through(*sheets, container(20.0, 4.0, height_m=float(top_m)))) for top_m in
              np.arange(0.8, 2.4, 0.01)]  # fmt: skip
    moving = [excess_db(through(*sheets, outside(), ends=((32.0, float(y)), (6.0, 4.0)))) for y in
              np.arange(4.0, 9.0, 0.02)]  # fmt: skip
    for losses_db in (rising, moving):
        assert np.ptp(losses_db) > 2.0
        assert np.abs(np.diff(losses_db)).max() < 1.0


@pytest.mark.slow
def test_a_gateway_carried_out_through_an_open_side_meets_no_jump():
    """The building has no west wall; the gateway moves out there behind the container, away from the inverter."""
    sheets = [one for one in shed(12.0) if one.name not in {"wall 3", "west"}]
    losses_db = [
        excess_db(through(*sheets, outside(), ends=((32.0, 4.0), (float(x), 3.7)))) for x in np.arange(0.6, -0.1, -0.01)
    ]
    assert np.abs(np.diff(losses_db)).max() < 1.0


def test_an_open_door_is_preferred_where_it_is_cheaper():
    """A door 3 m wide in the line lets the wave out for next to nothing, also past a container before it."""
    doorway = [
        Wall(name="wall 1", along=((12, 0), (12, 2.5)), height_m=3.0, loss_db=25.0),
        Wall(name="wall 1 beyond", along=((12, 5.5), (12, 8)), height_m=3.0, loss_db=25.0),
    ]
    assert excess_db(through(*shed(25.0, east=doorway))) < 2.0
    free, closed = through(outside()), through(*shed(25.0), outside())
    found = through(*shed(25.0, east=doorway), outside())
    assert excess_db(found) < excess_db(free) + 8.0, "past the container, out of the door"
    assert excess_db(found) < excess_db(closed) - 15.0


def test_sigma_counts_the_spread_of_the_wall_in_the_share_that_comes_through_it():
    """As for the straight line: the root of shadowing squared and of the share times the squared spread."""
    found = through(*shed(12.0, spread_db=5.0), outside())
    assert found.straight_share[0, 0] < 1e-9, "nothing comes straight through the container"
    assert set(found.path_passes.owner.tolist()) == {found.scene.obstacles.names.index("wall 1")}
    _, first = np.unique(found.path_passes.way, return_index=True)
    share = found.path_passes.power[first].sum() / 10 ** (-excess_db(found) / 10)
    assert share > 0.98
    assert found.sigma_db[0, 0] == pytest.approx(np.sqrt(36.0 + share * 25.0))
    assert through(*shed(12.0), outside()).sigma_db[0, 0] == pytest.approx(6.0)


def yard():
    """Two inverters and two gateways, one of each pair inside, with the container between them."""
    one = plan(*shed(12.0, spread_db=5.0), outside(), ends=ENDS)
    more = Spot(name="yard", at=(27.0, 9.0), height_m=3.0)
    other = dataclasses.replace(one.inverters[0], name="j", at=(3.0, 2.0))
    return scene_of(dataclasses.replace(one, gateways=(*one.gateways, more), inverters=(*one.inverters, other)))


def test_a_link_comes_out_the_same_alone_in_a_block_and_from_its_other_end():
    scene = yard()
    links = links_of(scene)
    for i in range(2):
        for j in range(2):
            alone = links_between(scene, scene.inverters.pick([i]), scene.gateways.pick([j]))
            back = links_between(scene, scene.gateways.pick([j]), scene.inverters.pick([i]))
            for other in (alone, links.to([j])):
                row = i if other.shape[0] > 1 else 0
                assert other.obstacle_loss_db[row, 0] == links.obstacle_loss_db[i, j]
                assert other.sigma_db[row, 0] == links.sigma_db[i, j]
            assert back.obstacle_loss_db[0, 0] == pytest.approx(links.obstacle_loss_db[i, j], abs=1e-6)
            assert back.sigma_db[0, 0] == pytest.approx(links.sigma_db[i, j], abs=1e-6)
    turned = links.to([1, 0])
    assert turned.sigma_db == pytest.approx(links.sigma_db[:, ::-1], abs=1e-12)


def test_draws_vary_the_wall_that_a_way_goes_through():
    """Closed form: all that arrives has gone through one wall, so margins are normal with the wall's spread."""
    found = through(*shed(15.0, spread_db=4.0), outside())
    environment = dataclasses.replace(found.scene.plan.environment, shadowing_db=0.0, exponent_spread=0.0)
    scene = dataclasses.replace(found.scene, plan=dataclasses.replace(found.scene.plan, environment=environment))
    links = links_of(scene)
    margins_db = np.concatenate(list(drawn_margins_db(links, draws=8_000, seed=2)))[:, 0, 0]
    assert margins_db.var() == pytest.approx(16.0, rel=5.0 * np.sqrt(2.0 / 8_000))
    assert links.sigma_db[0, 0] ** 2 == pytest.approx(16.0, rel=0.03)
    assert np.median(margins_db) == pytest.approx(links.margin_db[0, 0], abs=0.25)


@pytest.mark.parametrize("shift_db", [-2.0, 0.0, 7.0])
def test_a_shift_of_the_wall_is_the_plan_with_its_loss_written_otherwise(shift_db):
    found = through(*shed(12.0, spread_db=5.0), outside())
    east = [Wall(name="wall 1", along=((12, 0), (12, 8)), height_m=3.0, loss_db=12.0 + shift_db, spread_db=5.0)]
    other = through(*shed(12.0, spread_db=5.0, east=east), outside())
    unknowns, number = unknowns_of(found.scene)
    wall = [one.name for one in unknowns].index("wall 1")
    passes = Passes(found, number)
    shifts_db = np.zeros((1, len(unknowns)))
    shifts_db[0, wall] = shift_db
    assert passes.obstacle_loss_db(shifts_db)[0] == pytest.approx(excess_db(other), abs=1e-3)
    again = passes.shifted(wall, shift_db)
    assert excess_db(again) == pytest.approx(passes.obstacle_loss_db(shifts_db)[0, 0], abs=1e-9)
    assert again.sigma_db[0, 0] == pytest.approx(other.sigma_db[0, 0], abs=1e-3)


def shed_of_a_material(loss_db):
    """Rows of inverters in the open beyond the container; all sheets of the building of one material."""
    sheets = [dataclasses.replace(one, loss_db=None, material="shed sheet") for one in closed_building(loss_db)]
    own = OwnMaterial(name="shed sheet", loss_db=loss_db, spread_db=6.0)
    one = plan(*sheets, outside(), ends=ENDS)
    places = [(x, y) for x in (26.0, 30.0, 34.0, 38.0) for y in (2.0, 3.5, 4.5, 6.0, 14.0)]
    inverters = tuple(dataclasses.replace(one.inverters[0], name=f"i{k}", at=at) for k, at in enumerate(places))
    return scene_of(dataclasses.replace(one, inverters=inverters, own_materials=(own,)))


def test_a_fit_corrects_the_sheets_that_a_way_leaves_by():
    """Readings without noise of sheets that cost 6 dB more than the plan says: the fit finds it, links then use it."""
    before, truth = shed_of_a_material(12.0), links_of(shed_of_a_material(18.0))
    plain = links_of(before)
    behind = plain.passing_share > 0.3
    assert len(np.unique(plain.path_passes.link[behind])) >= 8, "most come over or past the container"
    count = truth.shape[0]
    readings = Readings(
        file="made",
        inverter=np.arange(count),
        gateway=np.zeros(count, dtype=np.int64),
        level_dbm=truth.uplink_level_dbm[:, 0],
        tries=np.ones(count, dtype=np.int64),
        lines=np.arange(count) + 2,
    )
    found = fit(before, readings, anchored=True)
    links = links_of(corrected(before, correction_of(found)))
    assert np.abs(plain.uplink_level_dbm - truth.uplink_level_dbm).min() > 5.0
    assert links.uplink_level_dbm == pytest.approx(truth.uplink_level_dbm, abs=0.6)


def test_what_a_fit_leaves_unknown_of_a_wall_counts_once():
    """A standard error of 2 dB in the place of the plan's spread of 6, and a change of 6 dB: the plan with 18 dB."""
    before, truth = shed_of_a_material(12.0), links_of(shed_of_a_material(18.0))
    names = before.obstacles.names
    of = np.array([0 if name != "container" else -1 for name in names])
    known = Correction(
        file="made",
        offset_db=0.0,
        path_loss_exponent=before.plan.environment.path_loss_exponent,
        exponent_sd=0.0,
        shadowing_db=6.0,
        nearest_m=1.0,
        farthest_m=100.0,
        unit=of,
        change_db=np.where(of == 0, 6.0, 0.0),
        covariance=np.diag([0.0, 0.0, 4.0]),
    )
    links = links_of(corrected(before, known))
    assert links.obstacle_loss_db == pytest.approx(truth.obstacle_loss_db, abs=0.02)
    through_once = links.sigma_db[np.isclose(links.straight_share + _leaking(links), 1.0, atol=0.01)]
    assert len(through_once) >= 5
    assert through_once == pytest.approx(np.sqrt(36.0 + 4.0), abs=0.02)


def _leaking(links):
    """Share of the power of each link that leaves the building by a way around."""
    _, first = np.unique(links.path_passes.link * 4 + links.path_passes.way, return_index=True)
    size = links.shape[0] * links.shape[1]
    return np.bincount(links.path_passes.link[first], links.passing_share[first], size).reshape(links.shape)


def test_what_is_told_of_such_a_link_adds_up():
    found = through(*shed(12.0, spread_db=5.0), outside())
    budget = budget_of(found, 0, 0)
    assert sum(item.db for item in budget.items) == pytest.approx(budget.level_dbm, abs=1e-9)
    assert budget.carried_by == min(("over", "left", "right"), key=lambda way: way_db(found, way))
    total = sum(10 ** (-one / 10) for one in [found.straight_db[0, 0], *found.around_db[:, 0, 0]]
                if not np.isnan(one))  # fmt: skip
    assert excess_db(found) == pytest.approx(-10 * np.log10(total), abs=1e-9)
    beside = through(*shed(12.0), outside(2.7))
    budget = budget_of(beside, 0, 0)
    assert any(item.item == "past the edge of container" for item in budget.items), "the edge that it grazes outside"
    assert sum(item.db for item in budget.items) == pytest.approx(budget.level_dbm, abs=1e-9)


def test_the_picture_of_a_link_shows_the_way_through_the_wall():
    """Each string leads over or past the container, as without the building, and not around the building."""
    found, free = through(*shed(12.0), outside()), through(outside())
    start_m, end_m = found.inverters.at_m[0], found.gateways.at_m[0]
    drawn = strings_of(found.scene, start_m, end_m)
    assert [one.side for one in drawn] == ["over", "left", "right"]
    for one, other in zip(drawn, strings_of(free.scene, start_m, end_m), strict=True):
        assert one.points_m == pytest.approx(other.points_m)
