"""A site with every file that commands read, and the program run in its folder."""

import json

import pytest
from click.testing import CliRunner
from fuzzing import seeds
from plans import SPOTS, changed, entry

from survey.cli import main

PLAN = changed(
    ('name = "invented yard"', 'name = "invented yard"\nzero_lat_deg = 48.5\nzero_lon_deg = -30.25'),
    ("[radio.gateway]\n", '[radio.gateway]\nantenna = "whip.csv"\n'),
    ('name = "i1"', 'name = "P0"'),
    more=SPOTS.replace("shed", "pole")
    + entry("drawing", name='"map"', file='"map.geojson"')
    + entry("drawing", name='"plan"', file='"site.dxf"', unit='"mm"')
    + entry("foliage", name='"trees"', **{"from": '"map/trees"'}, height_m=8)
    + entry("wall", name='"fence"', **{"from": '"plan/FENCE"'}, loss_db=5, height_m=1)
    + entry("inverter", **{"from": '"list.csv"'}),
)


@pytest.fixture
def site(tmp_path, monkeypatch):
    """A folder with a plan that names an antenna and drawings, readings, a log and fitted values."""
    monkeypatch.chdir(tmp_path)
    for name in ("plan.toml", "other.toml"):
        (tmp_path / name).write_text(PLAN, encoding="utf-8")
    tables = {
        "readings.csv": seeds.readings(3),
        "log.csv": seeds.log(3),
        "whip.csv": seeds.PATTERN,
        "list.csv": seeds.LIST,
    }
    for name, rows in tables.items():
        text = "".join(";".join(row) + "\n" for row in rows)
        (tmp_path / name).write_text(text if name == "list.csv" else text.replace(";", ","), encoding="utf-8")
    (tmp_path / "map.geojson").write_text(json.dumps(seeds.MAP), encoding="utf-8")
    (tmp_path / "site.dxf").write_text(seeds.dxf(), encoding="utf-8")
    run = CliRunner().invoke(main, ["fit", "plan.toml", "readings.csv", "--out", "fit.json"], catch_exceptions=False)
    assert run.exit_code == 0, run.stderr
    return tmp_path


@pytest.fixture
def run(site):
    """Run a command as if typed; an exception that it lets through fails the test."""
    assert site.is_dir()

    def typed(*words):
        return CliRunner().invoke(main, list(words), prog_name="survey", catch_exceptions=False)

    return typed
