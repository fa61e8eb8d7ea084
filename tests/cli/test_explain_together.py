"""`survey explain --together`: the one change that brings most of the named inverters up, by name or by array."""

import csv
import io
import json

import pytest
from places import SITES

FARM = str(SITES / "farm.toml")


@pytest.fixture(scope="module")
def found():
    import survey  # noqa: PLC0415  one calculation for the whole file

    return survey.explain(FARM, ["L", "S-1-1"], together=True)


def test_an_array_stands_for_its_inverters(found):
    names = [one.budget.inverter for one in found.explained.inverters]
    assert names == [f"L-{row}-{k}" for row in (1, 2) for k in range(1, 6)] + ["S-1-1"]


def test_the_text_says_what_to_do_first_and_whom_it_leaves(run, found):
    result = run("explain", FARM, "L", "S-1-1", "--together")
    assert result.exit_code == 0
    joint = found.joint
    assert f"({len(joint.hold_today)} covered by the plan as it is)" in result.stdout
    best = joint.remedies[0]
    said = " ".join(result.stdout.split())
    assert f"Do first: {best.remedy.action}; then {len(best.hold)} of 11 are covered (remedy 1)" in said
    assert "Work at height" in result.stdout
    assert "Only a licensed electrician may connect mains." in said


def test_json_and_rows_say_the_same(run, found):
    record = json.loads(run("explain", FARM, "L", "S-1-1", "--together", "--json").stdout)
    assert record == found.to_dict()
    assert len(record["inverters"]) == 11
    remedies = record["together"]["remedies"]
    rows = list(csv.DictReader(io.StringIO(run("explain", FARM, "L", "S-1-1", "--together", "--csv").stdout)))
    assert [row["about"] for row in rows] == [one["about"] for one in remedies]
    assert [len(row["covered"].split("; ")) for row in rows if row["covered"]] == [
        len(one["hold"]) for one in remedies if one["hold"]
    ]


def test_the_same_ranking_as_of_missed_polls(run):
    """`survey dropouts --remedies` and this option are one computation."""
    dropouts = json.loads(run("dropouts", FARM, str(SITES / "farm-week.csv"), "--remedies", "--json").stdout)
    names = dropouts["remedies"]["inverters"]
    assert names
    together = json.loads(run("explain", FARM, *names, "--together", "--json").stdout)["together"]
    assert together == dropouts["remedies"]


def test_inverters_that_hold_need_no_remedy(run):
    result = run("explain", str(SITES / "house.toml"), "W-1-1", "W-1-2", "--together")
    assert "Every one of them is covered: no remedy is needed." in result.stdout
