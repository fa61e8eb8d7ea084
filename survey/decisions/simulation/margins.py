"""Margins drawn over what the plan does not know."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray
from survey.budget import Links
from survey.decisions.simulation.fitted import FittedErrors
from survey.decisions.simulation.shadowing import Shadowing
from survey.decisions.simulation.unknowns import Passes, Shifts, units_of, unknowns_of

VALUES_AT_ONCE = 400_000
"""How many drawn margins are held at once, whatever the number of draws: a few megabytes."""


def drawn_margins_db(links: Links, *, draws: int, seed: int) -> Iterator[FloatArray]:
    """Draw the margins of links again and again, a block of draws at a time.

    Parameters
    ----------
    links : Links
        The links.
    draws : int
        How many draws.
    seed : int
        Beginning of the random numbers: the same seed gives the same draws.

    Yields
    ------
    ndarray of float, shape (some draws, inverters, gateways)
        Margins. [dB]

    Notes
    -----
    A draw moves every margin by shadowing, `Shadowing` times ``shadowing_db``; and shifts the loss of every material
    for all links at once, once for each pass of the straight line through a sheet of it, and of ways that leave a
    building through its sheets, before straight through and the ways around are added by power. What ways lose in
    bending, and the gains of antennas, stay as they are.
    With a fit, the errors that its readings have left take the place of those of what they went through.
    """
    environment = links.scene.plan.environment
    unknowns, number = unknowns_of(links.scene)
    passes, shifts = Passes(links, number), Shifts(unknowns, seed=seed)
    shadowing = Shadowing(links.inverters.at_m, links.gateways.at_m, correlation_m=environment.correlation_m, seed=seed)
    reached = np.isfinite(links.obstacle_loss_db)
    open_db = np.where(reached, links.margin_db + np.where(reached, links.obstacle_loss_db, 0.0), -np.inf)
    met_db = open_db.ravel()[passes.link]
    fitted = FittedErrors(links, seed=seed) if links.scene.correction is not None else None
    units = units_of(links.scene, number, len(unknowns))
    step = max(1, VALUES_AT_ONCE // max(1, links.margin_db.size))
    for first in range(0, draws, step):
        count = min(step, draws - first)
        margin_db = np.broadcast_to(links.margin_db, (count, *links.shape)).copy()
        shifts_db = shifts.next(count)
        if fitted is not None:
            losses_db, level_db = fitted.next(count)
            for k in np.flatnonzero(units >= 0).tolist():
                shifts_db[:, k] = np.maximum(losses_db[:, units[k]], -unknowns[k].loss_db)
        margin_db.reshape(count, -1)[:, passes.link] = met_db - passes.obstacle_loss_db(shifts_db)
        if fitted is not None:
            margin_db += level_db
        if environment.shadowing_db:
            margin_db += environment.shadowing_db * shadowing.next(count)
        yield margin_db


def drawn_works(links: Links, *, draws: int, seed: int) -> Iterator[NDArray[np.bool_]]:
    """The same, but which links work: those whose drawn margin is the fade margin or more."""
    fade_margin_db = links.scene.plan.requirement.fade_margin_db
    for margin_db in drawn_margins_db(links, draws=draws, seed=seed):
        yield margin_db >= fade_margin_db
