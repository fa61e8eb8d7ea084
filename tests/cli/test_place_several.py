"""`survey place` for relays, several gateways, room at a gateway, and how sure it is."""

import json

import pytest
from plans import changed, entry

# Two groups of inverters 400 m apart in a field where links hold to about 70 m, a spot at each and one in between.
# All invented. Two more stand 40 m and 80 m beyond the east group: the farther one is heard only by a relay.
GATEWAY = '[[gateway]]\nname = "office"\nat = [0.0, 0.0]\nheight_m = 2.0\n'
FIELD = changed(
    ('[[inverter]]\nname = "i1"\nat = [10.0, 0.0]\nheight_m = 2.0\n', ""),
    (GATEWAY, ""),
    more="[environment]\npath_loss_exponent = 3.4\nexponent_spread = 0.0\n"
    + "".join(entry("inverter", name=f'"w{i}"', at=f"[0, {10 * i}]", height_m=2) for i in range(3))
    + "".join(entry("inverter", name=f'"e{i}"', at=f"[400, {10 * i}]", height_m=2) for i in range(2))
    + entry("spot", name='"west"', at="[0, 5]", height_m=2)
    + entry("spot", name='"middle"', at="[200, 5]", height_m=2)
    + entry("spot", name='"east"', at="[400, 5]", height_m=2),
)
FAR = entry("inverter", name='"e2"', at="[440, 5]", height_m=2) + entry(
    "inverter", name='"far"', at="[480, 5]", height_m=2
)


@pytest.fixture
def place(run, folder):
    """Run the command on the field, with more in the plan, and read its JSON."""

    def placed(*words, more="", text=FIELD):
        (folder / "plan.toml").write_text(text + more, encoding="utf-8")
        result = run("place", "plan.toml", "--json", "--draws", "50", *words)
        assert result.exit_code == 0, result.stderr
        return json.loads(result.stdout)

    return placed


def names(found):
    return [gateway["name"] for gateway in found["gateways"]]


def test_one_gateway_serves_the_larger_group_and_two_serve_both(place):
    one, two = place(), place("--gateways", "2")
    assert (names(one), one["served"]) == (["west"], 3)
    assert (sorted(names(two)), two["served"]) == (["east", "west"], 5)
    assert [choice["served"] for choice in two["numbers"]] == [3, 5]
    assert all(choice["proven"] for choice in two["numbers"])
    assert {link["gateway"] for link in two["links"] if link["inverter"].startswith("e")} == {"east"}
    assert sorted(gateway["inverters"] for gateway in two["gateways"]) == [2, 3]


def test_the_plan_itself_can_ask_for_two(place):
    assert place(more="[requirement]\ngateways = 2\n") == place("--gateways", "2", more="")


def test_a_third_gateway_that_brings_nothing_is_not_recommended(place):
    found = place("--gateways", "3")
    assert sorted(names(found)) == ["east", "west"]
    assert found["numbers"][2]["gateways"] == found["numbers"][1]["gateways"]


def test_the_fewest_gateways_that_serve_all(place):
    found = place("--fewest")
    assert sorted(names(found)) == ["east", "west"]
    assert found["fewest"]["proven"]
    assert found["fewest"]["cannot_hold"] == []


def test_with_one_to_spare_every_inverter_needs_two_spots_that_hear_it(place):
    second = entry("spot", name='"west too"', at="[5, 5]", height_m=2)
    found = place("--spare", more=second)
    assert sorted(names(found)) == ["west", "west too"]
    assert found["fewest"]["cannot_hold"] == ["e0", "e1"]


def test_a_relay_brings_in_who_is_out_of_reach(place):
    alone, relayed = place("--gateways", "2", more=FAR), place("--gateways", "2", "--relays", "1", more=FAR)
    assert (alone["served"], relayed["served"]) == (6, 7)
    (far,) = (link for link in relayed["links"] if link["inverter"] == "far")
    assert far["route"] == ["far", "e2", "east"]
    assert far["route_state"] == "holds"
    assert far["state"] != "holds", "its own link to the gateway is told as it is"
    assert far["route_margin_db"] > far["margin_db"]


