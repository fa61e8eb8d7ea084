"""The command that recommends where the gateway goes."""

import json
import shutil

import numpy as np
import pytest
from places import SITES
from plans import MINIMAL, SPOTS, WHOLE_PLAN, entry, inverter_with, search, wall, write
from shapes import LINK, NUMBER, RANKED, differences

from survey.inputs.plan_file import read_plan
from survey.output.answers.first_readings import first_readings
from survey.routing import network_between
from survey.scene import scene_of

FEW = ("--draws", "20")

# Free space at 868 MHz is 31.218 dB at 1 m. The post is 10 m from the first inverter and 8 m from the second: 51.218 dB
# and 49.280 dB, so margins of 54.782 and 56.720 dB. The shed is 100 m from the first, 71.218 dB and 34.782 dB, and
# root(2^2 + 100^2) = 100.02 m from the second, 71.220 dB and 34.780 dB; their median is 34.781 dB.
GATEWAY = '[[gateway]]\nname = "office"\nat = [0.0, 0.0]\nheight_m = 2.0\n'
SECOND = entry("inverter", name='"i2"', at="[12, 0]", height_m=2)
WHOLE_TEXT = """\
invented yard, 868 MHz, path loss exponent 2 (the default)
A link holds if its chance of working, with a 3 dB fade margin, is 95 % or more.

Put the gateway at post
  Position:      20.00 m east of the plan's zero point, 2.00 m high
  Coverage:      2 of 2 inverters covered; 2.0 expected working (sum of the chances)
  Weakest link:  i1, margin 54.8 dB, chance >99 %
  Certainty:     shed is equally good; no other spot has more working inverters in 100 % of 1000
                 simulation runs
  Next step:     Before you fix anything, hold the gateway there on a pole, from the ground. Read
                 the level of i1 (predicted -43.2 dBm) and i2.
  Then:          compare the readings: survey fit plan.toml READINGS.csv

Best spot of each location (2 spots tried)
            inverters  expected  weakest  its margin     median
rank  spot    covered   working  link             dB  margin dB
----  ----  ---------  --------  -------  ----------  ---------
   1  post          2       2.0  i1             54.8       55.8
   2  shed          2       2.0  i2             34.8       34.8

Why this spot: shed is equally good: as many inverters covered and expected to work. The better
  weakest margin decides.

How certain is this? 1000 simulation runs, each with random errors in what the plan gives only
  roughly (seed 0)
  Best location:    post in >99 % of the runs, shed in <1 % (most working inverters, then the better
                    weakest link)
  Best choice:      in 100 % of the runs no other spot has more working inverters
  Working:          2 of 2 inverters in 9 of 10 runs, 2.0 on average
  Exponent:         2, in the runs with an uncertainty of 0.25 (both are defaults)
  Critical figure:  none. The best location stays the same if any one figure is wrong by up to 2
                    times its uncertainty (tested: path loss exponent)
  Drawing:          the runs use 100 geometries, in which everything is moved at random, within 10
                    cm; standard error of the share of post: 0.2 points
  Measure again:    nothing; no single position or height changes the result by half an inverter

All 2 links to this spot, the weakest first
                path  obstacle                                               obstacles
                loss      loss     up   down  margin                 best    on direct
inverter     m    dB        dB    dBm    dBm      dB  chance  state  path    line
--------  ----  ----  --------  -----  -----  ------  ------  -----  ------  ---------
i1        10.0  51.2       0.0  -43.2  -41.2    54.8   >99 %  holds  direct  none
i2         8.0  49.3       0.0  -41.3  -39.3    56.7   >99 %  holds  direct  none
Up: level at the gateway. Down: level at the inverter. x2: crossed twice. +1: one more obstacle.
Best path over: over or under the obstacles. Left, right: past that side, seen from the inverter.

Links of 2 inverters: hold 2, marginal 0, fail 0

This is a prediction, not a measurement: take readings on site before you rely on it. Follow the
  local rules for work at height, near mains and on metal roofs. Only a licensed electrician may
  connect mains.
"""


def write_new(folder, *changes, more=""):
    """Write the plan without its existing gateway, so that a new spot wins."""
    return write(folder, (GATEWAY, ""), *changes, more=more)


def test_a_recommendation_worked_by_hand(run, folder):
    write_new(folder, more=SPOTS + SECOND)
    result = run("place", "plan.toml")
    assert (result.exit_code, result.stdout, result.stderr) == (0, WHOLE_TEXT, "")


