"""Links worked out: what goes straight through, what goes around, and many of them a few gateways at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray
from survey.base.units import wavelength_m
from survey.base.workers import WORKERS, in_order
from survey.geometry import EDGE_M, chords, crossings_and_misses
from survey.links.figures import Links, own_spreads_db
from survey.links.states import WAYS
from survey.propagation.around import Around, around, near_lines, within_reach
from survey.propagation.distance import log_distance_loss_db
from survey.propagation.enclosed import Shut, no_leaks, shut_on_one_side
from survey.propagation.penetration import chord_losses_db, chord_metres, sheet_losses_db, total_over_links
from survey.propagation.sides import Near, blocked_lines
from survey.propagation.slight import graze_reach_m
from survey.scene import Ends, Scene

R = TypeVar("R")

PAIRS_AT_ONCE = 200_000
"""How many links are worked out in one go where there are many: few enough to stay in a processor's cache."""

Progress = Callable[[int, int], None]
"""Called now and then with what is done and what there is to do."""


def links_between(scene: Scene, inverters: Ends, gateways: Ends) -> Links:
    """Work out the links of some inverters to some gateways or spots.

    Parameters
    ----------
    scene : Scene
        The site.
    inverters, gateways : Ends
        Ends of that site.

    Returns
    -------
    Links
        One for each pair.
    """
    links, detours = straight_links(scene, inverters, gateways)
    number, ways = detours.number, detours.ways()
    grazed_db = _laid_out(number, ways.grazed_db, 0.0, links.shape)
    return replace(
        links,
        straight_db=links.straight_db + grazed_db,
        grazed_db=grazed_db,
        grazed_screen=_laid_out(number, ways.grazed_screen, -1, links.shape),
        around_db={
            "over": _laid_out(number, ways.over_db, np.nan, links.shape),
            "left": _laid_out(number, ways.left_db, np.nan, links.shape),
            "right": _laid_out(number, ways.right_db, np.nan, links.shape),
            "reflected": _laid_out(number, ways.reflected_db, np.nan, links.shape),
        },
        leaks=ways.leaks.numbered(number),
        mirror=_laid_out(number, ways.mirror, -1, links.shape),
        leave_deg=_laid_out(number, ways.leave_deg, np.nan, links.shape),
        arrive_deg=_laid_out(number, ways.arrive_deg, np.nan, links.shape),
    )


@dataclass(frozen=True, kw_only=True)
class Detours:
    """Lines of links that screens block or come close to, whose ways around are still to be worked out.

    Attributes
    ----------
    scene : Scene
        The site.
    number : ndarray of int, shape (lines,)
        Which links, sorted: inverter times the number of gateways plus gateway.
    starts_m, ends_m : ndarray of float, shape (lines, 3)
        Their ends. [m]
    near : tuple of three ndarrays
        Pairs of line and screen, and whether it blocks the line or lies close to it.
    shut : Shut
        How far each building shuts in one end of a line and not the other.
    """

    scene: Scene
    number: NDArray[np.int64]
    starts_m: FloatArray
    ends_m: FloatArray
    near: Near
    shut: Shut

    def ways(self, chosen: NDArray[np.int64] | None = None) -> Around:
        """Ways around of all lines, or of some of them; with a fit, less what it has found of buildings they leave."""
        if chosen is None:
            return self._fitted(around(self.scene, self.starts_m, self.ends_m, self.near, self.shut))
        place = np.full(len(self.number), -1)
        place[chosen] = np.arange(len(chosen))
        line, screen, blocks = self.near
        row = np.flatnonzero(place[line] >= 0)
        near = (place[line[row]], screen[row], blocks[row])
        return self._fitted(
            around(self.scene, self.starts_m[chosen], self.ends_m[chosen], near, self.shut.pick(chosen))
        )

    def _fitted(self, ways: Around) -> Around:
        correction, leaks = self.scene.correction, ways.leaks
        if correction is None:
            return ways
        around_db = {"over": ways.over_db, "left": ways.left_db, "right": ways.right_db}
        for one in np.unique(leaks.owner):
            change_db = max(float(correction.change_db[one]), -float(self.scene.obstacles.loss_db[one]))
            leaks, around_db = leaks.thicker(around_db, one, change_db)
        over_db, left_db, right_db = around_db.values()
        return replace(ways, leaks=leaks, over_db=over_db, left_db=left_db, right_db=right_db)


