"""A site from above, before it is drawn: shapes of obstacles, gateways and spots, routes, names."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from survey.base import polygon
from survey.base.arrays import FloatArray
from survey.budget import STATES
from survey.inputs.plan import Obstacle
from survey.output.answers.figures import letter
from survey.output.map.labels import Label
from survey.routing import Network
from survey.scene import Scene

Corners = tuple[FloatArray, FloatArray]
UPRIGHT_M2 = 0.05
"""What covers less ground than this is upright, and from above a line."""
GATEWAYS = ("today", "advised", "chosen")
"""Kinds of places where a gateway is, or should be, from the lowest layer to the highest."""
FEW = 16
"""Where there are more inverters than this, arrays are named too."""
MAX_NAMED = 120
"""Names of inverters that are tried at most: each costs time, and a page with more is not read. A judgement."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Shape:
    """An obstacle from above: each of its parts an outline, shape (corners, 2), or the two ends of a line. [m]"""

    obstacle: Obstacle
    parts_m: tuple[FloatArray, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Place:
    """A gateway, a spot, or a whole search.

    Attributes
    ----------
    kind : str
        ``search``, ``spot``, ``today``, ``advised`` or ``chosen``: what the map is about.
    name, letter : str
        Its name; and where several are chosen its letter, as in tables.
    number : int
        Which of those chosen it is.
    at_m : ndarray of float, shape (points, 2)
        Its point; all points of a search. [m]
    line_m : ndarray of float, shape (corners, 2), or None
        Line or area of a search. [m]
    is_area : bool
        Whether that is an area.
    """

    kind: str
    name: str
    letter: str = ""
    number: int = 0
    at_m: FloatArray
    line_m: FloatArray | None = None
    is_area: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Route:
    """The route of one inverter: its number, its gateway (-1 for none), its state, and its points, shape (n, 2). [m]"""

    inverter: int
    gateway: int
    state: int
    points_m: FloatArray


def shapes_of(scene: Scene) -> tuple[Shape, ...]:
    """Every obstacle from above, the lowest layer first, and in it what is lowest."""
    shapes = [
        Shape(obstacle=one, parts_m=tuple(_seen(outline_m) for outline_m in one.footprints_m()))
        for one in scene.plan.obstacles
    ]
    return tuple(sorted(shapes, key=lambda shape: (shape.obstacle.look.layer, _top_m(shape.obstacle))))


def _top_m(obstacle: Obstacle) -> float:
    """Return how high it reaches: what is stacked lies over what carries it. [m]"""
    return max((float(face_m[:, 2].max()) for face_m in obstacle.faces_m()), default=0.0)


def _seen(outline_m: FloatArray) -> FloatArray:
    """An outline, or the two ends of what is upright."""
    if abs(polygon.signed_area_m2(outline_m)) > UPRIGHT_M2:
        return outline_m
    apart = np.linalg.norm(outline_m[:, None] - outline_m[None], axis=2)
    return np.asarray(outline_m[list(np.unravel_index(int(np.argmax(apart)), apart.shape))])


def kinds_in(scene: Scene) -> list[Obstacle]:
    """One obstacle of each kind for a legend, the highest layer first."""
    examples = {one.kind: one for one in scene.plan.obstacles}
    return sorted(examples.values(), key=lambda one: (-one.look.layer, one.kind))


def places_of(scene: Scene, *, chosen: Sequence[str] = (), advised: Sequence[str] = ()) -> tuple[Place, ...]:
    """Searches, spots, existing gateways, spots recommended, and those that a map is about, the last on top."""
    ends, found = scene.gateways_and_spots, []
    for search in scene.plan.searches:
        of_search = [i for i, place in enumerate(scene.spots.places) if place == search.name]
        line_m = np.array(search.along if search.along is not None else search.within)
        at_m = scene.spots.at_m[of_search, :2]
        found.append(Place(kind="search", name=search.name, at_m=at_m, line_m=line_m, is_area=search.along is None))
    kinds = dict.fromkeys((one.name for one in scene.plan.spots), "spot")
    kinds |= dict.fromkeys(scene.gateways.names, "today")
    kinds |= dict.fromkeys(advised, "advised") | dict.fromkeys(chosen, "chosen")
    for name, at_m in zip(ends.names, ends.at_m[:, :2], strict=True):
        if name in kinds:
            number = chosen.index(name) if name in chosen else 0
            sign = letter(number) if name in chosen and len(chosen) > 1 else ""
            found.append(Place(kind=kinds[name], name=name, letter=sign, number=number, at_m=at_m[None]))
    return tuple(sorted(found, key=lambda one: ("search", "spot", *GATEWAYS).index(one.kind)))


def routes_of(network: Network) -> tuple[Route, ...]:
    """The route of every inverter: to its gateway, or over the inverters that pass its messages on."""
    at_m, gateways_m = network.links.inverters.at_m[:, :2], network.links.gateways.at_m[:, :2]
    found = []
    for route, state in zip(network.routes, network.state.tolist(), strict=True):
        points = [*at_m[[route.inverter, *route.relays]], *gateways_m[[route.gateway] if route.gateway >= 0 else []]]
        found.append(Route(inverter=route.inverter, gateway=route.gateway, state=state, points_m=np.array(points)))
    return tuple(found)


def gateway_labels(places: Sequence[Place]) -> list[Label]:
    """Names of gateways, those chosen first; then of searches and spots."""
    gateways = [one for one in reversed(places) if one.kind in GATEWAYS]
    rest = [one for one in places if one.kind not in GATEWAYS]
    return [
        Label(
            text=f"{one.letter} {one.name}".strip(),
            kind="gateway" if one.kind in GATEWAYS else one.kind,
            at=_point(one.at_m[len(one.at_m) // 2]),
            needed=one.kind in GATEWAYS,
        )
        for one in (*gateways, *rest)
        if len(one.at_m)
    ]


def inverter_labels(scene: Scene, network: Network | None) -> tuple[list[Label], list[Label]]:
    """Names to put where there is room: first of inverters that do not hold and of arrays; then of all others.

    Those that fail come first, the weakest first of all; so many that nobody reads them are not tried.
    """
    every = range(len(scene.inverters))
    weak, rest = ([], _inverters(scene, every)) if network is None else every_inverter_label(scene, network)
    arrays = []
    if len(every) > FEW:
        for array in scene.plan.arrays:
            at_m = array.positions_m()[:, :2]
            corner_m = (float(at_m[:, 0].mean()), float(at_m[:, 1].max()))
            arrays.append(Label(text=f"array {array.name}", kind="array", at=corner_m))
    near = len(every) > FEW
    shown = [replace(label, near=near) for label in weak[:MAX_NAMED]]
    others = [replace(label, near=near) for label in rest[: MAX_NAMED - len(shown)]]
    return [*shown, *arrays], others


def every_inverter_label(scene: Scene, network: Network) -> tuple[list[Label], list[Label]]:
    """Names of all inverters: first those that do not hold and both ends of each row; then the others."""
    places, last = scene.inverters.places, len(scene.inverters) - 1
    margin_db = np.where(np.isnan(network.weakest_margin_db), -np.inf, network.weakest_margin_db)
    weak = [i for i in np.argsort(margin_db, kind="stable").tolist() if network.state[i] < len(STATES) - 1]
    starts = [i for i in range(last + 1) if i in {0, last} or places[i] != places[i - 1]]
    first = dict.fromkeys([*weak, *starts, *(i - 1 for i in starts if i)])
    return _inverters(scene, list(first)), _inverters(scene, [i for i in range(last + 1) if i not in first])


def _inverters(scene: Scene, chosen: Sequence[int]) -> list[Label]:
    ends = scene.inverters
    return [Label(text=ends.names[i], kind="inverter", at=_point(ends.at_m[i])) for i in chosen]


def obstacle_labels(shapes: Sequence[Shape], frame_m: Corners) -> list[Label]:
    """Names of obstacles, the largest first, each on the part of it that is in sight."""
    named: list[tuple[float, Label]] = []
    for shape in shapes:
        shown = [np.clip(part_m, *frame_m) for part_m in shape.parts_m]
        if shape.obstacle.label and shown:
            largest = max(shown, key=lambda part_m: float(np.sum(np.ptp(part_m, axis=0))))
            size_m = float(np.sum(np.ptp(np.concatenate(shown), axis=0)))
            label = Label(text=shape.obstacle.label, kind="obstacle", at=_point(largest.mean(axis=0)), over=True)
            named.append((size_m, label))
    once = {label.text: label for _, label in sorted(named, key=lambda one: -one[0])}
    return list(once.values())


def _point(at_m: FloatArray) -> tuple[float, float]:
    return float(at_m[0]), float(at_m[1])