def test_a_gateway_takes_no_more_than_it_has_room_for(place):
    found = place(more="[requirement]\ninverters_per_gateway = 2\ngateways = 2\n")
    assert (found["served"], found["without_room"]) == (4, 1)
    assert [link["route"] for link in found["links"]].count(None) == 1
    one = place(more="[requirement]\ninverters_per_gateway = 2\n")
    assert (one["served"], one["without_room"]) == (2, 3)
    assert one["ranking"][0]["served"] == 2


def test_gateways_that_cannot_take_all_are_warned_of(run, folder):
    (folder / "plan.toml").write_text(
        FIELD + "[requirement]\ninverters_per_gateway = 2\ngateways = 2\n", encoding="utf-8"
    )
    warning = "warning: 2 gateways take 4 of 5 inverters at most: raise gateways or inverters_per_gateway"
    for command in ("place", "check"):
        assert run(command, "plan.toml").stderr.startswith(warning)
    assert run("place", "plan.toml", "--gateways", "3").stderr == ""


def test_room_that_cannot_do_is_told(run, folder):
    (folder / "plan.toml").write_text(FIELD + "[requirement]\ninverters_per_gateway = 1\n", encoding="utf-8")
    result = run("place", "plan.toml", "--fewest")
    assert result.exit_code == 0
    told = " ".join(result.stdout.split())
    assert "3 inverters over their capacity" in told
    assert "This is the best single spot. For as many inverters as N gateways can take: --gateways N" in told


def test_more_gateways_than_spots_are_refused(run, folder):
    (folder / "plan.toml").write_text(FIELD, encoding="utf-8")
    result = run("place", "plan.toml", "--gateways", "4")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == (
        "plan.toml: [requirement]: gateways: 4 gateways are requested, but the plan has only 3 spots\n"
    )


@pytest.mark.parametrize("words", [["--gateways", "2", "--fewest"], ["--draws", "0"], ["--gateways", "0"]])
def test_what_cannot_be_asked_is_wrong_usage(run, folder, words):
    (folder / "plan.toml").write_text(FIELD, encoding="utf-8")
    assert run("place", "plan.toml", *words).exit_code == 2


@pytest.mark.parametrize("words", [[], ["--gateways", "2"], ["--fewest"], ["--spare"], ["--relays", "1"]])
def test_where_nothing_reaches_anything_that_is_the_result(run, folder, words):
    deaf = FIELD.replace("sensitivity_dbm = -98.0", "sensitivity_dbm = -20.0")
    (folder / "plan.toml").write_text(deaf, encoding="utf-8")
    result = run("place", "plan.toml", *words)
    assert result.exit_code == 0, result.stderr
    assert "No spot covers any inverter" in result.stdout
    assert run("place", "plan.toml", *words, "--require").exit_code == 3


def test_the_shares_of_the_draws_add_up_to_one(place):
    found = place()
    assert sum(row["best_share"] for row in found["ranking"]) == pytest.approx(1.0)
    assert found["ranking"][0]["best_share"] > 0.9, "three inverters against two, far apart"


def test_the_same_seed_gives_the_same_and_another_seed_other_draws(place):
    one, again, other = (place("--seed", seed) for seed in ("1", "1", "2"))
    assert one == again
    assert one["drawn"] != other["drawn"] or one["sure"]["served"] != other["sure"]["served"]


def test_one_more_relay_or_gateway_never_loses_an_inverter(place):
    served = {
        (gateways, relays): place("--gateways", str(gateways), "--relays", str(relays), more=FAR)["served"]
        for gateways in (1, 2, 3)
        for relays in (0, 1, 2)
    }
    for (gateways, relays), count in served.items():
        assert count <= served.get((gateways + 1, relays), 9)
        assert count <= served.get((gateways, relays + 1), 9)


def test_the_text_says_what_each_number_brings_and_who_goes_where(run, folder):
    (folder / "plan.toml").write_text(FIELD, encoding="utf-8")
    text = run("place", "plan.toml", "--gateways", "2").stdout
    assert "Put 2 gateways at these spots\n" in text
    assert "3 inverters assigned, 3 covered" in text
    assert "Coverage by number of gateways" in text
    assert "yes, proven" in text
    assert "in 9 of 10 runs" in text


def test_a_plan_of_one_spot_has_nothing_to_draw_against(place):
    found = place(text=changed((GATEWAY, "")) + entry("spot", name='"post"', at="[1, 1]", height_m=2))
    assert found["ranking"][0]["best_share"] == 1.0