DRAWN = {"mean": NUMBER, "low": int, "high": int, "mean_error": NUMBER}
CHOICE = {
    "gateways": [str],
    "served": int,
    "expected_served": NUMBER,
    "worst_margin_db": NUMBER,
    "most_served": int,
    "gap": int,
    "proven": bool,
}
ROUTE = {"route": [str], "route_reliability": NUMBER, "route_margin_db": NUMBER, "route_state": str}
DECIDER = {
    "inverter": str,
    "margin_db": NUMBER,
    "rival_margin_db": NUMBER,
    "reliability": NUMBER,
    "rival_reliability": NUMBER,
}
SHAPE = {
    "plan": str,
    "site": str,
    "gateways": [{"name": str, "at": [NUMBER], "height_m": NUMBER, "existing": bool, "inverters": int, "served": int}],
    "served": int,
    "inverters": int,
    "expected_served": NUMBER,
    "worst_inverter": str,
    "worst_margin_db": NUMBER,
    "without_room": int,
    "numbers": [CHOICE],
    "fewest": (dict, type(None)),
    "drawn": DRAWN,
    "sure": {
        "draws": int,
        "seed": int,
        "place_share": dict,
        "unbeaten_share": NUMBER,
        "served": DRAWN,
        "matters_most": (dict, type(None)),
        "tried": [str],
        "spots_left_out": int,
        "geometries": int,
        "place_share_error": dict,
        "measure_again": list,
    },
    "unsteady_links": list,
    "reason": {"rival": str, "decided_by": str, "gained": [DECIDER], "lost": [DECIDER], "nearer": [DECIDER]},
    "moving": (dict, type(None)),
    "ranking": [RANKED | {"best_share": NUMBER}],
    "links": [LINK | ROUTE],
}


def test_the_json_has_the_shape_of_the_interface(run, folder):
    (folder / "plan.toml").write_text(WHOLE_PLAN, encoding="utf-8")
    result = run("place", "plan.toml", "--json")
    found = json.loads(result.stdout)
    assert (result.exit_code, result.stderr) == (0, "")
    assert differences(found, SHAPE) == []
    assert found["reason"]["gained"] + found["reason"]["nearer"] != []
    assert len(found["ranking"]) == 44
    assert sum(row["existing"] for row in found["ranking"]) == 1
    assert len(found["links"]) == found["inverters"] == 17


def test_the_json_tells_what_the_text_tells(run, folder):
    write_new(folder, more=SPOTS + SECOND)
    found = json.loads(run("place", "plan.toml", "--json").stdout)
    (gateway,) = found["gateways"]
    assert (gateway["name"], gateway["at"], gateway["height_m"]) == ("post", [20.0, 0.0], 2.0)
    assert (gateway["inverters"], gateway["served"]) == (2, 2)
    assert (found["served"], found["inverters"], found["worst_inverter"]) == (2, 2, "i1")
    assert found["worst_margin_db"] == pytest.approx(54.782, abs=0.001)
    assert found["expected_served"] == pytest.approx(2.0, abs=1e-6)
    assert [row["spot"] for row in found["ranking"]] == ["post", "shed"]
    assert [row["worst_inverter"] for row in found["ranking"]] == ["i1", "i2"]
    assert [row["median_margin_db"] for row in found["ranking"]] == pytest.approx([55.751, 34.781], abs=0.001)
    assert [link["route"] for link in found["links"]] == [["i1", "post"], ["i2", "post"]]
    assert (found["reason"]["rival"], found["reason"]["decided_by"]) == ("shed", "worst_margin_db")


def test_the_first_of_the_ranking_is_the_recommendation(run, folder):
    (folder / "plan.toml").write_text(WHOLE_PLAN, encoding="utf-8")
    found = json.loads(run("place", "plan.toml", "--json").stdout)
    first, *others = found["ranking"]
    assert found["gateways"][0]["name"] == first["spot"]
    for key in ("served", "expected_served", "worst_inverter", "worst_margin_db"):
        assert found[key] == first[key]
    assert all(row["served"] <= first["served"] for row in others)
    assert found["served"] == sum(link["state"] == "holds" for link in found["links"])
    assert found["expected_served"] == pytest.approx(sum(link["reliability"] for link in found["links"]), abs=1e-4)
    assert found["worst_margin_db"] == min(link["margin_db"] for link in found["links"])


