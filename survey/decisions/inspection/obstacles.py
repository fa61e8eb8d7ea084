"""Obstacles that no line crosses, module sheets close over metal, and openings that a wave hardly fits through."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

import numpy as np

from survey.base.arrays import BoolArray
from survey.base.units import wavelength_m
from survey.budget import Progress, links_in_blocks
from survey.decisions.inspection.carriers import carriers_of
from survey.decisions.inspection.wording import length, listed
from survey.inputs.plan import Plan
from survey.scene import Scene

if TYPE_CHECKING:  # loaded only where a plan has a building
    from survey.inputs.buildings import Opening

MAX_OVER_METAL_M = 0.5
"""A module sheet lower than this over metal is close over it: the frames of flat roofs are lower (common practice)."""
METAL_DB = 20.0
"""A sheet that loses this in one pass counts as metal, as for reflected paths."""
TOO_MUCH_DB = 10.0
"""What a sheet of modules close over steel loses too much, by a full-wave reference; docs/plan-file.md warns of it."""


def module_warnings(scene: Scene) -> Iterator[str]:
    """Yield arrays whose modules are drawn as sheets close over metal."""
    carriers = carriers_of(scene)
    loss_by_name = dict(zip(scene.obstacles.names, scene.obstacles.loss_db.tolist(), strict=True))
    for array in scene.plan.arrays:
        rows = array.module_rows()
        if not rows:
            continue
        lie = carriers.lie(np.concatenate([np.array(row.corners).mean(axis=0)[None] for row in rows]))
        close = [
            (carriers.names[sheet], gap_m)
            for sheet, gap_m in zip(lie.sheet.tolist(), lie.gap_m.tolist(), strict=True)
            if sheet >= 0 and 0 < gap_m <= MAX_OVER_METAL_M and loss_by_name[carriers.names[sheet]] >= METAL_DB
        ]
        if close:
            name, gap_m = min(close, key=lambda one: one[1])
            yield (
                f'array "{array.name}": module_depth_m draws its modules as sheets {length(gap_m)} above "{name}", '
                f"which is metal: links lose about {TOO_MUCH_DB:g} dB too much. Leave module_depth_m out and give the "
                "loss as mounting_loss_db"
            )


def opening_warnings(plan: Plan) -> Iterator[str]:
    """Yield openings through which less comes than is computed."""
    named = [(building.name, one) for building in plan.buildings for one in building.opening]
    named += [(wall.name, one) for building in plan.buildings for wall in building.inner_wall for one in wall.opening]
    named += plan.openings
    named = [(f"{name}/{one.name or f'{one.on} opening'.strip()}", one) for name, one in named]
    yield from narrow_openings(named, frequency_mhz=plan.radio.frequency_mhz)


def narrow_openings(openings: Iterable[tuple[str, Opening]], *, frequency_mhz: float) -> Iterator[str]:
    """Yield openings narrower than half a wavelength: a wave hardly fits through (ITU-R P.526 takes wider ones)."""
    half_m = float(wavelength_m(frequency_mhz)) / 2.0
    for name, opening in openings:
        narrow_m = min(opening.width_m, opening.height_m)
        if narrow_m < half_m:
            way = "wide" if narrow_m == opening.width_m else "high"
            yield (
                f'opening "{name}" is {length(narrow_m)} {way}, less than half a wavelength ({length(half_m)}): less '
                f"comes through than is computed. Leave it out, or give {half_m:.2f} m or more"
            )


def never_crossed(scene: Scene, met: BoolArray | None, progress: Progress | None) -> Iterator[str]:
    """Yield obstacles that no direct line crosses; the faces of a building count as one."""
    if not len(scene.gateways_and_spots):
        yield "no [[gateway]], [[spot]] or [[search]]: there is no link to work out yet"
        return
    if met is None:
        met = np.zeros(len(scene.obstacles), dtype=bool)
        for _, links in links_in_blocks(scene, scene.inverters, scene.gateways_and_spots, progress=progress):
            met |= links.crossed_obstacles
    obstacles = scene.obstacles.entries
    crossed = {one.removed_as for one, is_met in zip(obstacles, met, strict=True) if is_met}
    unmet = list(dict.fromkeys(one.removed_as for one in obstacles if not one.is_equipment))
    unmet = [name for name in unmet if name not in crossed]
    if unmet:
        its = "its position" if len(unmet) == 1 else "their positions"
        lies = "lies" if len(unmet) == 1 else "lie"
        yield (f"{listed(unmet)} {lies} on no direct line between an inverter and a gateway or spot. Check {its}")
