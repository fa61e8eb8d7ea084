"""A kind of obstacle that the program has never heard of: its class and a line in the registry are enough."""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import ClassVar

import numpy as np
import pytest
from click.testing import CliRunner
from plans import MINIMAL, SPOTS

from survey.budget import links_of
from survey.cli import main
from survey.decisions.comparison.plans import compare_plans
from survey.decisions.remedies import explain
from survey.decisions.simulation.unknowns import Passes, unknowns_of
from survey.inputs.fields import Points, key
from survey.inputs.plan import Look, Sheetlike, obstacles
from survey.inputs.plan.kinds import POINT
from survey.inputs.plan_file import read_plan
from survey.measured.calibration import fingerprint
from survey.scene import scene_of

FENCE = """
[[fence]]
name = "long fence"
material = "invented mesh"
along = [[5.0, -9000.0], [5.0, 0.0], [5.0, 9000.0]]
"""
MESH = """
[[material]]
name = "invented mesh"
loss_db = 15.0
spread_db = 3.0
"""


@dataclass(frozen=True, kw_only=True)
class Fence(Sheetlike):
    """Upright mesh, all of one height: a piece for each stretch."""

    kind: ClassVar[str] = "fence"
    table: ClassVar[str] = "fence"
    counted_as: ClassVar[str] = "fence"
    legend: ClassVar[str] = "mesh fence"
    look: ClassVar[Look] = Look(line="#123456", dashes=(3.0, 3.0))
    removal = "roll up"

    along: tuple[tuple[float, float], ...] = key(Points(POINT, least=2, most=100))

    def sheets_m(self):
        """Corners of the sheet of each stretch."""
        heights_m = np.array([0.0, 0.0, 9_000.0, 9_000.0])
        pieces = pairwise(np.array(self.along))
        return [np.column_stack([np.array([start, end, end, start]), heights_m]) for start, end in pieces]


@pytest.fixture(autouse=True)
def _registered(monkeypatch):
    monkeypatch.setattr(obstacles, "KINDS", (*obstacles.KINDS, Fence))


