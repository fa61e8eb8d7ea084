"""The pictures: what they say, what they show, and that they look as they did."""

import os
import re

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from places import ROOT
from plans import WALL, WHOLE_PLAN, entry, wall, write
from tiles import difference, tiles

from survey.budget import STATES, links_between, links_of
from survey.budget.coverage import chosen_gateways, coverage_of
from survey.budget.explanation import budget_of
from survey.geometry import crossings
from survey.inputs.plan import obstacle_kinds
from survey.inputs.plan_file import read_plan
from survey.output.answers.link_budget import steps_of
from survey.output.map.frame import extent_m, nice_length_m
from survey.output.map.legend import MARKS, chance_scale
from survey.output.pictures import (
    as_bytes,
    budget_picture,
    coverage_picture,
    field_m,
    missing_letters,
    network_picture,
    profile_picture,
    sides_picture,
    site_map,
)
from survey.output.pictures.coverage import margin_steps_db
from survey.output.pictures.sections import cuts_of, fresnel_zone_m, mirrored, strings_of
from survey.propagation import Way
from survey.routing import network_of
from survey.routing.weak_points import weak_points
from survey.scene import corrected, radios_at, scene_of
from survey.scene.correction import Correction

BASELINE = ROOT / "tests" / "output" / "pictures" / "baseline"
SITES = {"house": "hall cupboard", "farm": "office", "warehouse": "stair house mast"}


def site(name):
    return scene_of(read_plan(ROOT / "sites" / f"{name}.toml"))


def small(folder, *changes, more=""):
    return scene_of(read_plan(write(folder, *changes, more=more)))


def words_of(figure):
    return [text.get_text() for text in figure.findobj(mpl.text.Text) if text.get_text()]


def with_gid(figure, gid):
    return figure.findobj(lambda artist: artist.get_gid() == gid)


def legend_of(figure):
    return [text.get_text() for text in figure.legends[0].get_texts()]


def said(figure, gid):
    (text,) = with_gid(figure, gid)
    return text.get_text().replace("\N{NO-BREAK SPACE}", " ").replace("\n", " ")


# ------------------------------------------------------------------------------------------------------------- the map


def test_the_map_says_what_links_says_and_marks_each_inverter_once():
    links = links_of(site("farm"))
    figure = site_map(links.scene, network_of(links.scene))
    assert isinstance(figure, Figure)
    assert said(figure, "title") == "Thistle End farm workshop: coverage"
    fail, marginal, hold = (int(np.sum(links.state == number)) for number in range(3))
    counts = f"hold {hold}, marginal {marginal}, fail {fail}"
    assert f"Gateway: office. Links of 40 inverters: {counts}." in said(figure, "subtitle")
    for number, word in enumerate(STATES):
        marks = with_gid(figure, word)
        assert sum(len(one.get_xdata()) for one in marks) == np.sum(links.state == number)
    assert {f"holds ({hold})", f"marginal ({marginal})", "wall", "box", "roof or other sheet", "foliage"} <= set(
        legend_of(figure)
    )


def test_a_map_with_relays_draws_whole_routes_and_letters_of_gateways():
    scene = site("farm").wanting(max_relays=2)
    network = network_of(scene, gateways=["office", "north gate"])
    figure = site_map(scene, network)
    assert "B north gate. Routes with up to 2 relays. Routes of 40 inverters: hold 40," in said(figure, "subtitle")
    assert {"A office", "B north gate"} <= {text.get_text() for text in figure.axes[0].texts}
    (lines,) = with_gid(figure, "links holds")
    at_m, ends_m = network.links.inverters.at_m[:, :2], network.links.gateways.at_m[:, :2]
    ways = [np.stack([*at_m[[one.inverter, *one.relays]], ends_m[one.gateway]]) for one in network.routes]
    assert max(map(len, ways)) > 2
    for way, drawn_way in zip(ways, lines.get_segments(), strict=True):
        np.testing.assert_allclose(drawn_way, way)


def test_whoever_finds_no_room_is_marked_and_has_no_line():
    scene = site("house").wanting(inverters_per_gateway=5)
    network = network_of(scene, gateways=["laundry"])
    figure = site_map(scene, network)
    assert "Links of 12 inverters: hold 5, marginal 0, fail 0, full 7" in said(figure, "subtitle")
    assert {"holds (5)", "full (7)"} <= set(legend_of(figure))
    assert [len(lines.get_segments()) for word in STATES for lines in with_gid(figure, f"links {word}")] == [0, 0, 5]
    assert "full 7" in said(network_picture(weak_points(network)), "subtitle")


