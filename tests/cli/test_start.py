"""The command that writes a starter plan."""

import json
import re
from pathlib import Path

import pytest

from survey.inputs.plan_file import read_plan


def test_a_starter_plan_is_written_and_the_next_step_named(run, folder):
    result = run("start", "job.toml")
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == "written: job.toml\nFill it in, then: survey check job.toml\n"
    assert [path.name for path in folder.iterdir()] == ["job.toml"]


def test_the_starter_reads_without_fault_and_warns_of_nothing(run):
    run("start", "job.toml")
    result = run("check", "job.toml")
    assert (result.exit_code, result.stderr) == (0, "")
    assert "No errors found: 10 inverters, 2 spots, 1 wall." in result.stdout


def test_the_starter_leads_to_a_recommendation(run):
    run("start", "job.toml")
    result = run("place", "job.toml", "--json")
    assert result.exit_code == 0
    found = json.loads(result.stdout)
    assert found["inverters"] == 10
    assert found["gateways"][0]["name"] in {"meter board", "laundry"}


def test_the_examples_in_its_notes_read_without_fault_too(run, folder):
    run("start", "job.toml")
    text = (folder / "job.toml").read_text(encoding="utf-8")
    blocks = re.findall(r"^# \[\[.*\n(?:# .*\n?)*", text, flags=re.MULTILINE)
    assert len(blocks) == 2
    for block in blocks:
        text = text.replace(block, re.sub(r"^# ", "", block, flags=re.MULTILINE))
    (folder / "job.toml").write_text(text, encoding="utf-8")
    plan = read_plan(Path("job.toml"))
    assert [one.name for one in (*plan.obstacles, *plan.searches)] == ["house north wall", "container", "north fence"]


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
