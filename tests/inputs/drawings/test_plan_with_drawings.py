"""`[[drawing]]` and `from` in a plan: what they stand for there, and every fault with table and key."""

import json
import tomllib

import pytest
from plans import write

from survey.base.errors import PlanError
from survey.inputs.plan import Foliage, Wall
from survey.inputs.plan_file import plan_of, read_plan

ORIGIN = ('name = "invented yard"', 'name = "invented yard"\nzero_lat_deg = 48.5\nzero_lon_deg = -30.25')
PLACE = 1e-5 * 111_200
"""About how far 0.00001 degrees of latitude reach. [m]"""


def feature(name, kind, coordinates):
    return {
        "type": "Feature",
        "properties": {"name": name},
        "geometry": {"type": kind, "coordinates": coordinates},
    }


SQUARE = [[-30.25, 48.5], [-30.2499, 48.5], [-30.2499, 48.5001], [-30.25, 48.5001], [-30.25, 48.5]]
MAP = [
    feature("wood", "Polygon", [SQUARE]),
    feature("fence", "LineString", SQUARE[:3]),
    feature("inv", "Point", SQUARE[0]),
    feature("inv", "Point", SQUARE[1]),
    feature("mast", "Point", SQUARE[2]),
]
DRAWING = '[[drawing]]\nname = "map"\nfile = "map.geojson"\n'


@pytest.fixture
def plan(tmp_path):
    """A plan with more in it, beside a map and a list."""
    (tmp_path / "map.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": MAP}), encoding="utf-8")
    (tmp_path / "list.csv").write_text(
        "name;x_m;y_m;height_m;serial;branch;note\nA;1,5;2;3;s1;B1;\nB;2,5;2;3;;B2;by tape\n", encoding="utf-8"
    )
    (tmp_path / "face.csv").write_text("name,left_m,up_m\nA,1,2\n", encoding="utf-8")
    (tmp_path / "flat.csv").write_text("name,x_m,y_m\nS,1,2\n", encoding="utf-8")

    def read(more, *changes):
        return read_plan(write(tmp_path, *(changes or (ORIGIN,)), more=more))

    return read


@pytest.fixture
def told(plan, tmp_path):
    def lines(more, *changes):
        with pytest.raises(PlanError) as caught:
            plan(more, *changes)
        return [line.removeprefix(f"{tmp_path / 'plan.toml'}: ") for line in str(caught.value).splitlines()]

    return lines


def test_a_list_makes_an_entry_of_each_row(plan):
    read = plan('[[inverter]]\nfrom = "list.csv"\ntx_power_dbm = 3.0\n[[spot]]\nfrom = "flat.csv"\nheight_m = 2\n')
    assert [one.name for one in read.inverters] == ["i1", "A", "B"]
    first, second = read.inverters[1:]
    assert (first.at, first.height_m, first.serial, first.branch) == ((1.5, 2.0), 3.0, "s1", "B1")
    assert (second.serial, second.branch, second.note, second.tx_power_dbm) == ("", "B2", "by tape", 3.0)
    assert [(one.name, one.at, one.height_m) for one in read.spots] == [("S", (1.0, 2.0), 2.0)]


def test_points_lines_and_outlines_of_a_map(plan):
    read = plan(
        DRAWING
        + '[[inverter]]\nfrom = "map/inv"\nheight_m = 3\n'
        + '[[spot]]\nname = "pole"\nfrom = "map/mast"\nheight_m = 5\n'
        + '[[spot]]\nname = "second"\nfrom = "map/inv/2"\nheight_m = 5\n'
        + '[[wall]]\nname = "w"\nfrom = "map/fence"\nheight_m = 2\nmaterial = "brick 110 mm"\n'
        + '[[wall]]\nname = "ring"\nfrom = "map/wood"\nheight_m = 2\nmaterial = "brick 110 mm"\n'
        + '[[foliage]]\nname = "f"\nfrom = "map/wood"\nheight_m = 9\n'
        + '[[search]]\nname = "inside"\nfrom = "map/wood"\nheights_m = [2]\n'
        + '[[search]]\nname = "along"\nfrom = "map/fence"\nheights_m = [2]\n'
    )
    assert [one.name for one in read.inverters] == ["i1", "inv1", "inv2"]
    assert read.inverters[1].at == pytest.approx((0.0, 0.0), abs=1e-6)
    assert read.inverters[2].at == pytest.approx((7.4, 0.0), abs=0.05)
    assert [one.name for one in read.spots] == ["pole", "second"]
    assert read.spots[0].at == pytest.approx((7.4, 10 * PLACE), abs=0.05)
    assert read.spots[1].at == read.inverters[2].at
    assert [len(one.along) for one in read.obstacles if isinstance(one, Wall)] == [3, 5]
    assert [len(one.footprint) for one in read.obstacles if isinstance(one, Foliage)] == [4]
    assert (len(read.searches[0].within), read.searches[0].along) == (4, None)
    assert (len(read.searches[1].along), read.searches[1].within) == (3, None)
    assert [one.name for one in read.drawings] == ["map"]