def test_states_differ_in_shape_and_the_best_from_the_worst_in_filling_too():
    assert len({mark.shape for mark in MARKS}) == len({mark.dashes for mark in MARKS}) == 3
    assert [mark.filled for mark in MARKS] == [True, False, True]


def test_kinds_of_obstacles_differ_without_colour():
    """A part of a building looks like a wall or a roof, so looks are counted by what the legend calls them."""
    looks = {(kind.legend, kind.look.hatch, kind.look.dashes, kind.look.width_pt) for kind in obstacle_kinds()}
    assert len({look[1:] for look in looks}) == len(looks) == len({kind.legend for kind in obstacle_kinds()})


@pytest.mark.parametrize("name", SITES)
def test_a_map_is_to_scale_and_shows_everyone(name):
    scene = site(name)
    figure = site_map(scene, network_of(scene, gateways=[SITES[name]]))
    axes = figure.axes[0]
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    size_in = axes.get_position().size * figure.get_size_inches()
    assert (right - left) / size_in[0] == pytest.approx((high - low) / size_in[1]), "as many metres an inch both ways"
    at_m = np.concatenate([scene.inverters.at_m, scene.gateways_and_spots.at_m])
    assert np.all((at_m[:, 0] > left) & (at_m[:, 0] < right) & (at_m[:, 1] > low) & (at_m[:, 1] < high))
    (bar,), (scale,) = with_gid(figure, "scale bar"), with_gid(figure, "scale")
    length_m = np.ptp(bar.get_xdata()) * (right - left)
    assert f"{length_m:g} m" == scale.get_text()
    assert with_gid(figure, "north")


def test_labels_of_a_map_do_not_hide_each_other():
    figure = site_map(site("farm"), network_of(site("farm")))
    figure.draw_without_rendering()
    boxes = [text.get_window_extent() for text in figure.axes[0].texts if text.get_gid() is None]
    meeting = sum(one.overlaps(other) for k, one in enumerate(boxes) for other in boxes[:k])
    assert len(boxes) > 20
    assert meeting <= 2, "where there is no room at all a name that is needed may touch another"


def test_a_site_without_a_gateway_is_drawn_all_the_same():
    figure = site_map(site("house"))
    assert "no gateway shown" in said(figure, "subtitle")
    assert "inverter" in legend_of(figure)


@pytest.mark.parametrize(("x", "y"), [(0, 0), (1000, -1000), (50_000, -60_000), (99_950, 99_950)])
def test_the_upright_axis_keeps_its_name_on_the_page_however_long_its_figures(tmp_path, x, y):
    moves = ("at = [0.0, 0.0]", f"at = [{x}, {y}]"), ("at = [10.0, 0.0]", f"at = [{x + 10}, {y + 15}]")
    figure = site_map(small(tmp_path, *moves))
    as_bytes(figure, "png")
    name = figure.axes[0].yaxis.label.get_window_extent()
    ticks = [one.get_window_extent().x0 for one in figure.axes[0].get_yticklabels()]
    assert 0 <= name.x0 < name.x1 <= min(ticks)


@pytest.mark.parametrize("length", [(0.9, 0.5), (1.0, 1.0), (19.9, 10.0), (55.0, 50.0)])
def test_scale_bars_have_round_lengths(length):
    assert nice_length_m(length[0]) == pytest.approx(length[1])


def test_a_far_fence_does_not_shrink_the_site(tmp_path):
    scene = small(tmp_path, more=WALL)
    low_m, high_m = extent_m(scene)
    assert np.all(high_m - low_m < 40.0)


def test_names_with_dollars_and_markup_stay_text(tmp_path):
    scene = small(tmp_path, ('"office"', '"$x^2$ <b>& \\\\frac{"'))
    figure = site_map(scene, network_of(scene))
    assert "$x^2$ <b>& \\frac{" in words_of(figure)
    svg = as_bytes(figure, "svg").decode()
    assert "$x^2$ &lt;b&gt;&amp; \\frac{" in svg
    assert as_bytes(figure, "png")[:4] == b"\x89PNG"


def test_the_users_own_settings_neither_change_pictures_nor_are_changed(tmp_path):
    scene = small(tmp_path)
    before = dict(mpl.rcParams)
    plain = as_bytes(site_map(scene), "svg")
    assert dict(mpl.rcParams) == before
    with mpl.rc_context({"font.size": 30.0, "axes.facecolor": "red"}):
        assert as_bytes(site_map(scene), "svg") == plain


@pytest.mark.parametrize("ending", ["png", "svg", "pdf"])
def test_the_same_picture_is_the_same_file_with_no_time_or_place_in_it(tmp_path, ending):
    scene = small(tmp_path)
    one, other = (as_bytes(site_map(scene), ending) for _ in range(2))
    assert one == other
    assert str(tmp_path).encode() not in one
    assert not re.search(rb"CreationDate|<dc:date|Software|Matplotlib v|D:20\d\d", one)