def test_a_spot_that_serves_more_wins_and_the_inverters_that_decide_are_named(run, folder):
    screen = wall(along="[[15, -50], [15, 50]]", height_m=50, loss_db=90)
    walled = ("-98.0", "-40.0"), ("-96.0", "-40.0")
    write_new(folder, *walled, more=SPOTS + entry("spot", name='"bench"', at="[9, 1]", height_m=2) + screen)
    text = run("place", "plan.toml").stdout
    assert text.splitlines()[3:6] == [
        "Put the gateway at bench",
        "  Position:      9.00 m east, 1.00 m north of the plan's zero point, 2.00 m high",
        "  Coverage:      1 of 1 inverter covered; 1.0 expected working (sum of the chances)",
    ]
    assert "\nWhy this spot: it covers more inverters than shed.\n  Covered only here: i1 (margin " in text


def test_the_note_and_the_cable_of_the_spot_are_told(run, folder):
    both = 'name = "post"\nnote = "socket there, no network"\ncable_loss_db = 1.5'
    write_new(folder, more=SPOTS.replace('name = "post"', both))
    assert run("place", "plan.toml").stdout.splitlines()[3:8] == [
        "Put the gateway at post",
        "  Position:      20.00 m east of the plan's zero point, 2.00 m high; socket there, no network; cable",
        "                 loss of 1.5 dB included",
        "  Coverage:      1 of 1 inverter covered; 1.0 expected working (sum of the chances)",
        "  Weakest link:  i1, margin 53.3 dB, chance >99 %",
    ]


def test_the_note_of_a_search_and_the_cable_of_all_gateways_are_told_too(run, folder):
    cable = ("sensitivity_dbm = -98.0", "sensitivity_dbm = -98.0\ncable_loss_db = 2")
    write_new(folder, cable, more=search(along="[[6, 3], [9, 3]]", heights_m="[2]", note='"trench needed"'))
    text = run("place", "plan.toml").stdout
    assert " Note: trench needed; cable loss of 2 dB included " in " ".join(text.split())


def test_expected_is_the_sum_of_the_chances(run, folder):
    """At a margin of 3 dB, all of which is held back, a link works at a chance of one half; the other is certain."""
    write_new(
        folder,
        more=SPOTS.partition("\n\n")[0]
        + entry("inverter", name='"i2"', at="[12, 0]", height_m=2, mounting_loss_db=53.7204),
    )
    text = run("place", "plan.toml").stdout
    assert "covered; 1.5 expected working (sum of the chances)\n" in text
    assert "\n   1  post          1       1.5  i2 " in text


# The shed's margin is 34.8 dB: with 21.5 dB of noise 13.3 dB, less a fade margin of 3; Phi(10.3 / 6) is 0.96.
TIE = "shed is equally good: as many inverters covered and expected to work. The better weakest margin decides"
REASONS = [
    ('name = "shed"', TIE),
    ('name = "shed"\nnoise_rise_db = 21.5', "it covers as many inverters as shed, and more are expected to work"),
    ('name = "shed"\nnoise_rise_db = 60', "it covers more inverters than shed"),
]


@pytest.mark.parametrize(("shed", "told"), REASONS, ids=[told[:20] for _, told in REASONS])
def test_the_reason_is_told_against_the_runner_up(run, folder, shed, told):
    write_new(folder, more=SPOTS.replace('name = "shed"', shed) + SECOND)
    assert f" Why this spot: {told}." in " ".join(run("place", "plan.toml").stdout.split())


def test_a_rival_that_is_not_the_runner_up_is_called_the_next_best_location(run, folder):
    write_new(folder, more=SPOTS + search(along="[[6, 3], [9, 3]]", heights_m="[2]"))
    told = (
        "the next best location, post (rank 5), is equally good: as many inverters covered and expected to work. "
        "The better weakest margin decides"
    )
    assert f"Why this spot: {told}." in " ".join(run("place", "plan.toml").stdout.split())


def test_of_a_search_only_the_best_point_is_shown_and_top_shows_the_plain_ranking(run, folder):
    write_new(folder, more=SPOTS + search(along="[[6, 3], [9, 3]]", heights_m="[2]"))
    lines = run("place", "plan.toml").stdout.splitlines()
    start = lines.index("Best spot of each location (6 spots tried)")
    assert [line.split()[:2] for line in lines[start + 4 : start + 7]] == [
        ["1", "s/9.00,3.00,2.00"],
        ["5", "post"],
        ["6", "shed"],
    ]
    lines = run("place", "plan.toml", "--top", "3").stdout.splitlines()
    start = lines.index("The best 3 spots (6 spots tried)")
    assert [line.split()[1] for line in lines[start + 4 : start + 7]] == [f"s/{x}.00,3.00,2.00" for x in (9, 8, 7)]
    assert "\nThe best spot (6 spots tried)\n" in run("place", "plan.toml", "--top", "1").stdout