def test_a_plan_may_have_no_inverter_but_those_of_a_list(plan):
    only = ('[[inverter]]\nname = "i1"\nat = [10.0, 0.0]\nheight_m = 2.0\n', '[[inverter]]\nfrom = "list.csv"\n')
    assert [one.name for one in plan("", only).inverters] == ["A", "B"]


def test_the_plan_turned_against_true_north(plan):
    turned = (ORIGIN[0], ORIGIN[1] + "\nplan_north_deg = 90.0")
    read = plan(DRAWING + '[[spot]]\nname = "pole"\nfrom = "map/inv/2"\nheight_m = 5\n', turned)
    assert read.spots[0].at == pytest.approx((0.0, 7.4), abs=0.05)


FAULTS = {
    "a file": (
        '[[drawing]]\nname = "m"\nfile = "mop.geojson"\n[[spot]]\nfrom = "m/x"\nheight_m = 1\n',
        '[[drawing]] 1 "m": file: mop.geojson: there is no such file; did you mean "map.geojson"?',
        '[[spot]] 1: from: "m" cannot be used: see its [[drawing]]',
    ),
    "keys of a drawing": (
        '[[drawing]]\nname = "a/b"\nfile = "map.pdf"\nunit = "yd"\n',
        '[[drawing]] 1 "a/b": unit: "yd" is not known; write "mm" or "cm" or "m" or "in" or "ft"',
    ),
    "a name and a file": (
        '[[drawing]]\nname = "a/b"\nfile = "map.pdf"\n[[spot]]\nname = "s"\nfrom = "a/b"\nheight_m = 1\n',
        ('[[drawing]] 1 "a/b": name: holds a "/", which separates a drawing from its layer; write the name without it'),
        (
            '[[drawing]] 1 "a/b": file: "map.pdf" is not a drawing file name; write a file that ends in '
            ".dxf, .geojson or .csv"
        ),
        (
            '[[spot]] 1 "s": from: no [[drawing]] is named "a"; write a [[drawing]] with that name and '
            "its file, then from = "
            '"NAME/LAYER"'
        ),
    ),
    "keys of no use": (
        (
            '[[drawing]]\nname = "m"\nfile = "map.geojson"\nunit = "m"\nup_deg = 3\n'
            '[[drawing]]\nname = "l"\nfile = "list.csv"\nunit = "m"\n'
        ),
        (
            '[[drawing]] 1 "m": unit: means nothing here: GeoJSON is in degrees; zero_lat_deg, zero_lon_deg and '
            "plan_north_deg in [site] place it; leave it out"
        ),
        (
            '[[drawing]] 1 "m": up_deg: means nothing here: GeoJSON is in degrees; zero_lat_deg, zero_lon_deg and '
            "plan_north_deg in [site] place it; leave it out"
        ),
        '[[drawing]] 2 "l": unit: means nothing for a list: each column names its unit (x_mm, left_ft); leave it out',
    ),
    "a drawing twice": (
        DRAWING * 2,
        (
            '[[drawing]] 1 "map" and [[drawing]] 2 "map": name: "map" is used 2 times; every name in a plan must be '
            "different"
        ),
    ),
    "a list with a name": (
        '[[inverter]]\nname = "x"\nfrom = "list.csv"\n',
        '[[inverter]] 2 "x": name: means nothing here: each row of the list has its own; leave it out',
    ),
    "heights twice": (
        '[[inverter]]\nheight_m = 3\nfrom = "list.csv"\n',
        "[[inverter]] 2: height_m: is given in list.csv already; leave it out here, or the column there",
    ),
    "no height": (
        '[[inverter]]\nfrom = "flat.csv"\n',
        "[[inverter]] 2: height_m: is missing: flat.csv has none; add a column height_m, or write it here",
    ),
    "no face": (
        '[[inverter]]\nfrom = "face.csv"\n',
        '[[inverter]] 2: on: is missing: face.csv gives left and up on a face; write on = "BUILDING/FACE"',
    ),
    "a list that is not there": (
        '[[inverter]]\nfrom = "lost.csv"\n',
        '[[inverter]] 2: from: lost.csv: there is no such file; did you mean "list.csv"?',
    ),
    "no text": ("[[inverter]]\nfrom = 3\n", '[[inverter]] 2: from: 3 is a number; write text in quotes, "like this"'),
    "both": (
        DRAWING + '[[wall]]\nname = "w"\nfrom = "map/fence"\nalong = [[0,0],[1,1]]\nheight_m = 2\nloss_db = 3\n',
        '[[wall]] 1 "w": along: is given beside from; write one of the two',
    ),
    "a line for an outline": (
        DRAWING + '[[foliage]]\nname = "f"\nfrom = "map/fence"\nheight_m = 2\n',
        (
            '[[foliage]] 1 "f": from: "map/fence" has no outline; it has 1 line; close its lines to one polyline in '
            "the drawing program"
        ),
    ),
    "a list for a line": (
        '[[drawing]]\nname = "l"\nfile = "list.csv"\n[[wall]]\nname = "w"\nfrom = "l/x"\nheight_m = 2\nloss_db = 3\n',
        '[[wall]] 1 "w": from: "l" is a list of positions; outlines and lines come from .dxf or .geojson',
    ),
    "a name of a row that stands twice": (
        '[[inverter]]\nfrom = "list.csv"\n[[spot]]\nname = "B"\nat = [0, 0]\nheight_m = 2\n',
        (
            '[[inverter]] 2 "list.csv" line 3 "B" and [[spot]] 1 "B": name: "B" is used 2 times; every '
            "name in a plan must be different"
        ),
    ),
    "a name that is none": (
        DRAWING + '[[spot]]\nname = " "\nfrom = "map/inv"\nheight_m = 2\n',
        "[[spot]] 1: name: is empty; write a name",
    ),
    "a key of all rows": (
        '[[inverter]]\nfrom = "list.csv"\ntx_power_dbm = 99\n',
        '[[inverter]] 2 "list.csv" line 2 "A": tx_power_dbm: 99 is out of range; write a number from -60 to 36',
    ),
}