def test_text_of_an_svg_is_text_with_a_general_family(tmp_path):
    svg = as_bytes(site_map(small(tmp_path)), "svg").decode()
    assert ">invented yard: the site<" in svg
    assert re.search(r"font[^\"]*sans-serif", svg)


# ------------------------------------------------------------------------------------------------------------ coverage


def test_a_coverage_point_at_an_inverters_place_has_that_inverters_margin(tmp_path):
    scene = small(tmp_path, more=wall(along="[[5, -3], [5, 3]]", height_m=9, loss_db=30))
    area = np.array([9.5, -0.5]), np.array([10.5, 0.5])
    found = coverage_of(scene, scene.gateways, area_m=area, points=9)
    assert (found.heights_m.tolist(), found.margin_db.shape) == ([[2.0] * 3] * 3, (3, 3))
    assert found.margin_db[1, 1] == pytest.approx(links_of(scene).margin_db[0, 0], abs=1e-9)
    assert found.reliability[1, 1] == pytest.approx(links_of(scene).reliability[0, 0], abs=1e-12)


def test_a_gateway_place_has_the_margin_of_the_weakest_inverter_and_many_gateways_that_of_the_best():
    scene = scene_of(read_plan(ROOT / "sites" / "house.toml"))
    area = np.array([0.0, 0.0]), np.array([4.0, 4.0])
    found = coverage_of(scene, None, area_m=area, height_m=2.0, points=16)
    at_m = np.array([[found.x_m[1], found.y_m[2], 2.0]])
    alone = links_between(scene, scene.inverters, radios_at(scene.plan, scene.plan.radio.gateway, at_m))
    assert found.margin_db[2, 1] == pytest.approx(alone.margin_db.min(), abs=1e-9)
    both = chosen_gateways(scene, ("meter box", "laundry"))
    each = [coverage_of(scene, both.pick([k]), area_m=area, points=16).margin_db for k in (0, 1)]
    together = coverage_of(scene, both, area_m=area, points=16).margin_db
    assert together == pytest.approx(np.maximum(*each), abs=1e-9)


def test_the_line_round_what_holds_runs_at_the_wanted_chance(tmp_path):
    """In the open the margin falls evenly, so the line is a circle: at a known distance from the gateway."""
    scene = small(tmp_path, ("sensitivity_dbm = -98.0", "sensitivity_dbm = -58.0"))
    found = coverage_of(scene, scene.gateways, area_m=(np.full(2, -20.0), np.full(2, 20.0)), points=6_400, height_m=2.0)
    figure = coverage_picture(found)
    label = next(text for text in legend_of(figure) if text.startswith("holds"))
    (line,) = with_gid(figure, label)[-1:]
    radii_m = np.hypot(*np.concatenate([path.vertices for path in line.get_paths()]).T)
    # 8 dBm and no gain: margin = 8 - 31.218 - 20 log r + 58 = 34.782 - 20 log r; wanted 3 + 1.6449 * 6 = 12.869.
    assert radii_m == pytest.approx(10 ** ((34.782 - 12.869) / 20), rel=0.02)
    assert label == "holds: chance 95 % or more", "no margin: it takes another one where the uncertainty is larger"


@pytest.mark.parametrize("show", ["margin", "chance"])
def test_a_coverage_picture_says_what_its_colours_mean(show):
    scene = site("house")
    found = coverage_of(scene, chosen_gateways(scene, ("hall cupboard",)), area_m=field_m(scene), points=100)
    figure = coverage_picture(found, show=show)
    assert said(figure, "title") == "Quince Street house: coverage from hall cupboard"
    assert f"Each point is an inverter position {found.height_words}." in said(figure, "subtitle")
    (beside,) = (axes for axes in figure.axes if axes.get_label() == "scale")
    assert (beside.get_ylabel() or beside.get_title()) == {"margin": "margin, dB", "chance": "chance"}[show]
    assert beside.get_tightbbox(FigureCanvasAgg(figure).get_renderer()).x1 <= figure.bbox.x1
    (field,) = with_gid(figure, "field")
    expected = found.margin_db if show == "margin" else found.reliability
    assert np.asarray(field.get_array()) == pytest.approx(expected)
    scale = chance_scale(found.scene.plan.requirement.reliability)
    steps = {"margin": margin_steps_db(expected), "chance": scale.steps}[show]
    assert field.norm.boundaries.tolist() == list(steps)
    assert show == "margin" or list(map(to_hex, field.get_cmap().colors)) == list(scale.colours)


