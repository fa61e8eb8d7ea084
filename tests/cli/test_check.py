"""The command that looks a plan over: what it lists, and what it warns of at just which point."""

import json

import pytest
from plans import (
    MINIMAL,
    SPOTS,
    WALL,
    WHOLE_PLAN,
    array,
    changed,
    entry,
    foliage,
    inverter_with,
    roof,
    search,
    wall,
    write,
)

from cli.shapes import NUMBER, differences

WHOLE_TEXT = """\
plan.toml: invented yard

Read without fault: 1 inverter, 1 gateway, 2 spots, 1 wall.

Inverters, gateways and spots lie 0.00 to 20.00 m east, 0.00 to 100.00 m north, 2.00 to 2.00 m high.

Defaults that apply:
  [radio.inverter] antenna_gain_dbi = 0
  [radio.inverter] mounting_loss_db = 0
  [radio.inverter] cable_loss_db = 0
  [radio.inverter] noise_rise_db = 0
  [radio.inverter] antenna = "isotropic"
  [radio.gateway] antenna_gain_dbi = 0
  [radio.gateway] mounting_loss_db = 0
  [radio.gateway] cable_loss_db = 0
  [radio.gateway] noise_rise_db = 0
  [radio.gateway] antenna = "isotropic"
  [radio] polarisation = "unknown"
  [environment] path_loss_exponent = 2
  [environment] reference_distance_m = 1
  [environment] shadowing_db = 6
  [environment] correlation_m = 5
  [requirement] reliability = 0.95
  [requirement] fade_margin_db = 3
  [requirement] max_relays = 0
  [requirement] inverters_per_gateway = 0
  [requirement] gateways = 1
  [[wall]] base_m = 0
"""


def warnings(run, folder, *changes, more="", text=MINIMAL):
    """What `survey check` warns of, without the word that begins each line."""
    (folder / "plan.toml").write_text(changed(*changes, more=more, text=text), encoding="utf-8")
    result = run("check", "plan.toml")
    assert result.exit_code == 0, "a warning is no fault"
    lines = result.stderr.splitlines()
    assert all(line.startswith("warning: ") for line in lines)
    return [line.removeprefix("warning: ") for line in lines]


def box(**values):
    sides = {"centre": "[10, 0]", "length_m": 4, "width_m": 2, "height_m": 3, "bearing_deg": 90}
    return entry("box", name='"container"', material='"welded steel"', **sides | values)


# ---------------------------------------------------------------------------------------------------- what it lists


def test_a_plan_with_nothing_wrong_in_full(run, folder):
    write(folder, more=SPOTS + WALL)
    result = run("check", "plan.toml")
    assert (result.exit_code, result.stdout, result.stderr) == (0, WHOLE_TEXT, "")


def test_everything_in_the_plan_of_the_interface_is_counted(run, folder):
    (folder / "plan.toml").write_text(WHOLE_PLAN, encoding="utf-8")
    text = " ".join(run("check", "plan.toml").stdout.split())
    counts = "17 inverters, 1 gateway, 43 spots, 1 wall, 1 box, 1 roof, 2 module rows, 1 foliage, 1 own material"
    assert f"Read without fault: {counts}." in text


def test_a_default_that_applies_several_times_is_listed_once(run, folder):
    write(folder, more=WALL + WALL.replace("long wall", "other wall"))
    lines = run("check", "plan.toml").stdout.splitlines()
    assert [line for line in lines if "base_m" in line] == ["  [[wall]] base_m = 0  (2 times)"]


def test_the_json_holds_the_same(run, folder):
    write(folder, more=SPOTS + WALL)
    result = run("check", "plan.toml", "--json")
    found = json.loads(result.stdout)
    shape = {
        "plan": str,
        "site": str,
        "counts": dict.fromkeys(
            ("inverter", "gateway", "spot", "wall", "box", "roof", "module row", "foliage", "own material"), int
        ),
        "extent_m": [[NUMBER]],
        "defaults": [{"table": str, "key": str, "value": (str, int, float), "times": int}],
        "warnings": [str],
    }
    assert differences(found, shape) == []
    assert found["counts"] | {"inverter": 1, "gateway": 1, "spot": 2, "wall": 1} == found["counts"]
    assert found["extent_m"] == [[0.0, 20.0], [0.0, 100.0], [2.0, 2.0]]
    assert {"table": "[requirement]", "key": "reliability", "value": 0.95, "times": 1} in found["defaults"]
    assert found["warnings"] == []


def test_warnings_stand_in_the_json_and_on_standard_error(run, folder):
    write(folder, ("at = [0.0, 0.0]\nheight_m = 2.0", "at = [0.0, 0.0]\nheight_m = -0.1"))
    result = run("check", "plan.toml", "--json")
    told = ["below ground (height under 0): gateways or spots office"]
    assert json.loads(result.stdout)["warnings"] == told
    assert result.stderr == f"warning: {told[0]}\n"


