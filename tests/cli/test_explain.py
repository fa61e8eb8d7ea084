"""The command that says where every dB goes and what would mend a link."""

import json
import math

import pytest
from places import OLD_WORDS
from plans import MINIMAL, SPOTS, WALL, changed, entry, search, wall, write
from shapes import MAYBE, NUMBER, differences

CHANGE = {"inverter": str, "before": str, "after": str}
ITEM = {"item": str, "db": MAYBE, "kind": str, "obstacle": (str, type(None))}
REMEDY = {
    "action": str,
    "kind": str,
    "about": str,
    "at_m": (list, type(None)),
    "cable_loss_db": NUMBER,
    "gain_db": NUMBER,
    "margin_db": NUMBER,
    "reliability": NUMBER,
    "state": str,
    "helps": [CHANGE],
    "harms": [CHANGE],
    "cautions": [str],
}
SHAPE = {
    "plan": str,
    "site": str,
    "gateways": [str],
    "gateways_are": str,
    "cable": {"longest_m": NUMBER, "loss_db_per_m": NUMBER, "connectors_db": NUMBER, "assumed": bool},
    "inverters": [
        {
            "inverter": str,
            "gateway": str,
            "direction": str,
            "budget": [ITEM],
            "direct_path": [ITEM],
            "level_dbm": MAYBE,
            "need_dbm": NUMBER,
            "margin_db": MAYBE,
            "other_margin_db": MAYBE,
            "fade_margin_db": NUMBER,
            "sigma_db": NUMBER,
            "reliability": NUMBER,
            "state": str,
            "depends_on": list,
            "spare_db": MAYBE,
            "carried_by": str,
            "mirror": (str, type(None)),
            "route": [str],
            "route_reliability": NUMBER,
            "route_margin_db": MAYBE,
            "route_state": str,
            "obstacles": [{"obstacle": str, "kind": str, "gain_db": NUMBER, "margin_db": NUMBER}],
            "remedies": [REMEDY],
            "of_no_use": [REMEDY],
        }
    ],
    "cautions": dict,
}

# The farm's gateway on a bracket in front of the south wall: inverters on the lean-to fail, and every kind of remedy
# that the plan allows can be tried.
OFFICE = 'name = "office"\nat = [21.5, 10.0]\nheight_m = 1.8\n'
ON_THE_WALL = 'name = "office"\nat = [20.0, -0.15]\nheight_m = 2.6\n'


def farm(gateway=ON_THE_WALL, **more):
    text = (OLD_WORDS / "farm.toml").read_text(encoding="utf-8")
    text = changed((OFFICE, gateway), text=text)
    for key, value in more.items():
        text = text.replace("fade_margin_db = 3.0\n", f"fade_margin_db = 3.0\n{key} = {value}\n")
    return text


