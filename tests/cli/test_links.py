"""The command that lists links."""

import csv
import io
import json
from pathlib import Path

import pytest
from plans import SPOTS, WALL, WHOLE_PLAN, array, entry, inverter_with, search, wall, write
from shapes import LINK, differences

from survey.inputs.logs import read_log
from survey.inputs.plan_file import read_plan
from survey.inputs.readings import Names, read_readings
from survey.scene import scene_of

# Free space by ITU-R P.525 at 868 MHz: 31.218 dB at 1 m, 51.218 dB at 10 m; the wall costs 20 dB more. Up arrive
# 8 - 71.218 = -63.218 dBm where -98 are needed, down 10 - 71.218 = -61.218 dBm where -96 are: 34.782 dB either way.
WORKED = """\
invented yard, 868 MHz, path loss exponent 2 (the default)
A link holds if its chance of working, with a 3 dB fade margin, is 95 % or more.

Links of 1 inverter: hold 1, marginal 0, fail 0
Next step: take readings on site, then compare: survey fit plan.toml READINGS.csv

Links to office
                path  obstacle                                               obstacles
                loss      loss     up   down  margin                 best    on direct
inverter     m    dB        dB    dBm    dBm      dB  chance  state  path    line
--------  ----  ----  --------  -----  -----  ------  ------  -----  ------  ---------
i1        10.0  71.2      20.0  -63.2  -61.2    34.8   >99 %  holds  direct  long wall
Up: level at the gateway. Down: level at the inverter. x2: crossed twice. +1: one more obstacle.
Best path over: over or under the obstacles. Left, right: past that side, seen from the inverter.

This is a prediction, not a measurement: take readings on site before you rely on it. Follow the
  local rules for work at height, near mains and on metal roofs. Only a licensed electrician may
  connect mains.
"""


def first_row(text):
    """The first link of a table."""
    lines = text.splitlines()
    return lines[next(k for k, line in enumerate(lines) if line.startswith("--------")) + 1]


def test_a_link_through_a_wall_worked_by_hand(run, folder):
    write(folder, more=WALL)
    result = run("links", "plan.toml")
    assert (result.exit_code, result.stdout, result.stderr) == (0, WORKED, "")


def test_a_link_of_a_hundred_kilometres_keeps_the_table_within_100_columns(run, folder):
    far = entry("gateway", name='"far"', at="[99000, 0]", height_m=2) + entry(
        "gateway", name='"near"', at="[2000, 0]", height_m=2
    )
    inverter = entry("inverter", name='"far away one"', at="[-5000, 0]", height_m=2)
    write(folder, more=far + inverter)
    text = run("links", "plan.toml").stdout
    assert max(map(len, text.splitlines())) <= 100
    assert " 104000  " in text
    assert " 7000.0  " in text


