"""Bayes' rule over the causes of a group: each thing that its links share changes the odds as the constants say."""

from dataclasses import replace
from math import exp, isclose, nan

import numpy as np
import pytest

from survey.measured.dropouts.causes import BRANCH, INTERFERENCE, MOVED, OBSTACLE
from survey.measured.dropouts.weighing import (
    ALL_SILENT,
    CLEAR_FALL_DB,
    CONCENTRATION,
    DIM,
    EVEN,
    FEW,
    HALF,
    MOST,
    NO_BRANCH,
    OTHER,
    ROWS,
    SELDOM,
    STRAY_ANSWER,
    STRONG_DB,
    WEATHER,
    WET_DAYS,
    Shared,
    arc_deg,
    concentration,
    shared_obstacle,
    weigh,
)

GROUP = Shared(
    answers=60.0,
    polls=300.0,
    share=0.4,
    direction=0.2,
    weakest=0.5,
    obstacle="",
    crossing=1.0,
    one_branch=None,
    fall_db=nan,
    unevenness=1.0,
    margin_db=8.0,
    days=0.5,
)


def factors(one, other):
    """By how much the odds of each cause against the others change, up to a factor common to all."""
    before, after = weigh(one), weigh(other)
    return {cause: after[cause] / before[cause] for cause in before}


# What changes, and the factor for each cause; causes not named keep their odds.
CHANGES = [
    ({"one_branch": True}, {}),
    ({"one_branch": False}, {BRANCH: NO_BRANCH}),
    ({"answers": 10.0}, {BRANCH: STRAY_ANSWER**-10}),
    ({"margin_db": STRONG_DB + 0.1}, {WEATHER: SELDOM}),
    ({"days": WET_DAYS + 0.1}, {WEATHER: 0.2, INTERFERENCE: SELDOM}),
    ({"unevenness": EVEN - 0.01}, {INTERFERENCE: 1.0 / SELDOM, MOVED: 0.6}),
    ({"dim": True}, {OTHER: DIM}),
    ({"dim": True, "days": WET_DAYS + 0.1}, {WEATHER: 0.2, INTERFERENCE: SELDOM}),
    ({"share": HALF}, {MOVED: 1.0 / 0.3, INTERFERENCE: SELDOM**-2}),
    ({"share": HALF, "days": 1.1}, {MOVED: 1.0 / 0.3, INTERFERENCE: SELDOM**-2, OTHER: 0.3}),
    (
        {"share": MOST + 0.01},
        {OBSTACLE: SELDOM, BRANCH: SELDOM, MOVED: 1.0 / 0.3, INTERFERENCE: SELDOM**-2},
    ),
    ({"share": FEW - 0.01}, {MOVED: SELDOM / 0.3}),
    ({"changed": MOST + 0.01}, {MOVED: 5.0, OBSTACLE: SELDOM}),
    ({"changed": HALF}, {}),
    ({"changed": HALF - 0.01}, {MOVED: SELDOM}),
    (
        {"changed": MOST + 0.01, "days": WET_DAYS + 0.1},
        {MOVED: 5.0, OBSTACLE: SELDOM, WEATHER: 0.2 * SELDOM, OTHER: SELDOM, INTERFERENCE: SELDOM},
    ),
    ({"fall_db": CLEAR_FALL_DB}, {BRANCH: SELDOM, INTERFERENCE: SELDOM, WEATHER: SELDOM}),
    ({"fall_db": CLEAR_FALL_DB - 0.1}, {OBSTACLE: 0.3, MOVED: 0.3}),
    ({"direction": 0.1}, {OBSTACLE: 2.0 ** (1.0 - CONCENTRATION), BRANCH: 2.0 ** (1.0 - ROWS)}),
    ({"crossing": 0.05}, {OBSTACLE: 2.0 ** (1.0 - CONCENTRATION), BRANCH: 2.0 ** (1.0 - ROWS)}),
    ({"weakest": 0.25}, {WEATHER: 2.0 ** (1.0 - CONCENTRATION)}),
]


@pytest.mark.parametrize(("changes", "wanted"), CHANGES)
def test_what_links_share_changes_the_odds_by_its_factor(changes, wanted):
    group = replace(GROUP, answers=20.0)
    found = factors(group, replace(group, **changes))
    common = next(found[cause] for cause in found if cause not in wanted) if len(wanted) < 6 else 1.0
    for cause, factor in found.items():
        assert isclose(factor / common, wanted.get(cause, 1.0), rel_tol=1e-9), cause


def test_a_group_that_is_wholly_silent_speaks_for_what_silences_wholly():
    """No answers at all, against two of 300, which are just no silence: the stray answers of a branch beside."""
    found = factors(replace(GROUP, answers=2.0), replace(GROUP, answers=0.0))
    for cause in (OBSTACLE, MOVED, WEATHER, OTHER):
        assert found[cause] / found[BRANCH] == pytest.approx(ALL_SILENT[cause] / ALL_SILENT[BRANCH] * STRAY_ANSWER**2)
    # One answer is as good as none, whatever the number of polls; of 1000 polls it is five.
    for most, polls in ((1.0, 100.0), (5.0, 1000.0)):
        at, above = (replace(GROUP, answers=answers, polls=polls) for answers in (most, most + 1.0))
        found = factors(above, at)
        assert found[OBSTACLE] / found[BRANCH] == pytest.approx(ALL_SILENT[OBSTACLE] * STRAY_ANSWER)


def test_chances_add_up_to_one_and_stand_in_their_order():
    chances = list(weigh(GROUP).values())
    assert sum(chances) == pytest.approx(1.0)
    assert chances == sorted(chances, reverse=True)


def test_the_density_of_a_small_chance_has_the_mass_one():
    """a u^(a - 1) over 0 to 1, by the midpoint rule in u^a; below one in 2000 it is held."""
    at = [((k + 0.5) / 1000) ** (1 / CONCENTRATION) for k in range(1000)]
    mean_inverse = sum(1.0 / exp(concentration(one)) for one in at if one > 5e-4) / 1000
    assert mean_inverse == pytest.approx(1.0 - 5e-4, abs=2e-3), "its inverse has the mean 1 under itself"
    assert concentration(1e-9) == concentration(5e-4)


def test_an_obstacle_that_the_group_alone_meets_and_the_chance_of_that():
    """Of six links three are struck, and just these meet the wall: 1 in 20 ways to draw three of six, hypergeometric.

    With a second name that one of the group meets, two names have been looked at: 2 in 20.
    """
    wall, none = frozenset({"wall"}), frozenset()
    links, among = np.array([0, 1, 2]), np.arange(6)
    assert shared_obstacle([wall, wall, wall, none, none, none], links, among) == ("wall", pytest.approx(1 / 20))
    both = [frozenset({"wall", "shed"}), wall, wall, none, none, none]
    assert shared_obstacle(both, links, among) == ("wall", pytest.approx(2 / 20))
    # Four meet it, three of them struck: C(4,3) C(2,0) / C(6,3) = 4/20.
    assert shared_obstacle([wall, wall, wall, wall, none, none], links, among) == ("wall", pytest.approx(4 / 20))
    assert shared_obstacle([none] * 6, links, among) == ("", 1.0)


def test_the_smallest_sector_of_bearings():
    assert arc_deg(np.array([0.0, 90.0, 180.0])) == pytest.approx(180.0)
    assert arc_deg(np.array([[350.0, 10.0], [10.0, 200.0]])).tolist() == pytest.approx([20.0, 170.0])
    assert arc_deg(np.array([42.0])) == pytest.approx(0.0)
