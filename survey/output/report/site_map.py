"""The map of the page: a site from above as SVG, in the units of the drawing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import ClassVar, NamedTuple

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.layout import columns_of, shortened
from survey.budget import STATES
from survey.inputs.plan import Look, Obstacle
from survey.output.answers.figures import route_tally
from survey.output.map.frame import frame_m, nice_length_m, spacing_m
from survey.output.map.labels import Label, Size, place_labels
from survey.output.map.legend import MARKS, SPOT_COLOUR
from survey.output.map.site import (
    GATEWAYS,
    Place,
    Route,
    Shape,
    every_inverter_label,
    gateway_labels,
    inverter_labels,
    kinds_in,
    obstacle_labels,
    places_of,
    routes_of,
    shapes_of,
)
from survey.routing import Network
from survey.scene import Scene

WIDE = 1000.0
"""Width of the drawing, in its own units."""
TALLEST, FLATTEST = 1100.0, 320.0
"""Of a map 1,000 wide, so that it fits a page and is not a line; by eye."""
FOOT = 46.0
"""Space below the site for the scale bar."""
BAR_SHARE = 0.22
"""The scale bar is no longer than this share of the width."""
MARK_SHARE, MIN_MARK, MAX_MARK = 0.36, 3.5, 9.0
"""Half the size of a mark as a share of the distance to the next one, and its limits."""
TONES = 4
"""So many tones tell routes to several gateways apart."""
ALL_LINES = 60
"""With more inverters than this and one gateway, unasked only the links that do not hold are drawn."""
UNITS_PER_PT = 1.8
"""Lines are as wide beside the site as in a picture of 8.5 inch, here 1000 units."""
FONT, LARGE_FONT = 15.0, 27.0
"""Height of the letters where the drawing is wide, and where it is as narrow as a telephone: 9 pixels on one of 360."""
LETTER = 0.58
"""Width of a letter as a share of its height, at a guess that is rather too wide."""
ASCENT, DESCENT = 0.8, 0.25
"""How far letters reach above and below their line, as a share of their height; of most typefaces, by eye."""
MAX_LETTERS = 26
"""Longer names are cut at the end, for narrow screens; by eye."""
GAPS = {"gateway": 13.0, "spot": 9.0}
"""How far beside its point a name goes; beside an inverter it is a little more than its mark. By eye. [map units]"""
GATEWAY_HALF = 11.0
"""Half the size of a gateway's mark; by eye. [map units]"""
ANCHORS = {1: "start", 0: "middle", -1: "end"}
"""Alignment by the side of the mark on which a name lies: the words of SVG."""


class Text(NamedTuple):
    """A name with its place: ``start``, ``middle`` or ``end`` of its text is at x, its foot at y."""

    text: str
    kind: str
    x: float
    y: float
    anchor: str


