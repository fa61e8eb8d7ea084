"""Answers as rows for a spreadsheet: the figures of the JSON, and no cell that a spreadsheet runs."""

import csv
import io
import json

import pytest
from plans import SPOTS, WALL, changed, entry, write

LIMIT = "\n[requirement]\ninverters_per_gateway = 1\nmax_relays = 1\n"
SECOND = entry("inverter", name='"=1+1"', at="[-9, 0]", height_m=2, serial='"@9"')


def limited(folder):
    """A plan with a limit of one inverter a gateway, and names like formulas."""
    write(folder, more=SPOTS + WALL + SECOND + LIMIT)


def rows_of(run, *words):
    result = run(*words, "--csv")
    assert result.exit_code == 0
    return list(csv.DictReader(io.StringIO(result.stdout)))


def record_of(run, *words):
    return json.loads(run(*words, "--json").stdout)


@pytest.mark.parametrize("words", [["place", "--runs", "20"], ["network"]], ids=lambda words: words[0])
def test_routes_are_those_of_the_json(run, folder, words):
    limited(folder)
    words = [words[0], "plan.toml", *words[1:]]
    rows, record = rows_of(run, *words), record_of(run, *words)
    if words[0] == "place":
        expected = [(one["route"], one["route_margin_db"], one["route_reliability"]) for one in record["links"]]
    else:
        expected = [(one["route"], one["weakest_margin_db"], one["reliability"]) for one in record["routes"]]
        assert [row["backup_route"] for row in rows] == [
            "yes" if one["two_routes"] else "no" for one in record["routes"]
        ]
    assert [row["inverter"] for row in rows] == ["i1", "'=1+1"]
    assert rows[1]["serial"] == "'@9"
    for row, (route, margin_db, reliability) in zip(rows, expected, strict=True):
        assert row["gateway"] == (route[-1] if route else "none")
        assert row["relays"] == "; ".join(f"'{name}" if name == "=1+1" else name for name in (route or [])[1:-1])
        assert row["weakest_margin_db"] == ("" if margin_db is None else f"{margin_db}")
        assert float(row["reliability"]) == reliability
        assert (row["state"] == "full") == (route is None)
    assert {row["state"] for row in rows} == {"holds", "full"}


def test_spots_compared_have_a_row_for_each_inverter_at_each(run, folder):
    limited(folder)
    words = ["compare", "plan.toml", "post", "shed", "--runs", "20"]
    rows, record = rows_of(run, *words), record_of(run, *words)
    expected = {
        (one["inverter"], spot): (found["margin_db"], found["reliability"])
        for one in record["links"]
        for spot, found in one["spots"].items()
    }
    assert len(rows) == len(expected) == 4
    for row in rows:
        margin_db, reliability = expected[row["inverter"].removeprefix("'"), row["gateway"]]
        assert row["weakest_margin_db"] == ("" if margin_db is None else f"{margin_db}")
        assert float(row["reliability"]) == reliability
    assert [row["inverter"] for row in rows_of(run, *words, "--inverter", "i1")] == ["i1", "i1"]


def test_two_plans_have_both_figures_and_the_cause(run, folder):
    write(folder, more=SPOTS)
    write(folder, more=SPOTS + WALL, name="after.toml")
    words = ["compare", "plan.toml", "office", "--with", "after.toml", "--runs", "20"]
    (row,), (link,) = rows_of(run, *words), record_of(run, *words)["links"]
    found = link["spots"]["office"]
    assert float(row["before_margin_db"]) == found["margin_db"]
    assert float(row["after_margin_db"]) == found["after"]["margin_db"]
    assert float(row["change_db"]) == found["change_db"] == pytest.approx(-20.0)
    assert (row["cause"], float(row["cause_db"])) == ("long wall", found["by"]["alone_db"])


def test_an_explanation_has_its_budget_and_its_remedies(run, folder):
    write(folder, ("-98.0", "-60.0"), more=SPOTS + WALL)
    words = ["explain", "plan.toml", "i1"]
    rows, (one,) = rows_of(run, *words), record_of(run, *words)["inverters"]
    budget = [row for row in rows if row["part"] == "budget"]
    assert [row["item"] for row in budget] == [item["item"] for item in one["budget"]]
    assert sum(float(row["db"]) for row in budget) == pytest.approx(one["level_dbm"], abs=1e-5)
    remedies = [row for row in rows if row["part"] == "remedy"]
    assert [(row["item"], float(row["margin_db"])) for row in remedies] == [
        (remedy["action"], remedy["margin_db"]) for remedy in one["remedies"]
    ]
    assert remedies
    (link,) = [row for row in rows if row["part"] == "link"]
    assert (float(link["margin_db"]), link["state"]) == (one["margin_db"], one["state"])


def test_place_shows_every_inverter_where_that_is_asked(run, folder):
    many = "".join(entry("inverter", name=f'"n{k}"', at=f"[{k}, 5]", height_m=2) for k in range(14))
    (folder / "plan.toml").write_text(changed(more=SPOTS + many), encoding="utf-8")
    some, every = (run("place", "plan.toml", "--runs", "20", *words).stdout for words in ([], ["--all"]))
    assert "The 10 weakest links to this spot\n" in some
    assert "All 15 links to this spot, the weakest first\n" in every
    listing = every.partition("All 15 links")[2]
    assert {f"n{k}" for k in range(14)} | {"i1"} <= {line.split()[0] for line in listing.splitlines() if line}
