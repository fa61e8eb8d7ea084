"""What must hold of every site: random ones, a few in each run and many with `--hypothesis-profile=wide -m slow`."""

import dataclasses
import json
from pathlib import Path
from types import FunctionType

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

import survey
from survey.budget import links_between, links_of
from survey.inputs.plan import (
    Box,
    Environment,
    Foliage,
    Inverter,
    Plan,
    Radio,
    RadioEnd,
    Requirement,
    Roof,
    Site,
    Spot,
    Wall,
)
from survey.scene import scene_of

SEED = st.integers(0, 2**32 - 1)
FEW, MANY = 3, 40
PLAIN = {"deadline": None, "phases": (Phase.explicit, Phase.reuse, Phase.generate)}
"""A site of a seed gets no smaller when the seed does: nothing to shrink."""


def few_and_many(*strategies):
    """Run a property on a few examples always, and on many among the slow tests."""

    def decorate(function):
        many = FunctionType(function.__code__, function.__globals__, f"{function.__name__}_many")
        many.__module__ = function.__module__
        slowly = settings(max_examples=MANY, **PLAIN)(given(*strategies)(many))
        globals()[many.__name__] = pytest.mark.slow(slowly)
        return settings(max_examples=FEW, **PLAIN)(given(*strategies)(function))

    return decorate


def site(seed):
    """A yard of 25 m with walls, a box, a piece of roof and plants, five inverters, a gateway and three spots."""
    draw = np.random.default_rng(seed)

    def at():
        return tuple(draw.uniform(-12.0, 12.0, 2).round(3).tolist())

    def loss():
        return round(float(draw.uniform(0.5, 45.0)), 2)

    walls = [Wall(name=f"w{k}", along=(at(), at(), at()), height_m=3.0, base_m=1.0, loss_db=loss()) for k in range(3)]
    x, y = at()
    roof = Roof(name="r", corners=((x, y, 4.0), (x + 5, y, 4.0), (x + 5, y + 4, 5.0), (x, y + 4, 5.0)), loss_db=loss())
    box = Box(
        name="b",
        centre=at(),
        length_m=3.0,
        width_m=2.0,
        height_m=2.5,
        base_m=1.0,
        bearing_deg=round(float(draw.uniform(0, 180)), 1),
        loss_db=loss(),
    )
    x, y = at()
    plants = Foliage(
        name="f", footprint=((x, y), (x + 4, y), (x + 4, y + 2)), height_m=3.0, base_m=1.0, loss_db_per_m=0.7
    )
    heights_m = draw.uniform(1.2, 4.0, 20).round(2).tolist()
    return Plan(
        file="invented",
        folder=Path(),
        site=Site(name="invented yard", drawn_within_m=0.0),
        radio=Radio(
            frequency_mhz=868.0,
            inverter=RadioEnd(tx_power_dbm=-8.0, sensitivity_dbm=-86.0, mounting_loss_db=8.0),
            gateway=RadioEnd(tx_power_dbm=-6.0, sensitivity_dbm=-88.0),
        ),
        environment=Environment(path_loss_exponent=2.4),
        requirement=Requirement(),
        inverters=tuple(Inverter(name=f"i{k}", at=at(), height_m=heights_m.pop()) for k in range(5)),
        gateways=(Spot(name="g", at=at(), height_m=heights_m.pop()),),
        spots=tuple(Spot(name=f"s{k}", at=at(), height_m=heights_m.pop()) for k in range(3)),
        obstacles=(*walls, box, roof, plants),
    )


def links(plan):
    """The links to the gateway and all spots."""
    return links_of(scene_of(plan), gateways=[one.name for one in (*plan.gateways, *plan.spots)])


SAME_DB = 1e-4
"""Of 5,000 links of such sites none was off by more than 0.000001 dB where it should not be off at all."""


def assert_same(one_db, other_db):
    """No link is off."""
    assert np.abs(one_db - other_db).max() < SAME_DB