@dataclass(frozen=True, kw_only=True)
class SvgMap:
    """A site with the routes of its inverters, as the template draws it; north is up.

    Attributes
    ----------
    scene, network : Scene, Network
        The site; its inverters with the gateways that the page is about.
    low_m, high_m : ndarray of float, shape (2,)
        Frame of the site. [m]
    shapes, places, routes : tuple of Shape, of Place, of Route
        All that is in it.
    """

    wide: ClassVar[float] = WIDE

    scene: Scene
    network: Network
    low_m: FloatArray
    high_m: FloatArray
    shapes: tuple[Shape, ...]
    places: tuple[Place, ...]
    routes: tuple[Route, ...]

    @property
    def scale(self) -> float:
        """Units of the drawing in a metre. [1/m]"""
        return WIDE / float(self.high_m[0] - self.low_m[0])

    @property
    def tall(self) -> float:
        """Height of the drawing."""
        return float(self.high_m[1] - self.low_m[1]) * self.scale + FOOT

    @cached_property
    def mark(self) -> float:
        """Half the size of an inverter's mark, so that neighbours stay apart."""
        return float(np.clip(MARK_SHARE * spacing_m(self.scene) * self.scale, MIN_MARK, MAX_MARK))

    @cached_property
    def bar_m(self) -> float:
        """Length of the scale bar. [m]"""
        return nice_length_m(BAR_SHARE * WIDE / self.scale)

    @property
    def kinds(self) -> list[Obstacle]:
        """One obstacle of each kind that is in it."""
        return kinds_in(self.scene)

    @property
    def is_crowded(self) -> bool:
        """Whether routes have to be faint, and those to one gateway that hold are drawn only when asked for."""
        return len(self.routes) > ALL_LINES

    def at(self, points_m: FloatArray) -> list[list[float]]:
        """Where points of the site fall in the drawing: x to the right, y down."""
        across = (points_m[:, 0] - self.low_m[0]) * self.scale
        down = (self.high_m[1] - points_m[:, 1]) * self.scale
        points: list[list[float]] = np.column_stack([across, down]).tolist()
        return points

    def path(self, points_m: FloatArray, *, closed: bool = False) -> str:
        """A line or an outline as an SVG path."""
        return f"M{' L'.join(f'{x:.1f} {y:.1f}' for x, y in self.at(points_m))}{'Z' if closed else ''}"

    def outline(self, shape: Shape) -> str:
        """An obstacle as an SVG path."""
        return " ".join(self.path(part_m, closed=len(part_m) > 2) for part_m in shape.parts_m)  # noqa: PLR2004  an area

    def classes(self, route: Route) -> str:
        """CSS classes of a route."""
        is_always_shown = not self.is_crowded or len(self.network.links.gateways) > 1 or route.state < len(STATES) - 1
        return f"route {STATES[route.state]}{' always' if is_always_shown else ''}{self.tone(route.gateway)}"

    def tone(self, number: int) -> str:
        """CSS class of a gateway and of the routes to it."""
        return f" tone{number % TONES}" if number > 0 and number % TONES else ""

    def has(self, kind: str) -> bool:
        """Whether a kind of gateway or spot is in it."""
        return any(one.kind == kind for one in self.places)

    @cached_property
    def labels(self) -> list[Text]:
        """Names for which there is room where the drawing is wide, each with its place."""
        first, others = every_inverter_label(self.scene, self.network)
        return self._placed(first, others, FONT)

    @cached_property
    def large_labels(self) -> list[Text]:
        """The few names for which there is room on a telephone."""
        first, others = inverter_labels(self.scene, self.network)
        return self._placed(first, others, LARGE_FONT)

    def _placed(self, inverters: list[Label], others: list[Label], font: float) -> list[Text]:
        """Names with their places: of gateways, inverters, obstacles, spots, then of the others."""
        names = gateway_labels([one for one in self.places if one.kind != "search"])
        gateways = [one for one in names if one.kind == "gateway"]
        obstacles = obstacle_labels(self.shapes, (self.low_m, self.high_m))
        labels = [*gateways, *inverters, *obstacles, *names[len(gateways) :], *others]
        at = self.at(np.array([one.at for one in labels]).reshape(-1, 2))
        half, points = GATEWAY_HALF, [self.at(one.at_m)[0] for one in self.places if one.kind in GATEWAYS]
        positions = place_labels(
            [replace(one, at=(x, -y)) for one, (x, y) in zip(labels, at, strict=True)],
            sizes=[self._size(one, font) for one in labels],
            frame=(0.0, FOOT - self.tall, WIDE, 0.0),
            points=np.array(self.at(self.scene.inverters.at_m)) * [1.0, -1.0],
            reach=self.mark,
            taken=[(x - half, -y - half, x + half, -y + half) for x, y in points],
        )
        return [
            Text(
                text=shortened(label.text, MAX_LETTERS),
                kind=label.kind,
                x=spot.x,
                y=-(spot.y + font * ((spot.up - 1) * (ASCENT + DESCENT) / 2.0 + DESCENT)),
                anchor=ANCHORS[spot.across],
            )
            for label, spot in zip(labels, positions, strict=True)
            if spot is not None
        ]

    def _size(self, label: Label, font: float) -> Size:
        wide = LETTER * font * columns_of(shortened(label.text, MAX_LETTERS))
        return Size(wide, font * (ASCENT + DESCENT), GAPS.get(label.kind, self.mark + 2.0))

    @property
    def gateways(self) -> str:
        """Names of the gateways that it is about."""
        return ", ".join(self.network.links.gateways.names)

    @property
    def marks(self) -> list[tuple[str, list[list[float]]]]:
        """Where the inverters of each state are, the best state first."""
        at = self.at(self.scene.inverters.at_m)
        states = self.network.state.tolist()
        found = [(STATES[k], [one for one, state in zip(at, states, strict=True) if state == k]) for k in (2, 1, 0)]
        return [(state, ends) for state, ends in found if ends]

    @property
    def tally(self) -> str:
        """How many inverters are in each state."""
        return route_tally(self.network)

    @property
    def style(self) -> str:
        """Rules for the kinds of obstacles in it, and the colours of the legend."""
        rules = [f".o-{kind.kind} {{ {_rule(kind.kind, kind.look)} }}" for kind in self.kinds]
        light = "".join(f"--{mark.word}: {mark.colour}; --m-{mark.word}: {mark.colour}; " for mark in MARKS)
        dark = "".join(f"--{mark.word}: {mark.on_dark}; " for mark in MARKS)
        return "\n".join(
            [
                f":root {{ {light}--spot: {SPOT_COLOUR}; }}",
                f"@media screen and (prefers-color-scheme: dark) {{ :root {{ {dark}}} }}",
                *rules,
            ]
        )


def site_map(scene: Scene, network: Network, *, advised: Sequence[str] = ()) -> SvgMap:
    """Draw a site with the routes of its inverters.

    Parameters
    ----------
    scene : Scene
        The site.
    network : Network
        Its inverters with the gateways that the page is about.
    advised : sequence of str
        Spots that are recommended; shown where the page is about others.
    """
    low_m, high_m = frame_m(scene, wide=WIDE, flattest=FLATTEST, tallest=TALLEST)
    return SvgMap(
        scene=scene,
        network=network,
        low_m=low_m,
        high_m=high_m,
        shapes=shapes_of(scene),
        places=places_of(scene, chosen=network.links.gateways.names, advised=advised),
        routes=routes_of(network),
    )


def _rule(kind: str, look: Look) -> str:
    """A look as CSS; a hatching is a pattern of the drawing."""
    width = look.width_pt * UNITS_PER_PT
    fill = f"url(#h-{kind})" if look.hatch else look.fill or "none"
    bare = " fill-opacity: var(--bare, 1);" if look.fill else ""
    rule = f"fill: {fill}; stroke: {look.line}; stroke-width: {width:.2g};{bare}"
    if look.dashes:
        rule += f" stroke-dasharray: {' '.join(f'{width * one:.2g}' for one in look.dashes)};"
    if look.opacity < 1.0:
        rule += f" opacity: {look.opacity:g};"
    return rule if look.fill else f"{rule} stroke-linecap: square;"
