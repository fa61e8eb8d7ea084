"""GeoJSON files: what is read of them beside shapely's own writer, and what is refused."""

import json
import os

import numpy as np
import pytest
import shapely

from survey.base.earth import Earth

EARTH = Earth(zero_lat_deg=48.5, zero_lon_deg=-30.25, plan_north_deg=12.0)
HALL = [[0.0, 0.0], [50.0, 0.0], [50.0, 20.0], [30.0, 20.0], [30.0, 28.0], [0.0, 28.0]]


def degrees(corners, earth=EARTH):
    return earth.lon_lat_deg(corners)


def test_shapes_that_shapely_writes_come_back_in_the_plan(geojson, drawings):
    entry = geojson(
        ("hall", shapely.geometry.mapping(shapely.Polygon(degrees(HALL)))),
        ("fence", shapely.geometry.mapping(shapely.LineString(degrees(HALL[:3])))),
        ("inv", shapely.geometry.mapping(shapely.Point(degrees(HALL[2:3])[0]))),
        ("huts", shapely.geometry.mapping(shapely.MultiPolygon([shapely.Polygon(degrees(HALL[:4]))]))),
        ("inv", shapely.geometry.mapping(shapely.MultiPoint(degrees(HALL[:2])))),
    )
    read = drawings(entry, earth=EARTH)
    assert list(read.faults()) == []
    assert read.outline("map/hall") == pytest.approx(np.array(HALL), abs=1e-6)
    assert read.outline("map/huts") == pytest.approx(np.array(HALL[:4]), abs=1e-6)
    assert read.line("map/fence") == pytest.approx(np.array(HALL[:3]), abs=1e-6)
    name, points = read.points("map/inv")
    assert (name, points) == ("inv", pytest.approx(np.array([HALL[2], HALL[0], HALL[1]]), abs=1e-6))
    assert read.points("map/inv/2")[1] == pytest.approx(np.array([HALL[0]]), abs=1e-6)


def test_a_text_that_shapely_writes(tmp_path, drawings):
    text = shapely.to_geojson(shapely.Polygon(degrees(HALL)))
    feature = f'{{"type": "Feature", "properties": {{"name": 7}}, "geometry": {text}}}'
    (tmp_path / "one.geojson").write_text(feature, encoding="utf-8")
    outline = drawings({"name": "one", "file": "one.geojson"}, earth=EARTH).outline("one/7")
    assert outline == pytest.approx(np.array(HALL), abs=1e-6)


def polygon(*rings):
    return {"type": "Polygon", "coordinates": [np.asarray(ring).tolist() for ring in rings]}


def ring(low, high):
    return degrees([[low, low], [high, low], [high, high], [low, high], [low, low]])


def test_courtyards_and_places_far_away_are_refused_where_they_are_asked_for(geojson, drawings, told):
    read = drawings(
        geojson(
            ("court", polygon(ring(0, 9), ring(3, 6))),
            ("swapped", polygon(ring(0, 9)[:, ::-1])),
            ("none", None),
            ("mast", {"type": "Point", "coordinates": degrees([[1.0, 1.0]])[0].tolist()}),
            ("many", {"type": "GeometryCollection", "geometries": []}),
        ),
        earth=EARTH,
    )
    assert told(read.outline, "map/court") == (
        'from: "map/court" has 1 courtyard (inner rings); draw it as outlines without'
    )
    assert told(read.outline, "map/swapped") == (
        'from: "map/swapped" is more than 100 km from the plan\'s zero (zero_lat_deg, zero_lon_deg in [site]); are the '
        "two in the wrong order?"
    )
    assert told(read.outline, "map/none") == 'from: "map/none" has no outline; it has 1 feature without a place'
    assert told(read.outline, "map/mast") == 'from: "map/mast" has no outline; it has 1 point'
    assert told(read.outline, "map/many") == 'from: "map/many" has no outline; it has 1 GeometryCollection'
    assert told(read.outline, "map/mamy").endswith('has no feature "mamy"; did you mean "many"?')