def changed(plan, change):
    """A plan with every point of it sent through a function of x, y, z."""

    def flat(point):
        return tuple(change((*point, 0.0))[:2])

    rise_m = change((0.0, 0.0, 0.0))[2]

    def device(one):
        return dataclasses.replace(one, at=flat(one.at), height_m=one.height_m + rise_m)

    def obstacle(one):
        values = {}
        for key in ("along", "footprint"):
            if getattr(one, key, None) is not None:
                values[key] = tuple(map(flat, getattr(one, key)))
        if isinstance(one, Roof):
            values["corners"] = tuple(tuple(change(corner)) for corner in one.corners)
        elif isinstance(one, Box):
            angle_rad = np.deg2rad(one.bearing_deg)
            ahead = flat((one.centre[0] + np.sin(angle_rad), one.centre[1] + np.cos(angle_rad)))
            values["centre"] = flat(one.centre)
            east, north = np.subtract(ahead, values["centre"])
            values["bearing_deg"] = float(np.rad2deg(np.arctan2(east, north)))
        if hasattr(one, "base_m"):
            values["base_m"] = one.base_m + rise_m
        return dataclasses.replace(one, **values)

    return dataclasses.replace(
        plan,
        inverters=tuple(map(device, plan.inverters)),
        gateways=tuple(map(device, plan.gateways)),
        spots=tuple(map(device, plan.spots)),
        obstacles=tuple(map(obstacle, plan.obstacles)),
    )


# ------------------------------------------------------------------------------------------------ the site as a whole


@few_and_many(SEED)
def test_swapped_ends_lose_the_same(seed):
    plan = site(seed)
    scene = scene_of(plan)
    there = links_between(scene, scene.inverters, scene.spots)
    back = links_between(scene, scene.spots, scene.inverters)
    assert_same(there.path_loss_db, back.path_loss_db.T)
    assert there.distance_m == pytest.approx(back.distance_m.T)


@few_and_many(SEED, st.floats(-180, 180), st.floats(-300, 300), st.floats(-300, 300))
def test_a_site_moved_and_turned_has_the_same_links(seed, turn_deg, east_m, north_m):
    c, s = np.cos(np.deg2rad(turn_deg)), np.sin(np.deg2rad(turn_deg))
    plan = site(seed)
    other = changed(plan, lambda p: (c * p[0] - s * p[1] + east_m, s * p[0] + c * p[1] + north_m, p[2]))
    before, after = links(plan), links(other)
    assert_same(before.margin_db, after.margin_db)
    assert before.distance_m == pytest.approx(after.distance_m)


@few_and_many(SEED)
def test_a_mirrored_site_has_the_same_links(seed):
    plan = site(seed)
    one, other = links(plan), links(changed(plan, lambda p: (-p[0], p[1], p[2])))
    assert_same(one.margin_db, other.margin_db)
    assert one.straight_db - one.grazed_db == pytest.approx(other.straight_db - other.grazed_db, abs=1e-6)


@few_and_many(SEED, st.floats(0.5, 40))
def test_a_raised_site_above_the_ground_has_the_same_links(seed, rise_m):
    """Everything in it is a metre or more above the ground, so that nothing changes what can pass below."""
    plan = site(seed)
    one, other = links(plan), links(changed(plan, lambda p: (p[0], p[1], p[2] + rise_m)))
    assert_same(one.margin_db, other.margin_db)


@few_and_many(SEED, st.randoms(use_true_random=False))
def test_the_order_of_things_in_a_plan_changes_no_figure(seed, order):
    plan, mixed = site(seed), {}
    for key in ("inverters", "spots", "obstacles"):
        things = list(getattr(plan, key))
        order.shuffle(things)
        mixed[key] = tuple(things)
    one, other = links(plan), links(dataclasses.replace(plan, **mixed))
    rows = [other.inverters.names.index(name) for name in one.inverters.names]
    columns = [other.gateways.names.index(name) for name in one.gateways.names]
    assert_same(one.margin_db, other.margin_db[np.ix_(rows, columns)])
    assert one.straight_db == pytest.approx(other.straight_db[np.ix_(rows, columns)], abs=1e-9)