def test_the_same_as_json(run, folder):
    write(folder, more=WALL)
    result = run("links", "plan.toml", "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    found = json.loads(result.stdout)
    assert (found["plan"], found["site"]) == ("plan.toml", "invented yard")
    (link,) = found["links"]
    assert (link["inverter"], link["gateway"], link["state"]) == ("i1", "office", "holds")
    assert link["crossed"] == [{"obstacle": "long wall", "loss_db": 20.0}]
    assert link["distance_m"] == 10.0
    assert link["base_loss_db"] == pytest.approx(51.218, abs=0.001)
    assert link["obstacle_loss_db"] == pytest.approx(20.0, abs=0.01)
    assert link["path_loss_db"] == pytest.approx(71.218, abs=0.01)
    assert link["uplink"] == pytest.approx({"level_dbm": -63.218, "margin_db": 34.782}, abs=0.01)
    assert link["downlink"] == pytest.approx({"level_dbm": -61.218, "margin_db": 34.782}, abs=0.01)
    assert link["margin_db"] == min(link["uplink"]["margin_db"], link["downlink"]["margin_db"])
    assert link["sigma_db"] == 6.0
    assert link["reliability"] == pytest.approx(1.0, abs=1e-6)


def test_the_json_has_the_shape_of_the_interface(run, folder):
    (folder / "plan.toml").write_text(WHOLE_PLAN, encoding="utf-8")
    found = json.loads(run("links", "plan.toml", "--json").stdout)
    assert differences(found, {"plan": str, "site": str, "links": [LINK]}) == []
    assert len(found["links"]) == 17
    assert {link["state"] for link in found["links"]} <= {"holds", "marginal", "fails"}
    assert any(len(link["crossed"]) > 1 for link in found["links"]), "the shape of what is crossed was looked at"


def test_several_gateways_are_called_by_letters(run, folder):
    write(folder, more=SPOTS + entry("inverter", name='"i2"', at="[12, 0]", height_m=2))
    lines = run("links", "plan.toml", "--gateway", "shed", "--gateway", "office").stdout.splitlines()
    assert lines[3:] == [
        "Best links of 2 inverters: hold 2, marginal 0, fail 0",
        "Next step: take readings on site, then compare: survey fit plan.toml READINGS.csv",
        "",
        "Links to",
        "  A  shed",
        "  B  office",
        "",
        "                     path  obstacle                                               obstacles",
        "                     loss      loss     up   down  margin                 best    on direct",
        "inverter  to      m    dB        dB    dBm    dBm      dB  chance  state  path    line",
        "--------  --  -----  ----  --------  -----  -----  ------  ------  -----  ------  ---------",
        "i1        A   100.0  71.2       0.0  -63.2  -61.2    34.8   >99 %  holds  direct  none",
        "i1        B    10.0  51.2       0.0  -43.2  -41.2    54.8   >99 %  holds  direct  none",
        "i2        A   100.0  71.2       0.0  -63.2  -61.2    34.8   >99 %  holds  direct  none",
        "i2        B    12.0  52.8       0.0  -44.8  -42.8    53.2   >99 %  holds  direct  none",
        "Up: level at the gateway. Down: level at the inverter. x2: crossed twice. +1: one more obstacle.",
        "Best path over: over or under the obstacles. Left, right: past that side, seen from the inverter.",
        "",
        "This is a prediction, not a measurement: take readings on site before you rely on it. Follow the",
        "  local rules for work at height, near mains and on metal roofs. Only a licensed electrician may",
        "  connect mains.",
    ]


def test_gateways_spots_and_points_of_a_search_are_named_alike_and_inverters_in_the_order_asked_for(run, folder):
    more = SPOTS + search(along="[[0, 5], [3, 5]]") + entry("inverter", name='"i2"', at="[12, 0]", height_m=2)
    write(folder, more=more)
    words = ["--gateway", "s/3.00,5.00,1.50", "--gateway", "office", "--inverter", "i2", "--inverter", "i1"]
    found = json.loads(run("links", "plan.toml", "--json", *words).stdout)["links"]
    pairs = [(link["inverter"], link["gateway"]) for link in found]
    assert pairs == [(i, g) for i in ("i2", "i1") for g in ("s/3.00,5.00,1.50", "office")]


def test_without_a_name_the_gateways_that_stand_are_meant_and_not_the_spots(run, folder):
    write(folder, more=SPOTS)
    found = json.loads(run("links", "plan.toml", "--json").stdout)["links"]
    assert [link["gateway"] for link in found] == ["office"]


# ---------------------------------------------------------------------------------------- the way that carries a link

# The line runs from the inverter at x = 10 to the gateway at x = 0, along y = 0 and 2 m high: to its left is south.
# Behind a screen that ends 1 m from the line, half way, nu is root(2 / 0.3454 m (1 / 5 + 1 / 5) / m) 1 m = 1.52, which
# costs some 17 dB by ITU-R P.526; a mirror 8 m beside it makes the way 2 root(5^2 + 8^2) = 18.9 m long, 5.5 dB more.
SCREEN = {"name": '"screen"', "loss_db": 90}
MIRROR = wall(name='"mirror"', loss_db=90, along="[[-50, 8], [60, 8]]", height_m=50)
CARRIED = {
    "straight": wall(name='"weak"', loss_db=3, along="[[5, -50], [5, 50]]", height_m=50),
    "over": wall(**SCREEN, along="[[5, -50], [5, 50]]", height_m=3),
    "left": wall(**SCREEN, along="[[5, -1], [5, 50]]", height_m=50),
    "right": wall(**SCREEN, along="[[5, -50], [5, 1]]", height_m=50),
    "reflected": wall(**SCREEN, along="[[5, -1], [5, 1]]", height_m=50) + MIRROR,
}


@pytest.mark.parametrize("way", CARRIED)
def test_the_way_that_loses_least_carries_a_link(run, folder, way):
    write(folder, more=CARRIED[way])
    (link,) = json.loads(run("links", "plan.toml", "--json").stdout)["links"]
    assert link["carried_by"] == way
    row = first_row(run("links", "plan.toml").stdout).split()
    assert row[10] == {"straight": "direct"}.get(way, way)
    assert row[11] == ("weak" if way == "straight" else "screen")


def test_the_way_shown_is_the_least_of_those_told(run, folder):
    (folder / "plan.toml").write_text(WHOLE_PLAN, encoding="utf-8")
    gateways = [
        word for name in ("office", "switchboard", "south fence/3.00,0.00,1.50") for word in ("--gateway", name)
    ]
    links = json.loads(run("links", "plan.toml", "--json", *gateways).stdout)["links"]
    for link in links:
        ways_db = {way.removesuffix("_db"): loss_db for way, loss_db in link["around"].items() if loss_db is not None}
        ways_db["straight"] = sum(met["loss_db"] for met in link["crossed"])
        assert ways_db[link["carried_by"]] == pytest.approx(min(ways_db.values()), abs=1e-5)
    assert len({link["carried_by"] for link in links}) > 1, "several ways were looked at"


# -------------------------------------------------------------------------------------------- what a table leaves out

TO_THE_TANK = """
[[box]]
name = "container"
material = "welded steel"
centre = [10, 0]
length_m = 4
width_m = 2
height_m = 3

[[box]]
name = "tank"
material = "welded steel"
centre = [0, 0]
length_m = 4
width_m = 2
height_m = 3
"""


def test_where_nothing_arrives_no_figure_is_shown(run, folder):
    """Out of one closed box and into another: 120 dB, and nothing around."""
    write(folder, more=TO_THE_TANK)
    result = run("links", "plan.toml")
    row = "i1        10.0  171.2     120.0  none  none    none    <1 %  fails  direct  container, tank"
    assert row in result.stdout.splitlines()
    (link,) = json.loads(run("links", "plan.toml", "--json").stdout)["links"]
    assert link["margin_db"] == pytest.approx(54.782 - 120.0, abs=0.001), "scripts get the figure"


def test_what_stands_in_the_line_is_listed_by_its_loss_and_the_rest_counted(run, folder):
    def standing(*walls):
        more = "".join(
            wall(name=f'"{name}"', loss_db=loss_db, along=f"[[{x}, -99], [{x}, 99]]", height_m=99)
            for x, name, loss_db in walls
        )
        write(folder, more=more)
        return first_row(run("links", "plan.toml").stdout).partition("direct  ")[2]

    assert standing((8, "thin", 2), (6, "thick", 7), (4, "mid", 5)) == "thick, mid, thin"
    assert standing((8, "plaster", 2), (6, "brick wall", 7), (4, "timber wall", 5)) == "brick wall +2"
    assert standing((8, "a wall that has a long name", 7)) == "a wall that has a long…"
    assert standing((8, "a wall that has a long name", 7), (4, "thin", 2)) == "a wall that has a l… +1"


def test_a_line_that_passes_an_edge_closely_says_so(run, folder):
    write(folder, more=wall(name='"fence"', loss_db=90, along="[[5, -50], [5, 50]]", height_m=1.9))
    (link,) = json.loads(run("links", "plan.toml", "--json").stdout)["links"]
    assert link["crossed"][0]["obstacle"] == "fence"
    assert 0.05 < link["obstacle_loss_db"] < 6.0, "an edge that a line just touches costs 6 dB"
    assert first_row(run("links", "plan.toml").stdout).endswith("  holds  direct  edge of fence")


# Phi(1.635) = 0.9490 and Phi(1.647) = 0.9502. 6 dB of shadowing and 3 dB held back make that margins of 12.81 and 12.88
# dB: 54.782 dB less a mounting loss of 41.97 or 41.90 dB.
@pytest.mark.parametrize(
    ("loss_db", "wanted", "shown"),
    [
        (41.97, 0.95, "94 %  marginal"),
        (41.90, 0.95, "95 %  holds"),
        (41.97, 0.9495, "94.90 %  marginal"),
        (41.90, 0.9495, "95.02 %  holds"),
        (51.80, 0.95, "49 %  fails"),
        (51.78, 0.95, "50 %  marginal"),
    ],
)
def test_rounding_hides_no_state(run, folder, loss_db, wanted, shown):
    requirement = f"\n[requirement]\nreliability = {wanted}\n"
    write(folder, ("tx_power_dbm = 8.0", f"tx_power_dbm = 8.0\nmounting_loss_db = {loss_db}"), more=requirement)
    assert f" {shown} " in first_row(run("links", "plan.toml").stdout)


# ---------------------------------------------------------------------------------------------------- names and status


def test_unknown_names_are_told_all_with_the_nearest(run, folder):
    write(folder, more=SPOTS)
    result = run("links", "plan.toml", "--gateway", "ofice", "--gateway", "post", "--gateway", 'moon "base"')
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.splitlines() == [
        'plan.toml: no gateway or spot is named "ofice"; did you mean "office"?',
        'plan.toml: no gateway or spot is named "moon "base""',
    ]
    result = run("links", "plan.toml", "--inverter", "I1", "--inverter", "two\nlines")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.splitlines() == [
        'plan.toml: no inverter is named "I1"; did you mean "i1"?',
        'plan.toml: no inverter is named "two\\nlines"',
    ]
    result = run("links", "plan.toml", "--inverter", "I1", "--gateway", "ofice")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.splitlines() == [
        'plan.toml: no gateway or spot is named "ofice"; did you mean "office"?',
        'plan.toml: no inverter is named "I1"; did you mean "i1"?',
    ]


def test_without_a_gateway_in_the_plan_one_must_be_named(run, folder):
    path = write(folder, more=SPOTS)
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("[[gateway]]", "[[spot]]"), encoding="utf-8")
    result = run("links", "plan.toml")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == "plan.toml: has no [[gateway]]; add one, or name a spot with --gateway NAME\n"
    assert run("links", "plan.toml", "--gateway", "post").exit_code == 0


