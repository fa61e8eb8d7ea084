"""What of a site moves as one piece where the drawing is off, and the site with every piece moved."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from survey.base.arrays import FloatArray, IntArray
from survey.geometry import Sheets, on_sheet
from survey.inputs.plan import Array, Box, Inverter, Plan, Search, Spot
from survey.scene.ends import Ends

if TYPE_CHECKING:
    from survey.scene import Scene

JOINED_M = 0.052
"""Sheets nearer together than this move as one: what the paths around take for closed (`around.bodies.SHORT_M`). [m]"""
NEAR_SHEET_M = 0.30
"""Inverters, arrays and spots nearer to a sheet than this are taken to be fixed to it: a judgement. [m]"""
SPREADS_WITHIN = 2.0
"""Standard deviations that `drawn_within_m` is: 95 of 100 normal deviates lie within so many."""
ISO_BOXES_M = ((2.991, 2.438), (6.058, 2.591), (6.058, 2.896), (12.192, 2.591), (12.192, 2.896))
"""Length and height of containers by ISO 668:2020: such a height is no figure of the drawing. [m]"""
ISO_WIDTH_M = 2.438
"""Their width, by the same. [m]"""
SAMPLES = (0.0, 0.25, 0.5, 0.75)
"""Places along an edge at which is asked whether it lies on a sheet, beside where it meets the sheet's plane. [-]"""
DIRECTIONS = ("position from west to east", "position from south to north", "height")
"""In which ways a piece moves."""
ALONG_FACE = ("position along the face", "position up the face", "")
"""The same of what moves by itself only along what it is fixed to."""
POINTS_AT_ONCE = 10_000
"""Points of a search that are held against all sheets at a time, so that memory does not grow with their number."""


@dataclass(frozen=True, kw_only=True)
class Shift:
    """How a moved site came from another one.

    Attributes
    ----------
    base : Scene
        The site as the plan has it.
    obstacle_m : ndarray of float, shape (obstacles, 3)
        By how much each obstacle was moved. [m]
    piece : ndarray of int, shape (obstacles,)
        Which piece each belongs to.
    """

    base: Scene
    obstacle_m: FloatArray
    piece: IntArray


@dataclass(frozen=True, kw_only=True)
class Pieces:
    """What moves as one.

    Attributes
    ----------
    scene : Scene
        The site as the plan has it.
    names : tuple of str
        What each piece is called.
    directions : tuple of tuple of str
        What its three deviations are: of position and height.
    axes : ndarray of float, shape (pieces, 3, 3)
        Unit vectors of the deviations. [-]
    spread_m : ndarray of float, shape (pieces, 3)
        Their standard deviations. [m]
    obstacle : ndarray of int, shape (obstacles, 2)
        The piece of each obstacle, and the one by which it moves along that; -1 for none.
    entries : mapping of (str, str) to (int, int)
        The same of the plan's inverters, arrays, gateways, spots and searches, by end of the link and name.
    free : frozenset of str
        Searches whose points move with whatever each of them stands at.
    """

    scene: Scene
    names: tuple[str, ...]
    directions: tuple[tuple[str, ...], ...]
    axes: FloatArray
    spread_m: FloatArray
    obstacle: IntArray
    entries: Mapping[tuple[str, str], tuple[int, int]]
    free: frozenset[str]

    def __len__(self) -> int:
        return len(self.names)

    def of_ends(self, ends: Ends, *, end: str) -> IntArray:
        """Return the pieces of some ends of the site, shape (ends, 2); `end` is ``inverter`` or ``gateway``."""
        pieces = np.array([self.entries[end, place] for place in ends.places], dtype=np.int64).reshape(-1, 2)
        loose = np.flatnonzero([end == "gateway" and place in self.free for place in ends.places])
        sheets = self.scene.sheets
        for first in range(0, len(loose), POINTS_AT_ONCE):
            chosen = loose[first : first + POINTS_AT_ONCE]
            nearest = nearest_sheet(ends.at_m[chosen], sheets)
            fixed = nearest >= 0
            pieces[chosen[fixed], 0] = self.obstacle[sheets.owner[nearest[fixed]], 0]
        return pieces

    def offsets_m(self, deviates: FloatArray) -> FloatArray:
        """Return how far each piece moves, shape (pieces + 1, 3); the last row is that of no piece. [m]

        Parameters
        ----------
        deviates : ndarray of float, shape (pieces, 3)
            In standard deviations. [-]
        """
        moved_m = np.einsum("pk,pkx->px", deviates * self.spread_m, self.axes)
        return np.concatenate([moved_m, np.zeros((1, 3))])

    def moved(self, deviates: FloatArray) -> Scene:
        """Return the site with every obstacle moved; its ends stay, and are moved by `moved_ends`."""
        scene, offsets_m = self.scene, self.offsets_m(deviates)
        obstacle_m = offsets_m[self.obstacle].sum(axis=1)
        sheets, prisms = scene.sheets, scene.prisms
        by_m = obstacle_m[sheets.owner]
        sheets = replace(
            sheets,
            offset_m=sheets.offset_m + np.einsum("sx,sx->s", sheets.normal, by_m),
            edge_offset_m=sheets.edge_offset_m + np.einsum("sex,sx->se", sheets.edge_normal, by_m),
            corners_m=sheets.corners_m + by_m[:, None],
        )
        prisms = replace(
            prisms, offset_m=prisms.offset_m + np.einsum("psx,px->ps", prisms.inward, obstacle_m[prisms.owner])
        )
        shift = Shift(base=scene, obstacle_m=obstacle_m, piece=self.obstacle[:, 0])
        return replace(scene, sheets=sheets, prisms=prisms, shift=shift)

    def moved_ends(self, ends: Ends, of: IntArray, deviates: FloatArray) -> Ends:
        """Return some ends of the site moved with their pieces, `of_ends` of them."""
        return replace(ends, at_m=ends.at_m + self.offsets_m(deviates)[of].sum(axis=1))


