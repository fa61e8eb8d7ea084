"""A fit in the form in which links use it, and the mark of the plan that it belongs to."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from survey.inputs.plan import Plan, obstacle_kinds
from survey.measured.calibration.fit import Fit
from survey.measured.calibration.model import EXPONENT, LOSSES, OFFSET, End, are_relays
from survey.scene import Scene
from survey.scene.correction import Correction, ReadShadow


def correction_of(found: Fit, *, file: str = "") -> Correction:
    """A fit in the form in which links use it.

    Parameters
    ----------
    found : Fit
        A fit.
    file : str
        What to call it.

    Returns
    -------
    Correction
        For the scene that was fitted.
    """
    parameters = found.solution.parameters
    units = len(found.units)
    change_db = np.append(parameters[LOSSES : LOSSES + units], 0.0)[found.unit]
    nearest_m, farthest_m = found.nearest_and_farthest_m
    return Correction(
        file=file,
        offset_db=float(parameters[OFFSET]),
        path_loss_exponent=float(parameters[EXPONENT]),
        exponent_sd=found.exponent_sd,
        shadowing_db=found.solution.sigma_db,
        nearest_m=nearest_m,
        farthest_m=farthest_m,
        unit=found.unit,
        change_db=change_db,
        covariance=found.covariance,
        deviation_db=parameters[LOSSES + units :],
        gateways=receivers_by_name(found.scene, found.links.gateways.names, found.ends),
        inverters=ends_by_name(found.ends, "inverters"),
        unread_sd_db=found.end_sd_db,
        ceiling=found.ceiling,
        fade_db=found.fade_db,
        spreads=found.spreads,
        readings=len(found.readings),
        day=found.day,
        read=None
        if found.plain
        else ReadShadow(
            starts_m=found.pairs.starts_m,
            ends_m=found.pairs.ends_m,
            off_db=found.off_db / found.task.scale,
            told=found.solution.told,
            alike=found.solution.shadow.alike,
            correlation_m=found.solution.shadow.correlation_m,
        ).both_ways(are_relays(found.links)[found.pairs.gateway]),
    )


def receivers_by_name(scene: Scene, read: Sequence[str], ends: Sequence[End]) -> dict[str, int]:
    """Return which end each receiver belongs to, -1 for one that was read and has no deviation.

    All inverters count as read where one heard another: their radios are alike.
    """
    inverters, places = set(scene.inverters.names), set(scene.gateways_and_spots.names)
    found = dict.fromkeys(inverters if any(name in inverters - places for name in read) else (), -1)
    found |= ends_by_name(ends, "receivers")
    return found | dict.fromkeys((name for name in read if name in places), -1) | ends_by_name(ends, "gateway")


def ends_by_name(ends: Sequence[End], kind: str) -> dict[str, int]:
    """Which of some ends each name of one kind belongs to."""
    return {name: i for i, one in enumerate(ends) if one.kind == kind for name in one.names}


def fingerprint(plan: Plan) -> str:
    """A short mark of all in a plan that a fit depends on; it does not change with names, spots or notes."""
    import hashlib  # noqa: PLC0415  start-up time

    environment = plan.environment
    kinds = [kind for kind in obstacle_kinds() if not kind.is_equipment]
    parts = (
        plan.radio,
        environment.path_loss_exponent,
        environment.reference_distance_m,
        plan.own_materials,
        *(tuple(one for one in plan.obstacles if type(one) is kind) for kind in kinds if kind.table),
        *((one,) for one in plan.obstacles if type(one) in kinds and not one.table),
    )
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:16]
