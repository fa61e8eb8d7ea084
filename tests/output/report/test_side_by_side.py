"""The page that puts spots side by side: what compare says, a map each, switchable, and all of them on paper."""

import csv
import json
import re

import pytest
from click.testing import CliRunner
from pages import written
from places import SITES

from survey.cli import main
from survey.output.answers.figures import letter

SPOTS = ("office", "north gate", "lean-to post")
SHOWN = """return [...document.querySelectorAll('#maps figure')].filter(one => one.checkVisibility())
  .map(one => one.querySelector('strong').textContent)"""


def run(*words):
    result = CliRunner().invoke(main, list(words), prog_name="survey", catch_exceptions=False)
    assert result.exit_code == 0, result.stderr
    return result


@pytest.fixture(scope="module")
def compared():
    """What `survey compare` says of the same spots, by name and inverter."""
    return json.loads(run("compare", str(SITES / "farm.toml"), *SPOTS, "--draws", "50", "--json").stdout)


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    return written(tmp_path_factory.mktemp("spots"), SITES / "farm.toml", "--compare", *SPOTS, "--draws", "50")


def rows_of(driven, section):
    return driven.run(
        "return [...document.querySelectorAll(`#${arguments[0]} tbody tr`)]"
        ".map(row => [...row.cells].map(cell => cell.textContent))",
        section,
    )


def test_tables_say_what_compare_says(driven, page, compared):
    driven.open(page)
    scores = rows_of(driven, "scores")
    for j, (row, one) in enumerate(zip(scores, compared["spots"], strict=True)):
        assert row[:3] == [letter(j), one["spot"], str(one["served"])]
    assert [row[7] for row in scores] == ["1.80", "2.40", "2.20"], "heights, as the plan has them"
    for row, one in zip(rows_of(driven, "links"), compared["links"], strict=True):
        assert row[0] == one["inverter"]
        states = [one["spots"][spot]["state"] for spot in SPOTS]
        assert row[3::3] == states
        assert float(row[1]) == pytest.approx(one["spots"]["office"]["margin_db"], abs=0.051)
    holds = [{one["inverter"] for one in compared["links"] if one["spots"][spot]["state"] == "holds"} for spot in SPOTS]
    for row, (first, second) in zip(rows_of(driven, "sides"), ((0, 1), (0, 2), (1, 2)), strict=True):
        for cell, alone in ((row[1], holds[first] - holds[second]), (row[2], holds[second] - holds[first])):
            assert cell == "none" if not alone else cell.startswith(f"{len(alone)}: ")
            assert set(re.findall(r"[SL]-\d-\d+", cell)) == alone
        assert row[3] == str(len(holds[first] & holds[second]))
    assert len(rows_of(driven, "runs")) == 3


def test_maps_are_switched_without_a_script_and_paper_has_them_all(driven, page, compared):
    driven.open(page)
    assert "<script" not in page.read_text(encoding="utf-8")
    best = max(compared["spots"], key=lambda one: (one["served"], one["expected_served"]))["spot"]
    (shown,) = driven.run(SHOWN)
    assert shown.endswith(f" {best}.")
    driven.click("#sC")
    assert driven.run(SHOWN) == ["C lean-to post."]
    driven.get("/goog/cdp/execute", {"cmd": "Emulation.setEmulatedMedia", "params": {"media": "print"}})
    try:
        assert len(driven.run(SHOWN)) == 3
    finally:
        driven.get("/goog/cdp/execute", {"cmd": "Emulation.setEmulatedMedia", "params": {"media": ""}})
    assert driven.console() == []


@pytest.mark.parametrize("wide", [390, 1024, 1440])
def test_it_never_scrolls_sideways(driven, page, wide):
    driven.narrow(wide, 844)
    driven.open(page)
    assert driven.run("return document.documentElement.scrollWidth <= window.innerWidth")


def test_rows_lie_beside_it_and_a_map_where_the_plan_has_a_zero_point(tmp_path, compared):
    text = (SITES / "farm.toml").read_text(encoding="utf-8")
    (tmp_path / "farm.toml").write_text(
        text.replace("[site]", "[site]\nzero_lat_deg = -31.5\nzero_lon_deg = 148.2"), encoding="utf-8"
    )
    written(tmp_path, tmp_path / "farm.toml", "--compare", *SPOTS, "--draws", "50")
    with (tmp_path / "page.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 3 * 40
    features = json.loads((tmp_path / "page.geojson").read_text(encoding="utf-8"))["features"]
    inverters = {
        one["properties"]["name"]: one["properties"]["spots"] for one in features if "spots" in one["properties"]
    }
    for one in compared["links"]:
        assert {spot: figures["state"] for spot, figures in inverters[one["inverter"]].items()} == {
            spot: figures["state"] for spot, figures in one["spots"].items()
        }


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--compare", "office"], "--compare takes two or more different spots"),
        (["--compare", "office", "north gate", "--gateway", "office"], "--compare takes two or more different spots"),
        (["office", "north gate"], "office: spots are only for --compare"),
        (["--compare", "office", "north gat"], 'did you mean "north gate"?'),
    ],
)
def test_what_it_does_not_take_is_told_and_nothing_is_written(tmp_path, words, said):
    out = tmp_path / "page.html"
    result = CliRunner().invoke(main, ["report", str(SITES / "farm.toml"), *words, "--out", str(out)])
    assert result.exit_code in {1, 2}
    assert said in result.stderr
    assert list(tmp_path.iterdir()) == []