def test_where_nothing_holds_the_least_bad_is_told_and_require_says_3(run, folder):
    write_new(folder, ("-98.0", "-10.0"), more=SPOTS)
    result = run("place", "plan.toml")
    assert result.exit_code == 0
    assert "No spot covers any inverter. The least bad spot:\nPut the gateway at post\n" in result.stdout
    assert "0 of 1 inverter covered; 0.0 expected working" in result.stdout
    assert run("place", "plan.toml", "--require").exit_code == 3


def test_with_require_the_status_is_0_where_every_inverter_holds(run, folder):
    write_new(folder, more=SPOTS)
    assert run("place", "plan.toml", "--require").exit_code == 0


def test_where_nothing_arrives_that_is_told_in_words(run, folder):
    closed = [{"name": f'"{name}"', "centre": f"[{x}, 0]"} for name, x in (("container", 10), ("tank", 20))]
    sides = {"material": '"welded steel"', "length_m": 4, "width_m": 2, "height_m": 3}
    only_post = SPOTS[: SPOTS.index('[[spot]]\nname = "shed"')]
    write_new(folder, more=only_post + "".join(entry("box", **one, **sides) for one in closed))
    text = run("place", "plan.toml").stdout
    assert "\n  Weakest link:  i1, no usable signal arrives\n" in text
    assert "\n   1  post          0       0.0  i1             none       none\n" in text


def test_the_ten_weakest_links_of_more_are_shown(run, folder):
    more = "".join(entry("inverter", name=f'"j{k}"', at=f"[{8 - k / 2}, 0]", height_m=2) for k in range(11))
    write_new(folder, more=SPOTS + more)
    text = run("place", "plan.toml").stdout
    block = text.partition("\nThe 10 weakest links to this spot\n")[2].partition("\n\n")[0]
    assert [line.split()[0] for line in block.splitlines()[4:-2]] == [f"j{k}" for k in range(10, 0, -1)]


def test_a_plan_without_a_place_for_a_gateway_is_refused(run, folder):
    write_new(folder)
    result = run("place", "plan.toml")
    assert (result.exit_code, result.stdout) == (1, "")
    told = "plan.toml: has no [[spot]] and no [[search]]; add a spot where a gateway could go\n"
    assert result.stderr == told


def test_a_single_spot_has_no_rival(run, folder):
    write_new(folder, more=SPOTS[: SPOTS.index('[[spot]]\nname = "shed"')])
    result = run("place", "plan.toml")
    assert result.exit_code == 0
    assert "Why this spot:" not in result.stdout
    assert "\nBest spot of each location (1 spot tried)\n" in result.stdout
    assert "\nThe link to this spot\n" in result.stdout
    assert "\nLinks of 1 inverter: hold 1, marginal 0, fail 0\n" in result.stdout
    assert json.loads(run("place", "plan.toml", "--json").stdout)["reason"] is None


def test_a_fault_of_the_plan_is_told_and_nothing_else(run, folder):
    (folder / "plan.toml").write_text(inverter_with("height_m = inf"), encoding="utf-8")
    result = run("place", "plan.toml")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.startswith('plan.toml: [[inverter]] 1 "i1": height_m: inf is not a number')


def test_an_empty_ranking_cannot_be_asked_for(run, folder):
    (folder / "plan.toml").write_text(MINIMAL, encoding="utf-8")
    assert run("place", "plan.toml", "--top", "0").exit_code == 2


# ------------------------------------------------------------------------------------------------- existing gateways


def test_an_existing_gateway_that_is_as_good_as_every_spot_stays(run, folder):
    """The office is 10 m and 12 m from the inverters, the post 10 m and 8 m: at both each link is certain."""
    write(folder, more=SPOTS + SECOND)
    text = run("place", "plan.toml").stdout
    assert "\n\nLeave the gateway at office\n  Position:      at the plan's zero point, 2.00 m high\n" in text
    assert "Before you fix anything" not in text
    told = (
        "Why this spot: post is equally good: as many inverters covered and expected to work. The existing gateway need"
    )
    assert told in " ".join(text.split())
    found = json.loads(run("place", "plan.toml", "--json").stdout)
    assert [(one["name"], one["existing"]) for one in found["gateways"]] == [("office", True)]
    ranking = {row["spot"]: row["existing"] for row in found["ranking"]}
    assert ranking == {"office": True, "post": False, "shed": False}
    assert (found["reason"]["decided_by"], found["moving"]) == ("existing", None)