@pytest.mark.parametrize(("sensitivity_dbm", "status"), [(-98.0, 0), (-30.0, 3)])
def test_with_require_the_status_is_3_where_an_inverter_does_not_hold(run, folder, sensitivity_dbm, status):
    write(folder, ("-98.0", str(sensitivity_dbm)))
    result = run("links", "plan.toml", "--require")
    assert result.exit_code == status
    assert "1 inverter: " in result.stdout, "the links are listed all the same"
    assert run("links", "plan.toml").exit_code == 0


def test_one_good_gateway_of_several_is_enough_for_an_inverter_to_hold(run, folder):
    write(folder, more=SPOTS.replace('name = "post"', 'name = "post"\nsensitivity_dbm = -10.0'))
    assert run("links", "plan.toml", "--gateway", "post", "--require").exit_code == 3
    assert run("links", "plan.toml", "--gateway", "post", "--gateway", "shed", "--require").exit_code == 0


def test_an_inverter_in_the_very_place_of_its_gateway_loses_what_a_metre_costs(run, folder):
    write(folder, ("at = [10.0, 0.0]", "at = [0.0, 0.0]"))
    (link,) = json.loads(run("links", "plan.toml", "--json").stdout)["links"]
    assert link["distance_m"] == 0.0
    assert link["path_loss_db"] == pytest.approx(31.218, abs=0.001)


