"""A folder for drawings, and ways to read them as a plan does."""

import json

import pytest

from survey.base.earth import Earth
from survey.base.errors import EntryError
from survey.inputs.drawings import Drawing, Drawings

EARTH = Earth(zero_lat_deg=48.5, zero_lon_deg=-30.25)


@pytest.fixture
def drawings(tmp_path):
    """The drawings of a folder by their `[[drawing]]` entries."""

    def read(*entries, earth=EARTH):
        made = [(f'[[drawing]] {i} "{one["name"]}"', Drawing(**one)) for i, one in enumerate(entries, start=1)]
        return Drawings(tmp_path, made, earth=earth)

    return read


@pytest.fixture
def geojson(tmp_path):
    """Write a GeoJSON file of (name, geometry) pairs and give its entry."""

    def written(*features, name="map", **members):
        listed = [{"type": "Feature", "properties": {"name": one}, "geometry": geometry} for one, geometry in features]
        tree = {"type": "FeatureCollection", "features": listed, **members}
        (tmp_path / f"{name}.geojson").write_text(json.dumps(tree), encoding="utf-8")
        return {"name": name, "file": f"{name}.geojson"}

    return written


@pytest.fixture
def told():
    """What is wrong, as (key, problem) pairs told of an entry."""

    def problems(function, *words):
        with pytest.raises(EntryError) as caught:
            function(*words)
        return str(caught.value)

    return problems