def straight_links(scene: Scene, inverters: Ends, gateways: Ends) -> tuple[Links, Detours]:
    """Work out what goes straight through, and which links have more than that.

    Parameters
    ----------
    scene : Scene
        The site.
    inverters, gateways : Ends
        Ends of that site.

    Returns
    -------
    tuple of Links and Detours
        The links without ways around and without what edges close by take; and those that have such.
    """
    environment, shape = scene.plan.environment, (len(inverters), len(gateways))
    distance_m = np.linalg.norm(inverters.at_m[:, None] - gateways.at_m[None], axis=2)
    wave_m = float(wavelength_m(scene.plan.radio.frequency_mhz))
    half_m = distance_m.max(initial=0.0) / 2.0
    widest_m = graze_reach_m(half_m, half_m, wavelength_m=wave_m)
    beside_m = np.where(scene.screens.of_sheet >= 0, widest_m, EDGE_M)
    through, missed = crossings_and_misses(inverters.at_m, gateways.at_m, scene.sheets, beside_m)
    missed = within_reach(missed, distance_m, wavelength_m=wave_m)
    number, near = near_lines(through, missed, scene.screens, columns=shape[1])
    inside = chords(inverters.at_m, gateways.at_m, scene.prisms)
    owner = scene.sheets.owner[through.sheet]
    plant = scene.prisms.owner[inside.prism]
    metres, whole_metres = chord_metres(scene, inside)
    spreads_db = own_spreads_db(scene)
    straight_db = total_over_links(through, sheet_losses_db(scene, through, inverters.at_m, gateways.at_m), shape=shape)
    no_way = np.broadcast_to(np.nan, shape)
    links = Links(
        scene=scene,
        inverters=inverters,
        gateways=gateways,
        distance_m=distance_m,
        base_loss_db=log_distance_loss_db(
            distance_m,
            frequency_mhz=scene.plan.radio.frequency_mhz,
            path_loss_exponent=environment.path_loss_exponent,
            reference_distance_m=environment.reference_distance_m,
        ),
        straight_db=straight_db + total_over_links(inside, chord_losses_db(scene, inside), shape=shape),
        grazed_db=np.broadcast_to(0.0, shape),
        grazed_screen=np.broadcast_to(np.int64(-1), shape),
        around_db=dict.fromkeys(WAYS, no_way),
        mirror=np.broadcast_to(np.int64(-1), shape),
        leave_deg=no_way,
        arrive_deg=no_way,
        spread_squared_db2=total_over_links(through, spreads_db[owner] ** 2, shape=shape)
        + total_over_links(inside, spreads_db[plant] ** 2 * metres * whole_metres, shape=shape),
        leaks=no_leaks(),
        crossings=through,
        chords=inside,
    )
    inverter, gateway = number // max(1, shape[1]), number % max(1, shape[1])
    blocked = blocked_lines(near, len(number))
    detours = Detours(
        scene=scene,
        number=number,
        starts_m=inverters.at_m[inverter],
        ends_m=gateways.at_m[gateway],
        near=near,
        shut=shut_on_one_side(scene, inverters.at_m, gateways.at_m, *np.where(blocked, (inverter, gateway), -1)),
    )
    return links, detours


def _laid_out(number: NDArray[np.int64], values: NDArray[Any], fill: float, shape: tuple[int, int]) -> NDArray[Any]:
    """Values of some links among all links."""
    every = np.full(shape[0] * shape[1], fill, dtype=values.dtype)
    every[number] = values
    return every.reshape(shape)


def links_in_blocks(
    scene: Scene, inverters: Ends, gateways: Ends, *, progress: Progress | None = None
) -> Iterator[tuple[slice, Links]]:
    """The same as `links_between`, a few gateways at a time, so that memory does not grow with their number.

    Yields
    ------
    tuple of slice and Links
        Which of the gateways, and their links.
    """
    yield from judged_in_blocks(scene, inverters, gateways, lambda links: links, progress=progress)


def judged_in_blocks(
    scene: Scene,
    inverters: Ends,
    gateways: Ends,
    judge: Callable[[Links], R],
    *,
    progress: Progress | None = None,
    workers: int = WORKERS,
) -> Iterator[tuple[slice, R]]:
    """What somebody makes of the links to a few gateways at a time; the links themselves are let go.

    Parameters
    ----------
    scene : Scene
        The site.
    inverters, gateways : Ends
        Ends of that site.
    judge : callable
        Given the links of all inverters to some gateways; called in one of several threads.
    progress : callable, optional
        Told how many gateways are done.
    workers : int
        How many threads share the work; the answer is the same with any number.

    Yields
    ------
    tuple of slice and object
        Which of the gateways, in their order, and what was made of their links.
    """
    step = max(1, PAIRS_AT_ONCE // max(1, len(inverters)))
    blocks = [slice(first, min(first + step, len(gateways))) for first in range(0, len(gateways), step)]

    def work(block: slice) -> R:
        return judge(links_between(scene, inverters, gateways.pick(block)))

    for block, judged in zip(blocks, in_order(work, blocks, workers=workers), strict=True):
        yield block, judged
        if progress:
            progress(block.stop, len(gateways))


def links_of(scene: Scene, *, gateways: Sequence[str] = (), inverters: Sequence[str] = ()) -> Links:
    """The links that somebody asks for by name.

    Parameters
    ----------
    scene : Scene
        The site.
    gateways : sequence of str
        Gateways or spots; without any, the gateways that stand today.
    inverters : sequence of str
        Inverters; without any, all of them.

    Returns
    -------
    Links
        In the order of the names, or of the plan.

    Raises
    ------
    UnknownNameError
        Naming every name that there is not.
    SurveyError
        Where no gateway stands and none is named.
    """
    if gateways:  # names of both ends are told in one message
        scene.check_names(places=gateways, inverters=inverters)
    far = scene.gateways_asked(gateways)
    near = scene.inverters.named(inverters, file=scene.plan.file, what="inverter") if inverters else scene.inverters
    return links_between(scene, near, far)
