"""The site from above: what stands there, to scale, with a north arrow and a scale bar."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch, Polygon, Rectangle

from survey.base import polygon
from survey.base.arrays import FloatArray
from survey.output.pictures.labels import Label
from survey.output.pictures.style import INK, PAPER, SMALL_PT, WIDTH_IN, head_in, legend_in, new_figure, sample
from survey.scene import Scene, box_outlines_m, wall_outlines_m

KINDS: dict[str, dict[str, Any]] = {
    "wall": {"facecolor": "none", "edgecolor": "#3b3b3b", "linewidth": 1.9},
    "box": {"facecolor": "#c9c9c9", "edgecolor": "#3b3b3b", "linewidth": 0.8, "hatch": "////"},
    "roof": {"facecolor": "#f3ead9", "edgecolor": "#8c6d3f", "linewidth": 0.9, "linestyle": (0, (5, 2)), "alpha": 0.75},
    "modules": {"facecolor": "#dfe6f2", "edgecolor": "#5b6c94", "linewidth": 0.6, "hatch": "|||", "alpha": 0.75},
    "foliage": {"facecolor": "#dcebd3", "edgecolor": "#5a7d46", "linewidth": 0.8, "linestyle": ":", "hatch": "oo"},
}
"""How each kind of obstacle looks from above: filling, hatching and line differ, so colour is not needed."""
BARE: dict[str, Any] = {"facecolor": "none", "hatch": None, "alpha": 1.0, "edgecolor": INK, "linewidth": 0.8}
"""Outlines only; by eye."""
LAYERS = {"roof": 1.0, "modules": 1.1, "foliage": 1.2, "box": 1.3, "wall": 1.4}
"""What is drawn over what."""
UPRIGHT_M2 = 0.05
"""What covers less ground than this is upright, and from above a line."""
AROUND = 0.06
"""Room around the site, as a share of its size."""
LEAST_ROOM_M = 2.0
"""Around what stands there, at least; by eye. [m]"""
FAR = 0.5
"""Obstacles are shown as far as this share of the site's size beyond radios and spots; a fence may run on."""
LEAST_IN, MOST_IN = 2.3, 6.4
"""Of a side of the map; as wide as a page. [in]"""
LEFT_IN, RIGHT_IN = 0.62, 0.15
"""Margins for the scale; by eye. [in]"""
FEW_DIGITS, DIGIT_IN = 3, 0.09
"""Figures at the upright axis for which there is room, and the room for each digit more."""
SMALL_M = 40.0
"""Sites less far than this from south to north have a decimal in the figures there."""


def outlines_m(scene: Scene) -> list[tuple[str, str, list[FloatArray]]]:
    """Kind, name and outlines in space, shapes (corners, 3), of everything that stands on a site. [m]"""
    plan = scene.plan
    found = [("wall", wall.name, wall_outlines_m(wall)) for wall in plan.walls]
    found += [("box", box.name, box_outlines_m(box)) for box in plan.boxes]
    found += [("roof", roof.name, [np.array(roof.corners)]) for roof in plan.roofs]
    for array in plan.arrays:
        sheets_m = array.module_sheets_m()
        found += [("modules", array.row_name(row), [one]) for row, one in enumerate(sheets_m, start=1)]
    for plant in plan.foliage:
        foot = np.array(plant.footprint)
        ends = [np.column_stack([foot, np.full(len(foot), z)]) for z in (plant.base_m, plant.base_m + plant.height_m)]
        found.append(("foliage", plant.name, ends))
    return found


