"""Where every decibel goes: budgets that add up, and obstacles taken away one by one."""

import tomllib

import numpy as np
import pytest
from places import SITES
from plans import SPOTS, WALL, entry, wall, write

from survey.budget import HOLDS, STATES, links_between
from survey.budget.explanation import budget_of, costs_of, scene_without
from survey.inputs.plan_file import read_plan
from survey.output.answers.link_budget import direct_words, way_words
from survey.scene import scene_of


def scene(folder, *changes, more=""):
    return scene_of(read_plan(write(folder, *changes, more=more)))


def first_budget(site):
    return budget_of(links_between(site, site.inverters, site.gateways), 0, 0)


def steps(budget):
    return {item.item: item.db for item in budget.items}


# 868 MHz, 10 m: free space 31.218 dB at 1 m and 20 dB beyond; up 8 dBm, the gateway needs -98; down 10 dBm, the
# inverter needs -96. So both margins are 8 - 51.218 - 20 + 98 = 34.782 dB.
def test_a_budget_worked_by_hand(tmp_path):
    budget = first_budget(scene(tmp_path, more=WALL))
    assert [(item.item, item.kind) for item in budget.items] == [
        ("transmit power of the inverter", "power"),
        ("antenna gain of the inverter", "antenna"),
        ("free space, first 1 m", "distance"),
        ("1 m to 10.0 m, exponent 2", "distance"),
        ("through long wall", "obstacle"),
        ("antenna gain of the gateway", "antenna"),
    ]
    assert [item.db for item in budget.items] == pytest.approx([8, 0, -31.218, -20, -20, 0], abs=0.001)
    assert (budget.level_dbm, budget.need_dbm) == pytest.approx((-63.218, -98), abs=0.001)
    assert (budget.margin_db, budget.other_margin_db) == pytest.approx((34.782, 34.782), abs=0.001)
    assert (budget.direction, STATES[budget.state], budget.carried_by) == ("up", "holds", "straight")
    # Of the margin 3 dB are held back, and 95 % of a normal spread of 6 dB lie above -1.6449 * 6 dB.
    assert budget.spare_db == pytest.approx(34.782 - 3 - 1.6449 * 6, abs=0.001)


# The same figures as check lb-01 of the published values: free space by ITU-R P.525 (fs-04, 2440 MHz at 100 m is
# 80.196 dB), a device of 0 dBm, 2.15 dBi and -95 dBm, a gateway of 8 dBm, 2.15 dBi and -85 dBm.
def test_a_two_way_budget_of_the_published_checks(tmp_path, validation):
    checks = tomllib.loads((validation / "published" / "checks.toml").read_text(encoding="utf-8"))["check"]
    check = next(one for one in checks if one["id"] == "lb-01")
    level_dbm, margin_db, _, other_margin_db = check["expected"]
    budget = first_budget(
        scene(
            tmp_path,
            ("868.0", "2440.0"),
            (
                "tx_power_dbm = 8.0\nsensitivity_dbm = -96.0",
                "tx_power_dbm=0\nantenna_gain_dbi=2.15\nsensitivity_dbm=-95",
            ),
            (
                "tx_power_dbm = 10.0\nsensitivity_dbm = -98.0",
                "tx_power_dbm=8\nantenna_gain_dbi=2.15\nsensitivity_dbm=-85",
            ),
            ("[10.0, 0.0]", "[100.0, 0.0]"),
        )
    )
    assert budget.direction == "up"
    assert budget.level_dbm == pytest.approx(level_dbm, abs=check["tolerance"])
    assert budget.margin_db == pytest.approx(margin_db, abs=check["tolerance"])
    assert budget.other_margin_db == pytest.approx(other_margin_db, abs=check["tolerance"])
    assert sum(item.db for item in budget.items) == pytest.approx(budget.level_dbm, abs=1e-9)


