"""What one site needs, as data that can be pickled: causes, links, open questions, and what helps."""

import json
import pickle
from dataclasses import replace

import pytest
from many_sites import made_site, write_site
from places import SITES
from plans import write

import survey
from survey.base.errors import SurveyError
from survey.fleet import IN_ORDER, LONGER_LOG, VISIT, Site
from survey.library import assess as module
from survey.library.findings import BRING, RIGHT, findings_of
from survey.measured.dropouts import CAUSES, NO_FAULTS
from survey.measured.dropouts.sorting import dropouts_of

FARM = {"site": "Thistle End", "plan": str(SITES / "farm.toml"), "log": str(SITES / "farm-week.csv")}


@pytest.fixture(scope="module")
def farm():
    return survey.assess(FARM)


def files(folder, number, fault="", **more):
    write_site(folder, number, fault, **more)
    own = folder / f"{number:04d}"
    return {"site": f"site {number:04d}", "plan": str(own / "plan.toml"), "log": str(own / "log.csv")}


def test_the_farm_needs_a_visit_for_the_causes_that_its_log_shows(farm):
    found = survey.dropouts(SITES / "farm.toml", SITES / "farm-week.csv").to_dict()
    faults = {(one["cause"], tuple(one["inverters"]), one["dropouts"]) for one in found["causes"] if one["fault"]}
    assert {(one.cause, one.inverters, one.missed) for one in farm.findings} == faults
    assert farm.state == VISIT
    assert (farm.logged.polls, farm.logged.missed) == (found["polls"], found["dropouts"])
    links = survey.links(SITES / "farm.toml")
    counts = [int((links.state.max(axis=1) == number).sum()) for number in (2, 1, 0)]
    assert [farm.links.hold, farm.links.marginal, farm.links.fail] == counts


def test_what_lasts_counts_since_it_began_and_what_is_over_counts_over_the_log(farm):
    by = {one.cause: one for one in farm.findings}
    assert by["single unit"].missed_per_day == pytest.approx(102 / 3.375, rel=1e-3), "from Thursday 11:30 to the end"
    assert by["supply branch"].missed_per_day == pytest.approx(110 / farm.logged.days, rel=1e-3)
    (outage,) = by["supply branch"].outages
    assert outage.missed == 110
    assert (outage.end_s - outage.begin_s) / 3600 == pytest.approx(5.5)


def test_the_one_change_is_the_best_joint_remedy(farm):
    found = survey.dropouts(SITES / "farm.toml", SITES / "farm-week.csv", remedies=True).to_dict()["remedies"]
    best = found["remedies"][0]
    assert (farm.change.action, farm.change.hold) == (best["action"], len(best["hold"]))
    assert farm.change.links == len(found["inverters"])


def test_everything_it_takes_and_returns_can_be_pickled(farm):
    site = Site(name="Thistle End", plan=FARM["plan"], log=FARM["log"])
    assert pickle.loads(pickle.dumps(survey.assess)) is survey.assess  # noqa: S301  our own bytes
    assert survey.assess(pickle.loads(pickle.dumps(site))) == farm  # noqa: S301
    assert pickle.loads(pickle.dumps(farm)) == farm  # noqa: S301
    json.dumps(farm.to_dict(), allow_nan=False)


def test_a_site_in_order_works_out_no_remedies(tmp_path, monkeypatch):
    def never(*_args, **_more):
        raise AssertionError("no remedy is needed")

    monkeypatch.setattr(module, "joint_remedies", never)
    found = survey.assess(files(tmp_path, 2))
    assert (found.state, found.findings, found.change, found.reason) == (IN_ORDER, (), None, "")


@pytest.mark.parametrize("fault", ["supply branch", "gateway or network", "weak link", "single unit"])
def test_a_fault_of_each_kind_names_what_to_bring(tmp_path, fault):
    found = survey.assess(files(tmp_path, 5, fault))
    assert found.findings[0].cause == fault
    assert found.findings[0].bring == BRING[fault]
    assert found.findings[0].next
    assert found.findings[0].value == found.findings[0].missed_per_day * found.findings[0].certainty


def test_each_cause_of_a_fault_has_its_figures():
    assert set(RIGHT) == set(BRING) == set(CAUSES) - set(NO_FAULTS)
    assert all(0 < right <= every for right, every in RIGHT.values())