def extent_m(scene: Scene) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest x and y that a picture of the whole site shows. [m]"""
    ends_m = np.concatenate([scene.inverters.at_m, scene.gateways.at_m, scene.spots.at_m])[:, :2]
    low_m, high_m = ends_m.min(axis=0), ends_m.max(axis=0)
    far_m = FAR * max(float(np.max(high_m - low_m)), 10.0)
    corners = [outline[:, :2] for _, _, outlines in outlines_m(scene) for outline in outlines]
    if corners:
        corners_m = np.clip(np.concatenate(corners), low_m - far_m, high_m + far_m)
        low_m, high_m = np.minimum(low_m, corners_m.min(axis=0)), np.maximum(high_m, corners_m.max(axis=0))
    room_m = max(LEAST_ROOM_M, AROUND * float(np.max(high_m - low_m)))
    return low_m - room_m, high_m + room_m


def _left_in(low_m: FloatArray, high_m: FloatArray) -> float:
    """Room at the left, for the figures at the upright axis and its name. [inch]"""
    digits = len(f"{max(abs(low_m[1]), abs(high_m[1])):.0f}")
    if digits <= FEW_DIGITS:
        return LEFT_IN
    decimal = int(high_m[1] - low_m[1] < SMALL_M)
    return LEFT_IN + DIGIT_IN * (digits - FEW_DIGITS + decimal)


def frame_m(scene: Scene, *, right_in: float = RIGHT_IN) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest x and y of the frame of a picture, which shows some of the site's surroundings too. [m]"""
    low_m, high_m = extent_m(scene)
    wide_m, tall_m = high_m - low_m
    wide_in = WIDTH_IN - _left_in(low_m, high_m) - right_in
    tall_in = min(max(wide_in * tall_m / wide_m, LEAST_IN), MOST_IN)
    half_m = np.array([wide_in, tall_in]) * max(wide_m / wide_in, tall_m / tall_in) / 2.0
    return (low_m + high_m) / 2.0 - half_m, (low_m + high_m) / 2.0 + half_m


def site_axes(
    scene: Scene, *, title: str, lines: tuple[str, ...], entries: int, columns: int = 5, right_in: float = RIGHT_IN
) -> tuple[Figure, Axes]:
    """A figure with axes that show the whole site to scale.

    Parameters
    ----------
    scene : Scene
        The site.
    title, lines
        As for `new_figure`.
    entries, columns : int
        How many entries the legend has, and in how many columns.
    right_in : float
        Room at the right. [inch]
    """
    low_m, high_m = frame_m(scene, right_in=right_in)
    left_in = _left_in(*extent_m(scene))
    wide_in = WIDTH_IN - left_in - right_in
    tall_in = wide_in * float((high_m - low_m)[1] / (high_m - low_m)[0])
    above_in, below_in = head_in(lines), legend_in(entries, columns=columns) + 0.42
    height_in = above_in + tall_in + below_in
    figure = new_figure(height_in=height_in, title=title, lines=lines)
    axes = figure.add_axes(
        (left_in / WIDTH_IN, below_in / height_in, wide_in / WIDTH_IN, tall_in / height_in), label="site"
    )
    axes.set_xlim(low_m[0], high_m[0])
    axes.set_ylim(low_m[1], high_m[1])
    axes.set_aspect("equal", adjustable="box")
    axes.set_xlabel("east, m")
    axes.set_ylabel("north, m")
    return figure, axes


def points_per_metre(axes: Axes) -> float:
    """How many points of a printer a metre takes. [pt/m]"""
    figure = axes.get_figure()
    assert figure is not None
    left, right = axes.get_xlim()
    wide_in = axes.get_position().width * figure.get_size_inches()[0]  # type: ignore[union-attr]
    return float(72.0 * wide_in / (right - left))


def draw_obstacles(axes: Axes, scene: Scene, *, bare: bool = False) -> list[Label]:
    """Draw what stands on a site from above.

    Parameters
    ----------
    axes : Axes
        From `site_axes`.
    scene : Scene
        The site.
    bare : bool
        Outlines alone, to lie over a picture of something else.

    Returns
    -------
    list of Label
        Their names, the largest thing first; rows of modules have none.
    """
    named: list[tuple[float, Label]] = []
    for kind, name, outlines in outlines_m(scene):
        looks = KINDS[kind] | (BARE if bare else {})
        if bare and kind == "wall":
            looks = looks | {"linewidth": 1.5}
        settled_m = outlines[-1][:, :2] if kind in {"box", "foliage"} else None
        for outline in [settled_m] if settled_m is not None else [one[:, :2] for one in outlines]:
            flat = abs(polygon.signed_area_m2(outline)) > UPRIGHT_M2
            if flat:
                axes.add_patch(Polygon(outline, closed=True, zorder=LAYERS[kind], gid=kind, **looks))
            else:
                ends = _ends_of(outline)
                axes.plot(*ends.T, color=looks["edgecolor"], linewidth=KINDS["wall"]["linewidth"], gid=kind, zorder=1.4)
        if kind != "modules":
            named.append(_label(axes, name, kind, outlines))
    return [label for _, label in sorted(named, key=lambda one: -one[0])]


