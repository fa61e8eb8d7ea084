"""The map of the page: to scale, north up, and no label over another."""

import re

import numpy as np
import pytest
from places import SITES

from survey.budget import STATES
from survey.inputs.plan import obstacle_kinds
from survey.inputs.plan_file import read_plan
from survey.output.map.legend import MARKS, SPOT_COLOUR
from survey.output.pictures import site_map as picture_of
from survey.output.report.site_map import FONT, WIDE, site_map
from survey.routing import network_between, network_of
from survey.scene import scene_of


@pytest.fixture(scope="module")
def farm():
    scene = scene_of(read_plan(SITES / "farm.toml"))
    network = network_of(scene)
    return scene, network, site_map(scene, network, advised=["north gate"])


def test_inverters_lie_to_scale_with_north_up(farm):
    scene, _, drawn = farm
    at = np.array(drawn.at(scene.inverters.at_m))
    moved_m, moved, scale = scene.inverters.at_m[:, :2] - scene.inverters.at_m[0, :2], at - at[0], drawn.scale
    assert moved[:, 0] == pytest.approx(moved_m[:, 0] * scale, abs=1e-6)
    assert moved[:, 1] == pytest.approx(-moved_m[:, 1] * scale, abs=1e-6)
    assert np.all((at >= 0) & (at <= [WIDE, drawn.tall]))


def test_a_container_is_as_long_as_it_is(farm):
    scene, _, drawn = farm
    box = next(one for one in scene.plan.obstacles if one.name == "container 1")
    (shape,) = [one for one in drawn.shapes if one.obstacle is box]
    corners = np.array(re.findall(r"([\d.]+) ([\d.]+)", drawn.outline(shape)), dtype=float)
    sides = np.linalg.norm(np.diff(corners, axis=0), axis=1)
    assert sorted(sides[:2] / drawn.scale) == pytest.approx(sorted([box.length_m, box.width_m]), abs=0.02)


def test_states_and_places_are_those_of_the_network(farm):
    scene, network, drawn = farm
    assert [STATES[one.state] for one in drawn.routes] == [STATES[k] for k in network.state.tolist()]
    kinds = {one.name: one.kind for one in drawn.places}
    assert kinds["office"] == "chosen"
    assert kinds["north gate"] == "advised"
    assert kinds["south fence"] == "search"
    assert [kind.kind for kind in drawn.kinds] == ["wall", "box", "foliage", "roof"]
    assert len(drawn.shapes) == len(scene.plan.obstacles)


def boxes(labels):
    wide = {one: 0.58 * FONT * len(one.text) for one in labels}
    left = {one: one.x - {"start": 0.0, "middle": 0.5, "end": 1.0}[one.anchor] * wide[one] for one in labels}
    return np.array([[left[o], o.y - 0.8 * FONT, left[o] + wide[o], o.y + 0.25 * FONT] for o in labels])


@pytest.mark.parametrize("site", ["house", "farm", "warehouse"])
def test_no_label_covers_another_or_an_inverter(site):
    scene = scene_of(read_plan(SITES / f"{site}.toml"))
    network = network_between(scene, scene.spots.pick([0]))
    drawn = site_map(scene, network)
    assert len(drawn.labels) > 10
    others = [one for one in drawn.labels if one.kind != "gateway"]
    found = boxes(others)
    for k, (left, top, right, bottom) in enumerate(found.tolist()):
        rest = np.delete(found, k, axis=0)
        over = (rest[:, 0] < right - 1e-6) & (rest[:, 2] > left + 1e-6)
        over &= (rest[:, 1] < bottom - 1e-6) & (rest[:, 3] > top + 1e-6)
        assert not over.any(), others[k].text
        assert not any(left < x < right and top < y < bottom for x, y in drawn.at(scene.inverters.at_m)), others[k].text


def test_the_page_and_the_pictures_have_one_legend(farm_page):
    """The same words, with the same colours; counts stand in the pictures alone."""
    text = farm_page.read_text(encoding="utf-8")
    figure = text[text.index('<figure id="figure">') : text.index("</figure>")]
    words = {re.sub("<.*?>", "", item).strip() for item in re.findall("<li>(.*?)</li>", figure, flags=re.DOTALL)}
    scene = scene_of(read_plan(SITES / "farm.toml"))
    drawn = picture_of(scene, network_of(scene, gateways=["office"])).legends[0]
    shown = {re.sub(r" \(\d+\)$", "", one.get_text()) for one in drawn.get_texts()}
    assert shown | {"fails", "recommended spot"} == words
    for mark in MARKS:
        assert f"--m-{mark.word}: {mark.colour};" in text
    for kind in obstacle_kinds():
        if kind.legend in words:
            assert f"stroke: {kind.look.line}; stroke-width: {1.8 * kind.look.width_pt:.2g};" in text
    assert f"--spot: {SPOT_COLOUR};" in text
