"""Many sites: only what has changed is worked out again, results are kept, and faults come first."""

import json
import os
import subprocess
import sys
import time

import pytest
from many_sites import TABLE, judged, write_sites
from places import ROOT
from plans import write

import survey
from survey.base.errors import TableError


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("sites")
    write_sites(made, 12, 4, network=6)
    return made


def test_sites_with_a_fault_come_first_and_a_shared_outage_is_one_line(folder, tmp_path):
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    found = survey.rounds(folder / TABLE, results=tmp_path / "r.jsonl")
    assert [one.site.name for one in found.results] == [f"site {number:04d}" for number in range(12)]
    visits = [one.assessment.site.name for one in found.order.visits]
    assert set(visits) == set(truth)
    (shared,) = found.order.together
    assert (shared.cause, len(shared.sites)) == ("gateway or network", 6)
    assert not found.all_in_order


def test_only_what_has_changed_is_worked_out_again(folder, tmp_path):
    path = tmp_path / "r.jsonl"
    first = survey.rounds(folder / TABLE, results=path)
    before = path.read_bytes()
    second = survey.rounds(folder / TABLE, results=path)
    assert (first.reused, second.reused) == (0, 12)
    assert path.read_bytes() == before
    assert second.results == first.results
    plan = folder / "0004/plan.toml"
    text = plan.read_text(encoding="utf-8")
    plan.write_text(text + "\n", encoding="utf-8")
    try:
        assert survey.rounds(folder / TABLE, results=path).reused == 11
    finally:
        plan.write_text(text, encoding="utf-8")
    assert survey.rounds(folder / TABLE, results=path, anew=True).reused == 0


def test_a_run_that_is_killed_in_the_middle_is_gone_on_with(folder, tmp_path):
    path, part = tmp_path / "r.jsonl", tmp_path / "r.jsonl.part"
    whole = survey.rounds(folder / TABLE, results=tmp_path / "whole.jsonl")
    words = [sys.executable, "-m", "survey", "rounds", str(folder / TABLE), "--results", str(path), "--workers", "1"]
    with subprocess.Popen(
        words, env=os.environ | {"PYTHONPATH": str(ROOT)}, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as run:
        end_s = time.monotonic() + 60
        while time.monotonic() < end_s and (not part.exists() or part.read_bytes().count(b"\n") < 4):
            time.sleep(0.02)
        run.kill()
    kept = part.read_bytes().count(b"\n") - 1
    assert not path.exists()
    again = survey.rounds(folder / TABLE, results=path)
    assert again.reused >= kept >= 3
    assert again.results == whole.results
    assert path.read_bytes() == (tmp_path / "whole.jsonl").read_bytes()
    assert not part.exists()


def test_a_table_of_which_nothing_could_be_done_is_refused_with_every_row(tmp_path):
    (tmp_path / "sites.csv").write_text("site,plan\na,gone.toml\na,b.toml\n", encoding="utf-8")
    with pytest.raises(TableError) as error:
        survey.rounds(tmp_path / "sites.csv")
    first, second = str(error.value).splitlines()
    assert 'line 3: site: "a" is also in line 2' in first
    assert "line 2: " in second
    assert "there is no such file" in second


def test_bad_rows_are_told_and_the_rest_is_done(tmp_path):
    write(tmp_path)
    write(tmp_path, ("plan_version = 1", "plan_version = 2"), name="newer.toml")
    (tmp_path / "sites.csv").write_text(
        "site,plan,log\ngood,plan.toml,\nnewer,newer.toml,\ngone,gone.toml,\nnolog,plan.toml,gone.csv\n,plan.toml,\n",
        encoding="utf-8",
    )
    with pytest.warns(survey.SurveyWarning, match="line 6: site: is empty"):
        found = survey.rounds(tmp_path / "sites.csv").to_dict()
    assert [one["site"] for one in found["longer_log"]] == ["good"]
    told = {one["place"]: one["reason"] for one in found["not_read"]}
    assert "this program reads plans of version 1 only" in told["line 3"]
    assert all("there is no such file" in told[line] for line in ("line 4", "line 5"))
    assert "site: is empty" in told["line 6"]
    assert found["sites"] == 5


def test_a_folder_of_sites_keeps_its_results_in_it(tmp_path):
    (tmp_path / "a").mkdir()
    write(tmp_path / "a")
    assert survey.rounds(tmp_path).results[0].site.name == "a"
    assert (tmp_path / "rounds.jsonl").is_file()


@pytest.mark.parametrize("option", [{"workers": 0}, {"limit_s": -1.0}, {"limit_mb": -1.0}])
def test_options_out_of_range_are_refused(tmp_path, option):
    with pytest.raises(survey.SurveyError, match="is out of range"):
        survey.rounds(tmp_path, **option)


@pytest.mark.slow
def test_of_twenty_faults_in_two_hundred_sites_eighteen_are_among_the_first_twenty_two(tmp_path):
    """The bar: of faults put into a tenth of the sites, nine of ten stand in the first eleventh of them."""
    truth = write_sites(tmp_path, 200, 20)
    found = survey.rounds(tmp_path / TABLE)
    hits, first = judged(truth, [one.assessment.site.name for one in found.order.visits])
    assert (hits >= 18, first) == (True, 22)
    begin_s = time.monotonic()
    assert survey.rounds(tmp_path / TABLE).reused == 200
    assert time.monotonic() - begin_s < 10.0
