"""An invented depot drawn by somebody else: a map, a yard drawing in millimetres and a list with decimal commas."""

import numpy as np
import pytest
from places import SHARED

from survey.base.earth import Earth
from survey.base.errors import PlanError
from survey.inputs.buildings import Building, faces_of
from survey.inputs.drawings import Drawing, Drawings, expanded

DEPOT = SHARED / "sites-as-seen"
pytestmark = pytest.mark.skipif(
    not (DEPOT / "depot.dxf").is_file(), reason="the folder shared/sites-as-seen does not lie beside this checkout"
)


@pytest.fixture
def depot():
    entries = [
        Drawing(name="map", file="depot.geojson"),
        Drawing(name="yard drawing", file="depot.dxf", zero=(120_000.0, 80_000.0)),
    ]
    earth = Earth(zero_lat_deg=48.5, zero_lon_deg=-30.25, plan_north_deg=12.0)
    return Drawings(DEPOT, [("", entry) for entry in entries], earth=earth)


def test_the_hall_lies_along_the_axes_of_the_plan(depot):
    """Drawn from an aerial picture within 0.5 m: an L of 50 by 28 m."""
    hall = np.array([[0, 0], [50, 0], [50, 20], [30, 20], [30, 28], [0, 28]])
    assert depot.outline("map/hall") == pytest.approx(hall, abs=0.5)


def test_the_hut_in_millimetres(depot):
    pytest.importorskip("ezdxf", reason="ezdxf, the extra survey[drawings], is not installed")
    assert depot.outline("yard drawing/HUT").tolist() == [[60, -10], [64, -10], [64, -7], [60, -7]]


def test_the_list_stands_on_a_face(depot):
    made, faults = expanded("inverter", [("[[inverter]] 1", {"from": "depot.csv", "on": "hall/south roof"})], depot)
    assert (len(made), faults) == (28, [])
    assert made[1] == {
        "on": "hall/south roof",
        "name": "H02",
        "left_m": 5.9,
        "up_m": 1.2,
        "serial": "invented-0002",
        "branch": "B1",
    }
    assert made[1].place == '[[inverter]] 1 "depot.csv" line 3 "H02"'


def test_a_building_stands_on_an_outline(depot):
    hall = {"name": "hall", "eaves_m": 6.0, "roof": "gable", "pitch_deg": 8.0, "wall_material": "steel cladding"}
    made = faces_of([Building(**hall, from_="map/hall", drawn_within_m=0.5)], file="depot.toml", outline=depot.outline)
    assert made.face("hall/south roof").length_m == pytest.approx(50.0, abs=0.5)
    assert 0 < made.moved_m["hall"] < 0.5  # its corners were squared
    with pytest.raises(PlanError) as caught:
        faces_of([Building(**hall, from_="map/hull")], file="depot.toml", outline=depot.outline)
    assert str(caught.value) == (
        'depot.toml: [[building]] 1 "hall": from: "map" has no feature "hull"; did you mean "hall"?'
    )