# T. S. Rappaport, Wireless Communications, 2nd ed. (2002), example 4.2, its printed figures from memory: 50 W (47 dBm)
# at 900 MHz and gains of 1 arrive as -24.5 dBm at 100 m. A plan takes 36 dBm at most; the rest is antenna gain here.
def test_rappaport_example_4_2(tmp_path):
    budget = first_budget(
        scene(
            tmp_path,
            ("868.0", "900.0"),
            ("tx_power_dbm = 8.0", "tx_power_dbm = 36\nantenna_gain_dbi = 10.9897"),
            ("sensitivity_dbm = -98.0", "sensitivity_dbm = -20.0"),
            ("[10.0, 0.0]", "[100.0, 0.0]"),
        )
    )
    assert budget.level_dbm == pytest.approx(-24.5, abs=0.05)


@pytest.mark.parametrize(("name", "step"), [("house", 1), ("farm", 1), ("warehouse", 11)])
def test_every_budget_of_the_demo_sites_adds_up(name, step):
    """Of the warehouse every eleventh spot: 4000 links."""
    site = scene_of(read_plan(SITES / f"{name}.toml"))
    places = site.gateways_and_spots
    links = links_between(site, site.inverters, places.pick(np.arange(0, len(places), step)))
    for i, j in np.ndindex(*links.shape):
        budget = budget_of(links, i, j)
        assert sum(item.db for item in budget.items) == pytest.approx(budget.level_dbm, abs=1e-9)
        level_dbm = links.uplink_level_dbm if budget.direction == "up" else links.downlink_level_dbm
        assert budget.level_dbm == level_dbm[i, j]
        assert budget.level_dbm - budget.need_dbm == pytest.approx(links.margin_db[i, j], abs=1e-9)
        assert (budget.spare_db >= 0) == (links.state[i, j] == HOLDS)


def test_the_weaker_direction_is_the_one_explained(tmp_path):
    budget = first_budget(scene(tmp_path, ("tx_power_dbm = 10.0", "tx_power_dbm = 4.0"), more=WALL))
    assert budget.direction == "down"
    assert [item.item for item in budget.items][:2] == ["transmit power of the gateway", "antenna gain of the gateway"]
    assert budget.items[-1].item == "antenna gain of the inverter"
    assert budget.other_margin_db - budget.margin_db == pytest.approx(6.0)


def test_mounting_and_cable_stand_apart_at_either_end(tmp_path):
    site = scene(
        tmp_path,
        ("sensitivity_dbm = -96.0", "sensitivity_dbm = -96.0\nmounting_loss_db = 7\ncable_loss_db = 1"),
        ("sensitivity_dbm = -98.0", "sensitivity_dbm = -98.0\ncable_loss_db = 2.5"),
    )
    found = steps(first_budget(site))
    assert found["mounting loss of the inverter"] == -7
    assert found["cable loss of the inverter"] == -1
    assert found["cable loss of the gateway"] == -2.5
    assert "mounting loss of the gateway" not in found


def test_the_budget_follows_the_best_path_and_says_what_the_direct_one_would_lose(tmp_path):
    site = scene(tmp_path, more=wall(along="[[5, -1], [5, 1]]", height_m=2.2, loss_db=60))
    budget = first_budget(site)
    links = links_between(site, site.inverters, site.gateways)
    assert budget.carried_by in {"over", "left", "right"}
    best_db = np.nanmin(links.around_db[:, 0, 0])
    (around,) = [item for item in budget.items if item.kind == "around"]
    side = {"over": "over", "left": "left of", "right": "right of"}[budget.carried_by]
    assert (around.item, around.db) == (f"{side} w (diffraction)", pytest.approx(-best_db))
    assert best_db < 30
    others_db = steps(budget)["gain from the other paths"]
    assert others_db == pytest.approx(best_db - links.obstacle_loss_db[0, 0])
    assert others_db > 0
    assert not [item for item in budget.items if item.kind == "obstacle"]
    assert ([item.item for item in budget.direct], budget.direct_db) == (["through w"], pytest.approx(60))
    told = direct_words(budget)
    assert told.startswith(f"The direct path would lose 60.0 dB in obstacles, {60 - best_db:.1f} dB more than the best")
    assert told.endswith(": through w 60.0.")


