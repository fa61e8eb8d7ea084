"""The command that puts many sites in order."""

import csv
import io
import json
import shutil

import pytest
from assessing import finding, outage, visit
from places import SITES
from plans import MINIMAL

from survey.fleet import IN_ORDER, LONGER_LOG, Change, LinkCount, Site, SitesTable, order_of
from survey.output.answers.rounds import CSV_COLUMNS, rounds_csv, rounds_record, rounds_text

TABLE = "site,plan,log\nThistle End,farm.toml,farm-week.csv\nYard,yard.toml,\nGhost,gone.toml,\nYard,yard.toml,\n"


@pytest.fixture
def many(run, folder):  # the folder must be empty for `run`
    assert run
    for name in ("farm.toml", "farm-week.csv"):
        shutil.copy(SITES / name, folder / name)
    (folder / "yard.toml").write_text(MINIMAL, encoding="utf-8")
    (folder / "sites.csv").write_text(TABLE, encoding="utf-8")
    return folder


def test_the_answer_comes_first_then_the_next_step_and_what_to_bring(run, many):
    assert many
    result = run("rounds", "sites.csv")
    assert result.exit_code == 0
    assert result.stderr == 'warning: sites.csv: line 5: site: "Yard" is also in line 3; give each site its own name\n'
    lines = result.stdout.splitlines()
    assert lines[0] == "sites.csv, 4 sites: visit 1, shared cause only 0, longer log 1, in order 0, not read 2"
    assert lines[2] == "Visit 1: Thistle End: faulty unit"
    assert lines[3].startswith("  Next step:    At the gateway: check that the inverter is registered")
    assert lines[4] == "  Bring:        spare unit; licensed electrician; ladder and antenna"
    assert "Only a\n  licensed electrician" in result.stdout or "Only a licensed" in result.stdout
    assert "line 4, Ghost: gone.toml: there is no such file" in result.stdout
    assert "Yard: no log; links by the plan: hold 1, marginal 0, fail 0" in result.stdout
    assert max(map(len, lines)) <= 100


def test_the_json_is_that_of_the_library_and_the_next_run_has_nothing_to_do(run, many):
    found = json.loads(run("rounds", "sites.csv", "--json").stdout)
    assert (found["sites"], found["unchanged"]) == (4, 0)
    (first,) = found["visits"]
    assert [one["cause"] for one in first["findings"]] == ["single unit", "supply branch", "weak link"]
    assert first["value"] == pytest.approx(sum(one["value"] for one in first["findings"]), abs=1e-3)
    assert first["change"]["hold"] == first["change"]["links"] == 1
    again = json.loads(run("rounds", "sites.csv", "--json").stdout)
    assert again.pop("unchanged") == 2
    found.pop("unchanged")
    assert again == found
    lines = (many / "sites.rounds.jsonl").read_text(encoding="utf-8").splitlines()
    assert [json.loads(line).get("site") for line in lines] == [None, "Thistle End", "Yard", "Ghost"]


def test_the_csv_has_a_row_for_each_row_of_the_table(run, many):
    assert many
    rows = list(csv.DictReader(io.StringIO(run("rounds", "sites.csv", "--csv").stdout)))
    assert [(row["site"], row["state"]) for row in rows] == [
        ("Thistle End", "visit"), ("Yard", "longer log"), ("Ghost", "not read"), ("Yard", "not read")
    ]  # fmt: skip
    assert (rows[0]["rank"], rows[0]["inverters"], rows[0]["bring"]) == (
        "1",
        "S-2-6",
        "spare unit; licensed electrician; ladder and antenna",
    )


@pytest.mark.parametrize("ending", ["txt", "json", "csv"])
def test_out_with_an_ending_writes_the_result_into_that_file(run, many, ending):
    result = run("rounds", "sites.csv", "--out", f"found.{ending}")
    assert (result.exit_code, result.stdout) == (0, "")
    written = (many / f"found.{ending}").read_text(encoding="utf-8")
    flag = [] if ending == "txt" else [f"--{ending}"]
    run("rounds", "sites.csv", "--anew")
    printed = run("rounds", "sites.csv", "--anew", *flag).stdout
    assert written == printed


def test_out_with_a_folder_writes_a_page_a_site_and_one_that_links_to_them(run, many):
    result = run("rounds", "sites.csv", "--out", "pages")
    assert "written: pages/index.html" in result.stderr
    index = (many / "pages/index.html").read_text(encoding="utf-8")
    pages = sorted(one.name for one in (many / "pages/sites").iterdir())
    assert pages == ["1-thistle-end.html", "2-yard.html", "3-ghost.html"]
    assert all(f'href="sites/{name}"' in index for name in pages)
    assert run("rounds", "sites.csv", "--out", "pages").exit_code == 0, "pages may be written again"
    assert sorted(one.name for one in many.iterdir() if one.name.startswith(".")) == []