def carriers_of(plan: Plan) -> dict[str, str]:
    """Return what each thing is joined to or stands on, by name, where the plan says so."""
    attached: Mapping[str, object] = getattr(plan, "attached", {})
    return {name: str(getattr(carrier, "carrier", carrier)) for name, carrier in attached.items()}


def pieces_of(scene: Scene) -> Pieces:
    """Find what moves as one: what is joined, what touches, and points that are fixed to a sheet.

    Parameters
    ----------
    scene : Scene
        The site as the plan has it.

    Returns
    -------
    Pieces
        In the order of the plan, obstacles first.
    """
    return _Joiner(scene).pieces()


def nearest_sheet(points_m: FloatArray, sheets: Sheets, *, without: IntArray | None = None) -> IntArray:
    """Return the nearest sheet within `NEAR_SHEET_M` of each point, -1 for none; `without` some obstacles' sheets."""
    if not len(sheets):
        return np.full(len(points_m), -1, dtype=np.int64)
    near = on_sheet(points_m, sheets, within_m=NEAR_SHEET_M)
    if without is not None:
        near &= ~np.isin(sheets.owner, without)
    apart_m = np.where(near, np.abs(points_m @ sheets.normal.T - sheets.offset_m), np.inf)
    return np.where(near.any(axis=1), apart_m.argmin(axis=1), -1).astype(np.int64)


def touching(sheets: Sheets, *, within_m: float = JOINED_M) -> Iterator[tuple[int, int]]:
    """Yield the pairs of sheets of different obstacles that meet within a distance."""
    low_m, high_m = sheets.corners_m.min(axis=1) - within_m, sheets.corners_m.max(axis=1) + within_m
    for s in range(len(sheets)):
        near = np.flatnonzero(
            np.all((low_m[s] <= high_m) & (low_m <= high_m[s]), axis=1) & (sheets.owner != sheets.owner[s])
        )
        if not len(near):
            continue
        start_m = sheets.corners_m[s]
        along_m = np.roll(start_m, -1, axis=0) - start_m
        off_m = start_m @ sheets.normal[near].T - sheets.offset_m[near]
        slope = along_m @ sheets.normal[near].T
        meets = np.clip(-off_m / np.where(np.abs(slope) > 1e-9, slope, 1.0), 0.0, 1.0)  # noqa: PLR2004  parallel
        for share in (meets, *(np.full_like(meets, value) for value in SAMPLES)):
            points_m = start_m[:, None] + share[:, :, None] * along_m[:, None]
            plane_m = np.abs(np.einsum("enx,nx->en", points_m, sheets.normal[near]) - sheets.offset_m[near])
            inside_m = np.einsum("enx,nkx->enk", points_m, sheets.edge_normal[near]) - sheets.edge_offset_m[near]
            hit = np.any((plane_m <= within_m) & np.all(inside_m >= -within_m, axis=2), axis=0)
            yield from ((s, int(t)) for t in near[hit])