def _ends_of(outline_m: FloatArray) -> FloatArray:
    """The two ends of an upright sheet seen from above, shape (2, 2)."""
    apart = np.linalg.norm(outline_m[:, None] - outline_m[None], axis=2)
    return outline_m[list(np.unravel_index(int(np.argmax(apart)), apart.shape))]


def _label(axes: Axes, name: str, kind: str, outlines: list[FloatArray]) -> tuple[float, Label]:
    """The size of a thing, and its label on the part of it that is in sight."""
    low_m = np.array([axes.get_xlim()[0], axes.get_ylim()[0]])
    high_m = np.array([axes.get_xlim()[1], axes.get_ylim()[1]])
    shown = [np.clip(one[:, :2], low_m, high_m) for one in outlines]
    largest = max(shown, key=lambda one: float(np.sum(np.ptp(one, axis=0))))
    at_m = _ends_of(largest).mean(axis=0) if kind == "wall" else largest.mean(axis=0)
    size_m = float(np.sum(np.ptp(np.concatenate(shown), axis=0)))
    return size_m, Label(text=name, at_m=(float(at_m[0]), float(at_m[1])), over=True, size_pt=SMALL_PT - 0.5)


def obstacle_entries(scene: Scene, *, bare: bool = False) -> list[Any]:
    """Legend entries of the kinds that stand on a site."""
    if bare:
        there = bool(scene.obstacles.kinds)
        return [sample("what stands there", color=INK, linewidth=0.9)] if there else []
    words = {"wall": "wall", "box": "box", "roof": "roof or other sheet", "modules": "row of modules"}
    found: list[Any] = []
    for kind, looks in KINDS.items():
        if kind not in scene.obstacles.kinds:
            continue
        if kind == "wall":
            found.append(sample(words[kind], color=looks["edgecolor"], linewidth=looks["linewidth"]))
        else:
            found.append(Patch(label=words.get(kind, kind), **looks))
    return found


def nice_length_m(most_m: float) -> float:
    """The longest of 1, 2, 5, 10, 20 ... metres, or parts of one, that is no longer than this.

    Examples
    --------
    >>> nice_length_m(37.0), nice_length_m(0.7)
    (20.0, 0.5)
    """
    power = 10.0 ** math.floor(math.log10(most_m))
    return float(max(step * power for step in (1, 2, 5) if step * power <= most_m * (1 + 1e-9)))


def draw_scale_and_north(axes: Axes) -> None:
    """A scale bar in the lower right corner, a north arrow in the upper right one."""
    left, right = axes.get_xlim()
    length_m = nice_length_m((right - left) / 5.0)
    figure = axes.get_figure()
    assert figure is not None
    wide_in, tall_in = axes.get_position().size * figure.get_size_inches()  # type: ignore[union-attr]
    end, low = 1.0 - 0.15 / wide_in, 0.16 / tall_in
    start = end - length_m / (right - left)
    behind = (start - 0.06 / wide_in, low - 0.08 / tall_in)
    size = (end - start + 0.12 / wide_in, 0.28 / tall_in)
    paper: dict[str, Any] = {"facecolor": PAPER, "edgecolor": "none", "alpha": 0.8}
    axes.add_patch(Rectangle(behind, *size, transform=axes.transAxes, zorder=6.5, **paper))
    bar: dict[str, Any] = {"color": INK, "linewidth": 2.2, "solid_capstyle": "butt", "marker": "|", "markersize": 7}
    axes.plot([start, end], [low, low], transform=axes.transAxes, zorder=7, gid="scale bar", **bar)
    words: dict[str, Any] = {"ha": "center", "transform": axes.transAxes, "fontsize": SMALL_PT, "zorder": 7}
    axes.text((start + end) / 2.0, low + 0.06 / tall_in, f"{length_m:g} m", va="bottom", gid="scale", **words)
    across = 1.0 - 0.2 / wide_in
    axes.annotate(
        "N",
        xy=(across, 1.0 - 0.1 / tall_in),
        xytext=(across, 1.0 - 0.52 / tall_in),
        xycoords="axes fraction",
        textcoords="axes fraction",
        ha="center",
        va="center",
        fontsize=SMALL_PT + 2,
        fontweight="bold",
        zorder=7,
        arrowprops={"arrowstyle": "-|>,head_width=0.25,head_length=0.5", "color": INK, "linewidth": 1.4},
        bbox=paper | {"pad": 1.0},
        gid="north",
    )
