"""A link's path: from the side what stands in it and what that costs, and from above the ways past it."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon

from survey.base.arrays import FloatArray
from survey.base.units import wavelength_m
from survey.budget import CARRIERS, STATES, Links
from survey.output.answers.figures import db, fit_words, margin_in_db, percent
from survey.output.answers.links import WAY_WORDS
from survey.output.map.labels import Label
from survey.output.map.legend import MARKS
from survey.output.pictures.ground import layer_of, settings_of
from survey.output.pictures.labels import put_labels
from survey.output.pictures.sections import (
    Cut,
    along_ground,
    cuts_of,
    fresnel_zone_m,
    label_at_m,
    mirrored,
    strings_of,
)
from survey.output.pictures.style import (
    FAINT,
    GATEWAY,
    INK,
    PAPER,
    SMALL_PT,
    foot_legend,
    head_in,
    legend_in,
    marker,
    new_figure,
    picture,
    sample,
    short,
    width_in,
)
from survey.propagation import Way
from survey.propagation.around import String

STRINGS: dict[str, dict[str, Any]] = {
    "over": {"color": "#009e73", "linestyle": "-", "linewidth": 1.8},
    "under": {"color": "#009e73", "linestyle": (0, (1, 1)), "linewidth": 1.8},
    "left": {"color": "#cc79a7", "linestyle": (0, (6, 2)), "linewidth": 1.8},
    "right": {"color": "#56b4e9", "linestyle": (0, (6, 2, 1, 2)), "linewidth": 1.8},
    "mirror": {"color": "#b8860b", "linestyle": (0, (3, 1)), "linewidth": 1.8},
}
"""Colours for all kinds of sight (Okabe and Ito, 2008), and dashes for print without them."""
STRETCHES = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 8.0, 10.0, 15.0, 20.0)
"""By how much heights may be drawn larger than lengths; smaller only where both ends have no room otherwise."""
LEFT_IN, RIGHT_IN, SIDE_IN, ABOVE_IN = 0.62, 0.2, 2.7, 1.5
"""Margins and the heights of the parts; by eye. [in]"""
COLUMNS = 4
"""Of the key; by eye."""
FAR_WEAKER_DB = 30.0
"""A way that loses so much more than all together is told, but not drawn."""
CLEAR = 0.6
"""Share of the first Fresnel zone that has to be free for a path that loses nothing to its surroundings.

