"""Several gateways: the best spots for one of them, for two, and so on, or the fewest that serve all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray
from survey.scene import Scene
from survey.siting import Choice, Fewest, choose_each, fewest

LARGE = 20_000_000
"""Above so many pairs of inverter and spot their figures are kept in single precision."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Wanted:
    """What a recommendation is asked to do.

    Attributes
    ----------
    fewest : bool
        As few gateways as serve all inverters that can be served; else as many as the plan allows.
    spare : bool
        With the fewest: every inverter has to hold at two gateways, so that any one of them may fail.
    time_limit_s : float
        For how long a proof may be looked for. [s]
    draws, seed : int
        How often what the plan does not know is drawn, and the beginning of the random numbers.
    """

    fewest: bool = False
    spare: bool = False
    time_limit_s: float = 60.0
    draws: int = 1_000
    seed: int = 0


@dataclass(frozen=True, kw_only=True)
class Reached:
    """What every inverter's route to every spot is worth; arrays of shape (inverters, spots).

    Attributes
    ----------
    reliability, margin_db : ndarray of float
        Of its most reliable route; margin of the weakest link. [-; dB]
    holds : ndarray of bool
        Whether it holds.
    required : float
        The reliability from which a route holds. [-]
    """

    reliability: NDArray[np.floating]
    margin_db: NDArray[np.floating]
    holds: NDArray[np.bool_]
    required: float

    @staticmethod
    def room_for(inverters: int, spots: int, *, reliability: float) -> Reached:
        """Arrays to be filled; a route of that reliability or more holds."""
        shape, dtype = (inverters, spots), np.float32 if inverters * spots > LARGE else np.float64
        return Reached(
            reliability=np.zeros(shape, dtype),
            margin_db=np.zeros(shape, dtype),
            holds=np.zeros(shape, dtype=bool),
            required=reliability,
        )

    def put(self, block: slice, reliability: FloatArray, margin_db: FloatArray) -> None:
        """Put in what was found for some of the spots."""
        self.reliability[:, block] = reliability
        self.margin_db[:, block] = margin_db
        self.holds[:, block] = reliability >= self.required


def short_of_room(scene: Scene) -> str:
    """A warning where the gateways that the plan allows cannot take all inverters; else nothing."""
    asked, count = scene.plan.requirement, len(scene.inverters)
    room = asked.gateways * asked.inverters_per_gateway
    if not room or room >= count:
        return ""
    gateways = "1 gateway takes" if asked.gateways == 1 else f"{asked.gateways} gateways take"
    return (
        f"{gateways} {room} of {count} inverters at most: raise gateways or inverters_per_gateway in [requirement], or "
        "some of them have nowhere to report"
    )


def choose_several(scene: Scene, reached: Reached, wanted: Wanted) -> tuple[Choice, ...]:
    """The best choice of one gateway, of two, and so on, up to as many as the plan allows.

    Parameters
    ----------
    scene : Scene
        The site; its plan says how many gateways there may be, and how many inverters each takes.
    reached : Reached
        What the routes to all spots are worth.
    wanted : Wanted
        How long to look for a proof.

    Returns
    -------
    tuple of Choice
        The last one is recommended.
    """
    asked = scene.plan.requirement
    return tuple(
        choose_each(
            reached.holds,
            reached.reliability,
            reached.margin_db,
            at_most=asked.gateways,
            capacity=asked.inverters_per_gateway,
            time_limit_s=wanted.time_limit_s,
        )
    )


def fewest_of(scene: Scene, reached: Reached, wanted: Wanted) -> Fewest:
    """The fewest gateways with which every inverter holds that can hold; twice, where one is to be to spare."""
    return fewest(
        reached.holds,
        reached.reliability,
        reached.margin_db,
        times=2 if wanted.spare else 1,
        capacity=scene.plan.requirement.inverters_per_gateway,
        time_limit_s=wanted.time_limit_s,
    )
