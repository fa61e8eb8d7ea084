"""What stays in sight on a map: marks beside the scale bar, and what is stacked over what carries it."""

import numpy as np
from plans import MINIMAL, entry

from survey.inputs.plan_file import parse_text, plan_of
from survey.output.map.site import shapes_of
from survey.output.pictures import sides_picture
from survey.scene import scene_of


def scene(text):
    return scene_of(plan_of(parse_text(text, "x"), file="x"))


def scale_bar(figure):
    """The middle of the scale bar, as a share of the width of the map."""
    (bar,) = [line for line in figure.axes[0].lines if line.get_gid() == "scale bar"]
    return float(np.mean(bar.get_xdata()))


def test_the_scale_bar_gives_way_to_a_mark():
    far = entry("spot", name='"far"', at="[0, 30]", height_m=2)
    at_right = entry("spot", name='"low right"', at="[60, -2]", height_m=2)
    at_left = entry("spot", name='"low left"', at="[-60, -2]", height_m=2)
    assert scale_bar(sides_picture(scene(MINIMAL + far + at_right.replace("[60, -2]", "[60, 20]")))) > 0.5
    assert scale_bar(sides_picture(scene(MINIMAL.replace("[0.0, 0.0]", "[20.0, 20.0]") + far + at_right))) < 0.5
    assert scale_bar(sides_picture(scene(MINIMAL + far + at_right + at_left))) > 0.5


def test_what_is_stacked_is_drawn_over_what_carries_it():
    top = entry("box", name='"top"', size='"20 ft"', on='"low/top"', left_m=3.03)
    low = entry("box", name='"low"', size='"40 ft"', centre="[20, 20]")
    names = [shape.obstacle.name for shape in shapes_of(scene(MINIMAL + top + low))]
    assert names == ["low", "top"]