@pytest.mark.parametrize(("sensitivity_dbm", "state"), [(-46.3, "holds"), (-46.2, "fails")])
def test_without_shadowing_a_link_is_certain_one_way_or_the_other(run, folder, sensitivity_dbm, state):
    """The level at the gateway is -43.218 dBm and 3 dB are held back."""
    write(folder, ("-98.0", str(sensitivity_dbm)), more="\n[environment]\nshadowing_db = 0\n")
    (link,) = json.loads(run("links", "plan.toml", "--json").stdout)["links"]
    assert (link["sigma_db"], link["state"]) == (0.0, state)
    assert link["reliability"] == {"holds": 1.0, "fails": 0.0}[state]


def test_a_fault_of_the_plan_is_told_and_nothing_else(run, folder):
    (folder / "plan.toml").write_text(inverter_with("height_m = nan"), encoding="utf-8")
    result = run("links", "plan.toml", "--json")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == (
        'plan.toml: [[inverter]] 1 "i1": height_m: nan is not a number to calculate with; write a number from -100 to '
        "1000\n"
    )


def test_in_a_process_of_its_own_it_says_the_same(process, folder):
    write(folder, more=WALL)
    result = process("links", "plan.toml")
    assert (result.returncode, result.stdout.decode("utf-8"), result.stderr) == (0, WORKED, b"")