@pytest.fixture
def folder(tmp_path, monkeypatch):
    (tmp_path / "plan.toml").write_text(MINIMAL + SPOTS + MESH + FENCE, encoding="utf-8")
    (tmp_path / "open.toml").write_text(MINIMAL + SPOTS + MESH, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*words):
    result = CliRunner().invoke(main, [*words], prog_name="survey", catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.stdout


def answer(*words):
    return json.loads(run(*words, "--json"))


@pytest.mark.usefixtures("folder")
class TestEveryCommand:
    """Each knows the new kind."""

    def test_check_counts_it_and_reports_its_faults(self, folder):
        assert answer("check", "plan.toml")["counts"]["fence"] == 1
        assert "1 fence" in run("check", "plan.toml")
        for name in ("invented mesh", "long fence"):
            assert not any(name in warning for warning in answer("check", "plan.toml")["warnings"])
        bad = MINIMAL + FENCE.replace("along", "alnog")
        (folder / "bad.toml").write_text(bad, encoding="utf-8")
        result = CliRunner().invoke(main, ["check", "bad.toml"], prog_name="survey")
        assert result.exit_code == 1
        assert '[[fence]] 1 "long fence": alnog: no such key; did you mean along?' in result.output
        assert '"invented mesh" is not known' in result.output

    def test_check_misses_it_where_no_line_meets_it(self, folder):
        aside = FENCE.replace("5.0", "-5.0")
        (folder / "aside.toml").write_text(MINIMAL + MESH + aside, encoding="utf-8")
        assert any(
            "long fence lies on no direct line" in warning for warning in answer("check", "aside.toml")["warnings"]
        )

    def test_links_lose_its_loss_once_though_it_has_two_pieces(self):
        (link,) = answer("links", "plan.toml")["links"]
        (before,) = answer("links", "open.toml")["links"]
        assert before["margin_db"] - link["margin_db"] == pytest.approx(15.0, abs=0.1)
        assert link["crossed"] == [{"obstacle": "long fence", "loss_db": 15.0}]

    def test_explain_names_its_price_and_what_would_be_gained_without_it(self):
        (explained,) = answer("explain", "plan.toml", "i1", "--more-margin")["inverters"]
        (cost,) = explained["obstacles"]
        assert (cost["obstacle"], cost["kind"]) == ("long fence", "fence")
        assert cost["gain_db"] == pytest.approx(15.0, abs=0.1)
        assert any(one["action"] == "roll up long fence" for one in explained["remedies"])
        assert "No single obstacle matters" not in run("explain", "plan.toml", "i1")

    def test_a_comparison_of_plans_names_it_as_the_cause(self):
        between = answer("compare", "open.toml", "office", "--with", "plan.toml")
        assert {"name": "long fence", "kind": "fence", "how": "new"} in between["changes"]
        assert "nothing that affects a link" not in run("compare", "open.toml", "office", "--with", "plan.toml")

    def test_simulation_runs_shift_its_loss(self, folder):
        links = links_of(scene_of(read_plan(folder / "plan.toml")))
        (unknown,), number = unknowns_of(links.scene)
        assert (unknown.name, unknown.kind, unknown.spread_db) == ("invented mesh", "material", 3.0)
        assert number.tolist() == [0]
        shifted = Passes(links, number).shifted(0, 4.0)
        assert links.margin_db[0, 0] - shifted.margin_db[0, 0] == pytest.approx(4.0, abs=0.1)
        assert answer("compare", "plan.toml", "office", "post", "--draws", "100")

    def test_both_maps_and_the_section_show_it(self):
        assert "mesh fence" in run_to("map.svg", "draw", "plan.toml", "--kind", "map")
        assert "#123456" in Path("map.svg").read_text(encoding="utf-8")
        assert Path("map.svg").read_text(encoding="utf-8").count("long fence") >= 1
        profile = run_to("profile.svg", "draw", "plan.toml", "--kind", "profile", "--inverter", "i1")
        assert "long fence" in profile
        for kind in ("map", "coverage", "network", "budget"):
            words = ["--inverter", "i1"] if kind == "budget" else []
            run("draw", "plan.toml", "--kind", kind, "--out", f"{kind}.png", *words)
        page = run_to("page.html", "report", "plan.toml", "--draws", "100")
        assert "long fence (mesh fence)" in page
        assert 'class="o-fence"' in page
        assert ".o-fence { fill: none; stroke: #123456;" in page
        assert "invented mesh" in page


def run_to(out, *words):
    run(*words, "--out", out)
    return Path(out).read_text(encoding="utf-8")


def test_a_fit_finds_its_loss(folder):
    (link,) = answer("links", "plan.toml")["links"]
    level_dbm = link["uplink"]["level_dbm"] - 6.0
    read = {"office": level_dbm, "post": -43.2, "shed": -63.2}
    rows = [("inverter", "gateway", "level_dbm"), *(("i1", *one) for one in read.items())]
    with (folder / "readings.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)
    assert "invented mesh" in run("fit", "plan.toml", "readings.csv", "--json")
    run("fit", "plan.toml", "readings.csv", "--out", "fit.json")
    (fitted,) = answer("links", "plan.toml", "--fit", "fit.json")["links"]
    assert fitted["uplink"]["level_dbm"] < link["uplink"]["level_dbm"] - 1.0


def test_the_fingerprint_of_a_fit_changes_with_it(folder):
    plan = read_plan(folder / "plan.toml")
    (fence,) = plan.obstacles
    thicker = replace(plan, obstacles=(replace(fence, loss_db=3.0),))
    assert len({fingerprint(one) for one in (plan, thicker, replace(plan, obstacles=()))}) == 3


def test_a_face_of_something_larger_stays_where_it_is_and_changes_with_the_whole(folder, monkeypatch):
    """Faces of a building: names of two parts, never removable, reported as one change between two plans."""

    class Face(Fence):
        kind = "wall of a hall"
        removal = ""

        @property
        def entry(self):
            return "hall", self.name.partition("/")[0]

    monkeypatch.setattr(obstacles, "KINDS", (*obstacles.KINDS, Face))
    names = ("hall/west wall", "hall/east wall")
    faces = [
        Face(name=name, material="invented mesh", along=((x, -9_000.0), (x, 9_000.0)))
        for name, x in zip(names, (4.0, 6.0), strict=True)
    ]
    before = read_plan(folder / "open.toml")
    after = scene_of(replace(before, obstacles=tuple(faces)))
    between = compare_plans(scene_of(before), after, ["office"], draws=10, seed=0)
    assert [(one.name, one.kind, one.how) for one in between.changes] == [("hall", "hall", "new")]
    assert between.difference_db[0, 0] == pytest.approx(-30.0, abs=0.1)
    assert between.cause_db[0, 0] == pytest.approx(-30.0, abs=0.1)
    (link,) = explain(after, ["i1"]).inverters
    assert {cost.obstacle for cost in link.costs} == set(names)
    assert not any("hall" in remedy.action for remedy in (*link.remedies, *link.idle))