OTHER = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::25832"}}
SAME = {"type": "name", "properties": {"name": "urn:ogc:def:crs:OGC:1.3:CRS84"}}
BAD_FILES = {
    "no JSON": ("{", "is not JSON: line 1, column 2: Expecting property name enclosed in double quotes"),
    "a list": ("[]", 'is not GeoJSON with features; its type must be "FeatureCollection" or "Feature"'),
    "bytes": (b"\xff\xfe\x00", "is not UTF-8 text, as RFC 7946 wants it; save it again as GeoJSON"),
    "deep": ("[" * 100_000, "nests lists too deep to be read"),
    "long": ("1" * 10_000, "holds a number of too many digits to be read"),
    "nothing": ("", "is empty"),
    "features": ('{"type": "FeatureCollection", "features": 3}', "has no list of features"),
    "a feature": (
        '{"type": "FeatureCollection", "features": [{"type": "Point"}]}',
        'feature 1 is none: its type must be "Feature"',
    ),
    "metres": (
        '{"type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": [691600, 5334760]}}',
        (
            "feature 1: [691600, 5334760] is not [longitude, latitude] in degrees; save it in WGS 84 "
            "(EPSG:4326), as RFC 7946 "
            "wants it"
        ),
    ),
    "a system": (
        json.dumps({"type": "FeatureCollection", "features": [], "crs": OTHER}),
        (
            'is in the coordinate system "urn:ogc:def:crs:EPSG::25832"; save it in WGS 84 (EPSG:4326), as '
            "RFC 7946 wants it"
        ),
    ),
    "text": (
        '{"type": "Feature", "properties": null, "geometry": {"type": "LineString", "coordinates": [["1", "2"]]}}',
        "feature 1: a position is not [longitude, latitude]",
    ),
    "not finite": (
        '{"type": "Feature", "properties": null, "geometry": {"type": "Point", "coordinates": [NaN, 2]}}',
        "feature 1: a position is not [longitude, latitude]",
    ),
    "no ring": (
        '{"type": "Feature", "properties": null, "geometry": {"type": "Polygon", "coordinates": []}}',
        "feature 1: a Polygon without a ring",
    ),
    "a geometry of no type": (
        '{"type": "Feature", "properties": null, "geometry": {"coordinates": [1, 2]}}',
        "feature 1 has no geometry of a known type",
    ),
    "many of no list": (
        '{"type": "Feature", "properties": null, "geometry": {"type": "MultiPoint", "coordinates": 3}}',
        "feature 1: coordinates are not a list",
    ),
    "a line of no list": (
        '{"type": "Feature", "properties": null, "geometry": {"type": "LineString", "coordinates": 3}}',
        "feature 1: coordinates are not a list",
    ),
    "a system without a name": (
        '{"type": "FeatureCollection", "features": [], "crs": {"type": "name"}}',
        "is in the coordinate system of its member crs; save it in WGS 84 (EPSG:4326), as RFC 7946 wants it",
    ),
}


@pytest.mark.parametrize("case", BAD_FILES)
def test_what_is_no_geojson_is_refused_in_words(tmp_path, drawings, case):
    content, problem = BAD_FILES[case]
    (tmp_path / "map.geojson").write_bytes(content if isinstance(content, bytes) else content.encode())
    faults = list(drawings({"name": "map", "file": "map.geojson"}).faults())
    assert faults == [('[[drawing]] 1 "map"', "file", f"map.geojson: {problem}")]


def test_the_system_that_is_wgs_84_may_be_named(geojson, drawings):
    assert list(drawings(geojson(crs=SAME)).faults()) == []


def test_a_plan_without_a_place_on_the_earth(geojson, drawings, told):
    read = drawings(geojson(("hall", polygon(ring(0, 9)))), earth=None)
    problem = (
        "map.geojson: is in degrees; write zero_lat_deg and zero_lon_deg in [site], where the plan's zero is on the "
    )
    assert list(read.faults()) == [('[[drawing]] 1 "map"', "file", f"{problem}earth")]
    assert told(read.outline, "map/hall") == 'from: "map" cannot be used: see its [[drawing]]'


def test_a_file_that_is_not_there_a_folder_and_one_without_end(tmp_path, drawings):
    (tmp_path / "folder.geojson").mkdir()
    (tmp_path / "mat.geojson").write_text("{}", encoding="utf-8")
    os.mkfifo(tmp_path / "pipe.geojson")
    entries = [{"name": name, "file": f"{name}.geojson"} for name in ("map", "folder", "pipe")]
    assert [problem for *_, problem in drawings(*entries).faults()] == [
        'map.geojson: there is no such file; did you mean "mat.geojson"?',
        "folder.geojson: is a folder; name the file in it",
        "pipe.geojson: is not a regular file",
    ]


def test_a_huge_file(tmp_path, drawings):
    with (tmp_path / "map.geojson").open("wb") as file:
        file.truncate(60_000_000)
    assert [problem for *_, problem in drawings({"name": "map", "file": "map.geojson"}).faults()] == [
        "map.geojson: has 60 MB; up to 50 are read: leave out other parts"
    ]


@pytest.mark.parametrize(
    "geometry", [{"type": "Polygon", "coordinates": [[]]}, {"type": "LineString", "coordinates": []}]
)
def test_a_shape_without_any_position_is_refused(drawings, geojson, geometry):
    entry = geojson(("roof", geometry))
    assert [problem for _, _, problem in drawings(entry).faults()] == ["map.geojson: feature 1: has no position"]
