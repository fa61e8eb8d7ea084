"""Ways through what shuts one end of a line in, and around the rest: out of a shed, and then over a container."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.base.units import db_from_ratio, ratio_from_db
from survey.geometry import Lines, seen_first, shut_out
from survey.propagation import Way
from survey.propagation.bends import Bent, bend
from survey.propagation.sides import Near, blocked_lines
from survey.propagation.slight import smooth
from survey.scene import Scene

SHUT_FROM, SHUT_IN_FULL = 0.5, 0.8
"""Share of the sky from which on, and from which on in full, a building shuts an end in (an assumption)."""
LEVELS = 2
"""So many sets of buildings are opened for a line at most: those that shut an end in most, and those with the next."""
LANES = Way.REFLECTED
"""Over, left and right: so many ways may leave a building."""
WAY_OF_SIDE = np.array([Way.OVER, Way.OVER, Way.LEFT, Way.RIGHT])
"""Which `Way` each of `SIDES` belongs to."""


@dataclass(frozen=True, kw_only=True)
class Leaks:
    """What ways around go through all the same, a row for each link, way and obstacle.

    Attributes
    ----------
    link : ndarray of int, shape (rows,)
        Which link, rising.
    way : ndarray of int, shape (rows,)
        Which `Way`: over, left or right.
    owner : ndarray of int, shape (rows,)
        Which obstacle.
    passes : ndarray of float, shape (rows,)
        How often its sheets are gone through, the mean by power of the strings that make the way up. [-]
    power : ndarray of float, shape (rows,)
        What they bring, relative to the straight line in free space; of one way the same in all rows. [-]
    """

    link: IntArray
    way: IntArray
    owner: IntArray
    passes: FloatArray
    power: FloatArray

    def __len__(self) -> int:
        return len(self.link)

    def pick(self, chosen: IntArray | BoolArray) -> Leaks:
        """Some of the rows."""
        return Leaks(**{one.name: getattr(self, one.name)[chosen] for one in fields(self)})

    def sorted(self) -> Leaks:
        """The rows in the order of their links."""
        return self.pick(np.lexsort((self.owner, self.way, self.link)))

    def with_extra_loss(
        self, around_db: FloatArray, owners: IntArray | int, extra_db: float
    ) -> tuple[Leaks, FloatArray]:
        """These, and the losses of the ways, with every pass through some obstacles losing so much more.

        Parameters
        ----------
        around_db : ndarray of float, shape (ways, ...)
            Loss of each `Way` of each link. [dB]
        owners : ndarray of int, or int
            Which obstacles.
        extra_db : float
            How much more. [dB]
        """
        thicker = np.isin(self.owner, owners)
        if not np.any(thicker):
            return self, around_db
        _, first, place = np.unique(self.link * LANES + self.way, return_index=True, return_inverse=True)
        way, link, power = self.way[first], self.link[first], self.power[first]
        left = power * ratio_from_db(-np.bincount(place, weights=self.passes * thicker) * extra_db)
        loss_db = around_db.reshape(len(around_db), -1).copy()
        loss_db[way, link] = -db_from_ratio(ratio_from_db(-loss_db[way, link]) - power + left)
        return replace(self, power=left[place]), loss_db.reshape(around_db.shape)

    def numbered(self, number: IntArray) -> Leaks:
        """The same with the numbers that links have among others."""
        return replace(self, link=number[self.link])


def no_leaks() -> Leaks:
    """No rows."""
    none, nothing = np.zeros(0, dtype=np.int64), np.zeros(0)
    return Leaks(link=none, way=none, owner=none, passes=nothing, power=nothing)


def joined(parts: list[Leaks]) -> Leaks:
    """The rows of several, one after the other."""
    return Leaks(**{one.name: np.concatenate([getattr(part, one.name) for part in parts]) for one in fields(Leaks)})


@dataclass(frozen=True, kw_only=True)
class Shut:
    """How buildings shut in one end of lines and not the other.

    Attributes
    ----------
    share : ndarray of float, shape (lines, buildings)
        How far each does so, from 0 to 1; no columns where none could make a difference. [-]
    start, end : ndarray of int, shape (lines,)
        Rows of `seen` for the ends of each line.
    seen : ndarray of bool, shape (ends, screens)
        Which screens of the buildings that shut it in an end sees first.
    """

    share: FloatArray
    start: IntArray
    end: IntArray
    seen: BoolArray

    def pick(self, chosen: IntArray | slice) -> Shut:
        """The same for some of the lines."""
        return replace(self, share=self.share[chosen], start=self.start[chosen], end=self.end[chosen])


def shut_on_one_side(scene: Scene, starts_m: FloatArray, ends_m: FloatArray, start: IntArray, end: IntArray) -> Shut:
    """How far each building shuts in one end of some lines, and not the other.

    Parameters
    ----------
    scene : Scene
        The site.
    starts_m, ends_m : ndarray of float, shapes (starts, 3) and (ends, 3)
        Ends of lines. [m]
    start, end : ndarray of int, shape (lines,)
        Which ends each line has; -1 both for one that is not asked for.

    Returns
    -------
    Shut
        For each of the lines.
    """
    points_m, screens = np.concatenate([starts_m, ends_m]), len(scene.screens)
    asked = np.flatnonzero(start >= 0)
    rows = np.zeros((2, len(start)), dtype=np.int64)
    if screens < 2 or not np.any(scene.buildings >= 0) or not len(asked):  # noqa: PLR2004  nothing left to go around
        return Shut(
            share=np.zeros((len(start), 0)), start=rows[0], end=rows[1], seen=np.zeros((1, screens), dtype=bool)
        )
    rows[:, asked] = start[asked], len(starts_m) + end[asked]
    used, place = np.unique(rows[:, asked], return_inverse=True)
    rows[:, asked] = place.reshape(2, -1)
    shares = shut_out(points_m[used], scene.screens, scene.sheets, scene.buildings)
    inside = smooth((shares - SHUT_FROM) / (SHUT_IN_FULL - SHUT_FROM))
    share = np.zeros((len(start), inside.shape[1]))
    share[asked] = np.abs(inside[rows[0, asked]] - inside[rows[1, asked]])
    seen = np.zeros((len(used), screens), dtype=bool)
    within = np.flatnonzero(inside.any(axis=1))
    seen[within] = seen_first(points_m[used[within]], scene.screens, scene.sheets, scene.buildings)
    seen &= np.column_stack([inside > 0, np.zeros(len(used), dtype=bool)])[:, scene.buildings]
    return Shut(share=share, start=rows[0], end=rows[1], seen=seen)


def opened_sets(shut: Shut, buildings: IntArray) -> Iterator[tuple[FloatArray, BoolArray]]:
    """Which screens ways go through: the buildings that shut an end in, those first that do so most.

    Parameters
    ----------
    shut : Shut
        How far each building shuts in one end of a line and not the other.
    buildings : ndarray of int, shape (screens,)
        Which building each screen belongs to.

    Yields
    ------
    tuple of ndarray of float and ndarray of bool, shapes (lines,) and (lines, screens)
        How much such ways count, and what they go through: all that these buildings are made of; and then only what
        the end inside sees of them, so that what adjoins its room, as a lean-to does, is gone around.
    """
    left = shut.share
    for _ in range(LEVELS):
        level = left.max(axis=1, initial=0.0)
        chosen = (left >= level[:, None] - 1e-9) & (left > 0)
        whole = (buildings >= 0) & chosen[:, buildings]
        yield level, whole
        shell = whole & (shut.seen[shut.start] | shut.seen[shut.end])
        yield np.where(np.any(shell != whole, axis=1), level, 0.0), shell
        left = np.where(chosen, 0.0, left)


def opened_ways(scene: Scene, lines: Lines, near: Near, shut: Shut, bent: Bent) -> tuple[Bent, Leaks]:
    """Put in what comes through the buildings that shut one end in, and around all else.

    Parameters
    ----------
    scene : Scene
        The site.
    lines : Lines
        The lines.
    near : Near
        What blocks them or lies close.
    shut : Shut
        How far each building shuts in one end of a line and not the other.
    bent : Bent
        What goes around everything.

    Returns
    -------
    tuple of Bent and Leaks
        The ways with the stronger on each side: around the building too, or through its sheets. And what those go
        through.

    Notes
    -----
    Opened are the buildings with all that they are made of, or only what the end inside sees of them. Which screens are
    opened depends on where the ends stand, not on what the line meets, so nothing else that moves
    into a line changes it. The stronger way counts and not the sum: where a sheet of the building is only grazed, both
    strings are nearly the same, and going past its edge costs less than going through. A line that goes through a
    building and grazes something else is charged for that edge as a clear line is.
    """
    by_side, leave_deg, arrive_deg = bent.by_side.copy(), bent.leave_deg.copy(), bent.arrive_deg.copy()
    grazed_db, grazed_screen = bent.grazed_db.copy(), bent.grazed_screen.copy()
    through = np.zeros(by_side.shape)
    rows: list[tuple[IntArray, IntArray, IntArray, FloatArray]] = []
    blocked = blocked_lines(near, len(by_side))
    for level, opened in opened_sets(shut, scene.buildings):
        opens = opened[near[0], near[1]]
        left = np.zeros(len(by_side), dtype=bool)
        left[near[0][~opens]] = True
        chosen = np.flatnonzero((level > 0) & blocked & left)
        if not len(chosen):
            continue
        place = np.full(len(by_side), -1)
        place[chosen] = np.arange(len(chosen))
        kept = ~opens & (place[near[0]] >= 0)
        some = place[near[0][kept]], near[1][kept], near[2][kept]
        found = bend(scene, lines.pick(chosen), some, opened[chosen])
        power = level[chosen, None] * found.by_side
        better = power > by_side[chosen] * (1.0 + 1e-9)  # the same string twice is no other way
        line, side = np.nonzero(better)
        at = chosen[line], side
        by_side[at] = through[at] = power[better]
        leave_deg[at], arrive_deg[at] = found.leave_deg[better], found.arrive_deg[better]
        rows = [_but(one, at, by_side.shape) for one in rows]
        passes = found.passes
        of = better[passes.line, passes.side]
        line_of = chosen[passes.line[of]]
        rows.append((line_of, passes.side[of], passes.owner[of], passes.power[of] * level[line_of]))
        edge_db = -db_from_ratio(1.0 - level[chosen] * (1.0 - ratio_from_db(-found.grazed_db)))
        more = edge_db > grazed_db[chosen]
        grazed_db[chosen[more]], grazed_screen[chosen[more]] = edge_db[more], found.grazed_screen[more]
    ways = replace(
        bent,
        by_side=by_side,
        leave_deg=leave_deg,
        arrive_deg=arrive_deg,
        grazed_db=grazed_db,
        grazed_screen=grazed_screen,
    )
    return ways, _leaks(rows, through, scene)


def _but(
    rows: tuple[IntArray, IntArray, IntArray, FloatArray], beaten: tuple[IntArray, IntArray], shape: tuple[int, ...]
) -> tuple[IntArray, IntArray, IntArray, FloatArray]:
    """Rows but for those of lines and sides where another way has turned out stronger."""
    gone = np.zeros(shape, dtype=bool)
    gone[beaten] = True
    kept = ~gone[rows[0], rows[1]]
    return rows[0][kept], rows[1][kept], rows[2][kept], rows[3][kept]


def _leaks(rows: list[tuple[IntArray, IntArray, IntArray, FloatArray]], through: FloatArray, scene: Scene) -> Leaks:
    """Rows by line, side and obstacle as those of the ways, with what arrives along strings that went through."""
    if not rows:
        return no_leaks()
    line, side, owner, power = (np.concatenate(column) for column in zip(*rows, strict=True))
    obstacles, ways = max(1, len(scene.obstacles)), LANES
    key, place = np.unique((line * ways + WAY_OF_SIDE[side]) * obstacles + owner, return_inverse=True)
    by_way = np.zeros((len(through), ways))
    for one, way in enumerate(WAY_OF_SIDE.tolist()):
        by_way[:, way] += through[:, one]
    link, way = key // obstacles // ways, key // obstacles % ways
    brought = by_way[link, way]
    passes = np.bincount(place, weights=power, minlength=len(key)) / np.maximum(brought, 1e-300)
    return Leaks(link=link, way=way, owner=key % obstacles, passes=passes, power=brought)
