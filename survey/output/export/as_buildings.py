"""A plan in loose sheets written with buildings, where the sheets certainly are one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, count, takewhile
from typing import Any

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.errors import SurveyError
from survey.inputs.buildings import Face, bearing_of, turn_deg, word_of
from survey.inputs.plan import Array, ModuleRow, Plan, Sheetlike
from survey.inputs.plan_file import parse_text, plan_of
from survey.output.export.sheets import table_text, tables_of, values_of

SAME_M = 0.002
"""Corners nearer than this are the same: a plan is written to the centimetre. [m]"""
OVER_ROOF_M = (0.02, 0.5)
"""How far off a roof inverters lie that are on it: above the sheet, below what stands on a frame of its own. [m]"""
FLAT_WITHIN_M = 0.02
"""By how much the distances of an array's inverters from the roof may differ. [m]"""
SAME_WAY_DEG = 0.5
"""Rows that run along a roof's eaves turn from them by no more. [deg]"""


@dataclass(frozen=True)
class Recognised:
    """A building, and the loose sheets that it replaces."""

    values: dict[str, Any]
    replaced: tuple[str, ...]
    gables_added: bool
    """Whether an end under the roof was open."""


def as_buildings_text(plan: Plan) -> tuple[str, list[str]]:
    """Return a plan as TOML with buildings in place of loose sheets, and what was replaced.

    Walls all round under a gable roof or a flat one become a building, and arrays close over its roof lie `on` it.
    All other entries stay as they are. Comments of the plan are not kept.

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
    found = list(_buildings(plan))
    if not found:
        raise SurveyError(
            f"{plan.file}: no walls all round under a gable or flat roof, with corners that meet: nothing is certainly "
            "a building. Write each as a [[building]]: docs/plan-file.md"
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


def _buildings(plan: Plan) -> Iterator[Recognised]:
    """Yield what certainly is a building; no sheet belongs to two."""
    used: set[str] = set()
    names = {one.name for one in plan.obstacles}
    sheets = [one for one in plan.obstacles if isinstance(one, Sheetlike) and one.table in {"wall", "roof"}]
    sheets = [one for one in sheets if one.material and not one.has_own_spread]
    uprights = [one for one in sheets if all(_is_upright(sheet_m) for sheet_m in one.sheets_m())]
    roofs = [one for one in sheets if one.table == "roof" and one not in uprights]
    outlines = [*(((a, b), _gable(a, b)) for a, b in combinations(roofs, 2)), *(((one,), _flat(one)) for one in roofs)]
    for over, outline in outlines:
        if outline is None or used & {one.name for one in over}:
            continue
        walls = _walls(outline, [one for one in uprights if one.name not in used])
        if walls is None:
            continue
        chosen, values, gables_added = walls
        replaced = tuple(one.name for one in (*chosen, *over))
        used |= set(replaced)
        name = _name(replaced, names - used)
        names.add(name)
        values = {"name": name, "corners": outline.corners_m.round(4).tolist()} | values
        values |= {"wall_material": chosen[0].made_of, "roof_material": over[0].made_of}
        yield Recognised(values, replaced, gables_added)


@dataclass(frozen=True)
class Outline:
    """A footprint under a roof; of a gable roof sides 1 and 3 are at the eaves."""

    corners_m: FloatArray
    eaves_m: float
    ridge_m: float | None = None


def _is_upright(sheet_m: FloatArray) -> bool:
    line = sheet_m[:, :2] - sheet_m[0, :2]
    return bool(np.linalg.matrix_rank(line, tol=SAME_M) <= 1)


def _gable(one: Sheetlike, other: Sheetlike) -> Outline | None:
    """Two roofs of four corners that meet in a level ridge over the middle of a rectangle."""
    edges, others = _level_edges(one), _level_edges(other)
    if edges is None or others is None or one.made_of != other.made_of:
        return None
    (low_a, high_a), (low_b, high_b) = edges, [_like(edge, edges[0]) for edge in others]
    corners_m = np.array([low_a[0], low_a[1], low_b[1], low_b[0]])[:, :2]
    along, across = corners_m[1] - corners_m[0], corners_m[2] - corners_m[1]
    eaves_m, ridge_m = float(low_a[0, 2]), float(high_a[0, 2])
    off_m = (
        np.abs(high_a - high_b).max(),
        np.abs((low_a + low_b) / 2.0 - high_a)[:, :2].max(),
        abs(float(low_b[0, 2]) - eaves_m),
        abs(float(along @ across)) / max(float(np.linalg.norm(along)), SAME_M),
    )
    return Outline(corners_m, eaves_m, ridge_m) if max(off_m) <= SAME_M < ridge_m - eaves_m else None


def _level_edges(roof: Sheetlike) -> tuple[FloatArray, FloatArray] | None:
    """The lower and the upper edge of a roof of four corners, both level, running the same way."""
    (sheet_m,) = roof.sheets_m()
    if len(sheet_m) != 4:  # noqa: PLR2004
        return None
    low, high = np.split(sheet_m[np.argsort(sheet_m[:, 2], kind="stable")], 2)
    is_level = max(np.ptp(low[:, 2]), np.ptp(high[:, 2])) <= SAME_M
    return (low, _like(high, low)) if is_level else None


def _like(edge: FloatArray, other: FloatArray) -> FloatArray:
    """An edge, turned to run the way of another."""
    return edge if (edge[1] - edge[0]) @ (other[1] - other[0]) > 0 else edge[::-1]


def _flat(roof: Sheetlike) -> Outline | None:
    (sheet_m,) = roof.sheets_m()
    return Outline(sheet_m[:, :2], float(sheet_m[0, 2])) if np.ptp(sheet_m[:, 2]) < SAME_M else None


def _walls(outline: Outline, uprights: Sequence[Sheetlike]) -> tuple[list[Sheetlike], dict[str, Any], bool] | None:
    """The walls that stand all round under a roof, with what they say of the building; None where they do not."""
    corners_m = outline.corners_m
    sides = list(zip(corners_m, np.roll(corners_m, -1, axis=0), strict=True))
    chosen: list[Sheetlike] = []
    by_side: dict[int, list[FloatArray]] = {}
    for one in uprights:
        at = [(side, sheet_m) for sheet_m in one.sheets_m() if (side := _side_of(sheet_m, sides)) is not None]
        if len(at) == len(one.sheets_m()):
            chosen.append(one)
            for side, sheet_m in at:
                by_side.setdefault(side, []).append(sheet_m)
    if len(by_side) < len(sides) or len({one.made_of for one in chosen}) != 1:
        return None
    foot_m = float(min(sheet_m[:, 2].min() for sheets in by_side.values() for sheet_m in sheets))
    parapets, gables = set(), []
    for side, sheets in by_side.items():
        lower = [sheet_m for sheet_m in sheets if abs(sheet_m[:, 2].min() - foot_m) < SAME_M]
        upper = [sheet_m for sheet_m in sheets if abs(sheet_m[:, 2].min() - outline.eaves_m) < SAME_M]
        if len(lower) != 1 or len(lower) + len(upper) != len(sheets) or len(upper) > (outline.ridge_m is None):
            return None
        tops_m = np.unique(lower[0][:, 2].round(3))[1:].tolist()
        wanted = [round(outline.eaves_m, 3)]
        if outline.ridge_m is not None and side % 2 == 1:
            gables.append(len(tops_m) > 1)
            wanted += [round(outline.ridge_m, 3)] * (len(tops_m) > 1)
        if len(tops_m) != len(wanted) or np.abs(np.subtract(tops_m, wanted)).max() > SAME_M:
            return None
        parapets.add(round(float(upper[0][:, 2].max() - outline.eaves_m), 3) if upper else 0.0)
    if len(parapets) != 1:
        return None
    return chosen, _heights(outline, foot_m, parapets.pop()), not all(gables)


def _side_of(sheet_m: FloatArray, sides: Sequence[tuple[FloatArray, FloatArray]]) -> int | None:
    """The side that an upright sheet spans from end to end."""
    at_m = sheet_m[:, :2]
    for side, (start, end) in enumerate(sides):
        length_m = float(np.linalg.norm(end - start))
        along = (end - start) / length_m
        places = (at_m - start) @ along
        off = (at_m - start) @ np.array([-along[1], along[0]])
        spans = abs(places.min()) < SAME_M and abs(places.max() - length_m) < SAME_M
        if spans and np.abs(off).max() < SAME_M:
            return side
    return None


def _heights(outline: Outline, foot_m: float, parapet_m: float) -> dict[str, Any]:
    values: dict[str, Any] = {"base_m": round(foot_m, 4)} if abs(foot_m) > SAME_M else {}
    values["eaves_m"] = round(outline.eaves_m - foot_m, 4)
    if outline.ridge_m is None:
        return values | ({"parapet_m": parapet_m} if parapet_m else {})
    runs = outline.corners_m[1] - outline.corners_m[0]
    return values | {
        "roof": "gable",
        "ridge_m": round(outline.ridge_m - foot_m, 4),
        "ridge_runs": word_of(bearing_of(runs)),
    }


def _name(replaced: Sequence[str], taken: set[str]) -> str:
    """The words that all names of the sheets begin with, or `building 1`, ..."""
    in_step = takewhile(lambda words: len(set(words)) == 1, zip(*(name.split() for name in replaced), strict=False))
    name = " ".join(words[0] for words in in_step)
    if name and "/" not in name and name not in taken:
        return name
    return next(name for number in count(1) if (name := f"building {number}") not in taken)


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