def test_the_scale_of_margins_spans_what_is_there():
    assert margin_steps_db(np.array([[3.0, 12.0], [np.inf, 24.0]])).tolist() == [0.0, 5.0, 10.0, 15.0, 20.0, 25.0]
    assert margin_steps_db(np.array([-80.0, 90.0]))[[0, -1]].tolist() == [-30.0, 50.0]
    assert margin_steps_db(np.array([12.0])).tolist() == [10.0, 15.0, 20.0]
    assert len(margin_steps_db(np.array([-np.inf]))) > 2


@pytest.mark.parametrize("show", ["margin", "chance"])
@pytest.mark.parametrize("name", SITES)
def test_every_inverter_of_a_coverage_picture_has_the_state_of_the_table(name, show):
    scene = site(name)
    network = network_of(scene, gateways=[SITES[name]])
    ends = network.links.gateways
    figure = coverage_picture(coverage_of(scene, ends, area_m=field_m(scene), points=100), network, show=show)
    for number, mark in enumerate(MARKS):
        shown = [one.get_xydata() for one in with_gid(figure, STATES[number])]
        expected = scene.inverters.at_m[network.state == number, :2]
        assert np.concatenate([np.zeros((0, 2)), *shown]).tolist() == expected.tolist()
        assert all(
            mark.colour in (one.get_markerfacecolor(), one.get_markeredgecolor())
            for one in with_gid(figure, STATES[number])
        )
        assert (f"{mark.word} ({len(expected)})" in legend_of(figure)) == bool(len(expected))


def style_of(line):
    return to_hex(line.get_color()), line.get_linestyle(), line.get_linewidth()


@pytest.mark.parametrize("name", SITES)
def test_no_two_entries_of_a_legend_look_the_same(name):
    """Lines of obstacles and of chances above all: walls and the line round what holds were both black."""
    scene = site(name)
    network = network_of(scene, gateways=[SITES[name]])
    coverage = coverage_of(scene, network.links.gateways, area_m=field_m(scene), points=100)
    for figure in (
        coverage_picture(coverage, network),
        site_map(scene, network),
        network_picture(weak_points(network)),
    ):
        looks = [
            (
                to_hex(one.get_edgecolor()),
                one.get_facecolor(),
                one.get_hatch(),
                one.get_linestyle(),
                one.get_linewidth(),
            )
            if isinstance(one, Patch)
            else (
                to_hex(one.get_color()),
                one.get_marker(),
                one.get_linestyle(),
                one.get_linewidth(),
                one.get_markersize(),
            )
            for one in figure.legends[0].legend_handles
        ]
        assert len(set(looks)) == len(looks) == len(legend_of(figure))
        lines = [
            look[0]
            for one, look in zip(figure.legends[0].legend_handles, looks, strict=True)
            if "chance" in one.get_label()
        ]
        assert set(lines).isdisjoint({to_hex(kind.look.line) for kind in obstacle_kinds()})


def test_a_wall_has_the_line_of_its_legend_in_every_picture():
    scene = site("farm")
    network = network_of(scene)
    coverage = coverage_of(scene, network.links.gateways, area_m=field_m(scene), points=100)
    for figure in (coverage_picture(coverage, network), site_map(scene, network)):
        (entry_of,) = [one for one in figure.legends[0].legend_handles if one.get_label() == "wall"]
        walls = [one for one in with_gid(figure, "wall") if hasattr(one, "get_color")]
        assert len(walls) >= 5
        assert {style_of(one) for one in walls} == {style_of(entry_of)}


def test_certainty_stands_where_there_is_no_shadowing(tmp_path):
    scene = small(tmp_path, more="\n[environment]\nshadowing_db = 0\n")
    found = coverage_of(scene, scene.gateways, area_m=field_m(scene), points=25)
    assert set(np.unique(found.reliability)) <= {0.0, 0.5, 1.0}
    assert as_bytes(coverage_picture(found, show="chance"), "png")


# ------------------------------------------------------------------------------------------------------------- profile


def test_the_fresnel_zone_is_widest_half_way():
    """Half way along 10 km at 3 GHz the radius is root(0.1 m * 5 km * 5 km / 10 km) = 15.8 m."""
    at_m, radius_m = fresnel_zone_m(10_000.0, wavelength_m=0.1)
    assert radius_m.max() == pytest.approx(15.81, abs=0.01)
    assert at_m[radius_m.argmax()] == pytest.approx(5_000.0)
    assert fresnel_zone_m(10_000.0, wavelength_m=0.1, share=0.6)[1].max() == pytest.approx(9.49, abs=0.01)


BOX = entry("box", name='"tank"', loss_db=40, centre="[5, 0]", length_m=2, width_m=4, height_m=3, bearing_deg=90)


