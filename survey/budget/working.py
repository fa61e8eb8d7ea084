"""Links worked out, many of them a few gateways at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from survey.base.workers import WORKERS, in_order
from survey.budget.direct import direct_links
from survey.budget.figures import Links
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
    direct, deferred = direct_links(scene, inverters, gateways)
    number, paths, shape = deferred.number, deferred.paths(), direct.shape
    grazed_db = _laid_out(number, paths.grazed_db, 0.0, shape)
    return Links(
        **direct.columns
        | {
            "straight_db": direct.straight_db + grazed_db,
            "grazed_db": grazed_db,
            "grazed_screen": _laid_out(number, paths.grazed_screen, -1, shape),
            "around_db": _laid_out(number, paths.around_db, np.nan, shape),
            "leaks": paths.leaks.numbered(number),
            "mirror": _laid_out(number, paths.mirror, -1, shape),
            "leave_deg": _laid_out(number, paths.leave_deg, np.nan, shape),
            "arrive_deg": _laid_out(number, paths.arrive_deg, np.nan, shape),
        }
    )


def _laid_out(number: NDArray[np.int64], values: NDArray[Any], fill: float, shape: tuple[int, int]) -> NDArray[Any]:
    """Values of some links, along the last axis, among all links."""
    every = np.full((*values.shape[:-1], shape[0] * shape[1]), fill, dtype=values.dtype)
    every[..., number] = values
    return every.reshape(*values.shape[:-1], *shape)


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
