"""survey fit, and --fit of the other commands."""

import csv
import json

import numpy as np
import pytest
from plans import SPOTS, WALL, entry, write
from shapes import MAYBE, NUMBER, differences

from survey.library.draw import draw
from survey.library.sites import scene_from

FIGURE = {"value": NUMBER, "stderr": NUMBER}
IN_THE_INTERFACE = {
    "plan": str,
    "readings": int,
    "missed": int,
    "path_loss_exponent": FIGURE,
    "offset_db": FIGURE,
    "shadowing_db": NUMBER,
    "materials": {"long wall": {"loss_db": NUMBER, "stderr": NUMBER, "before_db": NUMBER}},
    "rmse_db": MAYBE,
    "cross_validated_rmse_db": MAYBE,
    "residuals": [
        {
            "inverter": str,
            "gateway": str,
            "level_dbm": MAYBE,
            "predicted_dbm": NUMBER,
            "residual_db": MAYBE,
            "suspect": bool,
        }
    ],
}
MORE = "".join(
    entry("inverter", name=f'"j{k}"', at=f"[{2.0 + 3.0 * k}, {1.0 * k}]", height_m=2.0, serial=f'"SN{k}"')
    for k in range(8)
)
LEVELS = [-50, -58, -82, -84, -86, -85, -90, "missed"]
READINGS = "serial;gateway;level_dbm;mood\n" + "".join(f"SN{k};office;{one};\n" for k, one in enumerate(LEVELS))


@pytest.fixture
def day(run, folder):
    """A plan with a wall, and a day's readings by serial."""
    write(folder, more=SPOTS + WALL + MORE)
    (folder / "day.csv").write_text(READINGS, encoding="utf-8")
    return run


def test_json_has_the_shape_of_the_interface(day):
    result = day("fit", "plan.toml", "day.csv", "--json")
    assert result.stderr == "warning: columns ignored: mood\n"
    found = differences(json.loads(result.stdout), IN_THE_INTERFACE)
    assert [one for one in found if not one.endswith("is not in the interface")] == []


def test_what_is_written_as_json_is_what_the_other_commands_take(day, folder):
    printed = day("fit", "plan.toml", "day.csv", "--json").stdout
    assert day("fit", "plan.toml", "day.csv", "--out", "fit.json").exit_code == 0
    assert (folder / "fit.json").read_text(encoding="utf-8") == printed
    record = json.loads(printed)
    result = day("links", "plan.toml", "--fit", "fit.json", "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    links = {one["inverter"]: one for one in json.loads(result.stdout)["links"]}
    for one in record["residuals"]:  # the model's level, and what readings nearby show of shadowing
        scene = scene_from(folder / "plan.toml", fit=folder / "fit.json")
        near_db = scene.correction.read.near(np.array([one["from_m"]]), np.array([one["to_m"]]))[0][0, 0]
        expected_dbm = one["predicted_dbm"] + near_db
        assert links[one["inverter"]]["uplink"]["level_dbm"] == pytest.approx(expected_dbm, abs=1e-3)
    before = {one["inverter"]: one for one in json.loads(day("links", "plan.toml", "--json").stdout)["links"]}
    assert links["j3"]["sigma_db"] != before["j3"]["sigma_db"]
    for words in (["place", "plan.toml"], ["compare", "plan.toml", "post", "shed"]):
        plain, with_fit = day(*words, "--json").stdout, day(*words, "--json", "--fit", "fit.json").stdout
        assert plain != with_fit


def test_the_table_says_what_was_found_and_checks_every_inverter_of_few(day):
    text = day("fit", "plan.toml", "day.csv").stdout
    for piece in ("offset, dB", "path loss exponent", "long wall, dB per sheet", "Inverter by inverter", "j7"):
        assert piece in text
    checked = day("fit", "plan.toml", "day.csv", "--check").stdout
    assert "offset, dB" not in checked
    assert "Inverter by inverter" in checked


def test_a_weak_inverter_is_told_with_what_to_look_at(day, folder):
    rows = "".join(f"j{k},{place},{-50 - 2 * k}\n" for k in range(8) for place in ("office", "post", "shed"))
    rows = rows.replace("j0,office,-50", "j0,office,-99").replace("j0,post,-50", "j0,post,-99")
    rows = rows.replace("j0,shed,-50", "j0,shed,-99")
    (folder / "weak.csv").write_text("inverter,gateway,level_dbm\n" + rows, encoding="utf-8")
    text = day("fit", "plan.toml", "weak.csv", "--check").stdout
    (line,) = [line for line in text.splitlines() if line.startswith("j0 ")]
    assert "weaker" in line
    assert "compare the serial" in text
    assert "Follow the local rules for work at height" in text
    assert "Only a licensed electrician may open an inverter" in text


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("{}", "shadowing_db: is missing"),
        ("not json", "is not what survey fit wrote"),
        ("[1]", "is not what survey fit wrote"),
    ],
)
def test_a_file_that_is_no_fit_is_told(day, folder, content, message):
    (folder / "fit.json").write_text(content, encoding="utf-8")
    result = day("links", "plan.toml", "--fit", "fit.json")
    assert (result.exit_code, result.stdout) == (1, "")
    assert f"fit.json: {message}" in result.stderr


