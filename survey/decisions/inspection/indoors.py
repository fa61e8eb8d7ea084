"""Arrays of which some stand inside a building: a shed drawn over a row, or a row typed through it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from survey.base.arrays import BoolArray, FloatArray
from survey.decisions.inspection.carriers import MAX_NEAR_M
from survey.decisions.inspection.wording import listed
from survey.geometry import Sheets, crossings, heights_over, sheets_of
from survey.scene import Scene

REACH_M = 1_000.0
"""How far walls are looked for around an inverter: beyond the largest building."""
WAYS = np.array([[1.0, 0.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, -1.0, 0.0]])
"""The four sides on which walls are looked for. [-]"""
MIN_WALLS = 3
"""With walls on so many of four sides, under a roof, it is indoors; a canopy has fewer."""


def indoor_warnings(scene: Scene) -> Iterator[str]:
    """Yield arrays of which some, or all, stand under the roof and between the walls of a building."""
    for building in scene.plan.buildings:
        own = [face for face in scene.plan.faces if face.owner == building.name and not face.is_open]
        roofs, walls = (
            [one for face in own if face.kind == kind for one in face.sheets_m] for kind in ("roof", "wall")
        )
        if not roofs or not walls:
            continue
        over, around = sheets_of(roofs, [0] * len(roofs)), sheets_of(walls, [0] * len(walls))
        for array in scene.plan.arrays:
            names, at_m = array.inverter_names(), array.positions_m()
            inside = [names[i] for i in np.flatnonzero(_is_under(at_m, over)).tolist() if _is_between(at_m[i], around)]
            if inside:
                stand = "stands" if len(inside) == 1 else "stand"
                yield (
                    f'array "{array.name}": {len(inside)} of {len(names)} {stand} inside "{building.name}": '
                    f"{listed(inside)}. Move the array or the building, or skip these places"
                )


def _is_under(points_m: FloatArray, roofs: Sheets) -> BoolArray:
    """Which points lie below a roof, by more than what lies close to it."""
    return np.asarray(np.nanmin(np.nan_to_num(heights_over(points_m, roofs), nan=0.0), axis=1) < -MAX_NEAR_M)


def _is_between(point_m: FloatArray, walls: Sheets) -> bool:
    """Whether walls stand on most sides of a point, at its height."""
    found = crossings(point_m[None], point_m + REACH_M * WAYS, walls)
    return len(set(found.end.tolist())) >= MIN_WALLS
