"""Inverters, gateways and spots on their own: below ground, far away, doubled, shut in, or a little off a sheet."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import numpy as np

from survey.base.arrays import BoolArray
from survey.decisions.inspection.carriers import MIN_ABOVE_M, Carriers
from survey.decisions.inspection.wording import MAX_NAMES, chosen_names, length, listed, quoted
from survey.geometry import inside_boxes, on_sheet
from survey.inputs.plan import Box
from survey.scene import Ends, Scene

MAX_DISTANCE_M = 1_000.0
"""Farther than this from the inverters, a coordinate is more often mistyped than meant: a judgement."""
MIN_CLEAR_INVERTER_M = 0.05
"""An inverter closer to a sheet was probably meant to be on it: brackets stand higher (common practice)."""
MIN_CLEAR_GATEWAY_M = 0.10
"""As far in front of a wall as the plan file asks a gateway on a bracket to be written."""
MAX_FOOT_M = 0.30
"""A roof so little below a corner of a box still carries it: feet on an uneven roof are as high. A judgement."""
MIN_BEYOND_M = 0.05
"""A box that reaches beyond its roof by less is within what a tape leaves."""


def place_warnings(scene: Scene) -> Iterator[str]:
    """Yield ends below ground, far away, or in the same place."""
    for what, ends in (("inverter", scene.inverters), ("gateway or spot", scene.gateways_and_spots)):
        below = chosen_names(ends, ends.at_m[:, 2] < 0)
        if below:
            yield f"below ground (height under 0): {listed(below, what)}"
    middle_m = np.median(scene.inverters.at_m, axis=0)
    for what, ends in (("inverter", scene.inverters), ("gateway or spot", scene.gateways_and_spots)):
        far = chosen_names(ends, np.linalg.norm(ends.at_m - middle_m, axis=1) > MAX_DISTANCE_M)
        if far:
            yield f"more than {MAX_DISTANCE_M:g} m from the middle of the inverters: {listed(far, what)}"
    _, index, counts = np.unique(np.round(scene.inverters.at_m, 3), axis=0, return_index=True, return_counts=True)
    same = [scene.inverters.names[i] for i in index[counts > 1].tolist()]
    if same:
        yield f"another inverter stands in the very same place as {listed(same)}"


def serial_warnings(scene: Scene) -> Iterator[str]:
    """Yield serials that stand in the plan more than once."""
    serials = scene.inverters.serials
    for serial, times in Counter(one for one in serials if one).items():
        if times > 1:
            names = [name for name, own in zip(scene.inverters.names, serials, strict=True) if own == serial]
            yield f'one serial for several inverters: "{serial}" of {listed(names)}'


def box_warnings(scene: Scene) -> Iterator[str]:
    """Yield ends inside something closed."""
    closed = [(one, corners_m) for one in scene.plan.obstacles if (corners_m := one.closed_m()) is not None]
    for box, corners_m in closed:
        for what, ends in (("inverter", scene.inverters), ("gateway or spot", scene.gateways_and_spots)):
            inside = chosen_names(ends, inside_boxes(ends.at_m, corners_m[None])[:, 0])
            if inside:
                yield f'inside the closed {box.kind} "{box.name}": {listed(inside, what)}'


def overhang_warnings(scene: Scene, carriers: Carriers) -> Iterator[str]:
    """Yield boxes on a roof or a top that reach beyond its edge, with nothing else under them there."""
    attached = scene.plan.attached
    for box in (box for box in scene.plan.obstacles if isinstance(box, Box) and box.name in attached):
        one = attached[box.name]
        if one.way != "on" or one.at is None:
            continue
        footprint_m = box.footprint_m()
        feet_m = np.column_stack([footprint_m, np.full(len(footprint_m), box.base_m + MIN_ABOVE_M)])
        lie = carriers.lie(feet_m)
        free = ~(lie.is_good & (lie.gap_m < MAX_FOOT_M))
        places = one.at.frames[0].places_over_m(footprint_m[free])
        beyond_m = max((one.at.beyond_m(left_m=float(p[0]), up_m=float(p[1])) for p in places), default=0.0)
        if beyond_m > MIN_BEYOND_M:
            yield (
                f'box "{box.name}" reaches {length(beyond_m)} beyond the edge of "{one.face}"; move it in, or measure '
                "again"
            )


def sheet_warnings(scene: Scene, *, told: BoolArray) -> Iterator[str]:
    """Yield ends a little off a sheet: they count as in front of it or behind it, which may not be what is meant.

    Parameters
    ----------
    scene : Scene
        The site.
    told : ndarray of bool, shape (inverters,)
        Inverters of which a warning has told already how they lie to their roof.
    """
    owners = scene.sheets.owner
    solid = np.array([not one.is_equipment for one in scene.plan.obstacles], dtype=bool)[owners]
    inverters = scene.inverters.pick(np.flatnonzero(~told))
    for ends, clear_m in ((inverters, MIN_CLEAR_INVERTER_M), (_single_places(scene), MIN_CLEAR_GATEWAY_M)):
        on = on_sheet(ends.at_m, scene.sheets)
        near = on_sheet(ends.at_m, scene.sheets, within_m=clear_m - 1e-6) & ~on & solid
        rows, sheets = np.nonzero(near)
        for row, sheet in zip(rows.tolist()[:MAX_NAMES], sheets.tolist(), strict=False):
            off_m = abs(float(ends.at_m[row] @ scene.sheets.normal[sheet] - scene.sheets.offset_m[sheet]))
            yield (
                f'"{ends.names[row]}" is {off_m * 100:.1f} cm from "{scene.obstacles.names[owners[sheet]]}". The '
                "program cannot tell whether it is on or beside it. A device exactly on a sheet loses nothing through "
                "that sheet. For a bracket outside, give a position 10 cm or more in front"
            )
        if ends is not inverters:
            yield from _on_sheet_warnings(scene, ends, on & solid)


def _on_sheet_warnings(scene: Scene, ends: Ends, on: BoolArray) -> Iterator[str]:
    """Yield gateways and spots that `at` puts exactly on a sheet: no side of it is behind it then."""
    names = scene.obstacles.names
    typed = [row for row in np.flatnonzero(on.any(axis=1)).tolist() if ends.names[row] not in scene.plan.attached]
    for row in typed[:MAX_NAMES]:
        sheets = list(dict.fromkeys(names[owner] for owner in scene.sheets.owner[on[row]].tolist()))
        it = "it" if len(sheets) == 1 else "them"
        yield (
            f'"{ends.names[row]}" is exactly on {quoted(sheets)}: its links lose nothing through {it}, on either side. '
            "For a bracket, give a position 10 cm or more in front"
        )


def _single_places(scene: Scene) -> Ends:
    """Gateways and single spots: a search has too many points to name."""
    return scene.gateways_and_spots.pick(slice(0, len(scene.plan.gateways) + len(scene.plan.spots)))
