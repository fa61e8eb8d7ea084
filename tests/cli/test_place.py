"""The command that recommends where the gateway goes."""

import json

import pytest
from plans import MINIMAL, SPOTS, WHOLE_PLAN, entry, inverter_with, search, wall, write
from shapes import LINK, NUMBER, RANKED, differences

# Free space at 868 MHz is 31.218 dB at 1 m. The post is 10 m from the first inverter and 8 m from the second: 51.218 dB
# and 49.280 dB, so margins of 54.782 and 56.720 dB. The shed is 100 m from the first, 71.218 dB and 34.782 dB, and
# root(2^2 + 100^2) = 100.02 m from the second, 71.220 dB and 34.780 dB; their median is 34.781 dB.
SECOND = entry("inverter", name='"i2"', at="[12, 0]", height_m=2)
WHOLE_TEXT = """\
invented yard: 868 MHz; a link holds at a chance of 95 % or more, with 3 dB held back

Put the gateway at post
  east 20.00 m, north 0.00 m, 2.00 m high
  2 of 2 inverters hold
  2.0 expected to work: the sum of all chances, with 3 dB held back
  weakest link: i1, margin 54.8 dB

The best of each place, of 2 spots
                   expected  weakest   its margin     median
rank  spot  holds   to work  inverter          dB  margin dB
----  ----  -----  --------  --------  ----------  ---------
   1  post      2       2.0  i1              54.8       55.8
   2  shed      2       2.0  i2              34.8       34.8

Why: as many hold at shed, with chances as good, but here the weakest link is better.

How sure, by 1000 draws of what the plan does not know (seed 0)
  post comes first in >99 % of them
  else: shed in <1 %
  no other spot serves more inverters in 100 %
  2 of 2 inverters work in nine draws of ten, 2.0 on average
  no single figure off by 2 times its spread puts another first; tried: path loss exponent

All 2 links there, the weakest first
                loss  obstacles     up   down  margin                           in the
inverter     m    dB         dB    dBm    dBm      dB  chance  state  way       straight line
--------  ----  ----  ---------  -----  -----  ------  ------  -----  --------  -------------
i1        10.0  51.2        0.0  -43.2  -41.2    54.8   >99 %  holds  straight  clear
i2         8.0  49.3        0.0  -41.3  -39.3    56.7   >99 %  holds  straight  clear

2 inverters: 2 hold, 0 marginal, 0 fail

A prediction is no measurement: take readings before you rely on it. Work at height, near mains and
  on metal roofs by the local rules for it; only a licensed electrician connects mains.
"""


def test_a_recommendation_worked_by_hand(run, folder):
    write(folder, more=SPOTS + SECOND)
    result = run("place", "plan.toml")
    assert (result.exit_code, result.stdout, result.stderr) == (0, WHOLE_TEXT, "")


DRAWN = {"mean": NUMBER, "low": int, "high": int}
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
    "gateways": [{"name": str, "at": [NUMBER], "height_m": NUMBER, "inverters": int, "served": int}],
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
    },
    "reason": {"rival": str, "decided_by": str, "gained": [DECIDER], "lost": [DECIDER], "nearer": [DECIDER]},
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
    assert len(found["ranking"]) == 43
    assert len(found["links"]) == found["inverters"] == 17


def test_the_json_tells_what_the_text_tells(run, folder):
    write(folder, more=SPOTS + SECOND)
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
    write(folder, *walled, more=SPOTS + entry("spot", name='"bench"', at="[9, 1]", height_m=2) + screen)
    text = run("place", "plan.toml").stdout
    assert text.splitlines()[2:5] == [
        "Put the gateway at bench",
        "  east 9.00 m, north 1.00 m, 2.00 m high",
        "  1 of 1 inverter holds",
    ]
    assert "\nWhy: more inverters hold here than at shed.\n  hold only here: i1 (margin " in text


def test_the_note_and_the_cable_of_the_spot_are_told(run, folder):
    both = 'name = "post"\nnote = "socket there, no network"\ncable_loss_db = 1.5'
    write(folder, more=SPOTS.replace('name = "post"', both))
    assert run("place", "plan.toml").stdout.splitlines()[2:9] == [
        "Put the gateway at post",
        "  east 20.00 m, north 0.00 m, 2.00 m high",
        "  note: socket there, no network",
        "  cable: 1.5 dB, counted in",
        "  1 of 1 inverter holds",
        "  1.0 expected to work: the sum of all chances, with 3 dB held back",
        "  weakest link: i1, margin 53.3 dB",
    ]


def test_the_note_of_a_search_and_the_cable_of_all_gateways_are_told_too(run, folder):
    cable = ("sensitivity_dbm = -98.0", "sensitivity_dbm = -98.0\ncable_loss_db = 2")
    write(folder, cable, more=search(along="[[6, 3], [9, 3]]", heights_m="[2]", note='"trench needed"'))
    lines = run("place", "plan.toml").stdout.splitlines()
    assert lines[4:6] == ["  note: trench needed", "  cable: 2 dB, counted in"]


def test_expected_is_the_sum_of_the_chances(run, folder):
    """At a margin of 3 dB, all of which is held back, a link works at a chance of one half; the other is certain."""
    write(
        folder,
        more=SPOTS.partition("\n\n")[0]
        + entry("inverter", name='"i2"', at="[12, 0]", height_m=2, mounting_loss_db=53.7204),
    )
    text = run("place", "plan.toml").stdout
    assert "\n  1.5 expected to work: the sum of all chances, with 3 dB held back\n" in text
    assert "\n   1  post      1       1.5  i2 " in text