def test_a_box_is_cut_to_its_section(tmp_path):
    scene = small(tmp_path, more=BOX)
    (cut,) = cuts_of(scene, scene.inverters.at_m[0], scene.gateways.at_m[0])
    assert (cut.obstacle.kind, cut.obstacle.name) == ("box", "tank")
    assert sorted(map(tuple, cut.points_m.round(6).tolist())) == [(4.0, 0.0), (4.0, 3.0), (6.0, 0.0), (6.0, 3.0)]


def test_foliage_is_cut_and_a_wall_beside_the_line_is_not(tmp_path):
    hedge = entry("foliage", name='"hedge"', footprint="[[3, -1], [4, -1], [4, 1], [3, 1]]", height_m=2)
    scene = small(tmp_path, more=hedge + wall(along="[[3, 5], [6, 5]]"))
    (cut,) = cuts_of(scene, scene.inverters.at_m[0], scene.gateways.at_m[0])
    assert cut.obstacle.name == "hedge"
    assert cut.points_m[:, 0].min() == pytest.approx(6.0)
    assert cut.points_m[:, 0].max() == pytest.approx(7.0)


def test_every_crossing_of_a_line_lies_on_what_the_picture_cuts():
    scene = site("farm")
    for i in range(0, 40, 7):
        start_m, end_m = scene.inverters.at_m[i], scene.gateways.at_m[0]
        met = crossings(start_m[None], end_m[None], scene.sheets)
        reach_m = np.hypot(*(end_m - start_m)[:2])
        cut = {one.obstacle.name for one in cuts_of(scene, start_m, end_m) if one.points_m[:, 0].min() < reach_m}
        assert {scene.obstacles.names[k] for k in scene.sheets.owner[met.sheet]} <= cut
        assert len(met)


def test_the_string_over_a_box_touches_both_its_edges(tmp_path):
    scene = small(tmp_path, more=BOX)
    strings = {one.side: one.points_m for one in strings_of(scene, scene.inverters.at_m[0], scene.gateways.at_m[0])}
    assert {"over", "left", "right"} <= set(strings)
    assert strings["over"][:, 0] == pytest.approx([10.0, 6.0, 4.0, 0.0], abs=0.03)
    assert strings["over"][:, 2] == pytest.approx([2.0, 3.0, 3.0, 2.0], abs=0.03)


def test_a_profile_says_what_links_says_and_numbers_what_stands_in_the_line(tmp_path):
    scene = small(tmp_path, more=BOX)
    links = links_of(scene)
    figure = profile_picture(links, 0, 0)
    assert said(figure, "title") == "Path from i1 to office"
    text = said(figure, "subtitle")
    assert f"Margin {links.margin_db[0, 0]:.1f} dB" in text
    assert "Obstacles on the direct line: 1 tank 40.0 dB, 2 tank 40.0 dB." in text
    assert f"over {links.around_db[Way.OVER, 0, 0]:.1f} dB" in text
    assert [one.get_text() for one in with_gid(figure, "met")] == ["1", "2"]
    assert len(with_gid(figure, "zone 0.6")) == 4
    assert [axes.get_label() for axes in figure.axes] == ["from the side", "from above"]


def test_the_names_of_two_slopes_stand_on_their_own_side_of_the_ridge():
    """From the lean-to into the workshop the line passes below the south slope first, then below the north one."""
    side = profile_picture(links_of(site("farm"), inverters=["L-1-5"]), 0, 0).axes[0]
    at_m = {text.get_text(): text.xy[0] for text in side.texts if hasattr(text, "xy")}
    ridge_m = max((line.get_xdata()[np.argmax(line.get_ydata())] for line in with_gid(side, "roof")), default=0.0)
    assert at_m["workshop/south roof"] < ridge_m < at_m["workshop/north roof"]


def test_a_way_that_brings_nothing_is_told_and_not_drawn(tmp_path):
    """Around a long tall wall, each end is 40 m off; over it is far shorter."""
    links = links_of(small(tmp_path, more=wall(loss_db=60, along="[[5, -40], [5, 40]]", height_m=3)))
    assert links.around_db[Way.LEFT, 0, 0] > links.obstacle_loss_db[0, 0] + 30.0
    figure = profile_picture(links, 0, 0)
    assert f"left {links.around_db[Way.LEFT, 0, 0]:.1f} dB (not drawn)" in said(figure, "subtitle")
    assert not with_gid(figure, "left")
    assert with_gid(figure, "over")


