"""The command that writes a starter plan."""

import json
import re
import tomllib
from pathlib import Path

import pytest
from places import ROOT

from survey.cli.start import SITES
from survey.inputs.plan_file import read_plan

TEMPLATES = ROOT / "survey" / "output" / "templates" / "start"


def test_a_starter_plan_is_written_and_the_next_step_named(run, folder):
    result = run("start", "job.toml")
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == "written: job.toml\nFill it in, then: survey check job.toml\n"
    assert [path.name for path in folder.iterdir()] == ["job.toml"]


COUNTS = {
    "house": "10 inverters, 2 spots, 1 building, 9 building faces",
    "workshop": "40 inverters, 39 spots, 2 buildings, 1 box, 8 building faces",
    "warehouse": "200 inverters, 15 spots, 2 buildings, 1 box, 11 building faces",
    "flats": "27 inverters, 3 spots, 2 buildings, 37 building faces",
    "ground": "72 inverters, 17 spots, 1 building, 6 building faces, 6 module rows, 1 foliage",
}
FEW = ("--draws", "50")
every_site = pytest.mark.parametrize("site", SITES)


def test_the_counts_are_of_every_site_and_the_default_is_the_first():
    assert tuple(COUNTS) == SITES == tuple(path.stem for path in sorted(TEMPLATES.iterdir(), key=of_sites))


def of_sites(path):
    return SITES.index(path.stem)


@every_site
def test_a_starter_reads_without_fault_and_warns_of_nothing(run, site):
    run("start", "job.toml", "--like", site)
    result = run("check", "job.toml")
    assert (result.exit_code, result.stderr) == (0, "")
    assert f"No errors found: {COUNTS[site]}." in result.stdout


SPOTS = {
    "house": {"laundry", "meter board"},
    "workshop": {"south fence"},
    "warehouse": {"stair house mast", "cable tray"},
    "flats": {"stair house wall", "top landing"},
    "ground": {"middle path", "house wall", "shed mast"},
}
"""Where a gateway does well on each site: near the roof, high, or in sight of it."""


@every_site
def test_a_starter_leads_to_a_recommendation_that_covers_its_site(run, site):
    run("start", "job.toml", "--like", site)
    result = run("place", "job.toml", *FEW, "--json")
    assert result.exit_code == 0
    found = json.loads(result.stdout)
    assert found["served"] == found["inverters"] == int(COUNTS[site].split()[0])
    assert found["gateways"][0]["name"].partition("/")[0] in SPOTS[site]


@pytest.mark.parametrize(
    ("site", "inside_spot"), [("workshop", "office"), ("warehouse", "switch room"), ("ground", "in the shed")]
)
def test_in_a_steel_building_a_gateway_does_worse(run, site, inside_spot):
    run("start", "job.toml", "--like", site)
    ranking = json.loads(run("place", "job.toml", *FEW, "--top", "99", "--json").stdout)["ranking"]
    (inside,) = [one for one in ranking if one["spot"] == inside_spot]
    assert inside["served"] < 0.9 * ranking[0]["served"]
    assert inside["served"] == ranking[-1]["served"]


@every_site
def test_a_starter_has_a_building_an_array_a_spot_and_its_own_environment(run, folder, site):
    run("start", "job.toml", "--like", site)
    plan = read_plan(folder / "job.toml")
    tables = tomllib.loads((folder / "job.toml").read_text(encoding="utf-8"))
    assert plan.buildings
    assert plan.arrays
    assert plan.spots
    assert set(tables["environment"]) == {"path_loss_exponent", "exponent_spread", "shadowing_db"}
    assert any("on" in one and "/" in one["on"] for one in tables["spot"])


def test_starters_differ_only_below_their_radio():
    heads = {
        path.read_text(encoding="utf-8").partition("# -----")[0].replace("2440.0", "868.0")
        for path in TEMPLATES.iterdir()
    }
    assert len(heads) == 1
    assert "local rules for work at height" in heads.pop()


@every_site
def test_the_examples_in_its_notes_read_without_fault_too(run, folder, site):
    run("start", "job.toml", "--like", site)
    text = (folder / "job.toml").read_text(encoding="utf-8")
    before = read_plan(Path("job.toml"))
    blocks = re.findall(r"^# \[\[.*\n(?:# .*\n?)*", text, flags=re.MULTILINE)
    for block in blocks:
        text = text.replace(block, re.sub(r"^# ", "", block, flags=re.MULTILINE))
    (folder / "job.toml").write_text(text, encoding="utf-8")
    plan = read_plan(Path("job.toml"))

    def size(plan):
        return sum(len(part) for part in (plan.obstacles, plan.searches, plan.gateways))

    assert size(plan) - size(before) == len(blocks) == {"house": 2, "workshop": 1, "flats": 1}.get(site, 0)


def test_another_kind_of_site_is_refused_with_those_that_there_are(run):
    result = run("start", "job.toml", "--like", "castle")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "'house', 'workshop', 'warehouse', 'flats', 'ground'" in result.stderr
    assert not Path("job.toml").exists()


def test_a_file_that_is_there_is_not_written_over(run, folder):
    (folder / "job.toml").write_text("mine", encoding="utf-8")
    result = run("start", "job.toml")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == "job.toml: exists already; use --force to overwrite it\n"
    assert (folder / "job.toml").read_text(encoding="utf-8") == "mine"


def test_with_force_it_is(run, folder):
    (folder / "job.toml").write_text("mine", encoding="utf-8")
    assert run("start", "job.toml", "--force").exit_code == 0
    assert read_plan(folder / "job.toml").site.name == "My site"


@pytest.mark.parametrize(
    ("where", "told"),
    [
        (".", ".: is a folder; name a file in it"),
        ("nowhere/job.toml", "nowhere/job.toml: the folder nowhere does not exist"),
        ("old.txt/job.toml", "old.txt/job.toml: the folder old.txt does not exist"),
        ("x" * 300, f"{'x' * 300}: cannot be written: File name too long"),
    ],
)
@pytest.mark.parametrize("force", [[], ["--force"]])
def test_a_place_where_no_file_can_be_is_told(run, folder, where, told, force):
    (folder / "old.txt").write_text("mine", encoding="utf-8")
    result = run("start", where, *force)
    assert (result.exit_code, result.stdout, result.stderr) == (1, "", f"{told}\n")
    assert [path.name for path in folder.iterdir()] == ["old.txt"]


def test_where_writing_fails_nothing_is_left_behind_and_what_was_there_stays(run, folder, monkeypatch):
    (folder / "job.toml").write_text("mine", encoding="utf-8")

    def refuse(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", refuse)
    for name in ("job.toml", "other.toml"):
        result = run("start", name, "--force")
        assert (result.exit_code, result.stdout) == (1, "")
        assert result.stderr == f"{name}: cannot be written: No space left on device\n"
    assert [path.name for path in folder.iterdir()] == ["job.toml"]
    assert (folder / "job.toml").read_text(encoding="utf-8") == "mine"


def test_a_plan_behind_a_link_is_written_over_and_the_link_stays(run, folder):
    (folder / "kept").mkdir()
    (folder / "kept" / "job.toml").write_text("mine", encoding="utf-8")
    (folder / "job.toml").symlink_to("kept/job.toml")
    assert run("start", "job.toml").exit_code == 1
    assert run("start", "job.toml", "--force").exit_code == 0
    assert (folder / "job.toml").is_symlink()
    assert read_plan(folder / "kept" / "job.toml").site.name == "My site"


def test_without_a_name_it_is_wrong_usage(run):
    result = run("start")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "Missing argument 'FILE'" in result.stderr
