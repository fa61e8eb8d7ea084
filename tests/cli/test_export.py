"""`survey export`: what general-purpose readers find in the files, and what is read of them as drawings."""

import csv
import json
import sys

import numpy as np
import pytest
import shapely
from plans import MINIMAL, changed, entry

from survey.base.earth import Earth
from survey.inputs.csv_files import as_written
from survey.inputs.drawings import Drawing, Drawings
from survey.inputs.plan_file import read_plan

EARTH = Earth(zero_lat_deg=-33.9, zero_lon_deg=151.2, plan_north_deg=30.0)
SITE = changed(
    (
        'name = "invented yard"',
        'name = "invented yard"\nzero_lat_deg = -33.9\nzero_lon_deg = 151.2\nplan_north_deg = 30.0',
    ),
    more=entry("inverter", name='"=1+1"', at="[40.0, 60.0]", height_m=3.5, serial='"+s2"', branch='"B1"')
    + entry("wall", name='"shed"', material='"welded steel"', along="[[5, -3], [5, 3], [9, 3]]", height_m=4)
    + entry("box", name='"tank"', loss_db=30, centre="[20, 20]", length_m=6, width_m=2, height_m=3, bearing_deg=40)
    + entry("roof", name='"lid"', loss_db=3, corners="[[0,0,4],[0,8,4],[9,8,5],[9,0,5]]")
    + entry("foliage", name='"oak"', footprint="[[30,0],[30,8],[36,4]]", height_m=9, base_m=2)
    + entry("spot", name='"mast"', at="[0.0, 12.0]", height_m=6, note='"near the socket"')
    + entry("search", name='"fence"', along="[[0, 30], [10, 30]]", heights_m="[2]", step_m=5),
)
LINKS = "links", "site.toml", "--json"


@pytest.fixture
def typed(run, folder):
    """Run a command where the site is the plan."""
    (folder / "site.toml").write_text(SITE, encoding="utf-8")
    return run


def exported(typed, folder, name, *words):
    result = typed("export", "site.toml", "--out", name, *words)
    assert (result.exit_code, result.stdout, result.stderr) == (0, "", f"written: {name}\n")
    return (folder / name).read_text(encoding="utf-8")


def features(text):
    tree = json.loads(text)
    found = {}
    for one in tree["features"]:
        key = one["properties"]["kind"], one["properties"]["name"]
        found.setdefault(key, []).append((shapely.geometry.shape(one["geometry"]), one["properties"]))
    return found


def in_plan(shape):
    return shapely.transform(shape, EARTH.plan_m)


def test_geojson_as_shapely_reads_it(typed, folder):
    found = features(exported(typed, folder, "site.geojson"))
    plan = read_plan(folder / "site.toml")
    assert {kind for kind, _ in found} == {"site", "inverter", "gateway", "spot", "wall", "box", "roof", "foliage"}
    ((origin, facts),) = found["site", "invented yard"]
    assert (origin.x, origin.y, facts["frequency_mhz"]) == (151.2, -33.9, 868.0)
    for one in (*plan.inverters, *plan.gateways, *plan.spots):
        kind = next(kind for kind, name in found if name == one.name)
        ((point, facts),) = found[kind, one.name]
        assert in_plan(point).coords[0] == pytest.approx(one.at, abs=1e-3)
        assert facts["height_m"] == one.height_m
    assert found["spot", "mast"][0][1]["note"] == "near the socket"
    assert all(shape.is_valid for shapes in found.values() for shape, _ in shapes)
    walls = [in_plan(shape) for shape, _ in found["wall", "shed"]]
    assert shapely.union_all(walls).length == pytest.approx(10.0, abs=0.001)
    assert found["wall", "shed"][0][1]["material"] == "welded steel"
    assert [found["wall", "shed"][0][1][key] for key in ("lowest_m", "highest_m")] == [0.0, 4.0]
    tank = [shape for shape, _ in found["box", "tank"] if shape.geom_type == "Polygon"]
    assert [in_plan(shape).area for shape in tank] == [pytest.approx(12.0, abs=0.01)]
    assert [in_plan(shape).area for shape, _ in found["foliage", "oak"]] == [pytest.approx(24.0, abs=0.01)]
    (lid,) = [shape for shape, _ in found["roof", "lid"]]
    assert in_plan(lid).symmetric_difference(shapely.box(0, 0, 9, 8)).area < 0.01
    assert lid.exterior.is_ccw  # RFC 7946, section 3.1.6


