"""A plan in loose sheets written with buildings, where the sheets certainly are one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from survey.base.errors import SurveyError
from survey.inputs.buildings import Face, bearing_of, turn_deg
from survey.inputs.plan import Array, ModuleRow, Plan
from survey.inputs.plan_file import parse_text, plan_of
from survey.output.export.recognising import Recognised, buildings_in
from survey.output.export.sheets import table_text, tables_of, values_of

OVER_ROOF_M = (0.02, 0.5)
"""How far off a roof inverters lie that are on it: above the sheet, below what stands on a frame of its own. [m]"""
FLAT_WITHIN_M = 0.02
"""By how much the distances of an array's inverters from the roof may differ. [m]"""
SAME_WAY_DEG = 0.5
"""Rows that run along a roof's eaves turn from them by no more. [deg]"""


def as_buildings_text(plan: Plan) -> tuple[str, list[str]]:
    """Return a plan as TOML with buildings in place of loose sheets, and what was replaced.

    Walls all round under a flat, mono-pitch, gable or hip roof become a building, so does what is joined to its walls,
    and arrays close over its roof lie `on` it. Sheets right across it become its levels. All other entries stay as
    they are. Comments of the plan are not kept.

    Parameters
    ----------
    plan : Plan
        A plan without buildings.

    Returns
    -------
    str
        A plan with the same names of inverters, gateways and spots, each place the same to the millimetre.
    list of str
        A line for each building and array: what it was made from, and what differs.

    Raises
    ------
    SurveyError
        Where the plan has buildings already, or no sheets that certainly are one.
    """
    if plan.faces:
        raise SurveyError(f"{plan.file}: has buildings already; --as-buildings reads plans in loose sheets")
    found = list(buildings_in(plan))
    if not found:
        raise SurveyError(
            f"{plan.file}: no walls all round under a flat, mono-pitch, gable or hip roof, with corners that meet: "
            "nothing is certainly a building. Write each as a [[building]]: docs/plan-file.md"
        )
    replaced = {name for one in found for name in one.replaced}
    rest = replace(plan, obstacles=tuple(one for one in plan.obstacles if one.name not in replaced))
    head = f"# {plan.site.name}: written with buildings by `survey check --as-buildings`\nplan_version = 1\n"
    tables = [table_text("[[building]]", one.values) for one in found]
    with_buildings = head + "".join(f"\n{table}" for table in (*tables, *tables_of(rest)))
    faces = plan_of(parse_text(with_buildings, plan.file), file=plan.file, folder=plan.folder).faces
    on_roofs = {array.name: values for array in plan.arrays if (values := _on_a_roof(array, faces))}
    tables += [table_text("[[array]]", values) for values in on_roofs.values()]
    rest = replace(
        rest,
        arrays=tuple(one for one in rest.arrays if one.name not in on_roofs),
        obstacles=tuple(one for one in rest.obstacles if not (isinstance(one, ModuleRow) and one.array in on_roofs)),
    )
    lines = [_line(one) for one in found]
    lines += [f'array "{name}" lies on "{values["on"]}"' for name, values in on_roofs.items()]
    return head + "".join(f"\n{table}" for table in (*tables, *tables_of(rest))), lines


def _line(one: Recognised) -> str:
    gables = "; its ends under the roof are closed now, so links through them change" if one.gables_added else ""
    return f'building "{one.values["name"]}" from {", ".join(one.replaced)}{gables}'


def _on_a_roof(array: Array, faces: Sequence[Face]) -> dict[str, Any] | None:
    """The keys of an array that lies on a roof of a building, or None."""
    if not isinstance(array.per_row, int) or array.skip or array.module_tilt_deg is not None:
        return None
    for face in faces:
        if face.kind != "roof" or face.is_open:
            continue
        (frame,) = face.frames
        left_m, up_m, gap_m = frame.places_m(array.positions_m()).T
        inside = left_m.min() > 0 and left_m.max() < face.length_m and up_m.min() > 0 and up_m.max() < face.height_m
        close = OVER_ROOF_M[0] < gap_m.min() and gap_m.max() < OVER_ROOF_M[1] and np.ptp(gap_m) < FLAT_WITHIN_M
        if inside and close and turn_deg(array.bearing_deg, bearing_of(frame.along[:2])) < SAME_WAY_DEG:
            place = {"left_m": left_m[0], "up_m": up_m[0], "gap_m": gap_m.mean()}
            follows = ("name", "first", "height_m", "bearing_deg", "tilt_deg")
            place = {key: round(float(value), 3) for key, value in place.items()}
            return {"name": array.name, "on": face.name} | place | values_of(array, without=follows)
    return None
