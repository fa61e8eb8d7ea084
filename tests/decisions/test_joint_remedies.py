"""One change for many inverters: what `survey dropouts --remedies` ranks, against the network of the changed plan."""

import pytest
from places import SITES

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