As in Recommendation ITU-R P.530, section 2.2.2 (from memory: 0.6 of its radius).
"""


@picture
def profile_picture(links: Links, i: int, j: int) -> Figure:
    """Draw the path of one link.

    Parameters
    ----------
    links : Links
        Links.
    i, j : int
        Which inverter and which gateway.

    Returns
    -------
    Figure
        From the side, and below it from above.
    """
    scene = links.scene
    start_m, end_m = links.inverters.at_m[i], links.gateways.at_m[j]
    inverter, gateway = short(links.inverters.names[i]), short(links.gateways.names[j])
    met, strings = _met(links, i, j), strings_of(scene, start_m, end_m)
    if not np.any(~np.isnan(links.around_db[:, i, j])):
        strings = []
    strings = [one for one in strings if _counts(links, i, j, one.side)]
    if links.mirror[i, j] >= 0:
        strings = [*strings, mirrored(scene, int(links.mirror[i, j]), start_m, end_m)]
    lines = _lines(links, i, j, met)
    handles = _entries(strings, links, i, j)
    above_in, below_in = head_in(lines) + 0.1, legend_in(len(handles), columns=COLUMNS) + 0.42
    height_in = above_in + SIDE_IN + 0.55 + ABOVE_IN + below_in
    figure = new_figure(height_in=height_in, title=f"Path from {inverter} to {gateway}", lines=lines)
    wide = (width_in() - LEFT_IN - RIGHT_IN) / width_in()
    low = (below_in + ABOVE_IN + 0.55) / height_in
    side = figure.add_axes((LEFT_IN / width_in(), low, wide, SIDE_IN / height_in), label="from the side")
    above = figure.add_axes(
        (LEFT_IN / width_in(), below_in / height_in, wide, ABOVE_IN / height_in), label="from above"
    )
    reach_m = float(np.hypot(*(end_m - start_m)[:2]))
    room_m = max(0.06 * reach_m, 0.5)
    # A mirror may stand behind an end: it comes into the picture, if it is not too far.
    mirrors_m = [along_ground(start_m, end_m, one.points_m)[1, 0] for one in strings if one.side == "mirror"]
    low_m, high_m = np.clip([min([0.0, *mirrors_m]), max([reach_m, *mirrors_m])], -reach_m, 2.0 * reach_m).tolist()
    frame_m = (low_m - room_m, high_m + room_m)
    ends = along_ground(start_m, end_m, np.stack([start_m, end_m]))
    wave_m = float(wavelength_m(scene.plan.radio.frequency_mhz))
    _from_the_side(
        side,
        cuts_of(scene, start_m, end_m),
        strings,
        ends,
        wave_m=wave_m,
        frame_m=frame_m,
        met=met,
        around=(start_m, end_m),
        names=(inverter, gateway),
        state=int(links.state[i, j]),
    )
    _from_above(
        above,
        links,
        strings,
        ends,
        wave_m=wave_m,
        frame_m=frame_m,
        around=(start_m, end_m),
        state=int(links.state[i, j]),
    )
    foot_legend(figure, handles, columns=COLUMNS)
    return figure


def _counts(links: Links, i: int, j: int, side: str) -> bool:
    """Whether the way past a side brings anything: with `FAR_WEAKER_DB` more, it is less than 0.005 dB."""
    loss_db = links.around_db[Way["OVER" if side == "under" else side.upper()], i, j]
    return side == "reflected" or bool(loss_db <= links.obstacle_loss_db[i, j] + FAR_WEAKER_DB)


def _met(links: Links, i: int, j: int) -> list[tuple[float | None, str, float]]:
    """What the straight line goes through: where, as a share of it, what, and its loss; edges it grazes come last."""
    here = (links.crossings.start == i) & (links.crossings.end == j)
    inside = (links.chords.start == i) & (links.chords.end == j)
    length_m = max(float(links.distance_m[i, j]), 1e-9)
    middles = links.chords.fraction[inside] + links.chords.length_m[inside] / length_m / 2.0
    places = np.concatenate([links.crossings.fraction[here], middles])
    enters = np.concatenate([links.crossings.fraction[here], links.chords.fraction[inside]])
    shares: list[float | None] = [*places[np.argsort(enters, kind="stable")].tolist()]
    named = links.met_by(i, j)
    shares += [None] * (len(named) - len(shares))
    return [(share, name, loss_db) for share, (name, loss_db) in zip(shares, named, strict=True)]


def _lines(links: Links, i: int, j: int, met: list[tuple[float | None, str, float]]) -> tuple[str, ...]:
    chance = percent(float(links.reliability[i, j]), wanted=links.scene.plan.requirement.reliability)
    through = [
        f"{n} {short(name, 24)} {db(loss_db)} dB"
        if share is not None
        else f"edge of {short(name, 24)} {db(loss_db)} dB"
        for n, (share, name, loss_db) in enumerate(met, start=1)
    ]
    ways = [
        f"{WAY_WORDS[way]} {db(float(loss[i, j]))} dB" + ("" if _counts(links, i, j, way) else " (not drawn)")
        for way, loss in zip(CARRIERS[1:], links.around_db, strict=True)
        if not np.isnan(loss[i, j])
    ]
    if links.mirror_of(i, j):
        ways[-1] += f" (from {short(links.mirror_of(i, j), 24)})"
    straight = f"direct {db(float(links.straight_db[i, j]))} dB"
    carrier = WAY_WORDS[CARRIERS[int(links.carrier[i, j])]]
    return (
        (
            f"{links.distance_m[i, j]:.1f} m. Path loss {db(float(links.path_loss_db[i, j]))} dB: "
            f"distance {db(float(links.base_loss_db[i, j]))} dB, "
            f"obstacles {db(float(links.obstacle_loss_db[i, j]))} dB. "
            f"Margin {margin_in_db(float(links.margin_db[i, j]))}, chance {chance}: {STATES[links.state[i, j]]}."
        ),
        f"Obstacles on the direct line: {', '.join(through) if through else 'none'}.",
        f"Loss of each path besides distance: {', '.join([straight, *ways])}. Best path: {carrier}.",
        *([" ".join(fit_words(links.scene, links))] if links.scene.correction else []),
    )


def _entries(strings: list[String], links: Links, i: int, j: int) -> list[Any]:
    handles = [
        sample("inverter", **marker(MARKS[int(links.state[i, j])], 7.0)),
        sample("gateway", **GATEWAY),
        sample("direct line", color=INK, linewidth=1.2),
        sample("first Fresnel zone", color=FAINT, linewidth=1.0),
        sample(f"{CLEAR:.0%} of the zone".replace("%", " %"), color=FAINT, linewidth=1.0, linestyle="--"),
    ]
    words = {"over": "path over", "under": "path under", "left": "path left", "right": "path right"}
    words["mirror"] = f"reflected from {short(links.mirror_of(i, j), 24)}"
    return handles + [sample(words[side], **STRINGS[side]) for side in STRINGS if any(s.side == side for s in strings)]


def _zone(axes: Axes, ends: FloatArray, *, up: int, wave_m: float) -> None:
    """Outlines of the Fresnel zone about the line, in the plane of the axes."""
    start, end = ends[0][[0, up]], ends[1][[0, up]]
    whole_m = float(np.linalg.norm(ends[1] - ends[0]))
    ahead = (end - start) / max(whole_m, 1e-9)
    across = np.array([-ahead[1], ahead[0]])
    for share, dashes in ((1.0, "-"), (CLEAR, "--")):
        at_m, radius_m = fresnel_zone_m(whole_m, wavelength_m=wave_m, share=share)
        for sign in (1.0, -1.0):
            points = start + at_m[:, None] * ahead + sign * radius_m[:, None] * across
            axes.plot(*points.T, color=FAINT, linewidth=0.9, linestyle=dashes, zorder=2.2, gid=f"zone {share:g}")


def _ends(axes: Axes, ends: FloatArray, *, up: int, state: int) -> None:
    axes.plot(ends[:, 0], ends[:, up], color=INK, linewidth=1.2, zorder=3, gid="direct line")
    axes.plot(ends[0, 0], ends[0, up], zorder=5, gid="inverter", **marker(MARKS[state], 8.0))
    axes.plot(ends[1, 0], ends[1, up], zorder=5, gid="gateway", **GATEWAY)


def _stretch(most: float) -> float:
    """By how much heights are drawn larger than lengths: a round number of which all has room.

    Examples
    --------
    >>> _stretch(1.7), _stretch(0.57), _stretch(0.034)
    (1.5, 0.5, 0.03)
    """
    if most >= STRETCHES[0]:
        return max(one for one in STRETCHES if one <= most)
    step = 10.0 ** math.floor(math.log10(most))
    return float(f"{math.floor(most / step) * step:.1g}")


def _from_the_side(
    axes: Axes,
    cuts: list[Cut],
    strings: list[String],
    ends: FloatArray,
    *,
    wave_m: float,
    frame_m: tuple[float, float],
    met: list[tuple[float | None, str, float]],
    around: tuple[FloatArray, FloatArray],
    names: tuple[str, str],
    state: int,
) -> None:
    shown = [cut for cut in cuts if cut.points_m[:, 0].max() > frame_m[0] and cut.points_m[:, 0].min() < frame_m[1]]
    upright = {"over", "under", "mirror"}
    strung = [(one.side, along_ground(*around, one.points_m)) for one in strings if one.side in upright]
    heights = np.concatenate(
        [ends[:, 2], *(points[:, 2] for _, points in strung), *(cut.points_m[:, 1] for cut in shown)]
    )
    high_m = min(float(heights.max()), float(ends[:, 2].max()) + 0.5 * (frame_m[1] - frame_m[0]))
    low_m = min(0.0, float(ends[:, 2].min()))
    tall_m = max(high_m - low_m, 1.0) * 1.45
    place = axes.get_position()
    figure = axes.get_figure()
    assert figure is not None
    wide_in, tall_in = place.size * figure.get_size_inches()  # type: ignore[union-attr]
    per_m = wide_in / (frame_m[1] - frame_m[0])
    stretch = _stretch(tall_in / (per_m * tall_m))
    axes.set_xlim(*frame_m)
    bottom_m = low_m - 0.08 * tall_in / (stretch * per_m)
    axes.set_ylim(bottom_m, bottom_m + tall_in / (stretch * per_m))
    axes.axhspan(bottom_m, 0.0, facecolor="#d9cfc0", edgecolor="none", zorder=0.3, gid="ground")
    axes.axhline(0.0, color="#6b5b45", linewidth=1.2, zorder=1.5)
    labels = []
    for cut in shown:
        look, kind = cut.obstacle.look, cut.obstacle.kind
        looks = settings_of(look) | {"alpha": 1.0, "zorder": layer_of(look), "gid": kind}
        if len(cut.points_m) > 2:  # noqa: PLR2004  an area
            axes.add_patch(Polygon(cut.points_m, closed=True, **looks))
        else:
            axes.plot(*cut.points_m.T, color=looks["edgecolor"], linewidth=2.2, zorder=looks["zorder"], gid=kind)
        if cut.obstacle.label:
            at_m = label_at_m(cut.points_m, frame_m)
            if frame_m[0] <= at_m[0] <= frame_m[1]:
                labels.append(Label(text=cut.obstacle.label, kind="obstacle", at=at_m))
    _zone(axes, ends, up=2, wave_m=wave_m)
    for side, points in strung:
        axes.plot(points[:, 0], points[:, 2], zorder=3.5, gid=side, **STRINGS[side])
    _ends(axes, ends, up=2, state=state)
    numbers = [(n, share) for n, (share, _, _) in enumerate(met, start=1) if share is not None]
    points_m = [ends[0, [0, 2]] + share * (ends[1, [0, 2]] - ends[0, [0, 2]]) for _, share in numbers]
    for (number, _), (x, z) in zip(numbers, points_m, strict=True):
        ring = {"boxstyle": "circle,pad=0.15", "facecolor": PAPER, "edgecolor": INK, "linewidth": 0.8}
        axes.text(x, z, str(number), ha="center", va="center", fontsize=SMALL_PT, zorder=5.5, bbox=ring, gid="met")
    stretched = "" if stretch == 1.0 else f" (scale x {stretch:g})"
    axes.set_ylabel(f"height, m{stretched}")
    axes.set_title("from the side", loc="left", fontsize=SMALL_PT, pad=3)
    seen: dict[str, Label] = {}
    for label in labels:
        seen.setdefault(label.text, label)
    own = [
        Label(text=name, kind="gateway", at=(float(end[0]), float(end[2])), needed=True)
        for name, end in zip(names, ends, strict=True)
    ]
    steps = np.linspace(0.0, 1.0, 60)[:, None]
    along_m = ends[0, [0, 2]] + steps * (ends[1] - ends[0])[[0, 2]]
    drawn_m = [one + steps * (other - one) for _, points in strung for one, other in pairwise(points[:, [0, 2]])]
    put_labels(axes, [*own, *seen.values()], np.concatenate([along_m, *drawn_m]), reach_pt=3.0)


def _from_above(
    axes: Axes,
    links: Links,
    strings: list[String],
    ends: FloatArray,
    *,
    wave_m: float,
    frame_m: tuple[float, float],
    around: tuple[FloatArray, FloatArray],
    state: int,
) -> None:
    strung = [(one.side, along_ground(*around, one.points_m)) for one in strings]
    size_in = axes.get_position().size * axes.figure.get_size_inches()  # type: ignore[union-attr]
    half_m = (frame_m[1] - frame_m[0]) * size_in[1] / size_in[0] / 2.0
    widest_m = max([half_m / 1.15, *(float(np.abs(points[:, 1]).max()) for _, points in strung)]) * 1.15
    axes.set_xlim(*frame_m)
    axes.set_ylim(-widest_m, widest_m)
    for one in links.scene.plan.obstacles:
        for outline_m in one.footprints_m():
            seen = along_ground(*around, np.column_stack([outline_m, np.zeros(len(outline_m))]))[:, :2]
            settings = settings_of(one.look)
            axes.add_patch(Polygon(seen, closed=True, zorder=layer_of(one.look), gid=one.kind, **settings))
    _zone(axes, ends, up=1, wave_m=wave_m)
    for side, points in strung:
        axes.plot(points[:, 0], points[:, 1], zorder=3.5, gid=side, **STRINGS[side])
    _ends(axes, ends, up=1, state=state)
    axes.set_xlabel("along the ground, m from the inverter")
    axes.set_ylabel("to the left, m")
    axes.set_title("from above", loc="left", fontsize=SMALL_PT, pad=3)
