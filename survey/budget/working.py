"""Links worked out, many of them a few gateways at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

import numpy as np

from survey.base.arrays import FloatArray, IntArray
from survey.base.errors import SurveyError
from survey.base.limits import MAX_LINKS
from survey.base.units import wavelength_m
from survey.base.workers import WORKERS, in_order
from survey.budget.figures import Links, own_spreads_db
from survey.geometry import chords, crossings
from survey.propagation.around import Bodies, Polarisation, ways_around
from survey.propagation.around.of_scene import bodies_of_scene
from survey.propagation.distance import log_distance_loss_db
from survey.propagation.passes import PathPasses
from survey.propagation.penetration import chord_losses_db, chord_metres, sheet_losses_db, total_over_links
from survey.scene import Ends, Scene

R = TypeVar("R")

AT_EDGE_M, TOUCHED_DB = 1e-5, 0.5
"""A line so close to the edge of a sheet touches it where crossings cost so much more than the rule finds in it."""

PAIRS_AT_ONCE = 200_000
"""How many links are worked out in one go where there are many: few enough to stay in a processor's cache."""

Progress = Callable[[int, int], None]
"""Called now and then with what is done and what there is to do."""


def links_between(scene: Scene, inverters: Ends, gateways: Ends, *, progress: Progress | None = None) -> Links:
    """Work out the links of some inverters to some gateways or spots.

    Parameters
    ----------
    scene : Scene
        The site.
    inverters, gateways : Ends
        Ends of that site.
    progress : callable, optional
        Called with how many of the lines are done, and how many there are.

    Returns
    -------
    Links
        One for each pair.

    Raises
    ------
    SurveyError
        Where they are more than `MAX_LINKS`.
    """
    check_count(scene, len(inverters), len(gateways), most=MAX_LINKS)
    environment, radio, shape = scene.plan.environment, scene.plan.radio, (len(inverters), len(gateways))
    through = crossings(inverters.at_m, gateways.at_m, scene.sheets)
    inside = chords(inverters.at_m, gateways.at_m, scene.prisms)
    passes_db = sheet_losses_db(scene, through, inverters.at_m, gateways.at_m)
    spreads_db, (metres, whole_metres) = own_spreads_db(scene), chord_metres(scene, inside)
    plants_db2 = spreads_db[scene.prisms.owner[inside.prism]] ** 2 * metres * whole_metres
    distance_m = np.linalg.norm(inverters.at_m[:, None] - gateways.at_m[None], axis=2)
    bodies = bodies_of_scene(scene)
    ways = ways_around(
        bodies,
        np.repeat(inverters.at_m, shape[1], axis=0),
        np.tile(gateways.at_m, (shape[0], 1)),
        wavelength_m=float(wavelength_m(radio.frequency_mhz)),
        polarisation=Polarisation[radio.polarisation.upper()],
        progress=progress,
    )
    # Crossings charge a line for a sheet that it only touches, where the rule finds that it goes past that edge.
    crossed_db = total_over_links(through, passes_db, shape=shape)
    touched = crossed_db.ravel() > TOUCHED_DB + ways.through_db
    kept = ~((through.inside_m <= AT_EDGE_M) & touched[through.start * shape[1] + through.end])
    through, passes_db = through.pick(kept), passes_db[kept]
    straight_db = total_over_links(through, passes_db, shape=shape)
    straight_db += total_over_links(inside, chord_losses_db(scene, inside), shape=shape)
    grazed_db = ways.grazed_db.reshape(shape)
    path_passes, around_db = _fitted(
        scene,
        PathPasses(
            link=ways.pass_line.astype(np.int64),
            way=ways.pass_way.astype(np.int64),
            owner=ways.pass_obstacle.astype(np.int64),
            passes=ways.pass_count,
            power=ways.pass_power,
        ),
        ways.loss_db.T.copy(),
    )
    return Links(
        scene=scene,
        inverters=inverters,
        gateways=gateways,
        distance_m=distance_m,
        base_loss_db=log_distance_loss_db(
            distance_m,
            frequency_mhz=radio.frequency_mhz,
            path_loss_exponent=environment.path_loss_exponent,
            reference_distance_m=environment.reference_distance_m,
        ),
        straight_db=straight_db + grazed_db,
        spread_squared_db2=total_over_links(through, spreads_db[scene.sheets.owner[through.sheet]] ** 2, shape=shape)
        + total_over_links(inside, plants_db2, shape=shape),
        crossings=through,
        chords=inside,
        grazed_db=grazed_db,
        grazed_obstacle=_obstacle_of(bodies, ways.grazed_solid.astype(np.int64)).reshape(shape),
        around_db=around_db.reshape(-1, *shape),
        mirror=ways.mirror.astype(np.int64).reshape(shape),
        leave_deg=ways.leave_deg.reshape(shape),
        arrive_deg=ways.arrive_deg.reshape(shape),
        path_passes=path_passes,
    )


def check_count(scene: Scene, inverters: int, others: int, *, most: int) -> None:
    """Refuse to work out more pairs than memory takes.

    Raises
    ------
    SurveyError
        With their number, and how many are allowed.
    """
    if inverters * others > max(most, inverters):  # those of one gateway or spot are always allowed
        raise SurveyError(
            f"{scene.plan.file}: {inverters} inverters with {others} others are {inverters * others} links; up to "
            f"{most} are calculated at a time; use fewer gateways or spots, or longer steps of searches"
        )


def _fitted(scene: Scene, passes: PathPasses, around_db: FloatArray) -> tuple[PathPasses, FloatArray]:
    """Return paths around with what a fit has changed about the sheets that they go through."""
    correction = scene.correction
    if correction is None:
        return passes, around_db
    for one in np.unique(passes.owner):
        change_db = max(float(correction.change_db[one]), -float(scene.obstacles.loss_db[one]))
        passes, around_db = passes.with_extra_loss(around_db, one, change_db)
    return passes, around_db


def _obstacle_of(bodies: Bodies, solid: IntArray) -> IntArray:
    """Return the obstacle that each solid belongs to; -1 for none."""
    sheet = np.append(bodies.solid_first[:-1], 0)[solid]
    return np.where(solid >= 0, np.append(bodies.obstacle, -1)[sheet], -1).astype(np.int64)


def links_in_blocks(
    scene: Scene, inverters: Ends, gateways: Ends, *, progress: Progress | None = None
) -> Iterator[tuple[slice, Links]]:
    """The same as `links_between`, a few gateways at a time, so that memory does not grow with their number.

    Yields
    ------
    tuple of slice and Links
        Which of the gateways, and their links.
    """
    yield from map_in_blocks(scene, inverters, gateways, lambda links: links, progress=progress)


def crossing_counts(scene: Scene, inverters: Ends, gateways: Ends) -> IntArray:
    """Count the sheets that the direct lines to each gateway cross, shape (gateways,): what time goes by."""
    counts = [np.zeros(0, dtype=np.int64)]
    step = max(1, PAIRS_AT_ONCE // max(1, len(inverters)))
    for first in range(0, len(gateways), step):
        ends_m = gateways.at_m[first : first + step]
        counts.append(np.bincount(crossings(inverters.at_m, ends_m, scene.sheets).end, minlength=len(ends_m)))
    return np.concatenate(counts)


def map_in_blocks(
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

    def in_only_block(done: int, lines: int) -> None:
        if progress and done < lines:
            progress(len(gateways) * done // lines, len(gateways))

    def work(block: slice) -> R:
        within = in_only_block if len(blocks) == 1 else None
        return judge(links_between(scene, inverters, gateways.pick(block), progress=within))

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