# How a cell begins that a spreadsheet runs: OWASP, "CSV Injection". The last two look as if made inert already.
HOSTILE = ['=HYPERLINK("http://x")', "+61 1", "-2+3", "@SUM(A1)", "'=1+1", "''-1", "'tis a name"]


def hostile_plan(folder):
    """A plan of which names and serials are formulas."""
    more = "".join(
        entry("inverter", name=json.dumps(name), serial=json.dumps(f"{name}9"), at=f"[{k + 1}, 5]", height_m=2)
        for k, name in enumerate(HOSTILE)
    )
    more += entry("gateway", name='"=gate"', at="[0, 9]", height_m=2)
    write(
        folder,
        more=more
        + wall(name='"=wall"', along="[[-9, 3], [99, 3]]", height_m=9)
        + wall(name='"+fence"', along="[[-9, 2], [99, 2]]", height_m=9),
    )
    return scene_of(read_plan(Path("plan.toml")))


def test_no_cell_of_the_csv_is_a_formula_and_numbers_stay_numbers(run, folder):
    hostile_plan(folder)
    header, *rows = csv.reader(io.StringIO(run("links", "plan.toml", "--csv").stdout))
    text = {"inverter", "serial", "gateway", "state", "way", "crossed"}
    assert {row[0] for row in rows} > {"'" + name for name in HOSTILE[:-1]} | {HOSTILE[-1]}
    assert any(row[-1] in ("'=wall; '+fence", "'+fence; '=wall") for row in rows)
    negative = 0
    for row in rows:
        for column, cell in zip(header, row, strict=True):
            if column in text:
                assert not any(part.startswith(("=", "+", "-", "@", "\t", "\r")) for part in cell.split("; ")), cell
            else:
                negative += float(cell) < 0
    assert negative > 20, "levels are negative numbers, without an apostrophe"


