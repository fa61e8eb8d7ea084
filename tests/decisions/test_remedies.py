"""What would mend a link: what all share, whom else it helps or harms, and how remedies are ranked."""

import dataclasses
import tomllib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from places import SITES
from plans import SPOTS, WALL, changed, entry, wall, write

from survey.budget import HOLDS, links_between
from survey.budget.explanation import scene_without
from survey.decisions.remedies import CAUTIONS, Cable, Change, Remedy, explain
from survey.decisions.remedies.gateways import usual_cable, variants_of
from survey.decisions.remedies.outlook import better, in_use
from survey.decisions.remedies.remedy import EFFORT
from survey.inputs.plan_file import plan_of, read_plan
from survey.routing import cover_spots, coverage_matrix, network_between, network_of
from survey.scene import scene_of


@pytest.fixture(scope="module")
def farm():
    return scene_of(read_plan(SITES / "farm.toml"))


def test_several_inverters_at_once_are_explained_as_each_alone(farm):
    names = ("L-2-1", "S-1-1", "S-3-10")
    at_once = explain(farm, names, spots=cover_spots(farm).matrix)
    assert tuple(one.budget.inverter for one in at_once.inverters) == names
    for name, one in zip(names, at_once.inverters, strict=True):
        (alone,) = explain(farm, [name]).inverters
        assert alone == one


def test_progress_goes_from_nothing_to_all_of_one_total(farm):
    told = []
    explain(farm, ["L-2-1"], progress=lambda done, total: told.append((done, total)))
    assert {total for _, total in told} == {1000}
    assert [done for done, _ in told] == sorted(done for done, _ in told)
    assert told[-1][0] == 1000


def remedy(**values):
    usual = {"kind": "raise", "action": "", "gain_db": 3.0, "margin_db": 9.0, "reliability": 0.9, "state": 1}
    usual |= {"changes": (), "cautions": (), "state_before": 0, "reliability_before": 0.1}
    return Remedy(**usual | values)


def test_the_state_comes_first_then_harm_then_what_it_costs_people_then_gain():
    harm = (Change(inverter="x", before=2, after=0),)
    shuffled = [2, 6, 0, 9, 4, 1, 8, 5, 3, 7]
    best_first = [
        remedy(kind="obstacle", state=2),
        remedy(kind="move", state=2, changes=harm),
        remedy(kind="raise", gain_db=9.0, at_m=(0, 0, 1.9)),
        remedy(kind="outside", at_m=(0, 0, 1.5)),
        remedy(kind="raise", gain_db=9.0, at_m=(0, 0, 2.1)),
        remedy(kind="cable", at_m=(0, 0, 1.5)),
        remedy(kind="other spot", at_m=(0, 0, 1.5)),
        remedy(kind="relay"),
        remedy(kind="one more"),
        remedy(kind="move", state=0),
    ]
    assert sorted((best_first[k] for k in shuffled), key=lambda one: one.rank) == best_first


@pytest.mark.parametrize(
    ("values", "worth"),
    [
        ({"state": 1, "gain_db": 0.1}, True),
        ({"state": 0, "gain_db": 0.6}, True),
        ({"state": 0, "gain_db": 0.4}, False),
        ({"state": 0, "gain_db": 9.0, "reliability": 0.05}, False),
        ({"state_before": 2, "state": 1, "gain_db": 9.0}, False),
    ],
)
def test_what_does_nothing_is_no_remedy(values, worth):
    assert remedy(**values).is_worth_it == worth


def test_every_kind_has_its_effort_and_every_caution_its_words(farm):
    (one,) = explain(farm, ["L-2-1"], more_margin=True).inverters
    every = one.remedies + one.idle
    assert {r.kind for r in every} <= set(EFFORT)
    assert {word for r in every for word in r.cautions} <= set(CAUTIONS)


# A gateway before a wall that nothing gets around, a spot behind it: moved, it helps one and harms the other.
def test_whom_else_a_remedy_harms_is_told(tmp_path):
    far = entry("inverter", name='"i2"', at="[-10, 0]", height_m=2)
    spot = entry("spot", name='"shed"', at="[10, 9]", height_m=2)
    hard = wall(along="[[5, -9000], [5, 9000]]", height_m=9000, loss_db=80)
    site = scene_of(read_plan(write(tmp_path, more=far + spot + hard)))
    (one,) = explain(site, ["i1"], more_margin=True).inverters
    by_kind = {r.kind: r for r in one.remedies}
    assert by_kind["other spot"].harmed == (Change(inverter="i2", before=2, after=0),)
    assert by_kind["other spot"].helped == ()
    assert by_kind["one more"].changes == ()
    assert one.remedies[-1] is by_kind["other spot"], "of those that reach the same state"


def test_each_inverter_keeps_its_other_gateways_where_one_is_moved(tmp_path):
    more = entry("gateway", name='"second"', at="[-10, 0]", height_m=2) + entry(
        "inverter", name='"i2"', at="[-9, 0]", height_m=2
    )
    site = scene_of(read_plan(write(tmp_path, more=more + SPOTS + WALL)))
    (one,) = explain(site, ["i1"], more_margin=True).inverters
    assert one.remedies + one.idle
    assert one.budget.gateway == "office"
    assert all(change.inverter != "i2" for r in one.remedies for change in r.changes)


