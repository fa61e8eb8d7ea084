"""Every answer in JSON is what docs/answers.schema.json says it is: each key, its kind, and what must be there."""

import json
import os

import jsonschema
import pytest
from click.testing import CliRunner
from fuzzing import seeds
from fuzzing.damage import toml
from places import ROOT
from schemas import as_text, book

from survey.cli import main

BOOK = ROOT / "docs" / "answers.schema.json"
FEW = ["--runs", "5"]
CASES = [
    ["check", "plan.toml"],
    ["links", "plan.toml"],
    ["links", "plan.toml", "--fit", "fit.json"],
    ["place", "plan.toml", *FEW],
    ["place", "plan.toml", *FEW, "--fewest"],
    ["place", "plan.toml", *FEW, "--gateways", "2", "--relays", "1"],
    ["compare", "plan.toml", "PLACE", "office", *FEW],
    ["compare plans", "plan.toml", "PLACE", "--with", "other.toml", *FEW],
    ["explain", "plan.toml", "INVERTER", "--more-margin"],
    ["network", "plan.toml", "--relays", "1"],
    ["fit", "plan.toml", "readings.csv"],
    ["fit", "plan.toml", "readings.csv", "--next", "2"],
    ["fit next", "plan.toml", "--next", "2"],
    ["dropouts", "plan.toml", "log.csv"],
    ["dropouts", "plan.toml", "log.csv", "--before", "log.csv", "--remedies"],
    ["materials"],
]
PLANS = [0, 1, 2, 3]


def written(folder, which):
    """Write the files of a plan; the other plan has one obstacle more."""
    tree = seeds.plans()[which]
    wall = {"name": "added", "loss_db": 40.0, "along": [[-3.0, -3.0], [9.0, -3.0]], "height_m": 3.0}
    (folder / "plan.toml").write_text(toml(tree), encoding="utf-8")
    (folder / "other.toml").write_text(toml(tree | {"wall": [*tree.get("wall", []), wall]}), encoding="utf-8")
    tables = {"readings.csv": seeds.readings(which), "log.csv": seeds.log(which), "whip.csv": seeds.PATTERN}
    for name, rows in tables.items():
        (folder / name).write_text("".join(",".join(row) + "\n" for row in rows), encoding="utf-8")
    (folder / "list.csv").write_text("".join(";".join(row) + "\n" for row in seeds.LIST), encoding="utf-8")
    (folder / "map.geojson").write_text(json.dumps(seeds.MAP), encoding="utf-8")
    (folder / "site.dxf").write_text(seeds.dxf(), encoding="utf-8")


def answers(folder, which):
    """The answer of every case on one plan: pairs of command and record."""
    written(folder, which)
    inverters, places = seeds.NAMES[which]
    stand_for = {"PLACE": places[1], "INVERTER": inverters[0]}
    fitted = CliRunner().invoke(main, ["fit", "plan.toml", "readings.csv", "--out", "fit.json"], catch_exceptions=False)
    assert fitted.exit_code == 0, fitted.stderr
    for case in CASES:
        words = [case[0].split()[0], *(stand_for.get(word, word) for word in case[1:]), "--json"]
        result = CliRunner().invoke(main, words, prog_name="survey", catch_exceptions=False)
        assert result.exit_code == 0, result.stderr
        yield case[0], json.loads(result.stdout)


@pytest.mark.parametrize("which", [pytest.param(k, marks=pytest.mark.slow) if k else k for k in PLANS])
def test_every_answer_is_what_its_schema_says(tmp_path, monkeypatch, which):
    monkeypatch.chdir(tmp_path)
    schemas = json.loads(BOOK.read_text(encoding="utf-8"))["$defs"]
    for command, record in answers(tmp_path, which):
        jsonschema.Draft202012Validator(schemas[command]).validate(record)


@pytest.mark.skipif(not os.environ.get("SURVEY_UPDATE_DOCS"), reason="writes the page anew only when asked to")
@pytest.mark.slow
def test_the_schemas_are_drawn_anew(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    given, names = {}, set()
    for which in PLANS:
        for command, record in answers(tmp_path, which):
            given.setdefault(command, []).append(record)
        names |= {name for pair in seeds.NAMES[which] for name in pair}
    BOOK.write_text(as_text(book(given, names=names)), encoding="utf-8")


def test_the_schemas_are_sound_and_strict():
    schemas = json.loads(BOOK.read_text(encoding="utf-8"))["$defs"]
    assert {case[0] for case in CASES} == set(schemas)
    for one in schemas.values():
        jsonschema.Draft202012Validator.check_schema(one)
        assert one["additionalProperties"] is False
        assert not jsonschema.Draft202012Validator(one).is_valid({"plan": "x"})
    link = schemas["links"]["properties"]["links"]["items"]
    assert link["properties"]["reliability"] == {"type": "number", "minimum": 0, "maximum": 1}