@few_and_many(SEED)
def test_a_link_is_the_same_alone_and_among_others(seed):
    scene = scene_of(site(seed))
    whole = links_between(scene, scene.inverters, scene.spots)
    for i in (0, 3):
        for j in (0, 2):
            alone = links_between(scene, scene.inverters.pick([i]), scene.spots.pick([j]))
            assert alone.margin_db[0, 0] == whole.margin_db[i, j]
            assert alone.sigma_db[0, 0] == whole.sigma_db[i, j]


@few_and_many(SEED, st.floats(0, 360))
def test_an_obstacle_far_away_changes_nothing(seed, bearing_deg):
    """So far that no path around or off it counts: 5 km, beyond it only what a mirror would bring."""
    plan = site(seed)
    east_m, north_m = 5000 * np.sin(np.deg2rad(bearing_deg)), 5000 * np.cos(np.deg2rad(bearing_deg))
    far = Wall(name="far", along=((east_m, north_m), (east_m + 9.0, north_m + 4.0)), height_m=4.0, loss_db=30.0)
    more = dataclasses.replace(plan, obstacles=(*plan.obstacles, far))
    assert np.abs(links(plan).margin_db - links(more).margin_db).max() < 1e-6


@few_and_many(SEED, st.integers(0, 5), st.floats(0.1, 30))
def test_a_stronger_material_never_strengthens_a_direct_path(seed, which, more_db):
    plan = site(seed)
    key = "loss_db_per_m" if isinstance(plan.obstacles[which], Foliage) else "loss_db"
    stronger = dataclasses.replace(plan.obstacles[which], **{key: getattr(plan.obstacles[which], key) + more_db})
    others = (*plan.obstacles[:which], stronger, *plan.obstacles[which + 1 :])
    before, after = links(plan), links(dataclasses.replace(plan, obstacles=others))
    assert np.all(after.straight_db - after.grazed_db >= before.straight_db - before.grazed_db - 1e-9)


# ------------------------------------------------------------------------------------------------------------- choices


def placed(plan, **options):
    return survey.place(plan, draws=3, **options).to_dict()


@few_and_many(SEED)
def test_a_spot_added_never_makes_the_best_worse(seed):
    plan = site(seed)
    fewer = dataclasses.replace(plan, spots=plan.spots[:-1])
    before, after = (placed(one)["ranking"][0] for one in (fewer, plan))
    assert (after["served"], after["expected_served"]) >= (before["served"], before["expected_served"] - 1e-6)


@few_and_many(SEED)
def test_more_gateways_never_serve_fewer(seed):
    plan = site(seed)
    served = [placed(plan, gateways=count)["served"] for count in (1, 2, 3)]
    assert served == sorted(served)


@few_and_many(SEED)
def test_relays_never_serve_fewer(seed):
    plan = site(seed)
    served = [placed(plan, relays=count)["served"] for count in (0, 1, 2)]
    assert served == sorted(served)


@few_and_many(SEED, st.integers(0, 1000))
def test_runs_with_the_same_seed_are_the_same(seed, start):
    plan = site(seed)
    one, other = (json.dumps(placed(plan, seed=start)) for _ in range(2))
    assert one == other


@few_and_many(SEED)
def test_shares_and_states_agree_with_the_chances(seed):
    record = placed(site(seed))
    required = 0.95
    for one in record["links"]:
        assert 0.0 <= one["reliability"] <= 1.0
        state = "holds" if one["reliability"] >= required else "marginal" if one["reliability"] >= 0.5 else "fails"
        assert one["state"] == state
    assert record["expected_served"] == pytest.approx(sum(one["reliability"] for one in record["links"]), abs=1e-5)
    assert sum(one["best_share"] or 0.0 for one in record["ranking"]) <= 1.0 + 1e-6
