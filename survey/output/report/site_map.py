"""The site from above as shapes of a drawing: everything to scale, in the units of the drawing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from survey.base import polygon
from survey.base.arrays import FloatArray
from survey.budget import STATES
from survey.output.answers.figures import letter
from survey.output.report.map_labels import Box, Label, Wish, put_labels
from survey.routing import Network
from survey.scene import Scene, box_outlines_m, wall_outlines_m

Point = tuple[float, float]

WIDE = 1000.0
"""Width of the drawing, in its own units."""
TALLEST, FLATTEST = 1100.0, 320.0
"""Of a map 1,000 wide, so that it fits a page and is not a line; by eye."""
FOOT = 46.0
"""Room below the site for the scale bar."""
AROUND = 0.05
"""Part of the map's width left free on each side; by eye."""
LEAST_ROOM_M = 2.0
"""Around what stands there, at least; by eye. [m]"""
FAR = 0.5
"""Obstacles are shown as far as this share of the site's size beyond radios and spots; a fence may run on."""
UPRIGHT_M2 = 0.05
"""What covers less ground than this is upright, and from above a line."""
ORDER = ("roof", "modules", "foliage", "box", "wall")
"""Kinds of obstacles from the lowest layer of the drawing to the highest."""
LEAST_MARK, MOST_MARK = 3.5, 9.0
"""Radius of an inverter's mark; by eye."""
GATEWAYS = ("chosen", "advised", "today")
"""Kinds of places where a gateway is, or should be."""
TONES = 4
"""So many tones tell routes to several gateways apart."""
ALL_LINES = 60
"""With more inverters than this and one gateway, unasked only the links that do not hold are drawn."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Shape:
    """An obstacle: its kind, its name, and its outlines as an SVG path."""

    kind: str
    name: str
    path: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Mark:
    """An inverter: its number, its place, its state, the line of its route, and the tone of the gateway it leads to."""

    number: int
    x: float
    y: float
    state: str
    route: str
    tone: int
    always: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Place:
    """A gateway or a spot: ``chosen``, ``advised``, ``today``, ``spot`` or ``search``; its place or its path.

    Of several that are chosen each has its letter, as in the table, and the tone of the routes to it.
    """

    kind: str
    name: str
    letter: str = ""
    tone: int = 0
    x: float = 0.0
    y: float = 0.0
    path: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class SiteMap:
    """A drawing: its size, all that is in it, and its scale bar."""

    wide: float
    tall: float
    mark: float
    shapes: tuple[Shape, ...]
    marks: tuple[Mark, ...]
    places: tuple[Place, ...]
    labels: tuple[Label, ...]
    bar_m: float
    bar: float
    north: Point
    crowded: bool

    @property
    def kinds(self) -> list[str]:
        """Kinds of obstacles that are in it."""
        return [kind for kind in reversed(ORDER) if any(one.kind == kind for one in self.shapes)]

    def has(self, kind: str) -> bool:
        """Whether a kind of gateway or spot is in it."""
        return any(one.kind == kind for one in self.places)


@dataclass(frozen=True, slots=True)
class _Paper:
    """Where a point of the site falls in the drawing."""

    low_m: FloatArray
    high_m: FloatArray
    scale: float

    def at(self, points_m: FloatArray) -> FloatArray:
        across = (points_m[..., 0] - self.low_m[0]) * self.scale
        down = (self.high_m[1] - points_m[..., 1]) * self.scale
        return np.stack([across, down], axis=-1)

    def path(self, points_m: FloatArray, *, closed: bool) -> str:
        points = " L".join(f"{x:.1f} {y:.1f}" for x, y in self.at(points_m[:, :2]).tolist())
        return f"M{points}{'Z' if closed else ''}"


def site_map(scene: Scene, network: Network, *, advised: Sequence[str] = ()) -> SiteMap:
    """Draw a site with the routes of its inverters.

    Parameters
    ----------
    scene : Scene
        The site.
    network : Network
        Its inverters with the gateways that the page is about.
    advised : sequence of str
        Spots that are recommended; shown where the page is about others.

    Returns
    -------
    SiteMap
        North is up.
    """
    paper = _paper(scene)
    wide, tall = ((paper.high_m - paper.low_m) * paper.scale).tolist()
    outlines = outlines_m(scene)
    shapes = tuple(_shape(paper, kind, name, parts) for kind, name, parts in outlines)
    mark = _mark_size(scene, paper)
    marks = _marks(scene, network, paper)
    places = _places(scene, network, paper, set(advised))
    bar_m = _round_m(0.22 * wide / paper.scale)
    frame = Box(0.0, 0.0, wide, tall)
    clear = [Box(x - 11.0, y - 11.0, x + 11.0, y + 11.0) for x, y in _gateways_at(places)]
    wishes = _wishes(scene, network, places=places, marks=marks, mark=mark, paper=paper, outlines=outlines)
    labels = put_labels(wishes, frame=frame, marks=marks, mark=mark, clear=clear)
    return SiteMap(
        wide=wide,
        tall=tall + FOOT,
        mark=mark,
        shapes=shapes,
        marks=marks,
        places=places,
        labels=labels,
        bar_m=bar_m,
        bar=bar_m * paper.scale,
        north=(wide - 30.0, tall + FOOT - 40.0),
        crowded=len(marks) > ALL_LINES,
    )


def outlines_m(scene: Scene) -> list[tuple[str, str, list[FloatArray]]]:
    """Kind, name and outlines seen from above, of everything that stands on a site, the lowest layer first. [m]"""
    plan = scene.plan
    found = [("wall", wall.name, wall_outlines_m(wall)) for wall in plan.walls]
    found += [("box", box.name, box_outlines_m(box)[-1:]) for box in plan.boxes]
    found += [("roof", roof.name, [np.array(roof.corners)]) for roof in plan.roofs]
    for array in plan.arrays:
        found += [("modules", array.row_name(row), [one]) for row, one in enumerate(array.module_sheets_m(), start=1)]
    found += [("foliage", plant.name, [np.array(plant.footprint)]) for plant in plan.foliage]
    flat = [(kind, name, [part[:, :2] for part in parts]) for kind, name, parts in found]
    return sorted(flat, key=lambda one: ORDER.index(one[0]))


def _paper(scene: Scene) -> _Paper:
    ends_m = np.concatenate([scene.inverters.at_m, scene.gateways.at_m, scene.spots.at_m])[:, :2]
    low_m, high_m = ends_m.min(axis=0), ends_m.max(axis=0)
    far_m = FAR * max(float(np.max(high_m - low_m)), 10.0)
    corners = [part for _, _, parts in outlines_m(scene) for part in parts]
    if corners:
        corners_m = np.clip(np.concatenate(corners), low_m - far_m, high_m + far_m)
        low_m, high_m = np.minimum(low_m, corners_m.min(axis=0)), np.maximum(high_m, corners_m.max(axis=0))
    room_m = max(LEAST_ROOM_M, AROUND * float(np.max(high_m - low_m)))
    low_m, high_m = low_m - room_m, high_m + room_m
    wide_m, tall_m = (high_m - low_m).tolist()
    scale = min(WIDE / wide_m, TALLEST / tall_m)
    spare_m = np.maximum(np.array([WIDE, FLATTEST]) / scale - (high_m - low_m), 0.0) / 2.0
    return _Paper(low_m - spare_m, high_m + spare_m, scale)


def _shape(paper: _Paper, kind: str, name: str, parts: list[FloatArray]) -> Shape:
    paths = []
    for part_m in parts:
        flat = abs(polygon.signed_area_m2(part_m)) > UPRIGHT_M2
        paths.append(paper.path(part_m if flat else _ends_of(part_m), closed=flat))
    return Shape(kind=kind, name=name, path=" ".join(paths))


def _ends_of(part_m: FloatArray) -> FloatArray:
    """The two ends of an upright sheet seen from above, shape (2, 2)."""
    apart = np.linalg.norm(part_m[:, None] - part_m[None], axis=2)
    return part_m[list(np.unravel_index(int(np.argmax(apart)), apart.shape))]


def _mark_size(scene: Scene, paper: _Paper) -> float:
    """Half the size of an inverter's mark, so that neighbours stay apart."""
    at = paper.at(scene.inverters.at_m)
    if len(at) < 2:  # noqa: PLR2004  no neighbour
        return MOST_MARK
    apart = np.concatenate(
        [
            np.partition(np.linalg.norm(at[first : first + 500, None] - at[None], axis=2), 1, axis=1)[:, 1]
            for first in range(0, len(at), 500)
        ]
    )
    return float(np.clip(0.36 * np.median(apart), LEAST_MARK, MOST_MARK))