# A mounting loss of 39 dB leaves the office 54.8 - 39 = 15.8 dB for each of twenty inverters beside one another, and
# Phi((15.8 - 3) / 6) = 0.984: 19.7 expected. 3 m from them the new spot has some 26 dB: all 20, in most runs no more.
BESIDE = "".join(entry("inverter", name=f'"k{k}"', at=f"[10, {k / 100}]", height_m=2) for k in range(1, 20))


def test_a_gateway_stays_where_moving_it_brings_nothing_that_is_certain(run, folder):
    mounting = ("tx_power_dbm = 8.0", "tx_power_dbm = 8.0\nmounting_loss_db = 39")
    write(folder, mounting, more=BESIDE + entry("spot", name='"near"', at="[7, 0]", height_m=2))
    text = run("place", "plan.toml").stdout
    found = json.loads(run("place", "plan.toml", "--json").stdout)
    moving = found["moving"]
    assert (moving["existing"], moving["spot"], moving["certain"], moving["advised"]) == (
        "office",
        "near",
        False,
        False,
    )
    assert moving["more_share"] < 0.5
    near, office = (next(row for row in found["ranking"] if row["spot"] == name) for name in ("near", "office"))
    assert near["served"] == office["served"] == 20
    assert near["expected_served"] > office["expected_served"] + 0.1, "the spot is better by the prediction"
    assert found["ranking"][0]["spot"] == found["gateways"][0]["name"] == "office"
    assert "\n\nLeave the gateway at office\n" in text
    assert "  Moving:        to near brings nothing that is certain: more working inverters in " in text


def test_a_gateway_is_moved_to_a_spot_that_covers_more(run, folder):
    screen = wall(along="[[5, -50], [5, 50]]", height_m=50, loss_db=90)
    write(
        folder,
        ("-98.0", "-40.0"),
        ("-96.0", "-40.0"),
        more=entry("spot", name='"bench"', at="[9, 1]", height_m=2) + screen,
    )
    text = run("place", "plan.toml").stdout
    assert "\nPut the gateway at bench\n" in text
    assert "Moving: from office (0 covered) brings more working inverters in 96 % of 1000 simulation runs" in " ".join(
        text.split()
    )
    found = json.loads(run("place", "plan.toml", "--json").stdout)
    assert (found["moving"]["certain"], found["gateways"][0]["existing"]) == (True, False)


def test_of_equally_good_spots_the_lower_one_is_recommended(run, folder):
    """Both are 10 m from the only inverter, one above it and one below."""
    high = entry("spot", name='"high"', at="[10, 8]", height_m=8)
    low = entry("spot", name='"low"', at="[10, 10]", height_m=2)
    write_new(folder, ("[10.0, 0.0]\nheight_m = 2.0", "[10.0, 0.0]\nheight_m = 2.0"), more=high + low)
    text = run("place", "plan.toml").stdout
    assert "\nPut the gateway at low\n" in text
    assert "Its weakest margin is the same. The lower height decides." in " ".join(text.split())


# --------------------------------------------------------------------------------------------- those not covered


def test_those_not_covered_are_named_by_array_with_the_spot_that_would_cover_them(run, folder):
    array = entry("array", name='"N"', first="[200, 0]", height_m=2, rows=1, per_row=4, spacing_m=1)
    lone = entry("inverter", name='"lone"', at="[120, 300]", height_m=2)
    spots = entry("spot", name='"west"', at="[11, 0]", height_m=2) + entry(
        "spot", name='"east"', at="[204, 0]", height_m=2
    )
    more = "".join(entry("inverter", name=f'"w{k}"', at=f"[{10 + k}, 1]", height_m=2) for k in range(6))
    write_new(folder, ("-98.0", "-65.0"), ("-96.0", "-65.0"), more=array + lone + more + spots)
    text = " ".join(run("place", "plan.toml").stdout.split())
    assert "Put the gateway at west" in text
    assert "Not covered: array N (all 4), lone. Another gateway at east would cover 4 of them." in text
    assert "For the rest: survey explain plan.toml lone" in text


