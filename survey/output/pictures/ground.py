"""The site from above: its obstacles, to scale, with a north arrow and a scale bar."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch, Polygon, Rectangle
from matplotlib.tri import Triangulation

from survey.base.arrays import FloatArray
from survey.inputs.plan import Look
from survey.output.map.frame import extent_m, frame_m, nice_length_m
from survey.output.map.labels import Label
from survey.output.map.site import Shape, kinds_in, obstacle_labels
from survey.output.pictures.style import (
    INK,
    PAPER,
    SMALL_PT,
    WIDTH_IN,
    head_in,
    legend_in,
    new_figure,
    sample,
    width_in,
)
from survey.scene import Scene

HATCHES = {"diagonal": "////", "upright": "|||", "circles": "oo"}
BARE: dict[str, Any] = {"facecolor": "none", "hatch": None, "alpha": 1.0}
"""What becomes of a look that lies over a picture of something else: its line alone; by eye."""
FLATTEST_IN, TALLEST_IN = 2.3, 6.4
"""Heights of a map between which a page keeps its shape; by eye. [in]"""
LEFT_IN, RIGHT_IN = 0.62, 0.15
"""Margins for the scale; by eye. [in]"""
FEW_DIGITS, DIGIT_IN = 3, 0.09
"""Figures at the upright axis for which there is room, and the room for each digit more."""
SOIL, SOIL_EDGE, CONTOUR_PT = "#d9cfc0", "#8a765a", 0.7
"""Colours of the ground and of lines on it, and their width; by eye. [pt]"""
CONTOURS, MIN_RISE_M = 5, 0.05
"""About so many contour lines, and none where the ground rises by less: by eye. [m]"""
SMALL_M = 40.0
"""Sites less far than this from south to north have a decimal in the figures there."""


def settings_of(look: Look, *, bare: bool = False) -> dict[str, Any]:
    """A look as settings of a patch; bare ones are outlines alone, to lie over a picture of something else."""
    settings: dict[str, Any] = {
        "facecolor": look.fill or "none",
        "edgecolor": look.line,
        "linewidth": look.width_pt,
        "linestyle": (0, look.dashes) if look.dashes else "-",
        "hatch": HATCHES.get(look.hatch),
        "alpha": look.opacity,
    }
    return settings | BARE if bare else settings


def layer_of(look: Look) -> float:
    """Where a look lies among the other things of a picture."""
    return 1.0 + 0.1 * look.layer


def _left_in(low_m: FloatArray, high_m: FloatArray) -> float:
    """Room at the left, for the figures at the upright axis and its name. [inch]"""
    digits = len(f"{max(abs(low_m[1]), abs(high_m[1])):.0f}")
    if digits <= FEW_DIGITS:
        return LEFT_IN
    decimal = int(high_m[1] - low_m[1] < SMALL_M)
    return LEFT_IN + DIGIT_IN * (digits - FEW_DIGITS + decimal)


def picture_frame_m(scene: Scene, *, right_in: float = RIGHT_IN) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest x and y of the frame of a picture. [m]"""
    wide_in = width_in() - _left_in(*extent_m(scene)) - right_in
    return frame_m(scene, wide=wide_in, flattest=FLATTEST_IN, tallest=TALLEST_IN * max(1.0, width_in() / WIDTH_IN))


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
    low_m, high_m = picture_frame_m(scene, right_in=right_in)
    left_in = _left_in(*extent_m(scene))
    wide_in = width_in() - left_in - right_in
    tall_in = wide_in * float((high_m - low_m)[1] / (high_m - low_m)[0])
    above_in, below_in = head_in(lines), legend_in(entries, columns=columns) + 0.42
    height_in = above_in + tall_in + below_in
    figure = new_figure(height_in=height_in, title=title, lines=lines)
    axes = figure.add_axes(
        (left_in / width_in(), below_in / height_in, wide_in / width_in(), tall_in / height_in), label="site"
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


def draw_obstacles(axes: Axes, shapes: Sequence[Shape], *, bare: bool = False) -> list[Label]:
    """Draw the obstacles of a site from above.

    Parameters
    ----------
    axes : Axes
        From `site_axes`.
    shapes : sequence of Shape
        The obstacles.
    bare : bool
        Outlines alone, to lie over a picture of something else.

    Returns
    -------
    list of Label
        Their names, the largest obstacle first.
    """
    for shape in shapes:
        look, kind = shape.obstacle.look, shape.obstacle.kind
        settings = settings_of(look, bare=bare)
        for part_m in shape.parts_m:
            if len(part_m) > 2:  # noqa: PLR2004  an area
                axes.add_patch(Polygon(part_m, closed=True, zorder=layer_of(look), gid=kind, **settings))
            else:
                axes.plot(*part_m.T, color=look.line, linewidth=look.width_pt, gid=kind, zorder=layer_of(look))
    low_m, high_m = np.transpose([axes.get_xlim(), axes.get_ylim()])
    return obstacle_labels(shapes, (low_m, high_m))


def _contour_step_m(scene: Scene) -> float:
    """The height from one contour line of the ground to the next, 0 where there are none. [m]"""
    ground = scene.plan.ground
    rise_m = float(np.ptp(np.concatenate(ground.facets_m(*extent_m(scene)))[:, 2])) if ground else 0.0
    return nice_length_m(rise_m / CONTOURS) if rise_m >= MIN_RISE_M else 0.0


def draw_contours(axes: Axes, scene: Scene) -> None:
    """Draw contour lines of sloping ground, each with its height."""
    step_m, ground = _contour_step_m(scene), scene.plan.ground
    if not step_m or ground is None:
        return
    corners_m = np.concatenate(ground.facets_m(*extent_m(scene)))
    points_m, corner = np.unique(corners_m, axis=0, return_inverse=True)
    (x, y, z), low_m, high_m = points_m.T, float(points_m[:, 2].min()), float(points_m[:, 2].max())
    levels_m = step_m * np.arange(np.ceil(low_m / step_m), np.floor(high_m / step_m) + 1.0) + 0.0
    limits = axes.get_xlim(), axes.get_ylim()
    look: dict[str, Any] = {"colors": SOIL_EDGE, "linewidths": CONTOUR_PT, "zorder": 0.5}
    lines = axes.tricontour(Triangulation(x, y, corner.reshape(-1, 3)), z, levels_m, **look)
    lines.set_gid("ground")
    axes.clabel(lines, fmt="%g m", fontsize=SMALL_PT - 1.0, inline=True)
    axes.set_xlim(limits[0])
    axes.set_ylim(limits[1])


def ground_entries(scene: Scene) -> list[Any]:
    """Legend entries of sloping ground."""
    step_m = _contour_step_m(scene)
    return [sample(f"ground, every {step_m:g} m", color=SOIL_EDGE, linewidth=CONTOUR_PT)] if step_m else []


def obstacle_entries(scene: Scene, *, bare: bool = False) -> list[Any]:
    """Legend entries of the kinds of obstacles of a site."""
    return [
        Patch(label=kind.legend, **settings_of(kind.look, bare=bare))
        if kind.look.fill
        else sample(kind.legend, color=kind.look.line, linewidth=kind.look.width_pt)
        for kind in kinds_in(scene)
    ]


def draw_scale_and_north(axes: Axes, marks_m: FloatArray | None = None) -> None:
    """A scale bar in the lower right corner, or the left one where it hides no mark; a north arrow at the right.

    Parameters
    ----------
    axes : Axes
        With their limits.
    marks_m : ndarray of float, shape (marks, 2), optional
        Marks that stay in sight. [m]
    """
    left, right = axes.get_xlim()
    length_m = nice_length_m((right - left) / 5.0)
    figure = axes.get_figure()
    assert figure is not None
    wide_in, tall_in = axes.get_position().size * figure.get_size_inches()  # type: ignore[union-attr]
    end, low = 1.0 - 0.15 / wide_in, 0.16 / tall_in
    start = end - length_m / (right - left)
    if marks_m is not None and len(marks_m):
        low_m, high_m = np.transpose([(left, right), axes.get_ylim()])
        shares = (marks_m - low_m) / (high_m - low_m)
        reach, tall = end - start + 2.0 * 0.15 / wide_in, 2.5 * low
        is_right, is_left = shares[:, 0] > 1.0 - reach, shares[:, 0] < reach
        is_low = shares[:, 1] < tall
        if np.any(is_low & is_right) and not np.any(is_low & is_left):
            start, end = 1.0 - end, 1.0 - start
    behind = (start - 0.06 / wide_in, low - 0.08 / tall_in)
    size = (end - start + 0.12 / wide_in, 0.28 / tall_in)
    paper: dict[str, Any] = {"facecolor": PAPER, "edgecolor": "none", "alpha": 0.8}
    axes.add_patch(Rectangle(behind, *size, transform=axes.transAxes, zorder=6.5, gid="behind scale", **paper))
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
