"""Coordinates that are no metres on the site: degrees, or those of a national grid."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from survey.decisions.inspection.wording import point
from survey.inputs.plan import Plan, look_like_degrees

M_PER_DEG = 111_320.0
"""Length of a degree of the equator: 40 075 km / 360 (WGS 84)."""
MIN_GRID_M = 10_000.0
"""National grids count in hundreds of kilometres; no site has its own zero point so far away."""
GRID_STEP_M = 100.0
"""The zero point proposed is a round figure."""


def coordinate_warnings(plan: Plan) -> Iterator[str]:
    """Yield what the coordinates of inverters, gateways and spots look like, where that is not metres."""
    named = [(one.name, one.first) for one in plan.arrays]
    named += [(one.name, one.at) for one in plan.inverters]
    named += [(one.name, one.at) for one in (*plan.gateways, *plan.spots)]
    points = np.array([at for _, at in named])
    if not len(points):
        return
    middle = np.median(points, axis=0)
    if look_like_degrees(points):
        (first, start), (other, end) = named[0], named[int(np.argmax(np.abs(points - points[0]).sum(axis=1)))]
        north_m = (end[0] - start[0]) * M_PER_DEG
        east_m = (end[1] - start[1]) * M_PER_DEG * math.cos(math.radians(start[0]))
        yield (
            f'coordinates look like degrees: "{first}" {_raw(start)}, "{other}" {_raw(end)}. The plan takes them as '
            f'metres, x east and y north. With "{first}" as the zero point, "{other}" would be at '
            f"{point([east_m, north_m])} if latitude comes first"
        )
    if np.abs(middle).max() >= MIN_GRID_M:
        zero = np.floor(points.min(axis=0) / GRID_STEP_M) * GRID_STEP_M
        first, start = named[0]
        yield (
            f'coordinates look like those of a national grid: "{first}" {_raw(start)}. Losses are right, but take '
            f"{_raw(zero.tolist())} off all of them to make figures that can be read: "
            f'"{first}" would be at {point(np.array(start) - zero)}'
        )


def _raw(at: tuple[float, float] | list[float]) -> str:
    return f"[{at[0]:.10g}, {at[1]:.10g}]"