BEYOND = ["1e999", "-1e999", "1" + "0" * 400, "-1" + "0" * 400]
FITTED = {
    "covariance": ("covariance", 0, 0),
    "shadowing_db": ("shadowing_db",),
    "offset_db": ("offset_db", "value"),
    "path_loss_exponent before_stderr": ("path_loss_exponent", "before_stderr"),
    'materials "long wall"': ("materials", "long wall", "loss_db"),
}


@pytest.mark.parametrize("number", BEYOND, ids=lambda number: number[:6])
@pytest.mark.parametrize(("told", "keys"), FITTED.items(), ids=FITTED)
def test_a_fitted_number_beyond_floating_point_is_told(day, folder, told, keys, number):
    day("fit", "plan.toml", "day.csv", "--out", "fit.json")
    record = json.loads((folder / "fit.json").read_text(encoding="utf-8"))
    part = record
    for key in keys[:-1]:
        part = part[key]
    assert isinstance(part[keys[-1]], float)
    part[keys[-1]] = "here"
    (folder / "fit.json").write_text(json.dumps(record).replace('"here"', number), encoding="utf-8")
    result = day("links", "plan.toml", "--fit", "fit.json")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.startswith(f"fit.json: {told}: ")


def test_a_fit_of_another_plan_is_warned_of(day, folder):
    day("fit", "plan.toml", "day.csv", "--out", "fit.json")
    write(folder, ("frequency_mhz = 868.0", "frequency_mhz = 915.0"), more=SPOTS + WALL + MORE)
    result = day("links", "plan.toml", "--fit", "fit.json")
    assert result.exit_code == 0
    assert "have changed since it was fitted" in result.stderr


def test_no_output_falls_on_the_readings(day):
    result = day("fit", "plan.toml", "day.csv", "--out", "day.csv")
    assert result.stderr == "day.csv: is an input file; name another file\n"


def test_serials_come_out_in_the_rows_of_links(day):
    rows = list(csv.DictReader(day("links", "plan.toml", "--csv").stdout.splitlines()))
    serials = {row["inverter"]: row["serial"] for row in rows}
    assert serials == {"i1": ""} | {f"j{k}": f"SN{k}" for k in range(8)}
    assert {row["gateway"] for row in rows} == {"office"}
    assert day("links", "plan.toml", "--csv", "--json").exit_code == 2


@pytest.mark.parametrize(
    "words",
    [
        ["links"],
        ["place", "--runs", "20"],
        ["compare", "post", "shed", "--runs", "20"],
        ["explain", "j3"],
        ["network"],
        ["dropouts", "log.csv"],
    ],
)
def test_every_answer_says_which_fit_it_uses(day, folder, words):
    (folder / "day.csv").write_text(READINGS.replace("mood", "time").replace(";\n", ";2026-03-05T10:00\n"), "utf-8")
    (folder / "log.csv").write_text("time,inverter,gateway,heard\n2026-03-05T12:00,j1,office,1\n", encoding="utf-8")
    assert day("fit", "plan.toml", "day.csv", "--out", "fit.json").exit_code == 0
    result = day(words[0], "plan.toml", *words[1:], "--fit", "fit.json")
    assert "Fit: fit.json, from 8 readings of 2026-03-05, up to " in " ".join(result.stdout.split())
    assert "Fit: " not in day(words[0], "plan.toml", *words[1:]).stdout


@pytest.mark.parametrize("kind", ["map", "network", "profile", "budget"])
def test_a_picture_says_which_fit_it_uses(day, folder, kind):
    assert day("fit", "plan.toml", "day.csv", "--out", "fit.json").exit_code == 0
    figure = draw(folder / "plan.toml", kind=kind, fit=folder / "fit.json")
    texts = " ".join(one.get_text() for one in figure.texts)
    assert f"Fit: {folder / 'fit.json'}, from 8 readings, up to" in " ".join(texts.split())


def test_next_names_links_to_read_with_readings_and_without(day):
    found = json.loads(day("fit", "plan.toml", "--next", "3", "--json").stdout)
    assert len(found["next_readings"]) == 3
    assert set(found["next_readings"][0]) == {"inverter", "gateway", "distance_m", "level_dbm", "sigma_db", "gain"}
    text = day("fit", "plan.toml", "day.csv", "--next", "2").stdout
    assert "Read these links next" in text
    assert "path loss exponent" in text
    assert "Read these links next" in day("fit", "plan.toml", "--next", "2").stdout
    assert day("fit", "plan.toml").exit_code == 2
    assert "--check needs READINGS" in day("fit", "plan.toml", "--next", "2", "--check").stderr