def explained(run, *words):
    result = run("explain", *words, "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    return json.loads(result.stdout)


def best_links(run, *words):
    """By survey links, the link of every inverter that works most often."""
    best = {}
    for link in json.loads(run("links", *words, "--json").stdout)["links"]:
        rank = (round(link["reliability"], 9), link["margin_db"])
        if link["inverter"] not in best or rank > best[link["inverter"]][0]:
            best[link["inverter"]] = (rank, link)
    return {name: link for name, (_, link) in best.items()}


def promised(run, folder, remedy):
    """What survey links says of the plan changed as a remedy says."""
    if remedy["kind"] in {"other spot", "one more"}:
        places = [remedy["about"]] + (["office"] if remedy["kind"] == "one more" else [])
        return best_links(run, "plan.toml", *(word for name in places for word in ("--gateway", name)))
    x, y, z = remedy["at_m"]
    own = f"cable_loss_db = {remedy['cable_loss_db']}\n"
    text = farm(f'name = "office"\nat = [{x}, {y}]\nheight_m = {z}\n{own}')
    (folder / "changed.toml").write_text(text, encoding="utf-8")
    return best_links(run, "changed.toml")


def test_a_remedy_promises_what_links_says_of_the_changed_plan(run, folder):
    (folder / "plan.toml").write_text(farm(), encoding="utf-8")
    today = best_links(run, "plan.toml")
    kinds = set()
    for one in explained(run, "plan.toml", "L-1-1", "S-1-4", "--more-margin")["inverters"]:
        for remedy in one["remedies"] + one["of_no_use"]:
            found = promised(run, folder, remedy)
            link = found[one["inverter"]]
            assert link["margin_db"] == pytest.approx(remedy["margin_db"], abs=2e-5), remedy["action"]
            assert link["state"] == remedy["state"]
            assert link["reliability"] == pytest.approx(remedy["reliability"], abs=2e-6)
            gain_db = remedy["margin_db"] - today[one["inverter"]]["margin_db"]
            assert remedy["gain_db"] == pytest.approx(gain_db, abs=2e-6)
            told = {c["inverter"]: (c["before"], c["after"]) for c in remedy["helps"] + remedy["harms"]}
            states = {name: (today[name]["state"], found[name]["state"]) for name in today if name != one["inverter"]}
            assert told == {name: pair for name, pair in states.items() if pair[0] != pair[1]}
            kinds.add(remedy["kind"])
    assert kinds == {"raise", "move", "cable", "other spot", "one more"}


def test_without_a_container_the_link_is_what_links_says_of_the_plan_without_it(run, folder):
    write(folder, ("-98.0", "-50.0"), more=entry("box", name='"x"', **CONTAINER))
    (one,) = explained(run, "plan.toml", "i1")["inverters"]
    (removed,) = [r for r in one["remedies"] if r["kind"] == "obstacle"]
    write(folder, ("-98.0", "-50.0"))
    link = best_links(run, "plan.toml")["i1"]
    assert (removed["margin_db"], removed["state"]) == (pytest.approx(link["margin_db"], abs=1e-6), link["state"])
    assert removed["gain_db"] == pytest.approx(link["margin_db"] - one["margin_db"], abs=2e-6)


def test_remedies_are_ranked_by_state_then_harm_then_effort(run, folder):
    (folder / "plan.toml").write_text(farm(), encoding="utf-8")
    (one,) = explained(run, "plan.toml", "L-1-1")["inverters"]
    assert one["state"] != "holds"
    order = {"holds": 0, "marginal": 1, "fails": 2}
    effort = {
        "outside": 0,
        "move": 0,
        "raise": 0,
        "cable": 2,
        "other spot": 3,
        "relay": 4,
        "one more": 5,
        "obstacle": 6,
    }

    def cost(r):  # a gateway that is hung elsewhere than in reach takes a ladder
        return max(effort[r["kind"]], int(r["kind"] in {"outside", "move", "raise"} and r["at_m"][2] > 2.0))

    ranks = [(order[r["state"]], len(r["harms"]) > len(r["helps"]), cost(r)) for r in one["remedies"]]
    assert ranks == sorted(ranks)
    assert len({rank[0] for rank in ranks}) > 1
    for remedy in one["remedies"]:
        assert order[remedy["state"]] < order[one["state"]] or remedy["gain_db"] >= 0.5
    for remedy in one["of_no_use"]:
        assert order[remedy["state"]] >= order[one["state"]]


def test_a_relay_promises_what_network_says(run, folder):
    (folder / "plan.toml").write_text(farm(max_relays=1), encoding="utf-8")
    (one,) = explained(run, "plan.toml", "L-1-1", "--more-margin")["inverters"]
    (relay,) = [r for r in one["remedies"] if r["kind"] == "relay"]
    assert "max_relays = 2" in relay["action"]
    for words, promised in (((), None), (("--relays", "2"), relay)):
        network = json.loads(run("network", "plan.toml", *words, "--json").stdout)
        route = next(r for r in network["routes"] if r["inverter"] == "L-1-1")
        if promised is None:
            assert one["route"] == route["route"]
            assert (one["route_state"], one["route_reliability"]) == (route["state"], route["reliability"])
            assert one["route_margin_db"] == route["weakest_margin_db"]
            continue
        assert len(route["route"]) == 4
        assert route["route"][1] == relay["about"]
        assert route["reliability"] == pytest.approx(relay["reliability"], abs=2e-6)
        assert route["weakest_margin_db"] == pytest.approx(relay["margin_db"], abs=2e-6)
        assert relay["state"] == route["state"]


def test_without_relays_in_the_plan_none_is_offered(run, folder):
    (folder / "plan.toml").write_text(farm(), encoding="utf-8")
    (one,) = explained(run, "plan.toml", "L-1-1")["inverters"]
    assert "relay" not in {r["kind"] for r in one["remedies"] + one["of_no_use"]}


def test_the_json_has_its_shape_and_the_budget_adds_up_to_the_level(run, folder):
    (folder / "plan.toml").write_text(farm(), encoding="utf-8")
    found = explained(run, "plan.toml", "L-1-1", "S-1-1", "L-1-1")
    assert [one["inverter"] for one in found["inverters"]] == ["L-1-1", "S-1-1"]
    assert differences(found, SHAPE) == []
    links = best_links(run, "plan.toml")
    for one in found["inverters"]:
        link = links[one["inverter"]]
        assert sum(item["db"] for item in one["budget"]) == pytest.approx(one["level_dbm"], abs=1e-9)
        way = {"up": "uplink", "down": "downlink"}[one["direction"]]
        assert one["level_dbm"] == pytest.approx(link[way]["level_dbm"], abs=1e-6)
        for key in ("margin_db", "sigma_db", "reliability", "state", "carried_by", "mirror", "gateway"):
            assert one[key] == link[key]
    used = {w for one in found["inverters"] for r in one["remedies"] for w in r["cautions"]}
    assert set(found["cautions"]) == used


# 868 MHz, 10 m: free space 31.218 dB at 1 m and 20 dB beyond, a wall of 20 dB that nothing gets around.
WHOLE_TEXT = """\
invented yard, 868 MHz, path loss exponent 2 (the default)
A link holds if its chance of working, with a 3 dB fade margin, is 95 % or more.

i1 to office: holds
===================
  Next step:      none is needed: the link holds
  Chance:         >99 % (required: 95 %)
  Margin:         34.8 dB; it can lose 21.9 dB more and still hold
  Best path:      direct, through or past the obstacles
  Main obstacle:  long wall; without it the margin would be 54.8 dB (20.0 dB more)
  Position:       No position or height that is wrong by 10 cm changes this link by 3 dB or more.

Link budget, inverter to gateway (the other direction has the same margin)
                                         level
item                                dB     dBm
------------------------------  ------  ------
transmit power of the inverter   +8.00    8.00
antenna gain of the inverter     +0.00    8.00
free space, first 1 m           -31.22  -23.22
1 m to 10.0 m, exponent 2       -20.00  -43.22
through long wall               -20.00  -63.22
antenna gain of the gateway      +0.00  -63.22
The gateway's sensitivity is -98.0 dBm, so the margin is 34.8 dB. The chance counts with a fade
  margin of 3 dB and an uncertainty of 6.0 dB (one standard deviation): >99 %. The link holds.

This is a prediction, not a measurement: take readings on site before you rely on it. Follow the
  local rules for work at height, near mains and on metal roofs. Only a licensed electrician may
  connect mains.
"""


def test_a_link_worked_by_hand(run, folder):
    write(folder, more=WALL)
    result = run("explain", "plan.toml", "i1")
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == WHOLE_TEXT


@pytest.mark.parametrize("height_m", ["2.013", "2.117", "2.271"])
def test_the_printed_column_adds_up_as_it_is_printed(run, folder, height_m):
    write(folder, ("[0.0, 0.0]\nheight_m = 2.0", f"[0.0, 0.0]\nheight_m = {height_m}"), more=WALL)
    lines = run("explain", "plan.toml", "i1").stdout.splitlines()
    budget = next(k for k, line in enumerate(lines) if line.startswith("Link budget"))
    start = next(k for k, line in enumerate(lines) if k > budget and line.startswith("-----"))
    end = next(k for k, line in enumerate(lines) if k > budget and line.startswith("The gateway's sensitivity"))
    rows = [line.split()[-2:] for line in lines[start + 1 : end]]
    assert len(rows) == 6
    total = 0.0
    for db, level_dbm in rows:
        total += float(db)
        assert round(total, 2) == float(level_dbm)


def test_the_best_of_several_gateways_is_explained(run, folder):
    write(folder, more=WALL + entry("gateway", name='"near"', at="[12, 0]", height_m=2))
    found = explained(run, "plan.toml", "i1")
    assert (found["gateways"], found["gateways_are"]) == (["office", "near"], "stands")
    assert found["inverters"][0]["gateway"] == "near"
    found = explained(run, "plan.toml", "i1", "--gateway", "office")
    assert (found["gateways"], found["gateways_are"]) == (["office"], "named")
    assert found["inverters"][0]["gateway"] == "office"


def test_where_no_gateway_stands_the_recommended_spot_is_taken_and_told(run, folder):
    text = changed(more=SPOTS)
    text = text[: text.index("[[gateway]]")] + text[text.index("[[spot]]") :]
    (folder / "plan.toml").write_text(text, encoding="utf-8")
    found = explained(run, "plan.toml", "i1")
    recommended = json.loads(run("place", "plan.toml", "--json").stdout)["gateways"][0]["name"]
    assert (found["gateways_are"], found["inverters"][0]["gateway"]) == ("recommended", recommended)
    told = f"The plan has no gateway. This is for one at {recommended}, the spot that survey place recommends."
    assert told in run("explain", "plan.toml", "i1").stdout


def test_neither_a_gateway_nor_a_mast_goes_through_a_ceiling(run, folder):
    ceiling = entry(
        "roof", name='"ceiling"', corners="[[-3, -3, 2.7], [3, -3, 2.7], [3, 3, 2.7], [-3, 3, 2.7]]", loss_db=30
    )
    for more, expected in ((ceiling, {("raise", 2.5)}), ("", MASTS)):
        write(folder, more=more)
        (one,) = explained(run, "plan.toml", "i1", "--more-margin")["inverters"]
        heights = {(r["kind"], round(r["at_m"][2], 2)) for r in one["remedies"] + one["of_no_use"] if r["at_m"]}
        assert heights == expected


MASTS = {("raise", 2.5), ("raise", 3.0), ("raise", 4.0), ("cable", 4.0), ("cable", 7.0)}
"""Heights of a gateway 2 m high under the open sky, by remedy. [m]"""


# A steel cabinet of 20 dB with the gateway in it, 20 cm behind the front: 8 - 51.218 dBm less 20 dB.
CABINET = {"name": '"cabinet"', "centre": "[0.1, 0]", "length_m": 0.6, "width_m": 0.8, "height_m": 1.2, "base_m": 1.4}


def test_a_gateway_in_a_cabinet_is_hung_outside_of_it_and_the_cabinet_stays(run, folder):
    write(folder, ("-98.0", "-65.0"), more=entry("box", **CABINET, bearing_deg=90, loss_db=60))
    (one,) = explained(run, "plan.toml", "i1")["inverters"]
    assert one["state"] == "fails"
    first = one["remedies"][0]
    assert first["action"] == "hang the gateway outside cabinet, on its east side"
    assert (first["kind"], first["at_m"]) == ("outside", pytest.approx([0.55, 0.0, 2.0]))
    assert [r["kind"] for r in one["remedies"] + one["of_no_use"]].count("outside") == 1
    assert not [r for r in one["remedies"] + one["of_no_use"] if r["kind"] == "obstacle"]
    assert first["margin_db"] == pytest.approx(8 - 31.218 - 20 * math.log10(9.45) + 65, abs=0.01)


def test_a_gateway_is_not_hung_into_the_wall_behind_its_cabinet(run, folder):
    behind = wall(name='"wall"', along="[[0.45, -9], [0.45, 9]]", height_m=9, loss_db=3)
    write(folder, ("-98.0", "-65.0"), more=behind + entry("box", **CABINET, bearing_deg=90, loss_db=60))
    (one,) = explained(run, "plan.toml", "i1")["inverters"]
    outside = [r for r in one["remedies"] + one["of_no_use"] if r["kind"] == "outside"]
    assert [r["at_m"][0] < 0.4 for r in outside] == [True]


CONTAINER = {"length_m": 2.44, "width_m": 6.06, "height_m": 2.59, "loss_db": 70, "centre": "[5, 0]"}
HOUSE = CONTAINER | {"width_m": 8.0, "length_m": 5.0}
ROOF_OVER = "[[4, -30, 0], [4, 30, 0], [6, 30, 9], [6, -30, 9]]"


@pytest.mark.parametrize(
    ("obstacle", "goes"),
    [
        (entry("box", name='"x"', **CONTAINER), "move or remove x"),
        (entry("box", name='"x"', **HOUSE), None),
        (entry("box", name='"x"', **CONTAINER) + entry("inverter", name='"top"', at="[5, 1]", height_m=2.7), None),
        (wall(name='"x"', along="[[5, -9], [5, 9]]", height_m=9, loss_db=70), None),
        (entry("roof", name='"x"', corners=ROOF_OVER, loss_db=70), None),
    ],
    ids=["container", "house", "container with an inverter on it", "wall", "roof"],
)
def test_only_what_can_be_moved_and_carries_nothing_is_taken_away(run, folder, obstacle, goes):
    write(folder, ("-98.0", "-50.0"), more=obstacle)
    (one,) = explained(run, "plan.toml", "i1")["inverters"]
    assert one["obstacles"][0]["obstacle"] == "x"
    assert one["state"] != "holds"
    removed = [r["action"] for r in one["remedies"] + one["of_no_use"] if r["kind"] == "obstacle"]
    assert removed == ([goes] if goes else [])


def test_no_remedy_is_shown_where_the_link_holds_unless_asked(run, folder):
    write(folder, more=SPOTS)
    quiet, asked = (explained(run, "plan.toml", "i1", *words)["inverters"][0] for words in ([], ["--more-margin"]))
    assert (quiet["state"], quiet["remedies"], quiet["of_no_use"]) == ("holds", [], [])
    assert asked["remedies"] + asked["of_no_use"]
    assert "emed" not in run("explain", "plan.toml", "i1").stdout
    assert "emed" in run("explain", "plan.toml", "i1", "--more-margin").stdout


def test_a_gateway_moves_along_the_wall_that_it_hangs_on_and_not_off_its_end(run, folder):
    write(folder, more=wall(along="[[-0.2, -1.2], [-0.2, 9]]", height_m=3, loss_db=30))
    (one,) = explained(run, "plan.toml", "i1", "--more-margin")["inverters"]
    moves = {tuple(r["at_m"][:2]) for r in one["remedies"] + one["of_no_use"] if r["kind"] == "move"}
    assert moves == {(0.0, -0.5), (0.0, 0.5), (0.0, -1.0), (0.0, 1.0), (0.0, 2.0)}
    assert "move the gateway 0.5 m north along w" in {r["action"] for r in one["remedies"] + one["of_no_use"]}


def test_a_point_of_a_search_moves_along_its_line(run, folder):
    write(folder, more=search(along="[[0, 5], [4, 5], [4, 9]]", heights_m="[2]", step_m=1))
    (one,) = explained(run, "plan.toml", "i1", "--more-margin", "--gateway", "s/4.00,5.00,2.00")["inverters"]
    moves = {tuple(r["at_m"][:2]) for r in one["remedies"] + one["of_no_use"] if r["kind"] == "move"}
    assert moves == {(3.5, 5), (3, 5), (2, 5), (4, 5.5), (4, 6), (4, 7)}


def test_the_loss_of_a_cable_is_counted(run, folder):
    write(folder, more=WALL + SPOTS)
    options = ("--cable-m", "5", "--cable-loss-db-per-m", "1")
    found = explained(run, "plan.toml", "i1", "--more-margin", *options)
    assert found["cable"] == {"longest_m": 5.0, "loss_db_per_m": 1.0, "connectors_db": 0.5, "assumed": False}
    cables = [r for r in found["inverters"][0]["of_no_use"] if r["kind"] == "cable"]
    assert [(r["at_m"][2], r["cable_loss_db"]) for r in cables] == [(4.0, 2.5), (7.0, 5.5)]
    # the post is 20 m of cable away and on the inverter's side of the wall: 8 - 51.218 + 98, less 20.5 dB
    found = explained(run, "plan.toml", "i1", "--more-margin", "--cable-m", "20", "--cable-loss-db-per-m", "0.5")
    (post,) = [r for r in found["inverters"][0]["remedies"] if "post" in r["action"] and r["kind"] == "cable"]
    assert post["cable_loss_db"] == pytest.approx(10.5)
    assert post["margin_db"] == pytest.approx(54.782 - 10.5, abs=0.001)
    found = explained(run, "plan.toml", "i1", "--more-margin", "--cable-m", "0")
    assert not [r for r in found["inverters"][0]["of_no_use"] if r["kind"] == "cable"]


def test_those_that_a_remedy_brings_down_are_named(run, folder):
    """The only spot is behind a wall that nothing gets around: a gateway moved there leaves the second inverter."""
    second = entry("inverter", name='"i2"', at="[-10, 0]", height_m=2)
    spot = entry("spot", name='"shed"', at="[10, 9]", height_m=2)
    write(folder, more=second + spot + WALL.replace("20.0", "80.0"))
    lines = run("explain", "plan.toml", "i1", "--more-margin").stdout.splitlines()
    number = next(line.split()[0] for line in lines if "move the gateway to shed" in line)
    assert f"Remedy {number} makes worse: i2 (from holds to fails)." in lines


def test_cautions_stand_beside_what_needs_them(run, folder):
    (folder / "plan.toml").write_text(farm(), encoding="utf-8")
    text = " ".join(run("explain", "plan.toml", "L-1-1").stdout.split())
    assert "only a licensed electrician may connect it" in text
    assert "Work at height: follow the local rules. Have the ladder held" in text
    (one,) = explained(run, "plan.toml", "L-1-1")["inverters"]
    for remedy in one["remedies"]:
        needs = {
            "raise": "height",
            "cable": "cable",
            "other spot": "mains",
            "one more": "mains",
            "obstacle": "building",
        }
        assert needs.get(remedy["kind"], "mains") in remedy["cautions"]


def test_all_unknown_names_are_told_at_once(run, folder):
    write(folder)
    result = run("explain", "plan.toml", "i2", "j9", "--gateway", "offfice")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.splitlines() == [
        'plan.toml: no gateway or spot is named "offfice"; did you mean "office"?',
        'plan.toml: no inverter is named "i2"',
        'plan.toml: no inverter is named "j9"',
    ]


def test_names_that_look_like_something_else_stay_text(run, folder):
    name = "<b>{0}</b> %s & [red]"
    text = MINIMAL.replace('"i1"', f'"{name}"')
    (folder / "plan.toml").write_text(text + WALL, encoding="utf-8")
    assert f"\n{name} to office: holds\n" in run("explain", "plan.toml", name).stdout
    assert explained(run, "plan.toml", name)["inverters"][0]["inverter"] == name


def test_where_nothing_arrives_that_is_told_in_words(run, folder):
    sides = {"material": '"welded steel"', "length_m": 4, "width_m": 2, "height_m": 3}
    write(folder, more="".join(entry("box", name=f'"b{x}"', centre=f"[{x}, 0]", **sides) for x in (0, 10)))
    text = run("explain", "plan.toml", "i1").stdout
    assert "No usable signal arrives at the gateway (sensitivity -98.0 dBm)." in text
    assert "nan" not in text.lower().replace("name", "")


def test_less_than_any_figure_can_tell_is_no_fault(run, folder):
    """Seventeen closed boxes of 200 dB one in another: 3400 dB are a power too small for a computer's numbers.

    By hand: 8 dBm, less 51.2 dB of free space over 10 m at 868 MHz, less a face of each; 98 dB below that is the need.
    """
    size = {"centre": "[10, 0]", "loss_db": 200, "base_m": 0}
    boxes = (
        entry("box", name=f'"b{k}"', **size, length_m=4 + k / 8, width_m=3 + k / 8, height_m=4 + k / 8)
        for k in range(17)
    )
    write(folder, more="".join(boxes))
    (one,) = explained(run, "plan.toml", "i1")["inverters"]
    assert one["level_dbm"] == pytest.approx(8.0 - 51.218 - 3400.0, abs=0.01)
    assert (one["margin_db"], one["state"]) == (pytest.approx(one["level_dbm"] + 98.0, abs=1e-6), "fails")
    text = run("explain", "plan.toml", "i1").stdout
    assert "No usable signal arrives at the gateway" in text
    assert "Best path" not in text


def test_a_plan_without_a_place_for_a_gateway_is_refused(run, folder):
    (folder / "plan.toml").write_text(MINIMAL[: MINIMAL.index("[[gateway]]")], encoding="utf-8")
    result = run("explain", "plan.toml", "i1")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == "plan.toml: has no [[gateway]], [[spot]] or [[search]]; add a place for a gateway\n"


def test_with_require_the_status_is_3_where_one_that_was_asked_for_does_not_hold(run, folder):
    write(folder)
    assert run("explain", "plan.toml", "i1", "--require").exit_code == 0
    write(folder, ("-98.0", "-20.0"))
    assert run("explain", "plan.toml", "i1", "--require").exit_code == 3
    assert run("explain", "plan.toml", "i1").exit_code == 0


@pytest.mark.parametrize("words", [[], ["i1", "--cable-m", "nan"], ["i1", "--cable-loss-db-per-m", "-1"]], ids=str)
def test_wrong_usage(run, folder, words):
    write(folder)
    assert run("explain", "plan.toml", *words).exit_code == 2