def test_a_folder_with_other_files_is_left_alone(run, many):
    (many / "mine").mkdir()
    (many / "mine/notes.txt").write_text("mine", encoding="utf-8")
    result = run("rounds", "sites.csv", "--out", "mine")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == "mine: has other files in it; name a new folder for the pages\n"
    assert not (many / "sites.rounds.jsonl").exists(), "told before anything is calculated"
    assert run("rounds", "sites.csv", "--out", "sites.csv").exit_code == 1
    assert run("rounds", "sites.csv", "--out", "no/such").exit_code == 1


def test_require_exits_with_3_if_a_site_needs_a_visit(run, many):
    assert run("rounds", "sites.csv", "--require").exit_code == 3
    (many / "sites.csv").write_text("site,plan\nYard,yard.toml\n", encoding="utf-8")
    assert run("rounds", "sites.csv", "--require").exit_code == 0


def test_only_a_table_of_which_nothing_could_be_done_exits_with_1(run, many):
    (many / "sites.csv").write_text("site,plan\nGhost,gone.toml\n", encoding="utf-8")
    result = run("rounds", "sites.csv")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.startswith("sites.csv: line 2: gone.toml: there is no such file")
    assert run("rounds", "no.csv").exit_code == 1


def test_a_file_that_is_no_file_of_results_is_not_written_over(run, many):
    result = run("rounds", "sites.csv", "--results", "farm-week.csv")
    assert (result.exit_code, result.stderr) == (
        1,
        "farm-week.csv: is no file of results; name another one with --results\n",
    )
    assert run("rounds", "sites.csv", "--results", "yard.toml").exit_code == 1
    assert (many / "yard.toml").read_text(encoding="utf-8") == MINIMAL


# ------------------------------------------------------------------------------------------------ words, with a group


def table(*names):
    sites = tuple(Site(name=name, plan=f"{name}.toml") for name in names)
    return SitesTable(file="t.csv", sites=sites, refused=(), places=dict.fromkeys(names, "line 2"))


def shared_results():
    cause = {"cause": "gateway or network", "bring": "nothing: restart or network", "subject": "office"}
    group = [visit(f"s{k}", finding(**cause, outages=(outage(35.0),))) for k in range(9)]
    change = Change(action="raise the gateway", kind="height", links=3, hold=2, hold_today=0)
    links = LinkCount(gateways=("office",), hold=5, marginal=1, fail=2)
    return [
        *group,
        visit("own", finding(), change=change, links=links),
        visit("fine", state=IN_ORDER, findings=()),
        visit("short", state=LONGER_LOG, findings=(), reason="no log"),
    ]


def test_a_shared_cause_is_one_line_with_its_hour_and_its_sites():
    results = shared_results()
    sites = table(*(one.site.name for one in results))
    text = rounds_text(sites, order_of(results))
    assert "t.csv, 12 sites: visit 1, shared cause only 9, longer log 1, in order 1, not read 0" in text
    told = "Shared cause: gateway or network on 9 sites from 1970-01-02 11:00 to 1970-01-02 13:00: 18 inverters, 630"
    assert told in text.replace("\n  ", " ")
    assert "Sites:      s0, s1, s2, s3, s4, s5 and 3 more" in text
    assert "Best change:  raise the gateway: 2 of 3 weak links hold (today 0)" in text
    record = rounds_record(sites, order_of(results))
    assert record["shared_causes"][0]["sites"] == [f"s{k}" for k in range(9)]
    assert [one["shared_cause"] for one in record["shared_only"]] == [0] * 9
    rows = list(csv.DictReader(io.StringIO(rounds_csv(sites, order_of(results)))))
    assert tuple(rows[0]) == CSV_COLUMNS
    assert {row["site"]: row["shared_cause"] for row in rows}["s3"] == "gateway or network"


def test_more_visits_than_are_listed_are_counted():
    results = [visit(f"v{k}") for k in range(30)]
    text = rounds_text(table(*(one.site.name for one in results)), order_of(results), top=5)
    assert "25 more visits: --top 30 shows all" in text


def test_names_that_a_spreadsheet_would_run_are_inert():
    results = [visit("=1+1")]
    assert "'=1+1" in rounds_csv(table("=1+1"), order_of(results))