def test_a_spot_of_a_search_is_told_by_its_distance_from_an_end(run, folder):
    write_new(folder, more=search(name='"south fence"', along="[[9, 3], [-20, 3]]", heights_m="[2]"))
    text = run("place", "plan.toml").stdout
    assert "Put the gateway on south fence, at its east end, 2.0 m high (south fence/9.00,3.00,2.00)" in text
    assert "Position" not in text  # the title says it


FENCE = """
[[search]]
name = "south fence"
along = [[0.0, -5.0], [20.0, -5.0]]
heights_m = [3.0]
step_m = 1.0
"""


def test_a_point_on_a_line_is_told_as_a_person_finds_it_with_its_name_behind(run, folder):
    (folder / "plan.toml").write_text(MINIMAL[: MINIMAL.index("[[gateway]]")] + FENCE, encoding="utf-8")
    text = run("place", "plan.toml", *FEW).stdout
    assert "Put the gateway on south fence, 10 m from its west end, 3.0 m high (south fence/10.00,-5.00,3.00)" in text


@pytest.mark.parametrize("site", ["house", "farm", "warehouse"])
def test_the_answer_stands_in_twelve_lines_before_the_first_table(run, folder, site):
    shutil.copytree(SITES, folder / "sites")  # a path of usual length: the answer repeats it
    text = run("place", f"sites/{site}.toml", *FEW).stdout
    head = [line for line in text[: text.index("Best spot of each location")].splitlines() if line]
    assert len(head) <= 12, "\n".join(head)
    said = " ".join(head)
    for label in ("Position:", "Coverage:", "Weakest link:", "Next step:", "Then:"):
        assert label in said
    assert "Certainty:" in said or "Moving:" in said


def test_the_readings_asked_for_first_are_no_neighbours():
    """Inverters within the correlation distance are shadowed alike: the second would teach little."""
    scene = scene_of(read_plan(SITES / "farm.toml"))
    network = network_between(scene, scene.gateways)
    chosen = first_readings(network)
    at_m = scene.inverters.at_m[chosen]
    apart_m = np.linalg.norm(at_m[:, None] - at_m[None], axis=2)[np.triu_indices(3, 1)]
    assert apart_m.min() > scene.plan.environment.correlation_m
    assert chosen[0] == int(np.argmin(network.weakest_margin_db))


def test_the_exponent_says_which_of_its_figures_are_defaults(run, folder):
    write_new(folder, more=SPOTS)
    both = run("place", "plan.toml", *FEW).stdout
    assert "path loss exponent 2 (the default)\n" in both
    assert "2, in the runs with an uncertainty of 0.25 (both are defaults)" in both
    write_new(folder, more=SPOTS + "[environment]\npath_loss_exponent = 2.4\n")
    one = run("place", "plan.toml", *FEW).stdout
    assert "path loss exponent 2.4\n" in one
    assert "2.4 (from the plan), in the runs with an uncertainty of 0.25 (the default)" in one
    write_new(folder, more=SPOTS + "[environment]\npath_loss_exponent = 2.4\nexponent_spread = 0.1\n")
    assert "2.4, in the runs with an uncertainty of 0.1 (both from the plan)" in run("place", "plan.toml", *FEW).stdout


@pytest.mark.parametrize(
    ("height_m", "how"),
    [(5.0, "hold the gateway there on a pole, from the ground."), (5.1, "hold the gateway there from a safe place to")],
)
def test_nobody_is_sent_to_hold_a_gateway_on_a_pole_higher_than_a_pole_is(run, folder, height_m, how):
    write_new(folder, more=entry("spot", name='"mast"', at="[6, 3]", height_m=height_m))
    assert how in " ".join(run("place", "plan.toml", *FEW).stdout.split())


def test_a_name_that_begins_with_a_preposition_stands_in_quotes(run, folder):
    write_new(folder, more=entry("spot", name='"in the shed"', at="[6, 3]", height_m=2))
    assert 'Put the gateway at "in the shed"\n' in run("place", "plan.toml", *FEW).stdout


def test_the_command_for_the_rest_explains_the_links_to_the_recommended_spot(run, folder):
    """And not to the gateway that exists; an option that the plan does not have comes with it."""
    far = entry("inverter", name='"far"', at="[90000, 0]", height_m=2)
    write_new(folder, more=GATEWAY.replace("[0.0, 0.0]", "[0.0, 60000.0]") + SPOTS + far)
    text = " ".join(run("place", "plan.toml", *FEW, "--relays", "1").stdout.split())
    assert "For the rest: survey explain plan.toml far --gateway post --relays 1 " in text