def test_readings_and_logs_take_the_names_of_the_csv(run, folder):
    scene = hostile_plan(folder)
    printed = list(csv.DictReader(io.StringIO(run("links", "plan.toml", "--csv").stdout)))
    inverters, gateways = scene.inverters.names, scene.gateways.names
    for column in ("inverter", "serial"):
        known = [row for row in printed if row[column]]
        with Path("day.csv").open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(
                [[column, "gateway", "level_dbm"], *([row[column], row["gateway"], "-70"] for row in known)]
            )
        with Path("log.csv").open("w", encoding="utf-8", newline="") as file:
            polls = ([f"2026-05-01T{k:02d}:00", row[column], row["gateway"], 1] for k, row in enumerate(known))
            csv.writer(file).writerows([["time", "inverter", "gateway", "heard"], *polls])
        wanted = [
            (inverters.index(as_named(row, scene)), gateways.index(row["gateway"].removeprefix("'"))) for row in known
        ]
        names = Names(plan_file="plan.toml", inverters=inverters, serials=scene.inverters.serials, places=gateways)
        readings = read_readings(Path("day.csv"), names)
        assert list(zip(readings.inverter.tolist(), readings.gateway.tolist(), strict=True)) == wanted
        log = read_log(Path("log.csv"), inverters=inverters, serials=scene.inverters.serials, gateways=gateways)
        assert set(zip(log.inverter.tolist(), log.gateway.tolist(), strict=True)) == set(wanted)


def as_named(row, scene):
    """The name of the inverter whose place a row of the CSV tells."""
    at_m = [float(row[key]) for key in ("east_m", "north_m", "height_m")]
    return scene.inverters.names[scene.inverters.at_m.tolist().index(at_m)]


# ------------------------------------------------------------------------------------------------- sorted and chosen


def listed(run, *words):
    """The inverters that links lists, in its order: the same in text, JSON and CSV."""
    result = run("links", "plan.toml", *words)
    assert (result.exit_code, result.stderr) == (0, "")
    names = [one["inverter"] for one in json.loads(run("links", "plan.toml", *words, "--json").stdout)["links"]]
    rows = csv.DictReader(io.StringIO(run("links", "plan.toml", *words, "--csv").stdout))
    assert [row["inverter"] for row in rows] == names
    printed = [line.split()[0] for line in result.stdout.splitlines() if " dBm" not in line and "%" in line[:80]]
    assert [name for name in printed if name in names] == names
    return names


def test_links_are_sorted_by_margin_and_chosen_by_state_and_array(run, folder):
    """A row of five inverters going away from the office: 10 m to 110 m, and the single one at 10 m."""
    row = array(name='"R"', first="[0, 10]", per_row=5, spacing_m=25, bearing_deg=0)
    write(folder, ("-98.0", "-66.0"), more=row)
    away = [f"R-1-{k}" for k in range(1, 6)]
    assert listed(run) == [*away, "i1"]
    assert listed(run, "--sort", "margin") == [*away[::-1], "i1"]
    states = {one["inverter"]: one["state"] for one in json.loads(run("links", "plan.toml", "--json").stdout)["links"]}
    assert set(states.values()) == {"holds", "marginal", "fails"}
    for state in ("holds", "marginal", "fails"):
        assert listed(run, "--state", state) == [name for name, one in states.items() if one == state]
    assert listed(run, "--array", "R") == away
    assert listed(run, "--array", "R", "--inverter", "i1", "--state", "holds", "--state", "fails", "--sort", "margin")
    text = run("links", "plan.toml", "--state", "fails", "--sort", "margin").stdout
    count = list(states.values()).count("fails")
    assert f"Listed: {count} of 6 inverters, state fails, the smallest margin first\n" in text
    assert f"fail {count}\n" in text
    assert "hold 0" not in text, "the tally counts all"
    assert run("links", "plan.toml", "--state", "holds", "--require").exit_code == 3


def test_a_list_without_an_inverter_says_so_and_an_unknown_array_is_told(run, folder):
    write(folder)
    assert "\nNo inverter to list: state fails.\n" in run("links", "plan.toml", "--state", "fails").stdout
    result = run("links", "plan.toml", "--array", "R")
    assert (result.exit_code, result.stderr) == (1, 'plan.toml: no array is named "R"\n')
