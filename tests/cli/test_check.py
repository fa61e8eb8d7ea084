"""The command that looks a plan over: what it lists."""

import json

from places import OLD_WORDS
from plans import (
    SPOTS,
    WALL,
    WHOLE_PLAN,
    array,
    foliage,
    inverter_with,
    write,
)
from shapes import NUMBER, differences

from survey.inputs.materials import foliage_loss
from survey.inputs.plan_file import read_plan

WHOLE_TEXT = """\
plan.toml: invented yard

No errors found: 1 inverter, 1 gateway, 2 spots, 1 wall.

Next step: find the best spot for the gateway: survey place plan.toml

Inverters, gateways and spots are 0.00 to 20.00 m east, 0.00 to 100.00 m north, 2.00 to 2.00 m high.

Defaults in use:
  site            drawn_within_m = 0.1
  radio.inverter  antenna_gain_dbi = 0, mounting_loss_db = 0, cable_loss_db = 0, noise_rise_db = 0,
                  antenna = "isotropic"
  radio.gateway   antenna_gain_dbi = 0, mounting_loss_db = 0, cable_loss_db = 0, noise_rise_db = 0,
                  antenna = "isotropic"
  radio           polarisation = "unknown"
  environment     path_loss_exponent = 2, exponent_spread = 0.25, reference_distance_m = 1,
                  shadowing_db = 6, correlation_m = 5
  requirement     reliability = 0.95, fade_margin_db = 3, max_relays = 0, inverters_per_gateway = 0,
                  gateways = 1
  wall            base_m = 0
"""


def test_a_plan_with_nothing_wrong_in_full(run, folder):
    write(folder, more=SPOTS + WALL)
    result = run("check", "plan.toml")
    assert (result.exit_code, result.stdout, result.stderr) == (0, WHOLE_TEXT, "")


def test_everything_in_the_plan_of_the_interface_is_counted(run, folder):
    (folder / "plan.toml").write_text(WHOLE_PLAN, encoding="utf-8")
    text = " ".join(run("check", "plan.toml").stdout.split())
    counts = "17 inverters, 1 gateway, 43 spots, 1 wall, 1 box, 1 roof, 2 module rows, 1 foliage, 1 own material"
    assert f"No errors found: {counts}." in text


def test_a_default_that_applies_several_times_is_listed_once(run, folder):
    write(folder, more=WALL + WALL.replace("long wall", "other wall"))
    lines = run("check", "plan.toml").stdout.splitlines()
    assert [line for line in lines if "base_m" in line] == ["  wall            base_m = 0 (2 times)"]


def listed_defaults(run, folder, more):
    """Table, key and how often of every default that `survey check` lists."""
    write(folder, more=more)
    found = json.loads(run("check", "plan.toml", "--json").stdout)
    return {(one["table"], one["key"]): one["times"] for one in found["defaults"]}


def test_no_default_is_listed_that_changes_nothing(run, folder):
    """A clearance where no module is written, and texts that are empty."""
    more = SPOTS + array(name='"bare"') + array(name='"bare too"', first="[0, 9]")
    found = listed_defaults(run, folder, more)
    assert ("[[array]]", "tilt_deg") in found
    idle = {"clearance_m", "note", "serial", "source"}
    assert {key for _, key in found} & idle == set()


def test_the_clearance_of_modules_is_listed_for_the_arrays_that_have_them(run, folder):
    more = array(name='"bare"') + array(name='"deep"', first="[0, 9]", module_depth_m=1.7)
    assert listed_defaults(run, folder, more)["[[array]]", "clearance_m"] == 1
    given = array(name='"deep"', first="[0, 9]", module_depth_m=1.7, clearance_m=0.2)
    assert ("[[array]]", "clearance_m") not in listed_defaults(run, folder, given)


