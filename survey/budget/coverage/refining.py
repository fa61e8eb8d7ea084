"""Links of a grid of points to one end: what goes straight through at every point, ways around where they change."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.base.units import elevation_deg, ratio_from_db
from survey.base.workers import WORKERS, in_order
from survey.budget import DeferredPathsAround, DirectLinks, LinkFigures, direct_links
from survey.geometry import Chords
from survey.propagation import power_sum_loss_db
from survey.propagation.enclosed import Leaks
from survey.propagation.penetration import chord_losses_db, sheet_losses_db, total_over_links
from survey.propagation.sides import blocked_lines
from survey.scene import Ends, Scene

COARSE = 16
"""Ways around are first worked out for every so many points along a row and along a column; a power of two."""
MOST_MISS_DB = {8: 0.15, 4: 0.3, 2: 0.5, 1: 0.5}
"""Where a point between others is worked out and misses what they told by more than this, so are its neighbours."""
ROUNDS = 4
"""How often squares are looked at because a point on the side that they share with others missed."""
LEAST_SHARE_DB = 0.05
"""What ways around must at least change in a link before those of its neighbours are looked at for that reason."""
ANGLES, GRAZED, LEAKS = slice(1, 3), 3, 4
"""Where among the values of points elevations stand, what lines graze, and from which on what ways go through."""
NO_WAY_DB = 300.0
"""Stands for a way around that is not there."""
LEAST_LINES, MOST_LINES = 400, 5_000
"""Lines that are led around things in one go: fewer cost no less."""


@dataclass(kw_only=True)
class _Field:
    """What is known of the points of a grid.

    Attributes
    ----------
    straight : DirectLinks
        Of all points in order to one end.
    shape : tuple of int
        Rows and columns of the grid.
    deferred : DeferredPathsAround
        The points whose lines are blocked or come close to a screen.
    blocked : ndarray of bool, shape (points,)
        Lines that a screen blocks.
    open_db : ndarray of float, shape (points,)
        What straight lines lose in things that are no screens. [dB]
    leaky : ndarray of int, shape (leaky,)
        Obstacles that ways around have been found to go through all the same, rising: sheets of a building that shuts
        an end in, and whatever is no screen.
    values : ndarray of float, shape (4 + leaky, points)
        What bending around screens costs on top of that, all ways together, or what a clear line grazes [dB]; the
        elevations of `Around` [deg]; what the line grazes [dB]; and how often the ways go through each of the leaky
        obstacles, the mean by power [-].
    """

    straight: DirectLinks
    shape: tuple[int, int]
    deferred: DeferredPathsAround
    blocked: BoolArray
    open_db: FloatArray
    leaky: IntArray
    values: FloatArray

    def links(self) -> LinkFigures:
        """The links as the values have them."""
        whole = self.straight.shape
        bend_db, leave_deg, arrive_deg, also_grazed_db = self.values[:LEAKS]
        there = self.blocked & (bend_db < NO_WAY_DB)
        grazed_db = np.zeros(len(bend_db))
        number = self.deferred.number
        grazed_db[number] = np.maximum(np.where(self.blocked, also_grazed_db, bend_db)[number], 0.0)
        return LinkFigures(
            **self.straight.columns
            | {
                "straight_db": self.straight.straight_db + grazed_db.reshape(whole),
                "grazed_db": grazed_db.reshape(whole),
                "around_db": np.where(there, bend_db + self.open_db, np.nan).reshape(1, *whole),  # all paths as one
                "leaks": self._leaks(there),
                "leave_deg": leave_deg.reshape(whole),
                "arrive_deg": arrive_deg.reshape(whole),
            }
        )

    def _leaks(self, there: BoolArray) -> Leaks:
        """What all ways around as one go through, a row for each point and obstacle."""
        passes = self.values[LEAKS:]
        link, one = np.nonzero((there & (passes > 0)).T)
        power = ratio_from_db(-(self.values[0] + self.open_db)[link])
        way = np.zeros(len(link), dtype=np.int64)
        return Leaks(link=link, way=way, owner=self.leaky[one], passes=passes[one, link], power=power)

    def work_out(self, points: IntArray, workers: int) -> None:
        """Put in the values of some points, in order, from the ways of their own."""
        number = self.deferred.number
        place = np.minimum(np.searchsorted(number, points), max(0, len(number) - 1))
        chosen = place[number[place] == points] if len(number) else place[:0]
        shared = workers if len(chosen) >= workers * LEAST_LINES else 1
        parts = -(-len(chosen) // (MOST_LINES * shared)) * shared
        some = [chosen[first::parts] for first in range(parts)]  # lines side by side cost alike
        for lines, ways in zip(some, in_order(self.deferred.paths, some, workers=workers), strict=True):
            numbers = number[lines]
            around_db = power_sum_loss_db(ways.around_db)
            bend_db = np.minimum(around_db - self.open_db[numbers], NO_WAY_DB)
            self.values[0, numbers] = np.where(self.blocked[numbers], bend_db, ways.grazed_db)
            self.values[GRAZED, numbers] = ways.grazed_db
            for row, angle_deg in enumerate((ways.leave_deg, ways.arrive_deg), start=ANGLES.start):
                known = ~np.isnan(angle_deg)  # where there is no way the line's own stays
                self.values[row, numbers[known]] = angle_deg[known]
            leaks, arrived = ways.leaks, ratio_from_db(-around_db)
            self._also_leaky(leaks.owner)
            self.values[LEAKS:, numbers] = 0.0
            which = LEAKS + np.searchsorted(self.leaky, leaks.owner)
            np.add.at(self.values, (which, numbers[leaks.link]), leaks.passes * leaks.power / arrived[leaks.link])

    def _also_leaky(self, owners: IntArray) -> None:
        """Make room for the passes through obstacles that no way has gone through before."""
        new = np.setdiff1d(owners, self.leaky)
        at = np.searchsorted(self.leaky, new)
        self.leaky = np.insert(self.leaky, at, new)
        self.values = np.insert(self.values, LEAKS + at, 0.0, axis=0)


def refined_links(
    scene: Scene,
    inverters: Ends,
    gateways: Ends,
    *,
    shape: tuple[int, int],
    coarse: int = COARSE,
    workers: int = WORKERS,
) -> tuple[LinkFigures, BoolArray]:
    """Links of all points of a level grid to one end, with ways around worked out only where they are needed.

    Parameters
    ----------
    scene : Scene
        The site.
    inverters, gateways : Ends
        The points, row by row, and the one other end; or the one end, and the points.
    shape : tuple of int
        Rows and columns of the grid, each a multiple of `coarse` and one more.
    coarse : int
        How far apart the points are that are looked at first; 1 to look at all of them.
    workers : int
        How many threads share the work; the answer is the same with any number.

    Returns
    -------
    tuple of Links and ndarray of bool, shape (rows, columns)
        What goes straight through is that of each point's own line. All ways around stand as one, ``together``, and
        without the names of what is grazed. Then the points of which they are told, not worked out.

    Notes
    -----
    What bending costs is worked out for every `coarse` th point along rows and columns, and told for the points
    halfway between as the mean of their neighbours. Such a point is worked out itself where the points around it are
    not to be trusted: at first all of them; then those beside a point at which the margin missed what it was told by
    more than `MOST_MISS_DB`; and those in squares whose lines go through different screens, unless ways around bring
    less than `LEAST_SHARE_DB` beside what goes straight through all over the square.
    """
    field = _field(scene, inverters, gateways, shape)
    rows, columns = shape
    index = np.arange(rows * columns).reshape(shape)
    sets = _sets(field)
    known = np.zeros(shape, dtype=bool)
    first = max(1, coarse // 2)  # what those in between were told shows from the first points already
    known[::first, ::first] = True
    field.work_out(index[known], workers)
    active = np.ones(((rows - 1) // coarse, (columns - 1) // coarse), dtype=bool)
    step = coarse
    while step > 1:
        half = step // 2
        part = (slice(None, None, half), slice(None, None, half))
        worked_out = field.values[:, known.ravel()]
        tell_between(field.values.reshape(-1, rows, columns), step)
        told_db = field.links().margin_db.reshape(shape)[part]
        field.values[:, known.ravel()] = worked_out
        missed = np.zeros_like(known[part])
        for _ in range(ROUNDS):  # along a border from square to square
            wanted = _new_points(active) & ~known[part]
            field.work_out(index[part][wanted], workers)
            known[part] |= wanted
            missed = known[part] & (np.abs(field.links().margin_db.reshape(shape)[part] - told_db) > MOST_MISS_DB[half])
            beside = ~active & _touched(missed)
            if not beside.any():
                break
            active |= beside
        if half > 1:
            active = _corners(missed, np.logical_or) | _uneven(field, sets, half)
        step = half
    told = np.zeros(rows * columns, dtype=bool)
    told[field.deferred.number] = ~known.ravel()[field.deferred.number]
    return field.links(), told.reshape(shape)


def _field(scene: Scene, inverters: Ends, gateways: Ends, shape: tuple[int, int]) -> _Field:
    """What goes straight through, and no ways around yet."""
    links, deferred = direct_links(scene, inverters, gateways)
    blocked = np.zeros(links.shape[0] * links.shape[1], dtype=bool)
    blocked[deferred.number] = blocked_lines(deferred.near, len(deferred.number))
    values = np.zeros((LEAKS, len(blocked)))
    along_m = gateways.at_m[None] - inverters.at_m[:, None]
    values[ANGLES] = elevation_deg(along_m).ravel(), elevation_deg(-along_m).ravel()
    return _Field(
        straight=links,
        shape=shape,
        deferred=deferred,
        blocked=blocked,
        open_db=_open_db(links),
        leaky=np.zeros(0, dtype=np.int64),
        values=values,
    )


def _open_db(links: DirectLinks) -> FloatArray:
    """What straight lines lose in things that are no screens, shape (links,). [dB]"""
    scene, at_m = links.scene, (links.inverters.at_m, links.gateways.at_m)
    through = links.crossings.pick(scene.screens.of_sheet[links.crossings.sheet] < 0)
    sheets_db = total_over_links(through, sheet_losses_db(scene, through, *at_m), shape=links.shape)
    inside: Chords = links.chords
    return np.asarray(sheets_db + total_over_links(inside, chord_losses_db(scene, inside), shape=links.shape)).ravel()


def _sets(field: _Field) -> IntArray:
    """A number for each set of screens that block a line, shape (points,); 0 for none."""
    line, screen, blocks = field.deferred.near
    # Sums of such numbers are as good as never alike for two sets.
    names = np.random.default_rng(0).integers(1, 2**62, len(field.straight.scene.screens))
    found = np.zeros(len(field.blocked), dtype=np.int64)
    np.add.at(found, field.deferred.number[line[blocks]], names[screen[blocks]])
    return found


def tell_between(values: FloatArray, step: int) -> None:
    """Fill in the points halfway between those `step` apart: means of two, and of four in the middle of a square."""
    half = step // 2
    known = values[:, ::step, ::step]
    values[:, ::step, half::step] = (known[:, :, 1:] + known[:, :, :-1]) / 2.0
    values[:, half::step, ::step] = (known[:, 1:] + known[:, :-1]) / 2.0
    across = values[:, ::step, half::step]
    values[:, half::step, half::step] = (across[:, 1:] + across[:, :-1]) / 2.0


def _new_points(active: BoolArray) -> BoolArray:
    """The points halfway along the sides and in the middle of some squares, on a grid of half their size."""
    rows, columns = active.shape
    new = np.zeros((2 * rows + 1, 2 * columns + 1), dtype=bool)
    new[1::2, 1::2] = active
    new[:-1:2, 1::2] |= active
    new[2::2, 1::2] |= active
    new[1::2, :-1:2] |= active
    new[1::2, 2::2] |= active
    return new


def _touched(points: BoolArray) -> BoolArray:
    """Squares of which some of these points, on a grid of half their size, lie halfway along a side."""
    return np.asarray(points[:-2:2, 1::2] | points[2::2, 1::2] | points[1::2, :-2:2] | points[1::2, 2::2])


def _corners(values: NDArray[Any], join: Callable[..., Any]) -> NDArray[Any]:
    """What the four corners of each square of a grid come to together."""
    return np.asarray(join(join(values[1:, 1:], values[1:, :-1]), join(values[:-1, 1:], values[:-1, :-1])))


def _over_squares(values: NDArray[Any], step: int, join: np.ufunc) -> NDArray[Any]:
    """What all points of each square come to together, its sides included."""
    rows, columns = values.shape
    down = join.reduce([values[k : rows - step + k : step] for k in range(step + 1)], axis=0)
    return np.asarray(join.reduce([down[:, k : columns - step + k : step] for k in range(step + 1)], axis=0))


def _uneven(field: _Field, sets: IntArray, step: int) -> BoolArray:
    """Squares whose lines go through different screens, where ways around count somewhere."""
    over = partial(_over_squares, step=step)

    def at(values: NDArray[Any]) -> NDArray[Any]:
        return values.reshape(field.shape)

    changes = over(at(sets), join=np.minimum) != over(at(sets), join=np.maximum)
    all_blocked = over(at(field.blocked), join=np.logical_and)
    worst_db = over(at(field.straight.straight_db.ravel()), join=np.maximum)
    best_db = _corners(at(field.values[0] + field.open_db)[::step, ::step], np.minimum)
    counts = worst_db - power_sum_loss_db([worst_db, best_db]) > LEAST_SHARE_DB
    return np.asarray(changes & (counts | ~all_blocked))
