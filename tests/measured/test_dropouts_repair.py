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


def halves(made):
    """The first and the second half of a log: the same site, with a day between them at which nothing was changed."""
    middle = made.heard.shape[1] // 2
    arrays = ("seconds", "heard", "level_dbm", "power_w", "row")
    return [
        dataclasses.replace(made, **{name: getattr(made, name)[:, part] for name in arrays})
        for part in (slice(None, middle), slice(middle, None))
    ]


def test_a_repair_that_changed_nothing_is_seldom_called_better_or_worse():
    """200 repairs that changed nothing, with rain, misses in bursts and links that lose some polls: 5 % of them at most
    name any inverter that is better, or any that is worse."""
    pairs, inverters, better, worse = 200, 8, 0, 0
    for seed in range(pairs):
        recipe = any_recipe(60_000 + seed, (), healthy=("plain", "wild", "rain", "strays")[seed % 4])
        recipe = dataclasses.replace(
            recipe, days=10 + 2 * (seed % 3), step_s=1_800, inverters=inverters, gateways=1, gap_h=0.0, clock_back=False
        )
        verdicts = [one.verdict for one in compared(*map(found, halves(make(recipe))))]
        assert len(verdicts) == inverters
        better += BETTER in verdicts
        worse += WORSE in verdicts
    assert better <= 0.05 * pairs
    assert worse <= 0.05 * pairs
