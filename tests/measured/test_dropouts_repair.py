"""Before and after a repair: what is better, worse and no different, with intervals."""

import dataclasses

from dropout_logs import any_recipe, make

from survey.measured.dropouts import BETTER, SAME, UNSEEN, WORSE, compared
from survey.measured.dropouts.repair import difference, wilson
from survey.measured.dropouts.sorting import dropouts_of

RECIPE = dataclasses.replace(any_recipe(3, ()), days=10, inverters=12, gateways=1, step_s=600, stray=0.02, wild=False)


def found(made):
    return dropouts_of(made.scene, made.log())


def spoilt(row, share, *, seed=1):
    """A healthy log in which one inverter misses more."""
    made = make(dataclasses.replace(RECIPE, seed=seed))
    lost = make(dataclasses.replace(RECIPE, seed=seed + 7)).heard[row] & False
    lost[:: round(1 / share)] = True
    made.heard[row] &= ~lost
    return made


def test_the_example_of_the_published_interval():
    # Newcombe 1998, Statistics in Medicine 17, 873, method 10: 56 of 70 less 48 of 80, 0.0524 to 0.3339.
    change = difference(wilson(56, 70, z=1.96), wilson(48, 80, z=1.96))
    assert [round(one, 4) for one in change] == [0.2, 0.0524, 0.3339]


def test_what_was_repaired_is_better_and_what_was_spoilt_is_worse():
    before, after = found(spoilt(2, 0.5)), found(spoilt(5, 0.5))
    verdicts = {one.inverter: one for one in compared(before, after)}
    names = before.scene.inverters.names
    assert verdicts[names[2]].verdict == BETTER
    assert verdicts[names[5]].verdict == WORSE
    assert {verdicts[name].verdict for k, name in enumerate(names) if k not in {2, 5}} == {SAME}
    low, high = verdicts[names[2]].difference[1:]
    assert 0.3 < low < verdicts[names[2]].difference[0] < high < 0.7


def test_two_healthy_logs_differ_in_nothing():
    one, other = found(make(RECIPE)), found(make(dataclasses.replace(RECIPE, days=12)))
    assert {each.verdict for each in compared(one, other)} == {SAME}


def test_an_inverter_that_one_log_lacks_is_said_to():
    made = make(RECIPE)
    made.row = made.row.copy()
    made.row[4] = False
    verdicts = {one.inverter: one.verdict for one in compared(found(make(RECIPE)), found(made))}
    assert verdicts[made.scene.inverters.names[4]] == UNSEEN


def test_a_repair_that_changed_nothing_is_called_better_no_more_often_than_chance_allows():
    """200 pairs of healthy logs of one site each: no inverter of a pair is better or worse in 95 % of them."""
    changed, judged, pairs = 0, 0, 200
    for seed in range(pairs):
        recipe = dataclasses.replace(
            any_recipe(60_000 + seed, (), wild=seed % 2 == 1), days=5 + seed % 3, step_s=1_800, inverters=8, gateways=1
        )
        before = make(recipe)
        after = make(recipe, again=True)
        assert before.scene.plan == after.scene.plan
        verdicts = [one.verdict for one in compared(found(before), found(after))]
        changed += BETTER in verdicts or WORSE in verdicts
        judged += len(verdicts)
    assert judged == 8 * pairs
    assert changed <= 0.05 * pairs