def test_the_obstacle_that_throws_the_wave_back_is_named(tmp_path):
    """A tall wall of steel right across, and one along the line: the wave comes by the second, and is told so."""
    across = wall(name='"across"', loss_db=60, along="[[5, -30], [5, 3]]", height_m=20)
    along = wall(name='"along"', loss_db=60, along="[[-20, 6], [30, 6]]", height_m=20)
    budget = first_budget(scene(tmp_path, more=across + along))
    assert (budget.carried_by, budget.mirror) == ("reflected", "along")
    assert way_words(budget) == "Best path: reflected from along."
    assert "reflected from along" in steps(budget)
    assert first_budget(scene(tmp_path, more=across)).mirror == ""


def test_an_edge_that_is_passed_closely_is_an_item_of_its_own(tmp_path):
    found = steps(first_budget(scene(tmp_path, more=wall(along="[[5, -9000], [5, 9000]]", height_m=1.98, loss_db=40))))
    assert -6.1 < found["past the edge of w"] < -3


# Two walls of 20 and 12 dB, so long and so high that nothing gets around: without one, the other is left.
TWO_WALLS = WALL + wall(name='"second"', along="[[7, -9000], [7, 9000]]", height_m=9000, loss_db=12)


def test_the_obstacle_that_costs_most_is_found_by_taking_each_away(tmp_path):
    site = scene(tmp_path, more=TWO_WALLS)
    (costs,) = costs_of(site, site.inverters, site.gateways)
    assert [(cost.obstacle, cost.kind) for cost in costs] == [("long wall", "wall"), ("second", "wall")]
    assert [cost.gain_db for cost in costs] == pytest.approx([20, 12], abs=0.01)
    assert costs[0].margin_db == pytest.approx(54.782 - 12, abs=0.01)


def test_losses_do_not_add_where_a_wave_gets_around(tmp_path):
    """Two screens of 60 dB side by side: what gets around one gets around both, so neither by itself costs 60."""
    more = wall(along="[[5, -3], [5, 3]]", height_m=3, loss_db=60)
    more += wall(name='"w2"', along="[[5.2, -3], [5.2, 3]]", height_m=3, loss_db=60)
    site = scene(tmp_path, more=more)
    (costs,) = costs_of(site, site.inverters, site.gateways)
    assert all(cost.gain_db < 20 for cost in costs)


def test_the_modules_of_an_array_are_taken_away_together(tmp_path):
    more = entry(
        "array",
        name='"N"',
        first="[5, 20]",
        height_m=3,
        rows=2,
        per_row=3,
        spacing_m=2,
        row_spacing_m=2,
        module_depth_m=1.7,
    )
    site = scene(tmp_path, more=more)
    assert [(one.kind, one.name, one.removed_as) for one in site.obstacles.entries] == [
        ("modules", "N modules 1", "N"),
        ("modules", "N modules 2", "N"),
    ]
    assert len(scene_without(site, "N").obstacles) == 0


def test_each_link_of_several_is_explained_by_its_own_gateway(tmp_path):
    site = scene(tmp_path, more=TWO_WALLS + SPOTS)
    twice = site.inverters.pick([0, 0])
    both = site.gateways_and_spots.named(["post", "office"], file="", what="")
    to_post, to_office = costs_of(site, twice, both)
    assert to_post == ()
    assert [cost.obstacle for cost in to_office] == ["long wall", "second"]


def test_what_distance_costs_worked_by_hand(tmp_path):
    """At 40 m with exponent 3, 868 MHz: 31.218 dB of free space over the first metre, then 30 log10(40) = 48.062 dB."""
    site = scene(tmp_path, ("at = [10.0, 0.0]", "at = [40.0, 0.0]"), more="[environment]\npath_loss_exponent = 3.0\n")
    found = steps(first_budget(site))
    assert found["free space, first 1 m"] == pytest.approx(-31.218, abs=0.001)
    assert found["1 m to 40.0 m, exponent 3"] == pytest.approx(-48.062, abs=0.001)