def test_outages_are_by_universal_time_if_the_log_has_a_zone():
    made = made_site(1, "gateway or network")
    log = made.log()
    local, zoned = (
        findings_of(dropouts_of(made.scene, replace(log, offset_min=minutes)))[0].outages
        for minutes in (log.offset_min, 120)
    )
    assert len(local) == len(zoned) > 0
    assert all(one.begin_s - other.begin_s == 7_200 for one, other in zip(local, zoned, strict=True))


def test_a_log_that_is_silent_throughout_is_a_matter_of_gateway_or_network(tmp_path):
    site = files(tmp_path, 3)
    lines = (tmp_path / "0003/log.csv").read_text(encoding="utf-8").splitlines()
    silent = [lines[0], *(line.replace(",1", ",0", 1) if ",1" in line else line for line in lines[1:])]
    head = "time,inverter,gateway,heard"
    rows = [",".join([*line.split(",")[:3], "0"]) for line in silent[1:]]
    (tmp_path / "0003/log.csv").write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    found = survey.assess(site)
    assert (found.state, found.findings[0].cause, found.findings[0].certainty) == (VISIT, "gateway or network", 0.5)
    assert "no poll in the log was answered" in found.findings[0].evidence


def test_without_a_log_or_with_a_short_one_a_longer_log_is_needed(tmp_path):
    site = files(tmp_path, 2)
    found = survey.assess({key: site[key] for key in ("site", "plan")})
    assert found.state == LONGER_LOG
    assert found.reason.startswith("no log; links by the plan: hold ")
    lines = (tmp_path / "0002/log.csv").read_text(encoding="utf-8").splitlines()
    (tmp_path / "0002/log.csv").write_text("\n".join(lines[: len(lines) // 4]) + "\n", encoding="utf-8")
    found = survey.assess(site)
    assert found.state == LONGER_LOG
    assert "it takes 4 to show that nothing is wrong" in found.reason


def test_readings_are_fitted_and_a_fit_stands_before_them(tmp_path):
    plan = str(write(tmp_path))
    (tmp_path / "r.csv").write_text("inverter,gateway,level_dbm\ni1,office,-110\n", encoding="utf-8")
    base = {"site": "a", "plan": plan}
    weak = survey.assess(base | {"readings": str(tmp_path / "r.csv")})
    assert (survey.assess(base).links.hold, weak.links.hold) == (1, 0), "the readings are far below the prediction"
    fit = survey.fit(plan, tmp_path / "r.csv").to_dict()
    (tmp_path / "fit.json").write_text(json.dumps(fit), encoding="utf-8")
    both = survey.assess(base | {"readings": str(tmp_path / "r.csv"), "fit": str(tmp_path / "fit.json")})
    assert both.links == weak.links
    assert any("not used, since the table names a fit" in one for one in both.warnings)


def test_a_file_of_branches_stands_in_for_those_of_the_log(tmp_path):
    site = files(tmp_path, 5, "supply branch")
    path = tmp_path / "branch.csv"
    text = (tmp_path / "0005/log.csv").read_text(encoding="utf-8").splitlines()
    names = sorted({line.split(",")[1] for line in text[1:]})
    rows = [",".join(line.split(",")[:4]) for line in text]
    (tmp_path / "0005/log.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    path.write_text("inverter,branch\n" + "".join(f"{name},row {name[0]}\n" for name in names), encoding="utf-8")
    first = survey.assess(site | {"branch": str(path)}).findings[0]
    assert first.subject.startswith("row ")
    path.write_text("inverter,branch\nnobody,B1\n", encoding="utf-8")
    with pytest.raises(SurveyError, match='no inverter is named "nobody"'):
        survey.assess(site | {"branch": str(path)})


def test_files_on_another_file_system_give_the_same_result(tmp_path):
    pytest.importorskip("fsspec", reason="other file systems need the extra cluster")
    site = files(tmp_path, 5, "weak link")
    far = {key: f"file://{value}" if key != "site" else value for key, value in site.items()}
    near, there = survey.assess(site), survey.assess(far)
    assert str(there.to_dict()).replace("file://", "") == str(near.to_dict())
    (tmp_path / "0005/plan.toml").write_text("plan_version = 9\n", encoding="utf-8")
    with pytest.raises(SurveyError) as error:
        survey.assess(far)
    assert str(error.value).startswith(
        f"{far['plan']}: plan_version: 9 is a number; this program reads plans of version 1 only"
    )