def test_a_fault_is_told_with_status_1_and_nothing_on_standard_output(run, folder):
    (folder / "plan.toml").write_text(inverter_with("heigth_m = 2.0"), encoding="utf-8")
    result = run("check", "plan.toml")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == (
        'plan.toml: [[inverter]] 1 "i1": heigth_m: no such key; did you mean height_m?\n'
        'plan.toml: [[inverter]] 1 "i1": height_m: is missing\n'
    )


# ----------------------------------------------------------------------------------------------- what it warns of


def test_an_inverter_inside_a_container_is_told(run, folder):
    assert warnings(run, folder, more=box()) == ['inside the closed box "container": inverters i1']


def test_a_gateway_inside_a_container_is_told(run, folder):
    told = warnings(run, folder, more=box(centre="[0, 0]"))
    assert told == ['inside the closed box "container": gateways or spots office']


@pytest.mark.parametrize(
    ("where", "inside"),
    [
        ({"centre": "[11.99, 0]"}, True),  # its length runs east: from 9.99 m
        ({"centre": "[12.06, 0]"}, False),
        ({"centre": "[10, 0.99]"}, True),  # and it is 2 m wide
        ({"centre": "[10, 1.06]"}, False),
        ({"height_m": 2.01}, True),  # the inverter is 2 m high
        ({"height_m": 1.9}, False),
        ({"base_m": 1.99}, True),
        ({"base_m": 2.06}, False),
        ({"centre": "[10, 1.5]", "bearing_deg": 0}, True),
    ],
)
def test_where_a_container_ends_so_does_the_warning(run, folder, where, inside):
    assert any(line.startswith("inside") for line in warnings(run, folder, more=box(**where))) == inside


@pytest.mark.parametrize(("height_m", "told"), [(0.0, []), (-0.01, ["below ground (height under 0): inverters i1"])])
def test_an_inverter_below_ground_is_told(run, folder, height_m, told):
    assert warnings(run, folder, text=inverter_with(f"height_m = {height_m}")) == told


@pytest.mark.parametrize(
    ("east_m", "told"),
    [(1010.0, []), (1010.01, ["more than 1000 m from the middle of the inverters: gateways or spots far post"])],
)
def test_a_spot_farther_than_a_kilometre_is_told(run, folder, east_m, told):
    """The one inverter, at 10 m east, is the middle."""
    far = entry("spot", name='"far post"', at=f"[{east_m}, 0]", height_m=2)
    assert warnings(run, folder, more=far) == told


def test_of_many_names_a_warning_gives_a_few_and_counts_the_rest(run, folder):
    row = array(first="[0, 5]", height_m=-1, per_row=8)
    assert warnings(run, folder, more=row) == [
        "below ground (height under 0): inverters N-1-1, N-1-2, N-1-3, N-1-4, N-1-5 and 3 more"
    ]


NEVER = "no straight line from an inverter to a gateway or spot meets"


@pytest.mark.parametrize(
    ("obstacle", "name"),
    [
        (wall(along="[[5, 0.01], [5, 9]]"), "w"),  # beside the line, which runs along y = 0
        (wall(along="[[5, -9], [5, 9]]", height_m=1.99), "w"),  # below it, at 2 m
        (wall(along="[[5, -9], [5, 9]]", base_m=2.01), "w"),  # above it
        (box(centre="[5, 1.5]"), "container"),
        (roof("[[5, -1, 1.9], [6, -1, 1.9], [6, 1, 1.9]]"), "r"),
        (foliage("[[5, 0.01], [6, 0.01], [6, 2]]"), "f"),
    ],
)
def test_an_obstacle_that_no_line_meets_is_told(run, folder, obstacle, name):
    assert warnings(run, folder, more=obstacle) == [f"{NEVER} {name}: well placed?"]


@pytest.mark.parametrize(
    "obstacle",
    [
        wall(along="[[5, -0.01], [5, 9]]"),
        wall(along="[[5, -9], [5, 9]]", height_m=2.01),
        wall(along="[[5, -9], [5, 9]]", base_m=1.99),
        box(centre="[5, 0.9]"),
        roof("[[5, -1, 2.1], [6, -1, 1.9], [6, 1, 1.9], [5, 1, 2.1]]"),
        foliage("[[5, -1], [6, -1], [6, 2.2], [5, 2.2]]").replace("height_m = 2", "height_m = 2.1"),
    ],
)
def test_an_obstacle_that_a_line_meets_is_not(run, folder, obstacle):
    assert warnings(run, folder, more=obstacle) == []


def test_without_any_place_for_a_gateway_there_is_no_link_to_look_at(run, folder):
    text = MINIMAL[: MINIMAL.index("[[gateway]]")]
    assert warnings(run, folder, text=text) == [
        "no [[gateway]], [[spot]] or [[search]]: there is no link to work out yet"
    ]