def test_a_mirror_path_is_drawn_and_obeys_the_law_of_reflection(tmp_path):
    """A tank across the line, a steel wall along it: the bounce is half way, as far in as the wall stands off."""
    steel = wall(loss_db=40, along="[[-20, 4], [30, 4]]", height_m=20)
    links = links_of(small(tmp_path, more=BOX + steel))
    sheet = int(links.mirror[0, 0])
    start_m, end_m = links.inverters.at_m[0], links.gateways.at_m[0]
    path = mirrored(links.scene, sheet, start_m, end_m).points_m
    assert path[1] == pytest.approx([5.0, 4.0, 2.0])
    figure = profile_picture(links, 0, 0)
    assert len(with_gid(figure, "mirror")) == 2
    name = links.mirror_of(0, 0)
    assert f"{links.around_db[Way.REFLECTED, 0, 0]:.1f} dB (from {name})" in said(figure, "subtitle")
    assert f"reflected from {name}" in legend_of(figure)


def test_a_mirror_behind_the_inverter_comes_into_the_picture():
    links = links_of(site("farm"), gateways=["north gate"], inverters=["S-1-1"])
    side = profile_picture(links, 0, 0).axes[0]
    (drawn,) = [one for one in side.lines if one.get_gid() == "mirror"]
    assert side.get_xlim()[0] < drawn.get_xdata().min() < 0
    assert links.mirror_of(0, 0) == "machinery shed"


@pytest.mark.parametrize(
    "change",
    [("at = [10.0, 0.0]", "at = [0.0, 0.0]"), ("at = [10.0, 0.0]\nheight_m = 2.0", "at = [0.0, 0.0]\nheight_m = 9.0")],
)
def test_ends_in_one_place_or_above_each_other_can_be_drawn(tmp_path, change):
    links = links_of(small(tmp_path, change, more=BOX))
    assert as_bytes(profile_picture(links, 0, 0), "png")
    assert as_bytes(site_map(links.scene, network_of(links.scene)), "png")


# ------------------------------------------------------------------------------------------------ budget and network


@pytest.mark.parametrize("at", ["[5.0, 0.0]", "[5.0, 1.0]", "[40.0, 30.0]"])
@pytest.mark.parametrize("height_m", [0.0, 3.0, 60.0])
def test_both_ends_of_a_profile_are_in_view_however_high_they_are(tmp_path, at, height_m):
    gateway = entry("gateway", name='"high"', at=at, height_m=height_m)
    links = links_of(small(tmp_path, more=gateway), gateways=("high",))
    side = profile_picture(links, 0, 0).axes[0]
    low_m, high_m = side.get_ylim()
    heights = [links.inverters.at_m[0, 2], links.gateways.at_m[0, 2]]
    assert low_m < min(heights)
    assert max(heights) < high_m


def rows_of(figure):
    """The words beside the bars of a budget, each on one line, and the figures at them."""
    axes = figure.axes[0]
    names = [label.get_text().replace("\n", " ") for label in axes.get_yticklabels()]
    return dict(zip(names, [text.get_text() for text in axes.texts], strict=True))


def told_by_explain(links, i, j):
    return [(step.item.item, f"{step.db:+.2f} dB") for step in steps_of(budget_of(links, i, j))]


def adds_up(rows):
    *items, level, need, margin = [float(words.split()[0]) for words in rows.values()]
    assert sum(items) == pytest.approx(level, abs=1e-9)
    assert level - need == pytest.approx(margin, abs=1e-9)


