"""What a recommendation is asked to do, and whether the plan's gateways can do it."""

from __future__ import annotations

from dataclasses import dataclass

from survey.scene import Scene


@dataclass(frozen=True, kw_only=True, slots=True)
class PlacementOptions:
    """What a recommendation is asked to do, beside the plan's own requirement.

    Attributes
    ----------
    fewest : bool
        As few gateways as serve all inverters that can be served; else as many as the plan allows.
    spare : bool
        With the fewest: every inverter has to hold at two gateways, so that any one of them may fail.
    time_limit_s : float
        For how long a proof may be looked for. [s]
    draws, seed : int
        Number of simulation runs, and the beginning of their random numbers.
    """

    fewest: bool = False
    spare: bool = False
    time_limit_s: float = 60.0
    draws: int = 1_000
    seed: int = 0


def capacity_warning(scene: Scene) -> str:
    """Return a warning where the gateways that the plan allows cannot take all inverters; else nothing."""
    requirement, count = scene.plan.requirement, len(scene.inverters)
    capacity = requirement.gateways * requirement.inverters_per_gateway
    if not capacity or capacity >= count:
        return ""
    gateways = "1 gateway takes" if requirement.gateways == 1 else f"{requirement.gateways} gateways take"
    return (
        f"{gateways} {capacity} of {count} inverters at most: raise gateways or inverters_per_gateway in "
        "[requirement], or some of them have nowhere to report"
    )
