"""What of a site moves as one piece where the drawing is off, and the site with every piece moved."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from survey.base.arrays import FloatArray, IntArray
from survey.inputs.plan import Array, Box, Inverter, Search, Spot
from survey.scene.contacts import nearest_sheet, touching
from survey.scene.ends import Ends
from survey.scene.own_moves import NO_LIMIT, SPREADS_WITHIN, OwnMove, fixed_to, moved_along

if TYPE_CHECKING:
    from survey.scene import Scene

ISO_BOXES_M = ((2.991, 2.438), (6.058, 2.591), (6.058, 2.896), (12.192, 2.591), (12.192, 2.896))
"""Length and height of containers by ISO 668:2020: such a height is no figure of the drawing. [m]"""
ISO_WIDTH_M = 2.438
"""Their width, by the same. [m]"""
DIRECTIONS = ("position from west to east", "position from south to north", "height")
"""In which ways a piece moves."""
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
    limit_m : ndarray of float, shape (2, pieces, 3)
        The least and the greatest of them: a lean-to ends with the wall that it is joined to. [m]
    obstacle : ndarray of int, shape (obstacles, depth)
        The piece of each obstacle, then those by which it moves along what it is on or joined to; -1 for none.
    entries : mapping of (str, str) to tuple of int
        The same of the plan's inverters, arrays, gateways, spots and searches, by end of the link and name.
    free : frozenset of str
        Searches whose points move with whatever each of them stands at.
    """

    scene: Scene
    names: tuple[str, ...]
    directions: tuple[tuple[str, ...], ...]
    axes: FloatArray
    spread_m: FloatArray
    limit_m: FloatArray
    obstacle: IntArray
    entries: Mapping[tuple[str, str], tuple[int, ...]]
    free: frozenset[str]

    def __len__(self) -> int:
        return len(self.names)

    def of_ends(self, ends: Ends, *, end: str) -> IntArray:
        """Return the pieces of some ends of the site, shape (ends, depth); `end` is ``inverter`` or ``gateway``."""
        pieces = np.array([self.entries[end, place] for place in ends.places], dtype=np.int64)
        pieces = pieces.reshape(len(ends), self.obstacle.shape[1])
        loose = np.flatnonzero([end == "gateway" and place in self.free for place in ends.places])
        sheets = self.scene.sheets
        for first in range(0, len(loose), POINTS_AT_ONCE):
            chosen = loose[first : first + POINTS_AT_ONCE]
            nearest = nearest_sheet(ends.at_m[chosen], sheets)
            fixed = nearest >= 0
            pieces[chosen[fixed]] = self.obstacle[sheets.owner[nearest[fixed]]]
        return pieces

    def offsets_m(self, deviates: FloatArray) -> FloatArray:
        """Return how far each piece moves, shape (pieces + 1, 3); the last row is that of no piece. [m]

        Parameters
        ----------
        deviates : ndarray of float, shape (pieces, 3)
            In standard deviations. [-]
        """
        moved_m = np.einsum("pk,pkx->px", np.clip(deviates * self.spread_m, *self.limit_m), self.axes)
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


Node = tuple[str, str]
"""What can move by itself: ``obstacle``, ``inverter`` or ``gateway``, and its name."""