def test_the_link_of_each_inverter_is_that_of_survey_links(typed, folder):
    found = features(exported(typed, folder, "site.geojson"))
    for link in json.loads(typed(*LINKS).stdout)["links"]:
        ((_, facts),) = found["inverter", link["inverter"]]
        assert (facts["gateway"], facts["state"]) == (link["gateway"], link["state"])
        assert facts["uplink_level_dbm"] == link["uplink"]["level_dbm"]
        assert facts["downlink_level_dbm"] == link["downlink"]["level_dbm"]
        assert (facts["margin_db"], facts["distance_m"]) == (link["margin_db"], link["distance_m"])
        assert facts["reliability"] == link["reliability"]


def test_of_several_gateways_the_best_link_is_written(typed, folder):
    text = exported(typed, folder, "site.geojson", "--gateway", "mast", "--gateway", "fence/5.00,30.00,2.00")
    found = features(text)
    links = json.loads(
        typed(*LINKS, "--gateway", "mast", "--gateway", "fence/5.00,30.00,2.00").stdout,
    )["links"]
    for name in ("i1", "=1+1"):
        best = max((one for one in links if one["inverter"] == name), key=lambda one: one["margin_db"])
        assert found["inverter", name][0][1]["gateway"] == best["gateway"]
        assert found["inverter", name][0][1]["margin_db"] == best["margin_db"]
    assert ("spot", "fence/5.00,30.00,2.00") in found
    assert ("spot", "fence/0.00,30.00,2.00") not in found


def test_csv_as_a_spreadsheet_reads_it(typed, folder):
    text = exported(typed, folder, "site.csv")
    rows = {as_written(one["name"]): one for one in csv.DictReader(text.splitlines())}
    assert [one["kind"] for one in rows.values()] == ["inverter", "inverter", "gateway", "spot"]
    second = rows["=1+1"]
    assert (second["name"], second["serial"], second["branch"]) == ("'=1+1", "'+s2", "B1")
    assert [float(second[key]) for key in ("x_m", "y_m", "height_m")] == [40.0, 60.0, 3.5]
    place = [[float(second["lon_deg"]), float(second["lat_deg"])]]
    assert EARTH.plan_m(place)[0] == pytest.approx([40, 60], abs=1e-3)
    (link,) = [one for one in json.loads(typed(*LINKS).stdout)["links"] if one["inverter"] == "=1+1"]
    assert (second["state"], float(second["margin_db"])) == (link["state"], link["margin_db"])
    assert rows["mast"]["state"] == ""
    assert rows["mast"]["note"] == "near the socket"


def test_csv_of_a_site_that_is_nowhere_on_the_earth_is_read_as_a_list(typed, folder):
    (folder / "site.toml").write_text(MINIMAL, encoding="utf-8")
    text = exported(typed, folder, "site.csv")
    assert "lat_deg" not in text
    _, found = Drawings(folder, [], earth=None).positions("site.csv")
    assert [one.keys for one in found] == [
        {"name": "i1", "at": [10.0, 0.0], "height_m": 2.0},
        {"name": "office", "at": [0.0, 0.0], "height_m": 2.0},
    ]


def test_dxf_as_ezdxf_reads_it(typed, folder):
    ezdxf = pytest.importorskip("ezdxf", reason="ezdxf, the extra survey[drawings], is not installed")
    exported(typed, folder, "site.dxf")
    document = ezdxf.readfile(folder / "site.dxf")
    assert not document.audit().errors
    assert document.header["$INSUNITS"] == 6
    space = document.modelspace()
    states = {one["inverter"]: one["state"].upper() for one in json.loads(typed(*LINKS).stdout)["links"]}
    points = {tuple(one.dxf.location): one.dxf.layer for one in space.query("POINT")}
    assert points == {
        (10.0, 0.0, 2.0): f"INVERTERS {states['i1']}",
        (40.0, 60.0, 3.5): f"INVERTERS {states['=1+1']}",
        (0.0, 0.0, 2.0): "GATEWAYS",
        (0.0, 12.0, 6.0): "SPOTS",
    }
    assert [one.dxf.text for one in space.query("TEXT")] == ["i1", "=1+1", "office", "mast"]
    layers = [one.dxf.layer for one in space.query("POLYLINE")]
    assert {kind: layers.count(kind) for kind in layers} == {"WALL": 2, "BOX": 6, "ROOF": 1, "FOLIAGE": 2}
    read = Drawings(folder, [("", Drawing(name="d", file="site.dxf"))], earth=None)
    assert read.outline("d/ROOF") == pytest.approx(np.array([[0, 0], [0, 8], [9, 8], [9, 0]]))
    assert read.outline("d/FOLIAGE/1") == pytest.approx(np.array([[30, 0], [30, 8], [36, 4]]))


