"""Pictures of every size: large sites whose marks can be told apart, small ones that fill the frame, files as asked."""

import io
import re
import zlib
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from PIL import Image
from plans import changed, write

from survey.budget import STATES
from survey.inputs.plan_file import read_plan
from survey.output.map.groups import groups_of
from survey.output.map.site import inverter_labels
from survey.output.pictures import as_bytes, pictures_of_width, site_map
from survey.output.pictures.site_map import GROUP_PT, MOST_PT
from survey.routing import network_of
from survey.scene import scene_of

ARRAYS = "".join(
    f"""
[[array]]
name = "B{k}"
first = [{x}.0, {y}.0]
height_m = 2.0
bearing_deg = 90.0
rows = 8
per_row = 5
spacing_m = 12.0
row_spacing_m = 8.0
"""
    for k, (x, y) in enumerate([(100, 100), (1600, 400), (4900, 100), (2500, 3000)])
)
EXPONENT = "\n[environment]\npath_loss_exponent = 3.0\n"
BALCONY = """
[[inverter]]
name = "i2"
at = [2.8, 0.3]
height_m = 1.0

[[wall]]
name = "house wall"
material = "brick 220 mm"
along = [[0.0, 1.4], [3.0, 1.4]]
height_m = 2.6
"""


def drawn(tmp_path, *replacements, more=""):
    scene = scene_of(read_plan(write(tmp_path, *replacements, more=more)))
    return scene, site_map(scene, network_of(scene))


def marks_px(figure):
    """Where the marks of inverters are, in pixels."""
    (axes,) = (one for one in figure.axes if one.get_label() == "site")
    axes.apply_aspect()
    lines = [one for one in axes.lines if one.get_gid() in STATES]
    return np.concatenate([axes.transData.transform(np.column_stack(one.get_data())) for one in lines])


def test_marks_of_a_site_of_five_kilometres_can_be_told_apart(tmp_path):
    """Drawn one by one they lie two pixels from each other."""
    scene, figure = drawn(tmp_path, more=ARRAYS + EXPONENT)
    at_px = marks_px(figure)
    apart_px = np.linalg.norm(at_px[:, None] - at_px[None], axis=2)
    assert np.min(apart_px[np.triu_indices(len(at_px), 1)]) >= MOST_PT * figure.dpi / 72.0
    words = [text.get_text() for text in figure.axes[0].texts]
    counted = [
        int(number) for text in words if ": " in text for number in re.findall(r"(?:fails|marginal|holds) (\d+)", text)
    ]
    assert sum(counted) == len(scene.inverters)
    assert "A mark stands for all inverters near it" in " ".join(one.get_text() for one in figure.texts)


def test_groups_keep_their_distance_and_lose_nobody():
    at_m = np.random.default_rng(3).uniform(0.0, 100.0, (300, 2))
    groups = groups_of(at_m, reach_m=15.0)
    assert sorted(i for one in groups for i in one.members) == list(range(300))
    firsts_m = at_m[[one.members[0] for one in groups]]
    apart_m = np.linalg.norm(firsts_m[:, None] - firsts_m[None], axis=2)
    assert np.min(apart_m[np.triu_indices(len(groups), 1)]) > 15.0
    assert GROUP_PT > 2 * MOST_PT


def test_a_site_of_three_metres_fills_its_frame(tmp_path):
    near = ("at = [10.0, 0.0]\nheight_m = 2.0", "at = [0.2, 0.2]\nheight_m = 1.0")
    office = ("at = [0.0, 0.0]\nheight_m = 2.0", "at = [1.5, 2.2]\nheight_m = 1.2")
    _, figure = drawn(tmp_path, near, office, more=BALCONY)
    left, right = figure.axes[0].get_xlim()
    assert 3.0 / (right - left) > 0.75  # the wall is 3 m long


@pytest.mark.parametrize(("width_cm", "dpi"), [(None, 130), (14.0, 90), (40.0, 72)])
def test_a_picture_has_the_width_and_the_dots_asked_for(tmp_path, width_cm, dpi):
    scene = scene_of(read_plan(write(tmp_path)))
    with pictures_of_width(None if width_cm is None else width_cm / 2.54):
        figure = site_map(scene, network_of(scene))
    image = Image.open(io.BytesIO(as_bytes(figure, "png", dpi=dpi)))
    assert image.size[0] == pytest.approx((width_cm or 21.59) / 2.54 * dpi, abs=1)
    assert image.info["dpi"][0] == pytest.approx(dpi, abs=0.1)
    renderer = figure.canvas.get_renderer()
    for text in figure.texts:
        assert text.get_window_extent(renderer).x1 <= figure.bbox.x1, text.get_text()
    (legend,) = figure.legends
    assert legend.get_window_extent(renderer).x0 >= 0


def test_an_svg_says_what_it_shows_to_those_who_do_not_see_it(tmp_path):
    plan = tmp_path / "plan.toml"
    plan.write_text(changed(('"invented yard"', '"Müller & <Co>"')), encoding="utf-8")
    scene = scene_of(read_plan(plan))
    root = ET.fromstring(as_bytes(site_map(scene, network_of(scene)), "svg"))  # noqa: S314  our own file
    kind = "{http://www.w3.org/2000/svg}"
    title, about = root.find(f"{kind}title"), root.find(f"{kind}desc")
    assert title.text == "Müller & <Co>: coverage"
    assert "Gateway: office. Links of 1 inverter: hold 1" in about.text
    assert "This is a prediction, not a measurement" in about.text
    assert root.get("role") == "img"
    assert {root.get("aria-labelledby"), root.get("aria-describedby")} == {title.get("id"), about.get("id")}


def test_a_pdf_has_its_text_as_text(tmp_path):
    """Letters as outlines could be neither searched for nor copied."""
    _, figure = drawn(tmp_path, more=BALCONY)
    content = as_bytes(figure, "pdf")
    assert b"/Title (invented yard: coverage)" in content
    streams = b"\n".join(
        zlib.decompress(one) for one in re.findall(rb"stream\r?\n(x.*?)\r?\nendstream", content, flags=re.DOTALL)
    )
    shown = [
        "".join(re.findall(r"\((.*?)\)", run)) for run in re.findall(r"\[([^\[\]]*)\]\s*TJ", streams.decode("latin-1"))
    ]
    shown = [run.replace("\0", "") for run in shown]  # two bytes a letter
    assert b"/ToUnicode" in content
    assert "house wall" in shown
    assert any("This is a prediction" in run for run in shown)


def test_names_of_inverters_that_fail_come_first_the_weakest_before_all(tmp_path):
    scene = scene_of(read_plan(write(tmp_path, more=ARRAYS + EXPONENT)))
    network = network_of(scene)
    first, rest = inverter_labels(scene, network)
    names = [label.text for label in first if label.kind == "inverter"]
    weak = sorted(
        (i for i in range(len(scene.inverters)) if network.state[i] < 2), key=lambda i: network.weakest_margin_db[i]
    )
    assert weak
    shown = names[: len(weak)]
    assert shown == [scene.inverters.names[i] for i in weak][: len(shown)]
    assert not {label.text for label in rest} & set(names)
