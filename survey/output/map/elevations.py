"""A site from its four sides, before it is drawn: outlines of obstacles with how far away they are, names, heights."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from survey.base import polygon
from survey.base.arrays import BoolArray, FloatArray
from survey.base.layout import shortened
from survey.inputs.plan import Array, Obstacle
from survey.output.map.labels import Label
from survey.scene import Scene

EDGE_ON_M2 = 0.02
"""What covers less of a view is seen edge on, and is a line there: by eye."""
TEXT_LETTERS = 38
"""A name and its heights take so many letters at most: the faces of a building are told apart by the ends of their
names."""
IN_FRONT_M = 0.01
"""What is less far behind a sheet is on it, and in sight: coordinates are written to the centimetre."""
SHARES = (0.5, 0.25, 0.75, 0.1, 0.9)
"""Where along an outline its name may stand, the first that nothing hides."""
BELOW_TOP_M = 0.05
"""A name stands at the top of its outline; what hides a point this far below the top hides it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class View:
    """One of the four sides.

    Attributes
    ----------
    name : str
        Where the onlooker stands.
    axis : int
        Which coordinate runs across the view: 0 for x, 1 for y.
    is_reversed : bool
        It grows to the left.
    sign : float
        Of the other coordinate: times this, it grows away from the onlooker.
    """

    name: str
    axis: int
    is_reversed: bool
    sign: float

    def flat_m(self, points_m: FloatArray) -> FloatArray:
        """Return points as seen: the coordinate across, and the height, shape (n, 2). [m]"""
        return points_m[:, [self.axis, 2]]

    def depths_m(self, points_m: FloatArray) -> FloatArray:
        """Return how far away points are, from zero, shape (n,). [m]"""
        return np.asarray(points_m[:, 1 - self.axis] * self.sign)