@pytest.mark.parametrize("name", SITES)
def test_a_budget_has_the_words_and_figures_of_explain_and_adds_up(name):
    scene = site(name)
    links = links_between(scene, scene.inverters, scene.gateways_and_spots.pick(slice(0, 3)))
    order = np.argsort(links.margin_db, axis=None)
    shown = [int(k) for k in order if links.margin_db.flat[k] > -60.0]
    for k in (shown[0], shown[len(shown) // 2], shown[-1]):
        i, j = np.unravel_index(k, links.shape)
        rows = rows_of(budget_picture(links, i, j))
        (first, power), *others = told_by_explain(links, i, j)
        assert list(rows.items())[: 1 + len(others)] == [(first, power.lstrip("+") + "m"), *others]
        adds_up(rows)


def test_a_budget_of_a_fit_shows_what_readings_have_found(tmp_path):
    correction = Correction(
        file="fit.json",
        offset_db=-2.345,
        path_loss_exponent=2.5,
        exponent_sd=0.1,
        shadowing_db=5.0,
        nearest_m=5.0,
        farthest_m=50.0,
        unit=np.zeros(0, dtype=np.int64),
        change_db=np.zeros(0),
        covariance=np.zeros((2, 2)),
    )
    scene = corrected(small(tmp_path), correction)
    rows = rows_of(budget_picture(links_of(scene), 0, 0))
    assert float(rows["offset from readings (fit.json)"].removesuffix(" dB")) == pytest.approx(-2.345, abs=0.011)
    adds_up(rows)


def test_a_budget_with_antennas_that_have_a_pattern_adds_up(tmp_path):
    path = tmp_path / "plan.toml"
    path.write_text(WHOLE_PLAN.replace('"isotropic"', '"dipole"'), encoding="utf-8")
    links = links_of(scene_of(read_plan(path)))
    for i in range(links.shape[0]):
        adds_up(rows_of(budget_picture(links, i, 0)))


def test_a_budget_far_away_says_that_nothing_arrives(tmp_path):
    far = ("at = [10.0, 0.0]", "at = [1000.0, 0.0]")
    links = links_of(small(tmp_path, far, more="[environment]\npath_loss_exponent = 6.0\n"))
    assert links.margin_db[0, 0] < -60.0
    figure = budget_picture(links, 0, 0)
    assert rows_of(figure)["margin: level minus sensitivity"] == "no usable signal"
    assert as_bytes(figure, "png")


def test_long_names_and_many_obstacles_leave_a_budget_legible(tmp_path):
    names = [f"wall number {k} of a warehouse that has very many of them" for k in range(40)]
    walls = [
        wall(name=f'"{name}"', along=f"[[{1 + k / 5}, -9], [{1 + k / 5}, 9]]", height_m=9, loss_db=0.1 + k / 100)
        for k, name in enumerate(names)
    ]
    rows = rows_of(budget_picture(links_of(small(tmp_path, more="\n".join(walls))), 0, 0))
    assert len([name for name in rows if name.startswith("through ")]) == 25
    assert rows["through 16 more obstacles"] == f"{-sum(round(0.1 + k / 100, 2) for k in range(16)):.2f} dB"
    assert max(map(len, rows)) <= 2 * 38
    adds_up(rows)


BOXED = entry("box", name='"b"', centre="[0, 0]", length_m=4, width_m=3, height_m=4, loss_db=150)
"""A closed box around the gateway: no path leads around it."""


def test_what_falls_far_below_the_need_is_cut_off_and_said(tmp_path):
    links = links_of(small(tmp_path, more=BOXED))
    figure = budget_picture(links, 0, 0)
    assert "bars are cut off at" in figure.axes[0].get_xlabel()
    assert rows_of(figure)["through b"] == "-150.00 dB"
    assert "cut off" not in budget_picture(links_of(site("farm")), 0, 0).axes[0].get_xlabel()


def test_the_steps_of_a_budget_are_drawn_from_one_level_to_the_next():
    links = links_of(site("farm"))
    figure = budget_picture(links, 0, 0)
    (margin,) = with_gid(figure, "margin")
    assert margin.get_width() == pytest.approx(links.margin_db[0, 0], abs=0.005)
    changes = [bar.get_width() for gid in ("loss", "gain") for bar in with_gid(figure, gid)]
    power_dbm = links.inverters.tx_power_dbm[0]
    assert power_dbm + sum(changes) == pytest.approx(links.uplink_level_dbm[0, 0], abs=0.005)
    assert f"margin {links.margin_db[0, 0]:.1f} dB" in said(figure, "subtitle")


@pytest.mark.parametrize(("letters", "missing"), [("shed", 0), ("Süd, größer", 0), ("屋根屋", 2), ("☀ \U0001f3e0", 1)])
def test_letters_that_a_picture_has_no_shape_for_are_counted(tmp_path, letters, missing):
    scene = small(tmp_path, ('name = "office"', f'name = "{letters}"'))
    assert missing_letters(site_map(scene, network_of(scene))) == missing


def test_a_star_and_a_chain_of_routes_are_drawn():
    scene = site("farm")
    star = network_picture(weak_points(network_of(scene)))
    hold = int(np.sum(links_of(scene).state == len(STATES) - 1))
    assert f"Routes with no relay. Links of 40 inverters: hold {hold}, marginal {40 - hold}, fail 0" in said(
        star, "subtitle"
    )
    assert not with_gid(star, "relay")
    points = weak_points(network_of(scene.wanting(max_relays=2)))
    figure = network_picture(points)
    assert "up to 2 relays" in said(figure, "subtitle")
    drawn = [one for gid in ("relay", "weak") for one in with_gid(figure, gid)]
    assert len(drawn) == len(points.relays) > 0


def test_an_inverter_that_others_hang_on_is_named(tmp_path):
    """Two in a row behind each other: the far one holds only by way of the near one."""
    more = entry("inverter", name='"far"', at="[20, 0]", height_m=2) + "\n[requirement]\nmax_relays = 1\n"
    deaf = [
        ("sensitivity_dbm = -96.0", "sensitivity_dbm = -58.0"),
        ("sensitivity_dbm = -98.0", "sensitivity_dbm = -60.0"),
    ]
    scene = small(tmp_path, *deaf, more=more)
    points = weak_points(network_of(scene))
    figure = network_picture(points)
    assert "i1: 1 lost if it fails" in words_of(figure)
    assert [one.inverter for one in points.relays] == [0]


# ------------------------------------------------------------------------------------------------------------ baseline


def drawn(name):
    kind, place = name.split("-")
    scene = site(place)
    links = links_of(scene, gateways=[SITES[place]])
    if kind == "map":
        return site_map(scene, network_of(scene, gateways=[SITES[place]]))
    if kind == "coverage":
        ends = chosen_gateways(scene, (SITES[place],))
        return coverage_picture(coverage_of(scene, ends, area_m=field_m(scene), points=900))
    i = int(links.margin_db[:, 0].argmin())
    return profile_picture(links, i, 0) if kind == "profile" else budget_picture(links, i, 0)


@pytest.mark.parametrize("name", ["map-farm", "map-warehouse", "coverage-house", "profile-farm", "budget-farm"])
def test_pictures_look_as_they_did(name):
    """Draw anew with SURVEY_UPDATE_PICTURES=1, and look at the pictures before they are kept."""
    now = tiles(as_bytes(drawn(name), "png"))
    file = BASELINE / f"{name}.csv"
    if os.environ.get("SURVEY_UPDATE_PICTURES"):
        np.savetxt(file, now, fmt="%.3f", delimiter=",")
    before = np.loadtxt(file, delimiter=",")
    assert difference(now, before) < 0.02
    assert difference(now.T, before) > 0.04, "another picture is told apart"


def test_a_plan_of_the_whole_interface_can_be_drawn(tmp_path):
    path = tmp_path / "plan.toml"
    path.write_text(WHOLE_PLAN, encoding="utf-8")
    scene = scene_of(read_plan(path))
    figure = site_map(scene, network_of(scene))
    assert "row of modules" in legend_of(figure)


def test_a_network_picture_names_the_relays_that_many_report_by():
    """The farm with two relays: nobody is lost without S-3-10, but 39 report by way of it."""
    points = weak_points(network_of(site("farm").wanting(max_relays=2)))
    most = max(points.relays, key=lambda one: len(one.used_by))
    figure = network_picture(points)
    assert f"{points.network.links.inverters.names[most.inverter]}: used by {len(most.used_by)}" in words_of(figure)
    assert len(most.used_by) > 30


def test_many_hops_are_drawn_thin():
    scene = site("warehouse")
    (few,) = with_gid(network_picture(weak_points(network_of(site("farm").wanting(max_relays=2)))), "hops")
    many = weak_points(network_of(scene.wanting(max_relays=1), gateways=["yard light"]))
    (hops,) = with_gid(network_picture(many), "hops")
    assert len(hops.get_paths()) > 200 > len(few.get_paths())
    assert hops.get_linewidth()[0] < few.get_linewidth()[0] / 2
    assert hops.get_alpha() < few.get_alpha()


SLOPE = [[0, 0, 0.0], [40, 0, 0.0], [40, 40, 4.0], [0, 40, 4.0]]


@pytest.mark.parametrize("points", [SLOPE, SLOPE[:3]], ids=["measured all round", "one plane of three points"])
def test_sloping_ground_is_drawn_from_above_and_from_the_sides(tmp_path, points):
    """It rises by 1 m in 10 to the north: lines of equal height run from west to east."""
    scene = scene_of(read_plan(write(tmp_path, more=f"\n[[ground]]\npoints = {points}\n")))
    for figure in (site_map(scene), sides_picture(scene)):
        above = figure.axes[0]
        (lines,) = [one for one in above.collections if one.get_gid() == "ground"]
        for level_m, line in zip(lines.levels, lines.get_paths(), strict=True):
            assert np.allclose(line.vertices[:, 1], 10.0 * level_m), "the height of a point is a tenth of its y"
        assert any(text.get_text().startswith("ground, every") for text in figure.legends[0].get_texts())
    for side in sides_picture(scene).axes[1:]:
        grounds = [one.get_xy() for one in side.patches if one.get_gid() == "ground"]
        (_, south_m), (_, north_m) = np.reshape(extent_m(scene), (2, 2))
        assert np.ptp(np.concatenate(grounds)[:, 1]) >= 0.1 * min(north_m - south_m, 40.0) - 1e-9
    flat = sides_picture(scene_of(read_plan(write(tmp_path))))
    assert not [one for one in flat.axes[0].collections if one.get_gid() == "ground"]