# The shed's margin is 34.8 dB: with 21.5 dB of noise 13.3 dB, of which 3 are held back, and Phi(10.3 / 6) is 0.96.
REASONS = [
    ('name = "shed"', "as many hold at shed, with chances as good, but here the weakest link is better"),
    ('name = "shed"\nnoise_rise_db = 21.5', "as many hold at shed, but here the chances add up to more"),
    ('name = "shed"\nnoise_rise_db = 60', "more inverters hold here than at shed"),
]


@pytest.mark.parametrize(("shed", "told"), REASONS, ids=[told[:20] for _, told in REASONS])
def test_the_reason_is_told_against_the_runner_up(run, folder, shed, told):
    write(folder, more=SPOTS.replace('name = "shed"', shed))
    assert f"\nWhy: {told}.\n" in run("place", "plan.toml").stdout


def test_a_rival_that_is_not_the_runner_up_is_called_the_next_best_place(run, folder):
    write(folder, more=SPOTS + search(along="[[6, 3], [9, 3]]", heights_m="[2]"))
    told = (
        "as many hold at the next best place, post (rank 5), with chances as good, but here the weakest link is better"
    )
    assert f"Why: {told}." in " ".join(run("place", "plan.toml").stdout.split())


def test_of_a_search_only_the_best_point_is_shown_and_top_shows_the_plain_ranking(run, folder):
    write(folder, more=SPOTS + search(along="[[6, 3], [9, 3]]", heights_m="[2]"))
    lines = run("place", "plan.toml").stdout.splitlines()
    start = lines.index("The best of each place, of 6 spots")
    assert [line.split()[:2] for line in lines[start + 4 : start + 7]] == [
        ["1", "s/9.00,3.00,2.00"],
        ["5", "post"],
        ["6", "shed"],
    ]
    lines = run("place", "plan.toml", "--top", "3").stdout.splitlines()
    start = lines.index("The best 3, of 6 spots")
    assert [line.split()[1] for line in lines[start + 4 : start + 7]] == [f"s/{x}.00,3.00,2.00" for x in (9, 8, 7)]
    assert "\nThe best, of 6 spots\n" in run("place", "plan.toml", "--top", "1").stdout


def test_where_nothing_holds_the_least_bad_is_told_and_require_says_3(run, folder):
    write(folder, ("-98.0", "-10.0"), more=SPOTS)
    result = run("place", "plan.toml")
    assert result.exit_code == 0
    assert "No inverter holds at any of the spots; the least bad of them:\nPut the gateway at post\n" in result.stdout
    assert "\n  0 of 1 inverter holds\n" in result.stdout
    assert run("place", "plan.toml", "--require").exit_code == 3


def test_with_require_the_status_is_0_where_every_inverter_holds(run, folder):
    write(folder, more=SPOTS)
    assert run("place", "plan.toml", "--require").exit_code == 0


def test_where_nothing_arrives_that_is_told_in_words(run, folder):
    closed = [{"name": f'"{name}"', "centre": f"[{x}, 0]"} for name, x in (("container", 10), ("tank", 20))]
    sides = {"material": '"welded steel"', "length_m": 4, "width_m": 2, "height_m": 3}
    only_post = SPOTS[: SPOTS.index('[[spot]]\nname = "shed"')]
    write(folder, more=only_post + "".join(entry("box", **one, **sides) for one in closed))
    text = run("place", "plan.toml").stdout
    assert "\n  weakest link: i1, nothing arrives\n" in text
    assert "\n   1  post      0       0.0  i1              none       none\n" in text


def test_the_ten_weakest_links_of_more_are_shown(run, folder):
    more = "".join(entry("inverter", name=f'"j{k}"', at=f"[{8 - k / 2}, 0]", height_m=2) for k in range(11))
    write(folder, more=SPOTS + more)
    text = run("place", "plan.toml").stdout
    block = text.partition("\nThe 10 weakest links there\n")[2].partition("\n\n")[0]
    assert [line.split()[0] for line in block.splitlines()[3:]] == [f"j{k}" for k in range(10, 0, -1)]


def test_a_plan_without_a_place_for_a_gateway_is_refused(run, folder):
    write(folder)
    result = run("place", "plan.toml")
    assert (result.exit_code, result.stdout) == (1, "")
    told = "plan.toml: has no [[spot]] and no [[search]]; add a place where a gateway could go\n"
    assert result.stderr == told


def test_a_single_spot_has_no_rival(run, folder):
    write(folder, more=SPOTS[: SPOTS.index('[[spot]]\nname = "shed"')])
    result = run("place", "plan.toml")
    assert result.exit_code == 0
    assert "Why:" not in result.stdout
    assert "\nThe best of each place, of 1 spot\n" in result.stdout
    assert "\nThe link there\n" in result.stdout
    assert "\n1 inverter: 1 holds, 0 marginal, 0 fail\n" in result.stdout
    assert json.loads(run("place", "plan.toml", "--json").stdout)["reason"] is None


def test_a_fault_of_the_plan_is_told_and_nothing_else(run, folder):
    (folder / "plan.toml").write_text(inverter_with("height_m = inf"), encoding="utf-8")
    result = run("place", "plan.toml")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.startswith('plan.toml: [[inverter]] 1 "i1": height_m: inf is not a number')


def test_an_empty_ranking_cannot_be_asked_for(run, folder):
    (folder / "plan.toml").write_text(MINIMAL, encoding="utf-8")
    assert run("place", "plan.toml", "--top", "0").exit_code == 2