def _marks(scene: Scene, network: Network, paper: _Paper) -> tuple[Mark, ...]:
    at, gateways = paper.at(scene.inverters.at_m).tolist(), paper.at(network.links.gateways.at_m).tolist()
    every, found = len(at) <= ALL_LINES or len(gateways) > 1, []
    for route, state in zip(network.routes, network.state.tolist(), strict=True):
        points = [at[route.inverter], *(at[relay] for relay in route.relays)]
        points += [gateways[route.gateway]] if route.gateway >= 0 else []
        line = " L".join(f"{x:.1f} {y:.1f}" for x, y in points)
        x, y = at[route.inverter]
        always = every or state < len(STATES) - 1
        tone = max(route.gateway, 0) % TONES
        found.append(
            Mark(number=route.inverter, x=x, y=y, state=STATES[state], route=f"M{line}", tone=tone, always=always)
        )
    return tuple(found)


def _places(scene: Scene, network: Network, paper: _Paper, advised: set[str]) -> tuple[Place, ...]:
    """Searches, spots, the gateways that stand and those that the page is about, the last on top."""
    chosen, found = network.links.gateways.names, []
    for search in scene.plan.searches:
        line = search.along if search.along is not None else search.within
        path = paper.path(np.array(line), closed=search.along is None)
        found.append(Place(kind="search", name=search.name, path=path))
    ends = scene.gateways_and_spots
    single = {one.name for one in scene.plan.spots}
    standing = {one.name for one in scene.plan.gateways}
    for name, (x, y) in zip(ends.names, paper.at(ends.at_m).tolist(), strict=True):
        kind = "advised" if name in advised else "today" if name in standing else "spot" if name in single else ""
        kind = "chosen" if name in chosen else kind
        sign, tone = "", 0
        if kind == "chosen" and len(chosen) > 1:
            sign, tone = letter(chosen.index(name)), chosen.index(name) % TONES
        if kind:
            found.append(Place(kind=kind, name=name, letter=sign, tone=tone, x=x, y=y))
    return tuple(sorted(found, key=lambda one: ("search", "spot", "today", "advised", "chosen").index(one.kind)))