def test_the_usual_loss_of_plants_is_listed_where_the_plan_has_none(run, folder):
    own = foliage("[[5, -1], [6, -1], [6, 2]]")
    assert ("[[foliage]]", "loss_db_per_m") not in listed_defaults(run, folder, own)
    found = listed_defaults(run, folder, own.replace("loss_db_per_m = 1\n", ""))
    assert [found["[[foliage]]", key] for key in ("loss_db_per_m", "most_loss_db", "spread_db_per_m")] == [1, 1, 1]
    usual = foliage_loss(868.0)
    (line,) = [line for line in run("check", "plan.toml").stdout.splitlines() if line.startswith("  foliage ")]
    figures = f"loss_db_per_m = {usual[0]:.4g}, most_loss_db = {usual[1]:.5g}, spread_db_per_m = {usual[2]:.2g}"
    assert line.endswith(f" {figures}")
    rough = own.replace("loss_db_per_m = 1\n", "spread_db_per_m = 0.4\n")
    assert ("[[foliage]]", "spread_db_per_m") not in listed_defaults(run, folder, rough)


def test_a_plan_that_leaves_nothing_out_has_no_defaults(run, folder):
    radio = 'mounting_loss_db = 1\ncable_loss_db = 1\nnoise_rise_db = 1\nantenna = "isotropic"\nantenna_gain_dbi = 0\n'
    rest = """
[environment]
path_loss_exponent = 2.1
exponent_spread = 0.2
reference_distance_m = 1.0
shadowing_db = 5.0
correlation_m = 4.0

[requirement]
reliability = 0.9
fade_margin_db = 2.0
max_relays = 1
inverters_per_gateway = 9
gateways = 2
"""
    write(
        folder,
        ('name = "invented yard"\n', 'name = "invented yard"\ndrawn_within_m = 0.2\n'),
        ("frequency_mhz = 868.0", 'frequency_mhz = 868.0\npolarisation = "unknown"'),
        ("tx_power_dbm = 8.0\n", f"tx_power_dbm = 8.0\n{radio}"),
        ("tx_power_dbm = 10.0\n", f"tx_power_dbm = 10.0\n{radio}"),
        more=rest,
    )
    assert run("check", "plan.toml").stdout.endswith("\n\nNo defaults are used: the plan gives every value.\n")


def test_a_long_heading_is_wrapped_by_every_command(run, folder):
    name = "a yard with a name that says all that anybody could want to know about it " * 2
    write(folder, ("invented yard", name.strip()), more=SPOTS)
    for words in (["check", "plan.toml"], ["links", "plan.toml"], ["compare", "plan.toml", "post", "shed"]):
        assert max(map(len, run(*words).stdout.splitlines())) <= 100
    assert max(map(len, run("place", "plan.toml").stdout.splitlines())) <= 100


def test_the_json_holds_the_same(run, folder):
    write(folder, more=SPOTS + WALL)
    result = run("check", "plan.toml", "--json")
    found = json.loads(result.stdout)
    shape = {
        "plan": str,
        "site": str,
        "counts": dict.fromkeys(
            (
                *("inverter", "gateway", "spot", "building", "wall", "door or window", "box", "roof"),
                *("building face", "module row", "foliage", "own material"),
            ),
            int,
        ),
        "extent_m": [[NUMBER]],
        "defaults": [{"table": str, "key": str, "value": (str, int, float), "times": int}],
        "faces": [],
        "moved_m": {},
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
    told = ["below ground (height under 0): gateway or spot office"]
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


def test_a_plan_in_sheets_is_written_with_buildings_and_what_they_replace_is_listed(run, folder):
    result = run("check", str(OLD_WORDS / "farm.toml"), "--as-buildings", "new.toml")
    assert result.exit_code == 0
    assert result.stderr.splitlines()[0] == "written: new.toml"
    assert 'array "S" lies on "workshop/south roof"' in result.stderr
    assert read_plan(folder / "new.toml").buildings[0].name == "workshop"
    again = run("check", "new.toml", "--as-buildings", "other.toml")
    assert (again.exit_code, again.stdout) == (1, "")
    assert not (folder / "other.toml").exists()
