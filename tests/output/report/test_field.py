"""Coverage under the map of the page: its colours are those of the grid, where the map has the same place."""

import base64
import io

import numpy as np
import pytest
from PIL import Image
from places import SITES

from survey.inputs.plan_file import read_plan
from survey.output.map.legend import TINTS
from survey.output.report.field import field_under
from survey.output.report.site_map import site_map
from survey.routing import network_of
from survey.scene import scene_of

STATE_OF = {tint: state for state, tints in enumerate(TINTS) for tint in tints}


def states_at(field, points):
    """State of the colour under points of the map."""
    image = Image.open(io.BytesIO(base64.b64decode(field.address.partition(",")[2])))
    pixels = np.asarray(image.convert("RGB"))
    left, top, wide, tall = field.box
    at = [(int((x - left) / wide * image.width), int((y - top) / tall * image.height)) for x, y in points]
    return np.array([STATE_OF["#{:02x}{:02x}{:02x}".format(*pixels[y, x])] for x, y in at])


@pytest.mark.parametrize(("name", "place"), [("farm", "office"), ("house", "carport post"), ("farm", "north gate")])
def test_the_colour_under_an_inverter_is_that_of_its_state(name, place):
    """But where the next cell is another one's: the picture changes evenly from one to the next."""
    scene = scene_of(read_plan(SITES / f"{name}.toml"))
    network = network_of(scene, gateways=[place])
    drawn = site_map(scene, network)
    field = field_under(drawn, network.links.gateways)
    under = states_at(field, drawn.at(scene.inverters.at_m))
    assert np.mean(under != network.state) < 0.1
    coverage, at_m = field.coverage, scene.inverters.at_m
    rows = np.abs(coverage.y_m - at_m[:, 1:2]).argmin(axis=1)
    columns = np.abs(coverage.x_m - at_m[:, :1]).argmin(axis=1)
    for k in np.flatnonzero(under != network.state):
        around = coverage.state[rows[k] - 1 : rows[k] + 2, columns[k] - 1 : columns[k] + 2]
        assert under[k] in around


def test_every_cell_has_its_colour_with_north_up():
    scene = scene_of(read_plan(SITES / "farm.toml"))
    network = network_of(scene)
    drawn = site_map(scene, network)
    field = field_under(drawn, network.links.gateways)
    coverage = field.coverage
    across_m, up_m = np.meshgrid(coverage.x_m, coverage.y_m)
    found = states_at(field, drawn.at(np.column_stack([across_m.ravel(), up_m.ravel()]))).reshape(across_m.shape)
    assert len(np.unique(coverage.state)) == 3
    assert np.array_equal(found, coverage.state)
    assert [state for state, _, _ in field.key] == ["holds", "marginal", "fails"]