VIEWS = (
    View(name="south", axis=0, is_reversed=False, sign=1.0),
    View(name="east", axis=1, is_reversed=False, sign=-1.0),
    View(name="north", axis=0, is_reversed=True, sign=-1.0),
    View(name="west", axis=1, is_reversed=True, sign=1.0),
)
"""Standing in the south, east is to the right; and so on round the site."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Seen:
    """A sheet, or a side of a volume, from one side.

    Attributes
    ----------
    obstacle : Obstacle
        What it belongs to.
    outline_m : ndarray of float, shape (corners, 2)
        As seen: the coordinate across, and the height. [m]
    depths_m : ndarray of float, shape (corners,)
        How far away each corner is, from zero. [m]
    """

    obstacle: Obstacle
    outline_m: FloatArray
    depths_m: FloatArray

    @property
    def is_line(self) -> bool:
        """Whether it is seen edge on."""
        return abs(polygon.signed_area_m2(self.outline_m)) <= EDGE_ON_M2

    def depth_at_m(self, flat_m: FloatArray) -> FloatArray:
        """Return how far away its plane is where points are seen, shape (points, 2). [m]"""
        terms, *_ = np.linalg.lstsq(
            np.column_stack([np.ones(len(self.outline_m)), self.outline_m]), self.depths_m, rcond=None
        )
        return np.asarray(terms[0] + flat_m @ terms[1:])


def seen_from(scene: Scene, view: View) -> list[Seen]:
    """Return all that stands on a site as it is seen from one side, the farthest first."""
    found = [
        Seen(obstacle=one, outline_m=view.flat_m(face_m), depths_m=view.depths_m(face_m))
        for one in scene.plan.obstacles
        for face_m in one.faces_m()
    ]
    return sorted(found, key=lambda one: -float(one.depths_m.mean()))


def heights_of(points_m: FloatArray) -> str:
    """Return the heights of something as a name has them behind it: its top, or from where to where.

    Examples
    --------
    >>> heights_of(np.array([0.0, 4.0])), heights_of(np.array([4.0, 5.28])), heights_of(np.array([2.6, 2.6]))
    ('4', '4-5.28', '2.6')
    """
    low, high = (f"{round(float(one), 2):g}" for one in (points_m.min(), points_m.max()))
    return high if low in (high, "0") else f"{low}-{high}"


def with_heights(name: str, points_m: FloatArray) -> str:
    """Return a name with its heights, the name cut where both are too long."""
    heights = heights_of(points_m)
    return f"{shortened(name, max(TEXT_LETTERS - len(heights) - 2, 8))}, {heights}"


def obstacle_heights(scene: Scene) -> dict[str, str]:
    """Return the label of each obstacle with its heights behind it."""
    found: dict[str, list[FloatArray]] = {}
    for one in scene.plan.obstacles:
        if one.label:
            found.setdefault(one.label, []).extend(face_m[:, 2] for face_m in one.faces_m())
    return {name: with_heights(name, np.concatenate(parts)) for name, parts in found.items() if parts}


def device_heights(scene: Scene) -> dict[str, str]:
    """Return the names of gateways, spots and single inverters with their heights behind them."""
    found = {}
    for one in (*scene.plan.gateways, *scene.plan.spots):
        found[one.name] = with_heights(one.name, np.array([one.height_m]))
    for search in scene.plan.searches:
        found[search.name] = with_heights(
            search.name, search.positions_m()[:, 2] if search.ground else np.array(search.heights_m)
        )
    for inverter in scene.plan.inverters:
        found[inverter.name] = with_heights(inverter.name, np.array([inverter.height_m]))
    return found


def hidden_from(view: View, seen: Sequence[Seen], at_m: FloatArray) -> BoolArray:
    """Return which devices stand behind something.

    Parameters
    ----------
    view : View
        The side.
    seen : sequence of Seen
        From `seen_from`.
    at_m : ndarray of float, shape (devices, 3)
        Where they are. [m]

    Returns
    -------
    ndarray of bool, shape (devices,)
    """
    depths_m, flat_m = view.depths_m(at_m), view.flat_m(at_m)
    hidden = np.zeros(len(at_m), dtype=bool)
    for one in seen:
        if not one.is_line:
            behind = np.flatnonzero(~hidden & (depths_m > one.depth_at_m(flat_m) + IN_FRONT_M))
            hidden[behind] = polygon.contains(one.outline_m, flat_m[behind])
    return hidden


def named_in(scene: Scene) -> dict[str, tuple[str, ...]]:
    """Return from which sides each array, gateway and spot is named: where it is in sight; hidden, from the first."""
    found: dict[str, list[str]] = {}
    groups = [(one.name, one.positions_m()) for one in scene.plan.arrays]
    groups += [(one.name, np.array([[*one.at, one.height_m]])) for one in (*scene.plan.gateways, *scene.plan.spots)]
    for view in VIEWS:
        seen = seen_from(scene, view)
        hidden = hidden_from(view, seen, np.concatenate([at_m for _, at_m in groups])) if groups else np.zeros(0)
        first = 0
        for name, at_m in groups:
            if not np.all(hidden[first : first + len(at_m)]):
                found.setdefault(name, []).append(view.name)
            first += len(at_m)
    return {name: tuple(found.get(name, [VIEWS[0].name])) for name, _ in groups}


def array_labels(arrays: Sequence[Array], axes: tuple[int, int]) -> list[Label]:
    """Return the names of arrays above their middles, those that come to one place together."""
    together: dict[tuple[float, float], list[Array]] = {}
    for array in arrays:
        flat_m = array.positions_m()[:, axes]
        at = (round(float(flat_m[:, 0].mean()), 1), round(float(flat_m[:, 1].max()), 2))
        together.setdefault(at, []).append(array)
    labels = []
    for at, those in together.items():
        names = ", ".join(one.name for one in those)
        heights_m = np.concatenate([one.positions_m()[:, 2] for one in those])
        text = with_heights(f"{'array' if len(those) == 1 else 'arrays'} {names}", heights_m)
        labels.append(Label(text=text, kind="array", at=at))
    return labels


def labels_from(
    scene: Scene, view: View, seen: Sequence[Seen], frame_m: tuple[float, float], named: dict[str, tuple[str, ...]]
) -> list[Label]:
    """Return the names that belong into a view: of devices, and of obstacles that nothing nearer hides.

    Parameters
    ----------
    scene : Scene
        The site.
    view : View
        The side.
    seen : sequence of Seen
        From `seen_from`.
    frame_m : tuple of float
        Lowest and highest coordinate shown. [m]
    named : dict of str to tuple of str
        From `named_in`.
    """
    names = device_heights(scene)
    labels = [
        Label(text=names[one.name], kind="gateway" if one in scene.plan.gateways else "spot", at=at)
        for one in (*scene.plan.gateways, *scene.plan.spots)
        if view.name in named[one.name] and frame_m[0] <= (at := (one.at[view.axis], one.height_m))[0] <= frame_m[1]
    ]
    arrays = [one for one in scene.plan.arrays if view.name in named[one.name]]
    labels += array_labels(arrays, (view.axis, 2))
    heights = obstacle_heights(scene)
    obstacles: dict[str, Label] = {}
    tops_m: dict[str, float] = {}
    for one in seen:
        name = one.obstacle.label
        tops_m[name] = max(tops_m.get(name, -np.inf), float(one.outline_m[:, 1].max()))
    for k in reversed(range(len(seen))):  # the nearest first
        name = seen[k].obstacle.label
        is_top = float(seen[k].outline_m[:, 1].max()) > tops_m.get(name, 0.0) - IN_FRONT_M
        at_m = _in_sight_m(seen, k, frame_m) if name and is_top and name not in obstacles else None
        if at_m is not None:
            obstacles[name] = Label(text=heights[name], kind="obstacle", at=at_m)
    return [*labels, *obstacles.values()]


def _in_sight_m(seen: Sequence[Seen], k: int, frame_m: tuple[float, float]) -> tuple[float, float] | None:
    """Return a point at the top of an outline that nothing nearer hides; None where all of it is hidden."""
    outline_m = seen[k].outline_m
    low, high = max(outline_m[:, 0].min(), frame_m[0]), min(outline_m[:, 0].max(), frame_m[1])
    if low > high:
        return None
    nearer = [one for one in seen[k + 1 :] if not one.is_line and one.obstacle is not seen[k].obstacle]
    for share in SHARES:
        across = low + share * (high - low)
        top = _top_m(outline_m, across)
        point = np.array([[across, top - BELOW_TOP_M]])
        if not any(polygon.contains(one.outline_m, point)[0] for one in nearer):
            return float(across), float(top)
    return None


def _top_m(outline_m: FloatArray, across: float) -> float:
    """Return the highest point of an outline over a coordinate. [m]"""
    tops = []
    for one, other in zip(outline_m, np.roll(outline_m, -1, axis=0), strict=True):
        if min(one[0], other[0]) - 1e-9 <= across <= max(one[0], other[0]) + 1e-9:
            wide = other[0] - one[0]
            share = (across - one[0]) / wide if abs(wide) > 1e-9 else float(other[1] > one[1])  # noqa: PLR2004  upright
            tops.append(one[1] + share * (other[1] - one[1]))
    return float(max(tops, default=outline_m[:, 1].max()))