@pytest.mark.parametrize("case", FAULTS)
def test_every_fault_is_told_with_its_place(told, case):
    more, *expected = FAULTS[case]
    assert told(more) == expected


def test_half_a_place_on_the_earth(told):
    assert told("", (ORIGIN[0], ORIGIN[0] + "\nzero_lat_deg = 48")) == [
        "[site]: zero_lon_deg: is missing; write both zero_lat_deg and zero_lon_deg"
    ]
    assert told("", (ORIGIN[0], ORIGIN[0] + "\nplan_north_deg = 4")) == [
        "[site]: plan_north_deg: has no effect without zero_lat_deg and zero_lon_deg; write them, or leave it out"
    ]


def test_a_map_without_a_place_on_the_earth(told):
    assert told(DRAWING, (ORIGIN[0], ORIGIN[0])) == [
        (
            '[[drawing]] 1 "map": file: map.geojson: is in degrees; write zero_lat_deg and zero_lon_deg '
            "in [site], where the "
            "plan's zero is on the earth"
        )
    ]


ODD = [
    3,
    -1.5,
    True,
    "",
    " ",
    "/",
    "//1",
    "map/",
    "map//",
    "map/inv/0",
    "map/inv/99999999999",
    "list.csv/1",
    "a\n.csv",
    [],
    [1],
    {},
]


@pytest.mark.usefixtures("plan")
@pytest.mark.parametrize("table", ["inverter", "gateway", "spot", "wall", "search", "foliage"])
@pytest.mark.parametrize("value", ODD, ids=repr)
def test_whatever_from_is_it_is_refused_in_words(tmp_path, table, value):
    tables = tomllib.loads(write(tmp_path, ORIGIN, more=DRAWING).read_text(encoding="utf-8"))
    tables.setdefault(table, []).append({"name": "odd", "from": value})
    with pytest.raises(PlanError) as caught:
        plan_of(tables, file="plan.toml", folder=tmp_path)
    assert any(fault.place.startswith(f"[[{table}]]") for fault in caught.value.faults)


@pytest.mark.usefixtures("plan")
@pytest.mark.parametrize("value", ODD, ids=repr)
@pytest.mark.parametrize("key", ["name", "file", "unit", "zero", "up_deg", "note"])
@pytest.mark.parametrize("file", ["map.geojson", "list.csv", "plan.dxf"])
def test_whatever_a_drawing_is_it_reads_or_is_refused_in_words(tmp_path, key, value, file):
    tables = tomllib.loads(write(tmp_path, ORIGIN).read_text(encoding="utf-8"))
    tables["drawing"] = [{"name": "d", "file": file, key: value}]
    try:
        read = plan_of(tables, file="plan.toml", folder=tmp_path)
    except PlanError as error:
        assert all(fault.place.startswith("[[drawing]] 1") for fault in error.faults)  # noqa: PT017  it may be read
    else:
        assert len(read.drawings) == 1
