"""One change for many inverters: what `survey dropouts --remedies` ranks, against the network of the changed plan."""

import pytest
from places import SITES
from plans import write

from survey.budget import HOLDS, state_of
from survey.budget.coverage import chosen_gateways
from survey.decisions.remedies import joint_remedies
from survey.inputs.plan_file import read_plan
from survey.routing import network_between
from survey.scene import scene_of

NAMED = ("L-1-1", "L-1-5", "L-2-1")


@pytest.fixture(scope="module")
def farm():
    return scene_of(read_plan(SITES / "farm.toml"))


@pytest.fixture(scope="module")
def joint(farm):
    return joint_remedies(farm, NAMED)


def states(scene, places):
    network = network_between(scene, chosen_gateways(scene, places))
    return dict(zip(scene.inverters.names, state_of(scene, network.reliability).tolist(), strict=True))


def of_kind(joint, kind):
    return next(one for one in joint.remedies if one.remedy.kind == kind)


@pytest.mark.parametrize(("kind", "stays"), [("other spot", ()), ("one more", ("office",))])
def test_a_spot_does_for_all_what_the_network_with_it_says(farm, joint, kind, stays):
    one = of_kind(joint, kind)
    today, then = states(farm, ("office",)), states(farm, (*stays, one.remedy.about))
    assert set(one.hold) == {name for name in NAMED if then[name] == HOLDS}
    others = [name for name in today if name not in NAMED]
    assert one.better == sum(then[name] > today[name] for name in others)
    assert one.worse == sum(then[name] < today[name] for name in others)
    assert one.better > 0


def test_the_named_ones_that_hold_today_are_those_of_the_network(farm):
    today = states(farm, ("office",))
    names = [min(today, key=today.get), max(today, key=today.get)]
    assert set(joint_remedies(farm, names).hold_today) == {name for name in names if today[name] == HOLDS}


def test_that_comes_first_with_which_most_of_them_hold(joint):
    counts = [len(one.hold) for one in joint.remedies]
    assert counts == sorted(counts, reverse=True)
    assert counts[0] > len(joint.hold_today)
    equal = [one.worse for one in joint.remedies if len(one.hold) == counts[0]]
    assert equal == sorted(equal)


def test_every_remedy_stands_there_once(joint):
    actions = [one.remedy.action for one in joint.remedies]
    assert len(actions) == len(set(actions))
    places = [one.remedy.about.partition("/")[0] for one in joint.remedies if one.remedy.kind == "other spot"]
    assert places
    assert len(places) == len(set(places)), "of the points of a search one stands for all"


def test_without_a_weak_link_there_is_nothing_to_do(farm):
    none = joint_remedies(farm, ())
    assert (none.inverters, none.hold_today, none.remedies) == ((), (), ())


ROW = """
[environment]
path_loss_exponent = 2.8
shadowing_db = 6.0

[[inverter]]
name = "i2"
at = [310.0, 0.0]
height_m = 2.0
"""


def test_a_spot_between_two_inverters_is_found_although_each_has_a_better_one_of_its_own(tmp_path):
    """Without a choice for all together only the spots best for one of them would be tried."""
    spots = "".join(
        f'\n[[spot]]\nname = "{name}"\nat = [{x}, 0.0]\nheight_m = 2.0\n'
        for name, x in (("beside i1", 12.0), ("between", 160.0), ("beside i2", 308.0))
    )
    office = ("at = [0.0, 0.0]\nheight_m = 2.0", "at = [0.0, 900.0]\nheight_m = 2.0")
    scene = scene_of(read_plan(write(tmp_path, office, more=ROW + spots)))
    found = joint_remedies(scene, ("i1", "i2"))
    each = {place: set(states_that_hold(scene, place)) for place in scene.spots.names}
    assert each == {"beside i1": {"i1"}, "between": {"i1", "i2"}, "beside i2": {"i2"}}
    assert found.hold_today == ()
    assert found.remedies[0].hold == ("i1", "i2")
    assert found.remedies[0].remedy.about == "between"


def states_that_hold(scene, place):
    return [name for name, state in states(scene, (place,)).items() if state == HOLDS]


def test_no_single_spot_of_the_farm_does_more_for_those_named(farm, joint):
    """Each spot by itself, in place of the gateway, against the first remedy."""
    best = max(len(set(states_that_hold(farm, place)) & set(NAMED)) for place in farm.spots.names)
    assert len(joint.remedies[0].hold) >= best