def test_links_of_equal_chance_are_told_apart_by_margin(tmp_path):
    site = scene_of(read_plan(write(tmp_path, more=SPOTS)))
    links = links_between(site, site.inverters, site.gateways_and_spots)
    assert links.gateways.names == ("office", "post", "shed")
    matrix = coverage_matrix(links)
    best = network_between(site, site.gateways_and_spots).gateway_of
    assert best.tolist() == [0], "the office and the post are equally far: the first of them"
    assert better(np.array(1.0), np.array(0.9), np.array(2.0), np.array(0.9))
    assert not better(np.array(2.0), np.array(0.9), np.array(1.0), np.array(0.9))
    assert in_use(site, matrix).margin_db[0] == links.margin_db[0].max()
    assert np.all(in_use(site, matrix.only([])).state < HOLDS)


def test_a_longer_cable_costs_more():
    cable = Cable(longest_m=10, loss_db_per_m=0.4)
    assert cable.loss_db(5) == pytest.approx(2.5)
    assert dataclasses.replace(cable, loss_db_per_m=0.8).loss_db(5) == pytest.approx(4.5)


def yard(places_m, *, max_relays, room):
    """Inverters, two gateways and two spots in an open field, with radios that reach a few tens of metres."""
    text = changed(('[[inverter]]\nname = "i1"\nat = [10.0, 0.0]\nheight_m = 2.0\n', ""))
    text = text[: text.index("[[gateway]]")] + "[environment]\npath_loss_exponent = 3.4\n[requirement]\n"
    text += f"max_relays = {max_relays}\ninverters_per_gateway = {room}\n"
    kinds = ["gateway", "gateway", "spot", "spot", *["inverter"] * (len(places_m) - 4)]
    for k, (kind, at) in enumerate(zip(kinds, places_m, strict=True)):
        text += entry(kind, name=f'"{kind} {k}"', at=list(at), height_m=2)
    box = entry("box", name='"tank"', loss_db=40, centre=[80, 80], length_m=30, width_m=20, height_m=4)
    return scene_of(plan_of(tomllib.loads(text + box), file="yard.toml"))


# What a remedy promises is what network says of the changed plan, for the inverter asked for and for all others.
@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2), st.sampled_from([0, 2, 3]), st.integers(0, 2**32 - 1))
@pytest.mark.slow
def test_promises_of_spots_and_relays_are_what_network_says(max_relays, room, seed):
    rng = np.random.default_rng(seed)
    scene = yard(np.round(rng.uniform(0, 160, (11, 2)), 1).tolist(), max_relays=max_relays, room=room)
    names = scene.inverters.names
    today = network_between(scene, scene.gateways)
    found = explain(scene, names, more_margin=True)
    assert found.all_hold == today.all_hold
    for i, one in enumerate(found.inverters):
        assert one.route == today.routes[i]
        assert one.state == today.state[i]
        own = one.budget.gateway
        for remedy in one.remedies + one.idle:
            changed_scene, gateways = scene, [*scene.gateways.names]
            if remedy.kind == "other spot":
                gateways = [*(name for name in gateways if name != own), remedy.about]
            elif remedy.kind == "one more":
                gateways.append(remedy.about)
            elif remedy.kind == "relay":
                changed_scene = scene.wanting(max_relays=max_relays + 1)
            elif remedy.kind == "obstacle":
                changed_scene = scene_without(scene, remedy.about)
            else:
                continue
            then = network_of(changed_scene, gateways=gateways)
            assert then.state[i] == remedy.state
            assert then.reliability[i] == pytest.approx(remedy.reliability, abs=1e-9)
            expected_db = then.weakest_margin_db[i]
            assert remedy.margin_db == (-np.inf if np.isnan(expected_db) else pytest.approx(expected_db, abs=1e-6))
            others = {
                name: (int(today.state[k]), int(then.state[k]))
                for k, name in enumerate(names)
                if k != i and today.state[k] != then.state[k]
            }
            assert {one.inverter: (one.before, one.after) for one in remedy.changes} == others


def test_a_gateway_moved_along_a_searched_line_stays_as_high_above_sloping_ground(tmp_path):
    more = "\n[[ground]]\npoints = [[0, 0, 0], [0, 40, 4], [20, 0, 0]]\n"
    more += (
        '\n[[search]]\nname = "s"\nalong = [[0, 0], [0, 40]]\nstep_m = 20\nheights_m = [1.5]\nheight_above = "ground"\n'
    )
    site = scene_of(read_plan(write(tmp_path, more=more)))
    gateway = site.spots.named(["s/0.00,20.00,3.50"], file="x", what="spot")
    variants = variants_of(site, gateway, cable=usual_cable(868.0), spots=[])
    moved_m = np.array([one.gateway.at_m[0] for one in variants if one.kind == "move"])
    assert len(moved_m) > 1
    assert moved_m[:, 2] == pytest.approx(1.5 + 0.1 * moved_m[:, 1])
