"""The example sites beside the project: their buildings are built, with the faces that their other tables name."""

import tomllib

import numpy as np
import pytest
from places import SHARED

from survey.inputs.buildings import Building, faces_of
from survey.inputs.nested import entry_of

EXAMPLES = SHARED / "sites-as-seen"
HALL = np.array([[0.0, 0.0], [50.0, 0.0], [50.0, 20.0], [30.0, 20.0], [30.0, 30.0], [0.0, 30.0]])


def example(name):
    if not EXAMPLES.is_dir():
        pytest.skip("the folder shared/sites-as-seen does not lie beside this checkout")
    return tomllib.loads((EXAMPLES / f"{name}.toml").read_text(encoding="utf-8"))


def built(tables):
    entries = [
        entry_of(Building, {"from_" if key == "from" else key: value for key, value in values.items()})
        for values in tables.get("building", [])
    ]
    return faces_of(entries, outline=lambda _: HALL)


NUMBERS = {
    "containers": 5,
    "depot": 6 + 4 + 1 + 5 + 7,
    "farm-new": 6 + 4,
    "flat-warehouse": 5 + 5 + 5 + 1,
    "ground": 5 + 1,
    "house-new": 6 + 2 + 4,
    "open-shed": 5,
    "warehouse-new": 5,
    "workshop": 6 + 4 + 2 + 4,
}
"""Faces of all buildings: walls and roofs, openings, levels and inner walls."""


@pytest.mark.parametrize("name", NUMBERS)
def test_the_buildings_of_the_example_sites_are_built(name):
    tables = example(name)
    faces = built(tables)
    assert len(faces.faces) == NUMBERS[name]
    owners = {building["name"] for building in tables["building"]}
    for table in ("array", "inverter", "spot", "gateway", "search", "box"):
        for values in tables.get(table, []):
            reference = values.get("on", values.get("beside", ""))
            if reference.partition("/")[0] in owners:
                assert faces.face(reference).name == reference


def test_the_farm_is_as_the_old_plan_draws_it():
    """Corners of sites/farm.toml: the workshop's ridge at 5.28 m, the lean-to 6 m wide, 2.60 m to 3.40 m high."""
    faces = built(example("farm-new"))
    south = np.vstack(faces.face("workshop/south roof").sheets_m)
    assert sorted(south.round(9).tolist()) == [[0, 0, 4], [0, 6, 5.28], [24, 0, 4], [24, 6, 5.28]]
    lean_to = np.vstack(faces.face("lean-to/roof").sheets_m)
    assert sorted(lean_to.round(9).tolist()) == [[-6, 0, 2.6], [-6, 12, 2.6], [0, 0, 3.4], [0, 12, 3.4]]


def test_the_carport_of_the_house_stands_half_a_metre_from_its_west_end():
    """As sites/house.toml draws it: from x = 0.5 to 6.5."""
    carport = built(example("house-new")).bodies["carport"].footprint.corners_m
    assert (carport.min(axis=0).tolist(), carport.max(axis=0).tolist()) == ([0.5, 14.0], [6.5, 19.5])
