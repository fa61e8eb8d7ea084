"""The command that sorts what is missing in a log."""

import csv
import json
import re
import shutil

import pytest
from demo_log import TRIPPED, UNIT, UNIT_FROM, demo_log
from places import SITES
from plans import MINIMAL, write
from shapes import MAYBE, NUMBER, differences

from survey.output.answers.dropouts import cause_words

SHAPE = {
    "plan": str,
    "site": str,
    "log": str,
    "notes": [str],
    "first": str,
    "last": str,
    "interval_s": int,
    "rows": int,
    "repeated_rows": int,
    "polls": int,
    "heard": int,
    "dropouts": int,
    "without_row": int,
    "causes": [
        {
            "cause": str,
            "fault": bool,
            "subject": (str, type(None)),
            "inverters": [str],
            "dropouts": int,
            "share": MAYBE,
            "first": str,
            "last": str,
            "from_start": bool,
            "to_end": bool,
            "evidence": str,
            "check": str,
            "next": [str],
        }
    ],
    "inverters": [{"inverter": str, "polls": int, "dropouts": int, "main_cause": (str, type(None)), "by_cause": dict}],
    "not_in_log": [str],
}
LOG = "time,inverter,gateway,heard\n" + "".join(
    f"2026-05-01T{hour:02d}:{minute},i1,office,{int(6 <= hour < 19)}\n" for hour in range(24) for minute in ("00", "30")
)


@pytest.fixture
def farm(run, folder):  # the folder must be empty for `run`
    assert run
    for name in ("farm.toml", "farm-week.csv"):
        shutil.copy(SITES / name, folder / name)


def shape_of_inverters(found):
    for one in found["inverters"]:
        assert all(isinstance(count, NUMBER) for count in one["by_cause"].values())
        one["by_cause"] = {}
    return found


def test_the_demo_log_is_the_one_that_its_script_makes():
    assert (SITES / "farm-week.csv").read_text(encoding="utf-8") == demo_log()


@pytest.mark.usefixtures("farm")
def test_the_json_has_its_shape_and_finds_what_the_demo_log_was_made_with(run):
    result = run("dropouts", "farm.toml", "farm-week.csv", "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    found = json.loads(result.stdout)
    causes = {one["cause"]: one for one in found["causes"]}
    assert set(causes) == {"weak link", "supply branch", "single unit", "low light", "cannot tell"}
    assert causes["supply branch"]["subject"] == "B3"
    # The first poll after the breaker fell, and the last one before it was put in again.
    assert (causes["supply branch"]["first"], causes["supply branch"]["last"]) == (
        "2026-05-13T10:00",
        "2026-05-13T15:00",
    )
    assert TRIPPED[0].isoformat() < causes["supply branch"]["first"]
    assert causes["single unit"]["inverters"] == [UNIT]
    assert causes["single unit"]["first"] == "2026-05-14T11:30" > UNIT_FROM.isoformat()
    assert {name[0] for name in causes["weak link"]["inverters"]} == {"L"}
    assert [one["fault"] for one in found["causes"]] == [True, True, True, False, False]
    assert sum(one["share"] for one in found["causes"]) == pytest.approx(1.0, abs=0.01)
    assert (
        differences(shape_of_inverters(found), {**SHAPE, "inverters": [{**SHAPE["inverters"][0], "by_cause": {}}]})
        == []
    )


@pytest.mark.usefixtures("farm")
def test_the_table_tells_what_the_json_tells(run):
    text = run("dropouts", "farm.toml", "farm-week.csv").stdout
    found = json.loads(run("dropouts", "farm.toml", "farm-week.csv", "--json").stdout)
    lines = text.splitlines()
    assert max(map(len, lines)) <= 100
    for one in found["causes"]:
        rows = [line for line in lines if line.startswith(cause_words(one["cause"]))]
        assert f"  {one['dropouts']}  " in rows[0]
        told = re.sub(r"\n +", " ", text)
        assert not one["fault"] or f"because: {one['evidence']}" in told
        assert not one["fault"] or all(f"next {k}: {step}" in told for k, step in enumerate(one["next"], start=1))
    assert "licensed electrician" in text
    at_fault = {name for one in found["causes"] if one["fault"] for name in one["inverters"]}
    assert f"No fault: the other {len(found['inverters']) - len(at_fault)} inverters" in text


def test_where_all_is_well_the_table_says_so(run, folder):
    write(folder)
    (folder / "log.csv").write_text(LOG, encoding="utf-8")
    result = run("dropouts", "plan.toml", "log.csv")
    assert (result.exit_code, result.stderr) == (0, "")
    assert "26 daytime polls of 1 inverter: 26 answered, 0 missed (0.0 %)\nNo fault found." in result.stdout
    assert "No fault: 1 inverter, 0 % of polls missed" in result.stdout


def test_where_nobody_was_ever_heard_it_is_not_called_sound(run, folder):
    write(folder)
    (folder / "log.csv").write_text(LOG.replace(",1\n", ",0\n"), encoding="utf-8")
    result = run("dropouts", "plan.toml", "log.csv")
    assert (result.exit_code, result.stderr) == (0, "")
    text = result.stdout.replace("\n  ", " ")
    assert "48 polls of 1 inverter, none answered: the program cannot tell day from night" in text
    assert "No fault" not in text
    assert max(map(len, result.stdout.splitlines())) <= 100
    page = run("report", "plan.toml", "--gateway", "office", "--log", "log.csv", "--out", "page.html")
    assert page.exit_code == 0
    html = (folder / "page.html").read_text(encoding="utf-8")
    assert "none answered: the program cannot tell" in html
    assert "no answer" in html
    assert "No fault" not in html


def test_notes_go_to_standard_error(run, folder):
    write(folder)
    (folder / "log.csv").write_text(
        LOG.replace("heard\n", "heard,mood\n").replace("1\n", "1,\n").replace("0\n", "0,\n")
    )
    result = run("dropouts", "plan.toml", "log.csv", "--json")
    assert result.stderr == "warning: log.csv: columns not used: mood\n"
    assert json.loads(result.stdout)["notes"] == ["columns not used: mood"]


def test_inverters_that_the_log_does_not_name_are_told(run, folder):
    second = MINIMAL.split("[[inverter]]")[1].split("[[gateway]]")[0].replace("i1", "i2")
    write(folder, more=f"\n[[inverter]]{second}")
    (folder / "log.csv").write_text(LOG, encoding="utf-8")
    assert "\nNot in the log: i2\n" in run("dropouts", "plan.toml", "log.csv").stdout
    assert json.loads(run("dropouts", "plan.toml", "log.csv", "--json").stdout)["not_in_log"] == ["i2"]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "log.csv: is empty; a log begins with time,inverter,gateway,heard\n"),
        (
            LOG.replace("i1", "i11"),
            'log.csv: row 2: inverter: no inverter of the plan is named "i11"; did you mean "i1"?\n',
        ),
        (
            LOG.replace("T05:00", "T5"),
            (
                'log.csv: row 12: time: "2026-05-01T5" is not a time; write it as in 2026-05-01T06:30 (or a local '
                "date, Unix time or AM/PM)\n"
            ),
        ),
    ],
)
def test_a_log_that_cannot_be_used_is_told_and_nothing_is_written(run, folder, text, told):
    write(folder)
    (folder / "log.csv").write_text(text, encoding="utf-8")
    result = run("dropouts", "plan.toml", "log.csv", "--json", "--out", "found.json")
    assert (result.exit_code, result.stdout, result.stderr) == (1, "", told)
    assert not (folder / "found.json").exists()