def _gateways_at(places: tuple[Place, ...]) -> list[Point]:
    return [(one.x, one.y) for one in places if one.kind in GATEWAYS]


def _wishes(
    scene: Scene,
    network: Network,
    *,
    places: tuple[Place, ...],
    marks: tuple[Mark, ...],
    mark: float,
    paper: _Paper,
    outlines: list[tuple[str, str, list[FloatArray]]],
) -> list[Wish]:
    """What would be labelled if there were room, the most needed first."""
    found = [
        Wish(
            text=f"{one.letter} {one.name}".strip(),
            kind="gateway",
            x=one.x,
            y=one.y,
            clear=13.0,
            needed=one.kind == "chosen",
        )
        for one in reversed(places)
        if one.kind in GATEWAYS
    ]
    names, owners = scene.inverters.names, scene.inverters.places
    margin_db = np.where(np.isnan(network.weakest_margin_db), -np.inf, network.weakest_margin_db)
    weak = [i for i in np.argsort(margin_db, kind="stable").tolist() if marks[i].state != STATES[-1]]
    ends = [i for i in range(len(names)) if i in {0, len(names) - 1} or owners[i] != owners[i - 1]]
    ends += [i - 1 for i in ends if i]

    def inverter(i: int) -> Wish:
        return Wish(text=names[i], kind="inverter", x=marks[i].x, y=marks[i].y, clear=mark + 2.0)

    def obstacle(name: str, parts: list[FloatArray]) -> Wish:
        points = paper.at(np.concatenate(parts))
        x, y = ((points.min(axis=0) + points.max(axis=0)) / 2.0).tolist()
        return Wish(text=name, kind="obstacle", x=x, y=y, clear=0.0, centred=True)

    def size(parts: list[FloatArray]) -> float:
        points = np.concatenate(parts)
        return float(np.max(points.max(axis=0) - points.min(axis=0)))

    solid = sorted((one for one in outlines if one[0] != "modules"), key=lambda one: -size(one[2]))
    spots = [Wish(text=one.name, kind="spot", x=one.x, y=one.y, clear=9.0) for one in places if one.kind == "spot"]
    order = [*weak, *ends, *range(len(names))]
    inverters = [inverter(i) for i in dict.fromkeys(order)]
    count = len(dict.fromkeys([*weak, *ends]))
    first, others = inverters[:count], inverters[count:]
    return [*found, *first, *(obstacle(name, parts) for _, name, parts in solid), *spots, *others]


def _round_m(most_m: float) -> float:
    """The longest of 1, 2, 5, 10, 20, ... metres that is no longer than this; below a metre tenths."""
    power = 10.0 ** math.floor(math.log10(max(most_m, 1e-3)))
    return max(step * power for step in (1.0, 2.0, 5.0) if step * power <= most_m * (1 + 1e-9))