class _Joiner:
    """Joins what moves as one."""

    def __init__(self, scene: Scene) -> None:
        self.scene, self.plan = scene, scene.plan
        self.parent: dict[Node, Node] = {}
        self.own_m: dict[Node, float | None] = {}
        self.carriers = {name: one.carrier for name, one in self.plan.attached.items()}
        buildings = {one.name: one for one in self.plan.buildings}
        self.known = {*buildings, *scene.obstacles.names}  # what another thing may be a part of
        for name, one in buildings.items():
            self._add(("obstacle", name), one.drawn_within_m)
        self.of_obstacle = [self._node_of(k) for k in range(len(scene.obstacles))]
        for node, obstacle in zip(self.of_obstacle, scene.obstacles.entries, strict=True):
            self._add(node, getattr(obstacle, "drawn_within_m", None))
        near: list[Array | Inverter] = [*self.plan.arrays, *self.plan.inverters]
        far: list[Spot | Search] = [*self.plan.gateways, *self.plan.spots, *self.plan.searches]
        for entry in near:
            self._add(("inverter", entry.name), entry.drawn_within_m)
        for place in far:
            self._add(("gateway", place.name), place.drawn_within_m)
        self.sheet_of: dict[Node, int] = {}
        self._join_carried()
        owners = scene.sheets.owner
        pairs = ((self.of_obstacle[owners[s]], self.of_obstacle[owners[t]]) for s, t in touching(scene.sheets))
        self.touching = dict.fromkeys(pairs)  # a set that keeps its order
        for one, other in self.touching:
            self._join(one, other)
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
        names: list[str] = []
        moves: list[OwnMove] = []
        for nodes in members.values():
            things = [node for node in nodes if node[0] == "obstacle"]
            carriers = [node for node in things if node[1] not in self.carriers] or things or nodes
            own_m = [value for node in carriers if (value := self.own_m[node]) is not None]
            names.append(common_name([name for _, name in carriers]))
            spread_m = (max(own_m) if own_m else self.plan.site.drawn_within_m) / SPREADS_WITHIN
            is_level = bool(things) and all(self._is_iso_box(node) for node in things)
            spreads_m = np.array([spread_m, spread_m, 0.0 if is_level else spread_m])
            moves.append(OwnMove(np.eye(3), spreads_m, np.repeat(NO_LIMIT, 3, axis=1), DIRECTIONS))
        along: dict[Node, int] = {}
        for node, move in self._own_moves():
            along[node] = len(names)
            names.append(node[1])
            moves.append(move)
        chains = {node: (number[node], *(along[one] for one in self._chain(node) if one in along)) for node in number}
        depth = max(map(len, chains.values()), default=1)
        chains = {node: chain + (-1,) * (depth - len(chain)) for node, chain in chains.items()}
        return Pieces(
            scene=self.scene,
            names=tuple(names),
            directions=tuple(move.directions for move in moves),
            axes=np.array([move.axes for move in moves]).reshape(-1, 3, 3),
            spread_m=np.array([move.spread_m for move in moves]).reshape(-1, 3),
            limit_m=np.array([move.limit_m for move in moves]).reshape(-1, 2, 3).swapaxes(0, 1),
            obstacle=np.array([chains[one] for one in self.of_obstacle], dtype=np.int64).reshape(-1, depth),
            entries={node: chain for node, chain in chains.items() if node[0] != "obstacle"},
            free=frozenset(one.name for one in self.plan.searches if self._is_free(("gateway", one.name))),
        )

    def _carrier(self, node: Node) -> Node | None:
        """What a thing is on, at or in, if that is an obstacle."""
        name = self.carriers.get(node[1], "")
        found = next(
            (("obstacle", one) for one in (name, name.partition("/")[0]) if ("obstacle", one) in self.parent), None
        )
        if found is None and node in self.sheet_of:
            found = self.of_obstacle[self.scene.sheets.owner[self.sheet_of[node]]]
        return found

    def _chain(self, node: Node) -> list[Node]:
        """A thing and what it is on, that on which all of it is first."""
        chain = [node]
        while (carrier := self._carrier(chain[-1])) is not None and carrier not in chain:
            chain.append(carrier)
        return chain[::-1]

    def _own_moves(self) -> Iterator[tuple[Node, OwnMove]]:
        """What moves by itself as well, by a figure of its own."""
        sheets, buildings = self.scene.sheets, {one.name for one in self.plan.buildings}
        for node, own_m in self.own_m.items():
            kind, name = node
            if not own_m:
                continue
            if kind != "obstacle":
                if node in self.sheet_of and not self._is_free(node):
                    yield node, fixed_to(sheets.normal[self.sheet_of[node]], own_m)
            elif name in self.plan.attached and not self._touches_others(node):
                own = [k for k, one in enumerate(self.of_obstacle) if one == node]
                sheets_m = [sheets.corners_m[s] for s in np.flatnonzero(np.isin(sheets.owner, own))]
                attached = self.plan.attached[name]
                move = moved_along(attached, sheets_m, own_m, is_building=name in buildings) if sheets_m else None
                if move is not None:
                    yield node, move

    def _touches_others(self, node: Node) -> bool:
        """Whether a thing touches something that neither carries it nor is carried by it."""
        others = {other for pair in self.touching for one, other in (pair, pair[::-1]) if one == node} - {node}
        return any(other != self._carrier(node) and node not in self._chain(other) for other in others)

    @cached_property
    def _iso_boxes(self) -> set[str]:
        """Boxes of a size that a standard gives."""
        boxes = (one for one in self.scene.obstacles.entries if isinstance(one, Box))
        return {one.name for one in boxes if one.width_m == ISO_WIDTH_M and (one.length_m, one.height_m) in ISO_BOXES_M}

    def _is_iso_box(self, node: Node) -> bool:
        return node[1] in self._iso_boxes


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
