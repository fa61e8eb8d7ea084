"""What a plan holds: counts, extent, defaults, and all warnings."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np

from survey.base.arrays import BoolArray
from survey.budget import Progress
from survey.decisions.inspection.carriers import carriers_of
from survey.decisions.inspection.coordinates import coordinate_warnings
from survey.decisions.inspection.ends import (
    box_warnings,
    overhang_warnings,
    place_warnings,
    serial_warnings,
    sheet_warnings,
)
from survey.decisions.inspection.indoors import indoor_warnings
from survey.decisions.inspection.obstacles import module_warnings, never_crossed, opening_warnings
from survey.decisions.inspection.radios import material_warnings, radiated_warnings
from survey.decisions.inspection.roofs import roof_findings
from survey.decisions.inspection.slits import joint_warnings
from survey.decisions.placement import capacity_warning
from survey.inputs.plan import Plan, obstacle_kinds
from survey.scene import Scene


@dataclass(frozen=True, kw_only=True)
class Inspection:
    """What `survey check` tells.

    Attributes
    ----------
    scene : Scene
        The site.
    counts : tuple of (str, int)
        How many there are of each kind of thing.
    extent_m : tuple of three pairs of float
        Lowest and highest x, y and z of all ends. [m]
    defaults : tuple of ((str, str, object), int)
        Table, key and value of each default that makes a difference, and how often.
    warnings : tuple of str
        What looks wrong.
    """

    scene: Scene
    counts: tuple[tuple[str, int], ...]
    extent_m: tuple[tuple[float, float], ...]
    defaults: tuple[tuple[tuple[str, str, object], int], ...]
    warnings: tuple[str, ...]


def inspect(scene: Scene, *, met: BoolArray | None = None, progress: Progress | None = None) -> Inspection:
    """Look a plan over.

    Parameters
    ----------
    scene : Scene
        The site.
    met : ndarray of bool, shape (obstacles,), optional
        Which obstacles direct lines to gateways and spots cross, where `Links.crossed_obstacles` has told already.
    progress : callable, optional
        Told how many gateways and spots have been tried.

    Returns
    -------
    Inspection
    """
    plan = scene.plan
    ends_m = np.concatenate([scene.inverters.at_m, scene.gateways_and_spots.at_m])
    kinds = Counter(one.counted_as for one in plan.obstacles)
    counts = (
        ("inverter", len(scene.inverters)),
        ("gateway", len(scene.gateways)),
        ("spot", len(scene.spots)),
        ("building", len(plan.buildings)),
        *((word, kinds[word]) for word in dict.fromkeys(kind.counted_as for kind in obstacle_kinds())),
        ("own material", len(plan.own_materials)),
    )
    extent_m = tuple(zip(ends_m.min(axis=0).tolist(), ends_m.max(axis=0).tolist(), strict=True))
    roofs = roof_findings(scene)
    warnings = (
        *coordinate_warnings(plan),
        *place_warnings(scene),
        *serial_warnings(scene),
        *box_warnings(scene),
        *overhang_warnings(scene, carriers_of(scene)),
        *indoor_warnings(scene),
        *roofs.warnings,
        *sheet_warnings(scene, told=roofs.told),
        *joint_warnings(scene),
        *module_warnings(scene),
        *opening_warnings(plan),
        *material_warnings(plan),
        *radiated_warnings(plan),
        *filter(None, [capacity_warning(scene)]),
        *never_crossed(scene, met, progress),
    )
    return Inspection(scene=scene, counts=counts, extent_m=extent_m, defaults=defaults_of(plan), warnings=warnings)


def defaults_of(plan: Plan) -> tuple[tuple[tuple[str, str, object], int], ...]:
    """Return the defaults that make a difference to this plan, each with how often it applies."""
    counts = Counter(one for one in plan.defaults if one[2] not in {"", ()})
    sheets = sum(array.module_depth_m is not None for array in plan.arrays)
    for one in [one for one in counts if one[1] == "clearance_m"]:
        counts[one] = min(counts[one], sheets)
    for obstacle in plan.obstacles:
        for key, value in obstacle.computed_defaults(frequency_mhz=plan.radio.frequency_mhz):
            counts[f"[[{obstacle.table}]]", key, round(value, 3)] += 1
    return tuple((one, times) for one, times in counts.items() if times)
