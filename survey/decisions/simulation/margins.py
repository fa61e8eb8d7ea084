"""Margins drawn over what the plan does not know."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray
from survey.budget import Links
from survey.decisions.simulation.fitted import FittedErrors
from survey.decisions.simulation.geometries import Geometries
from survey.decisions.simulation.shadowing import Shadowing
from survey.decisions.simulation.unknowns import Passes, Shifts, units_of, unknowns_of

VALUES_AT_ONCE = 400_000
"""How many drawn margins are held at once, whatever the number of draws: a few megabytes."""


def drawn_margins_db(
    links: Links,
    *,
    draws: int,
    seed: int,
    geometries: Geometries | None = None,
    watch: Callable[[Links], None] | None = None,
) -> Iterator[FloatArray]:
    """Draw the margins of links again and again, a block of draws at a time.

    Parameters
    ----------
    links : Links
        The links.
    draws : int
        How many draws.
    seed : int
        Beginning of the random numbers: the same seed gives the same draws.
    geometries : Geometries, optional
        Where everything stands in which of the draws; else as the plan has it in all of them.
    watch : callable, optional
        Given the links in each geometry, in their order.

    Yields
    ------
    ndarray of float, shape (some draws, inverters, gateways)
        Margins; no block has draws of two geometries. [dB]

    Notes
    -----
    A draw moves every margin by shadowing, `Shadowing` times ``shadowing_db``; and shifts the loss of every material
    for all links at once, once for each pass of the straight line through a sheet of it, and of ways that leave a
    building through its sheets, before straight through and the ways around are added by power. The path loss exponent
    is off by the same for all links of a draw, a normal number times ``exponent_spread``. What ways lose in bending
    and the gains of antennas stay as they are. A geometry changes none of these random numbers, and
    shadowing is correlated by where things stand in the plan.
    With a fit, the errors that its readings have left take the place of those of what they went through, and of the
    exponent's; fading in time and the ceiling come in where messages were counted, so that the share of draws in which
    a link works is its chance. A message lost beyond the ceiling has no margin (NaN).
    """
    environment = links.scene.plan.environment
    unknowns, number = unknowns_of(links.scene)
    shifts = Shifts(unknowns, seed=seed)
    shadowing = Shadowing(links.inverters.at_m, links.gateways.at_m, correlation_m=environment.correlation_m, seed=seed)
    fitted = FittedErrors(links, seed=seed) if links.scene.correction is not None else None
    exponents = np.random.default_rng([seed, 7])
    spread = environment.exponent_spread if fitted is None else 0.0
    units = units_of(links.scene, number, len(unknowns))
    step = max(1, VALUES_AT_ONCE // max(1, links.shape[0] * links.shape[1]))
    for here, first, last in _parts(links, draws, geometries, watch, step=step):
        if first == 0:
            passes = Passes(here, number)
            reached = np.isfinite(here.obstacle_loss_db)
            open_db = np.where(reached, here.margin_db + np.where(reached, here.obstacle_loss_db, 0.0), -np.inf)
            met_db = open_db.ravel()[passes.link]
            db_for_each = -10.0 * np.log10(np.maximum(here.distance_m / environment.reference_distance_m, 1.0))
        count = last - first
        margin_db = np.broadcast_to(here.margin_db, (count, *links.shape)).copy()
        shifts_db = shifts.next(count)
        if fitted is not None:
            losses_db, level_db = fitted.next(count)
            for k in np.flatnonzero(units >= 0).tolist():
                shifts_db[:, k] = np.maximum(losses_db[:, units[k]], -unknowns[k].loss_db)
        margin_db.reshape(count, -1)[:, passes.link] = met_db - passes.obstacle_loss_db(shifts_db)
        if fitted is not None:
            margin_db += level_db
        if spread:
            margin_db += db_for_each * (spread * exponents.standard_normal((count, 1, 1)))
        if environment.shadowing_db:
            margin_db += links.shadowing_db * shadowing.next(count)
        yield margin_db


def _parts(
    links: Links,
    draws: int,
    geometries: Geometries | None,
    watch: Callable[[Links], None] | None,
    *,
    step: int,
) -> Iterator[tuple[Links, int, int]]:
    """The links of each block of draws, and which draws of their geometry these are: from the first to the last."""
    every = [(links, draws)] if geometries is None else zip(geometries.links(links), geometries.sizes, strict=True)
    for here, runs in every:
        if watch:
            watch(here)
        for first in range(0, runs, step):
            yield here, first, min(first + step, runs)


def drawn_works(
    links: Links,
    *,
    draws: int,
    seed: int,
    geometries: Geometries | None = None,
    watch: Callable[[Links], None] | None = None,
) -> Iterator[NDArray[np.bool_]]:
    """The same, but which links work: those whose drawn margin is the fade margin or more."""
    fade_margin_db = links.scene.plan.requirement.fade_margin_db
    for margin_db in drawn_margins_db(links, draws=draws, seed=seed, geometries=geometries, watch=watch):
        yield margin_db >= fade_margin_db