# Usual limits of radiated power, e.i.r.p.: 20 dBm (ETSI EN 300 328, 2.4 GHz, wide band); 36 dBm (47 CFR 15.247(b): 1 W
# and an antenna of 6 dBi); 16.13 dBm (ETSI EN 300 220, 868.0 to 868.6 MHz: 25 mW e.r.p., and 2.15 dB more as e.i.r.p.).
ETSI_2G4, FCC, ETSI_868 = "ETSI EN 300 328", "FCC 47 CFR 15.247", "ETSI EN 300 220 (25 mW e.r.p.)"
EIRP = [
    (2440.0, 18.0, 2.0, []),
    (2440.0, 18.0, 2.01, [("20.01", "20", ETSI_2G4)]),
    (2440.0, 30.0, 6.0, [("36.00", "20", ETSI_2G4)]),
    (2440.0, 30.0, 6.01, [("36.01", "20", ETSI_2G4), ("36.01", "36", FCC)]),
    (2399.9, 30.0, 6.01, []),
    (915.0, 30.0, 6.0, []),
    (915.0, 30.0, 6.01, [("36.01", "36", FCC)]),
    (868.3, 13.98, 2.15, []),
    (868.3, 14.0, 2.14, [("16.14", "16.13", ETSI_868)]),
    (868.3, 16.2, -0.1, []),
]


@pytest.mark.parametrize("end", ["inverter", "gateway"])
@pytest.mark.parametrize("case", EIRP, ids=lambda case: f"{case[0]} MHz, {case[1]} dBm, {case[2]} dBi")
def test_what_is_radiated_above_the_usual_limit_is_cautioned(run, folder, end, case):
    frequency_mhz, power_dbm, gain_dbi, expected = case
    old = {"inverter": "tx_power_dbm = 8.0", "gateway": "tx_power_dbm = 10.0"}[end]
    own = (old, f"tx_power_dbm = {power_dbm}\nantenna_gain_dbi = {gain_dbi}")
    told = warnings(run, folder, ("868.0", str(frequency_mhz)), own)
    assert told == [
        f"[radio.{end}]: {eirp} dBm e.i.r.p. (power plus antenna gain) is above the {limit} dBm usual under {rule}; "
        "which limit holds is for the local radio rules to say: look it up"
        for eirp, limit, rule in expected
    ]


def test_a_radio_of_its_own_is_cautioned_by_name(run, folder):
    strong = entry("spot", name='"mast"', at="[3, 0]", height_m=2, antenna_gain_dbi=9)
    (told,) = warnings(run, folder, more=strong)
    assert told.startswith('"mast": 19.00 dBm e.i.r.p.')


def test_two_inverters_in_one_place_are_told(run, folder):
    twin = entry("inverter", name='"i2"', at="[10, 0]", height_m=2)
    assert warnings(run, folder, more=twin) == ["another inverter stands in the very same place as i1"]


@pytest.mark.parametrize(("off_m", "near"), [(0.0, False), (0.03, True), (0.06, False)])
def test_an_inverter_a_little_off_a_wall_is_told(run, folder, off_m, near):
    behind = wall(along=f"[[{10 - off_m}, -5], [{10 - off_m}, 5]]", height_m=3)
    told = [line for line in warnings(run, folder, more=behind) if "cm off" in line]
    text = 'off "w": if it is fixed to it, put it on it, or the sheet may count as in the way'
    assert told == ([f'"i1" is 3.0 cm {text}'] if near else [])


def test_a_figure_stretched_beyond_its_frequencies_is_told(run, folder):
    told = warnings(run, folder, more=WALL.replace("loss_db = 20.0", 'material = "concrete 200 mm"'))
    assert told == ['material "concrete 200 mm": its figure is for 1000 to 100000 MHz; at 868 MHz it is stretched']


def test_an_own_material_in_place_of_a_built_in_one_is_told(run, folder):
    told = warnings(run, folder, more=entry("material", name='"Tile Roof"', loss_db=2))
    assert told == ['[[material]] "Tile Roof" takes the place of the built-in one of that name']


def test_warnings_do_not_stop_an_output_file(run, folder):
    write(folder, more=box())
    result = run("check", "plan.toml", "--out", "look.txt")
    assert (result.exit_code, result.stdout) == (0, "")
    assert result.stderr.splitlines() == [
        "written: look.txt",
        'warning: inside the closed box "container": inverters i1',
    ]
    assert (folder / "look.txt").read_text(encoding="utf-8").startswith("plan.toml: invented yard\n")


def test_the_points_of_a_search_are_counted_as_spots_and_warned_of(run, folder):
    told = warnings(run, folder, more=search(along="[[0, 5], [1, 5]]", heights_m="[-1]"))
    assert told == ["below ground (height under 0): gateways or spots s/0.00,5.00,-1.00, s/1.00,5.00,-1.00"]
