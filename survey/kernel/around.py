"""The ways around for many lines, by around.c."""

from __future__ import annotations

import ctypes
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from survey.kernel import FloatArray, IntArray, call, floats, indices, kinds

PASSES_A_LINE = 16
"""Rows for which there is room at first, per line; where more are found, the work is done again with room for all."""
MAX_CORNERS = 2**30
"""More than this is refused: the kernel counts in 32 bits."""


NO_LIMIT_DB = 1e9
"""Stands for an infinite loss."""


class Site(NamedTuple):
    """What stands on a site, as `survey.propagation.around.Bodies` has it, checked."""

    sheets: int
    solids: int
    table_steps: int
    plants: int
    corner_m: FloatArray
    first: NDArray[np.int32]
    normal: FloatArray
    offset_m: FloatArray
    loss_db: FloatArray
    table: NDArray[np.int32]
    table_db: FloatArray
    obstacle: NDArray[np.int32]
    solid: NDArray[np.int32]
    mirror: NDArray[np.uint8]
    solid_first: NDArray[np.int32]
    centre_m: FloatArray
    radius_m: FloatArray
    touch_first: NDArray[np.int32]
    touch: NDArray[np.int32]
    plant_first: NDArray[np.int32]
    plant_xy_m: FloatArray
    plant_base_m: FloatArray
    plant_top_m: FloatArray
    plant_db_per_m: FloatArray
    plant_most_db: FloatArray


def site(**arrays: NDArray[np.generic]) -> Site:
    """Check the arrays of `Bodies`; ValueError where one has another shape than it must have, or leads out of another.

    Parameters
    ----------
    arrays : ndarray
        The attributes of `Bodies` by their names.
    """
    sheets, solids = len(arrays["loss_db"]), len(arrays["radius_m"])
    corners, touches = len(arrays["corner_m"]), len(arrays["touch"])
    plants, places = len(arrays["plant_base_m"]), len(arrays["plant_xy_m"])
    if arrays["table_db"].ndim != 2:  # noqa: PLR2004
        raise ValueError(f"table_db: the shape is {arrays['table_db'].shape}")
    tables, steps = arrays["table_db"].shape
    if max(corners, touches, tables * steps, places) > MAX_CORNERS:
        raise ValueError(f"corner_m, touch, table_db: more than {MAX_CORNERS} of them")
    if tables and steps < 2:  # noqa: PLR2004  nothing to interpolate between
        raise ValueError("table_db: fewer than two steps")

    def whole(name: str, *shape: int, below: int, least: int = 0) -> NDArray[np.int32]:
        return indices(name, arrays[name], *shape, below=below, least=least).astype(np.int32)

    def begins(name: str, count: int, end: int) -> NDArray[np.int32]:
        found = whole(name, count + 1, below=end + 1)
        if found[0] != 0 or found[-1] != end or np.any(np.diff(found) < 0):
            raise ValueError(f"{name}: does not rise from 0 to {end}")
        return found

    first = begins("first", sheets, corners)
    if np.any(np.diff(first) < 3):  # noqa: PLR2004  no plane
        raise ValueError("first: a sheet of fewer than three corners")
    solid_first = begins("solid_first", solids, sheets)
    solid = whole("solid", sheets, below=solids)
    if not np.array_equal(solid, np.repeat(np.arange(solids), np.diff(solid_first))):
        raise ValueError("solid: not as solid_first has it")
    return Site(
        sheets=sheets,
        solids=solids,
        table_steps=steps,
        plants=plants,
        corner_m=floats("corner_m", arrays["corner_m"], corners, 3),
        first=first,
        normal=floats("normal", arrays["normal"], sheets, 3),
        offset_m=floats("offset_m", arrays["offset_m"], sheets),
        loss_db=floats("loss_db", arrays["loss_db"], sheets),
        table=whole("table", sheets, below=tables, least=-1),
        table_db=floats("table_db", arrays["table_db"], tables, steps),
        obstacle=whole("obstacle", sheets, below=MAX_CORNERS),
        solid=solid,
        mirror=kinds("mirror", arrays["mirror"], sheets),
        solid_first=solid_first,
        centre_m=floats("centre_m", arrays["centre_m"], solids, 3),
        radius_m=floats("radius_m", arrays["radius_m"], solids),
        touch_first=begins("touch_first", solids, touches),
        touch=whole("touch", touches, below=solids),
        plant_first=begins("plant_first", plants, places),
        plant_xy_m=floats("plant_xy_m", arrays["plant_xy_m"], places, 2),
        plant_base_m=floats("plant_base_m", arrays["plant_base_m"], plants),
        plant_top_m=floats("plant_top_m", arrays["plant_top_m"], plants),
        plant_db_per_m=floats("plant_db_per_m", arrays["plant_db_per_m"], plants),
        plant_most_db=floats("plant_most_db", np.minimum(arrays["plant_most_db"], NO_LIMIT_DB), plants),
    )


class Figures(NamedTuple):
    """The attributes of `survey.propagation.around.Ways`, in its order."""

    loss_db: FloatArray
    mirror: IntArray
    through_db: FloatArray
    leave_deg: FloatArray
    arrive_deg: FloatArray
    grazed_db: FloatArray
    grazed_solid: IntArray
    pass_line: IntArray
    pass_way: IntArray
    pass_obstacle: IntArray
    pass_count: FloatArray
    pass_power: FloatArray


def ways_around(
    kernel: ctypes.CDLL,
    bodies: Site,
    starts_m: FloatArray,
    ends_m: FloatArray,
    *,
    wavelength_m: float,
    weights: tuple[float, float],
    quadrature: tuple[Sequence[float], Sequence[float], Sequence[float], Sequence[float]],
) -> Figures:
    """Ways around for some lines.

    Parameters
    ----------
    kernel : CDLL
        The kernel.
    bodies : Site
        What stands on the site.
    starts_m, ends_m : ndarray of float, shape (lines, 3)
        Ends of the lines. [m]
    wavelength_m : float
        Wavelength. [m]
    weights : tuple of two floats
        Of a vertical and of a horizontal field. [-]
    quadrature : tuple of four sequences of float
        Points and weights on half a line, and between two edges.

    Returns
    -------
    Figures
    """
    count = len(starts_m)
    if not wavelength_m > 0.0:
        raise ValueError(f"wavelength_m: {wavelength_m} is not positive")
    starts_m, ends_m = floats("starts_m", starts_m, count, 3), floats("ends_m", ends_m, count, 3)
    tables = [floats("quadrature", one, size) for one, size in zip(quadrature, (24, 24, 40, 40), strict=True)]
    shares = floats("weights", weights, 2)
    room = PASSES_A_LINE * count + 1_000
    while True:
        figures = (
            np.full((count, 4), np.nan),
            np.full(count, -1, dtype=np.int64),
            np.zeros(count),
            np.full(count, np.nan),
            np.full(count, np.nan),
            np.zeros(count),
            np.full(count, -1, dtype=np.int64),
        )
        rows = (*(np.empty(room, dtype=np.int64) for _ in range(3)), np.empty(room), np.empty(room))
        needed = call(
            kernel,
            "survey_around",
            *bodies,
            *tables,
            count,
            starts_m,
            ends_m,
            float(wavelength_m),
            shares,
            *figures,
            room,
            *rows,
        )
        if needed <= room:
            break
        room = needed
    for one in rows:
        one.resize(needed, refcheck=False)
    return Figures(*figures, *rows)  # type: ignore[arg-type]  # of the kinds just made