Node = tuple[str, str]
"""What can move by itself: ``obstacle``, ``inverter`` or ``gateway``, and its name."""


class _Joiner:
    """Joins what moves as one."""

    def __init__(self, scene: Scene) -> None:
        self.scene, self.plan = scene, scene.plan
        self.parent: dict[Node, Node] = {}
        self.own_m: dict[Node, float | None] = {}
        self.carriers = carriers_of(self.plan)
        buildings = {one.name: one for one in getattr(self.plan, "buildings", ())}
        self.known = {*buildings, *scene.obstacles.names}  # what another thing may be a part of
        for name, one in buildings.items():
            self._add(("obstacle", name), one.drawn_within_m)
        self.of_obstacle = [self._node_of(k) for k in range(len(scene.obstacles))]
        for node, one in zip(self.of_obstacle, scene.obstacles.entries, strict=True):
            self._add(node, getattr(one, "drawn_within_m", None))
        near: list[Array | Inverter] = [*self.plan.arrays, *self.plan.inverters]
        far: list[Spot | Search] = [*self.plan.gateways, *self.plan.spots, *self.plan.searches]
        for entry in near:
            self._add(("inverter", entry.name), entry.drawn_within_m)
        for place in far:
            self._add(("gateway", place.name), place.drawn_within_m)
        self.sheet_of: dict[Node, int] = {}
        self._join_carried()
        for s, t in touching(scene.sheets):
            self._join(self.of_obstacle[scene.sheets.owner[s]], self.of_obstacle[scene.sheets.owner[t]])
        self._join_points()

    def _add(self, node: Node, own_m: float | None) -> None:
        self.parent.setdefault(node, node)
        known_m = self.own_m.get(node)
        self.own_m[node] = own_m if known_m is None else known_m if own_m is None else max(known_m, own_m)

    def _node_of(self, k: int) -> Node:
        """The piece that an obstacle is a part of by its name; rows of modules are a part of their array."""
        one = self.scene.obstacles.entries[k]
        if one.is_equipment and one.entry[0] == "array":
            return "inverter", one.entry[1]
        whole = str(getattr(one, "whole", "")) or one.name.partition("/")[0]
        return "obstacle", whole if whole in self.known else one.name

    def _root(self, node: Node) -> Node:
        while self.parent[node] != node:
            node = self.parent[node]
        return node

    def _join(self, one: Node, other: Node) -> None:
        """Join two pieces; the first of them stays the root."""
        self.parent[self._root(other)] = self._root(one)

    def _join_carried(self) -> None:
        """Join what the plan says is carried."""
        for name, carrier in self.carriers.items():
            on = ("obstacle", carrier if ("obstacle", carrier) in self.parent else carrier.partition("/")[0])
            for kind in ("obstacle", "inverter", "gateway"):
                if (kind, name) in self.parent and on in self.parent:
                    self._join(on, (kind, name))

    def _join_points(self) -> None:
        """Join inverters, arrays, gateways and spots to the sheet that most of their points are fixed to."""
        scene, plan = self.scene, self.plan
        searches = {one.name for one in plan.searches}
        groups = (("inverter", scene.inverters), ("gateway", scene.gateways), ("gateway", scene.spots))
        for kind, ends in groups:
            places = np.array(ends.places)
            for name in dict.fromkeys(ends.places):
                node = (kind, name)
                if kind == "gateway" and name in searches:
                    continue
                modules = np.flatnonzero([other == node for other in self.of_obstacle])
                nearest = nearest_sheet(ends.at_m[places == name], scene.sheets, without=modules)
                if np.all(nearest < 0):
                    continue
                sheet = Counter(nearest[nearest >= 0].tolist()).most_common(1)[0][0]
                self.sheet_of[node] = sheet
                if self._is_free(node):
                    self._join(self.of_obstacle[scene.sheets.owner[sheet]], node)

    def _is_free(self, node: Node) -> bool:
        """Whether it is joined to no obstacle so far."""
        root = self._root(node)
        return not any(self._root(other) == root for other in self.of_obstacle if other[0] == "obstacle")

    def pieces(self) -> Pieces:
        """All of them."""
        members: dict[Node, list[Node]] = {}
        for node in self.parent:
            members.setdefault(self._root(node), []).append(node)
        number = {node: k for k, nodes in enumerate(members.values()) for node in nodes}
        names, within_m, level = [], [], []
        for nodes in members.values():
            things = [node for node in nodes if node[0] == "obstacle"]
            carriers = [node for node in things if node[1] not in self.carriers] or things or nodes
            own_m = [value for node in carriers if (value := self.own_m[node]) is not None]
            names.append(common_name([name for _, name in carriers]))
            within_m.append(max(own_m) if own_m else self.plan.site.drawn_within_m)
            level.append(bool(things) and all(self._is_iso_box(node) for node in things))
        axes = [np.eye(3)] * len(names)
        spreads_m = [np.array([w, w, 0.0 if flat else w]) for w, flat in zip(within_m, level, strict=True)]
        directions: list[tuple[str, ...]] = [DIRECTIONS] * len(names)
        along: dict[Node, int] = {}
        for node, own in self.own_m.items():
            if node[0] != "obstacle" and own and node in self.sheet_of and not self._is_free(node):
                along[node] = len(names)
                names.append(node[1])
                axes.append(_face_axes(self.scene.sheets.normal[self.sheet_of[node]]))
                spreads_m.append(np.array([own, own, 0.0]))
                directions.append(ALONG_FACE)
        return Pieces(
            scene=self.scene,
            names=tuple(names),
            directions=tuple(directions),
            axes=np.array(axes).reshape(-1, 3, 3),
            spread_m=np.array(spreads_m).reshape(-1, 3) / SPREADS_WITHIN,
            obstacle=np.array([(number[one], along.get(one, -1)) for one in self.of_obstacle], dtype=np.int64).reshape(
                -1, 2
            ),
            entries={node: (number[node], along.get(node, -1)) for node in number if node[0] != "obstacle"},
            free=frozenset(one.name for one in self.plan.searches if self._is_free(("gateway", one.name))),
        )

    @cached_property
    def _iso_boxes(self) -> set[str]:
        """Boxes of a size that a standard gives."""
        boxes = (one for one in self.scene.obstacles.entries if isinstance(one, Box))
        return {one.name for one in boxes if one.width_m == ISO_WIDTH_M and (one.length_m, one.height_m) in ISO_BOXES_M}

    def _is_iso_box(self, node: Node) -> bool:
        return node[1] in self._iso_boxes


def _face_axes(normal: FloatArray) -> FloatArray:
    """Along a face and up it, and square to it. [-]"""
    level = np.array([-normal[1], normal[0], 0.0])
    length = float(np.linalg.norm(level))
    along = level / length if length > 1e-6 else np.array([1.0, 0.0, 0.0])  # noqa: PLR2004  it lies flat
    return np.array([along, np.cross(normal, along), normal])


def common_name(names: list[str]) -> str:
    """Return what to call things that move as one.

    Examples
    --------
    >>> common_name(["workshop south wall", "workshop roof"]), common_name(["hall"])
    ('workshop', 'hall')
    >>> common_name(["workshop south wall", "workshop roof", "shed"])
    'workshop and what is joined to it'
    >>> common_name(["wall", "roof"])
    'wall and what is joined to it'
    """
    if len(names) == 1:
        return names[0]
    words = [name.split() for name in names]
    shared = 0
    while all(len(one) > shared and one[shared] == words[0][shared] for one in words):
        shared += 1
    if shared:
        return " ".join(words[0][:shared])
    first, count = Counter(one[0] for one in words).most_common(1)[0]
    return f"{first if count > 1 else names[0]} and what is joined to it"