def test_geojson_as_this_program_reads_it(typed, folder):
    exported(typed, folder, "site.geojson")
    read = Drawings(folder, [("", Drawing(name="d", file="site.geojson"))], earth=EARTH)
    assert np.sort(read.outline("d/lid"), axis=0) == pytest.approx(np.array([[0, 0], [0, 0], [9, 8], [9, 8]]), abs=1e-3)
    assert read.points("d/mast")[1] == pytest.approx(np.array([[0, 12]]), abs=1e-3)


def test_without_a_place_on_the_earth_there_is_no_geojson(typed, folder):
    (folder / "site.toml").write_text(MINIMAL, encoding="utf-8")
    result = typed("export", "site.toml", "--out", "site.geojson")
    assert (result.exit_code, result.stderr) == (
        1,
        (
            "site.toml: [site]: zero_lat_deg: is missing; GeoJSON needs zero_lat_deg and zero_lon_deg, "
            "where the plan's zero "
            "is on the earth. Write them, or export .csv or .dxf\n"
        ),
    )
    assert not (folder / "site.geojson").exists()


def test_without_a_gateway_the_site_alone_is_written(typed, folder):
    gateway = '[[gateway]]\nname = "office"\nat = [0.0, 0.0]\nheight_m = 2.0\n'
    (folder / "site.toml").write_text(changed((gateway, "")), encoding="utf-8")
    result = typed("export", "site.toml", "--out", "site.csv")
    assert result.exit_code == 0
    assert result.stderr == (
        "warning: the plan has no gateway, so the file has no links; name a spot with --gateway NAME\n"
        "written: site.csv\n"
    )
    assert (folder / "site.csv").read_text(encoding="utf-8").splitlines()[1].startswith("inverter,i1,,,10.0,0.0,2.0,,")


@pytest.mark.parametrize(
    ("words", "status", "told"),
    [
        (
            ["--out", "site.dxg"],
            1,
            'site.dxg: cannot be exported; end it in .geojson, .csv or .dxf; did you mean "dxf"?',
        ),
        (["--out", "site"], 1, "site: cannot be exported; end it in .geojson, .csv or .dxf"),
        (
            ["--out", "a.csv", "--gateway", "must"],
            1,
            'site.toml: no gateway or spot is named "must"; did you mean "mast"?',
        ),
        (["--out", "no/a.csv"], 1, "no/a.csv: the folder no does not exist"),
        ([], 2, "Error: Missing option '--out'."),
    ],
)
def test_what_cannot_be_exported(typed, words, status, told):
    result = typed("export", "site.toml", *words)
    assert (result.exit_code, result.stderr.splitlines()[-1]) == (status, told)


def test_a_drawing_or_a_list_is_not_written_over(typed, folder):
    (folder / "list.csv").write_text("name,x_m,y_m,height_m\nA,1,2,3\n", encoding="utf-8")
    with (folder / "site.toml").open("a", encoding="utf-8") as plan:
        plan.write('[[inverter]]\nfrom = "list.csv"\n')
    result = typed("export", "site.toml", "--out", "list.csv")
    assert (result.exit_code, result.stderr) == (1, "list.csv: is an input file; name another file\n")


def test_dxf_without_the_library(typed, monkeypatch):
    monkeypatch.setitem(sys.modules, "ezdxf", None)
    result = typed("export", "site.toml", "--out", "site.dxf")
    assert (result.exit_code, result.stderr) == (1, "DXF needs the library ezdxf: pip install 'survey[drawings]'\n")


def test_an_export_on_standard_output_is_the_file(run, folder):
    (folder / "plan.toml").write_text(MINIMAL, encoding="utf-8")
    run("export", "plan.toml", "--out", "site.csv")
    printed = run("export", "plan.toml", "--out", "-")
    assert printed.stdout == (folder / "site.csv").read_text(encoding="utf-8")
    assert "written" not in printed.stderr
    refused = run("export", "plan.toml", "--out", "-", "--format", "geojson")
    assert (refused.exit_code, refused.stdout) == (1, "")
    assert "zero_lat_deg" in refused.stderr