def test_the_result_never_falls_on_the_log(run, folder):
    write(folder)
    (folder / "log.csv").write_text(LOG, encoding="utf-8")
    result = run("dropouts", "plan.toml", "log.csv", "--out", "log.csv")
    assert result.exit_code == 1
    assert (folder / "log.csv").read_text(encoding="utf-8") == LOG


@pytest.mark.parametrize("rows", [1, 2, 5])
def test_a_few_polls_get_an_answer(run, folder, rows):
    write(folder)
    (folder / "log.csv").write_text("".join(LOG.splitlines(keepends=True)[: rows + 1]), encoding="utf-8")
    assert run("dropouts", "plan.toml", "log.csv").exit_code == 0


@pytest.mark.usefixtures("farm")
def test_a_log_without_branches_takes_those_of_the_plan(run, folder):
    """The inverters of the farm as a list with the branches that its log names: the same causes without the column."""
    lines = [line.split(",") for line in (folder / "farm-week.csv").read_text(encoding="utf-8").splitlines()]
    known = json.loads(run("dropouts", "farm.toml", "farm-week.csv", "--json").stdout)
    branches = {row[1]: row[5] for row in lines[1:]}
    run("export", "farm.toml", "--out", "all.csv")
    with (folder / "list.csv").open("w", encoding="utf-8") as listed:
        listed.write("name,x_m,y_m,height_m,branch\n")
        for row in csv.DictReader((folder / "all.csv").read_text(encoding="utf-8").splitlines()):
            if row["kind"] == "inverter":
                place = ",".join(row[key] for key in ("name", "x_m", "y_m", "height_m"))
                listed.write(f"{place},{branches[row['name']]}\n")
    arrays = re.compile(r"\[\[array\]\].*?(?=\n\[\[(?!array))", flags=re.DOTALL)
    plan = arrays.sub("", (folder / "farm.toml").read_text(encoding="utf-8"))
    (folder / "listed.toml").write_text(plan + '\n[[inverter]]\nfrom = "list.csv"\n', encoding="utf-8")
    (folder / "bare.csv").write_text("\n".join(",".join(row[:5]) for row in lines) + "\n", encoding="utf-8")
    bare = json.loads(run("dropouts", "farm.toml", "bare.csv", "--json").stdout)
    assert "B3" not in {one["subject"] for one in bare["causes"]}
    found = json.loads(run("dropouts", "listed.toml", "bare.csv", "--json").stdout)
    assert [(one["cause"], one["subject"], one["dropouts"]) for one in found["causes"]] == [
        (one["cause"], one["subject"], one["dropouts"]) for one in known["causes"]
    ]


@pytest.mark.usefixtures("farm")
def test_remedies_come_before_the_causes_and_in_json(run):
    text = run("dropouts", "farm.toml", "farm-week.csv", "--remedies").stdout
    found = json.loads(run("dropouts", "farm.toml", "farm-week.csv", "--remedies", "--json").stdout)
    weak = {name for one in found["causes"] if one["cause"] == "weak link" for name in one["inverters"]}
    assert set(found["remedies"]["inverters"]) == weak
    best = found["remedies"]["remedies"][0]
    words = " ".join(text.split())
    assert f"Do first: {best['action']}; then {len(best['hold'])} of {len(weak)} are covered (remedy 1)" in words
    assert words.index("Do first") < words.index("daytime polls")
    assert "licensed electrician" in words[: words.index("daytime polls")]  # the caution of the remedy itself
    counts = [len(one["hold"]) for one in found["remedies"]["remedies"]]
    assert counts == sorted(counts, reverse=True)
