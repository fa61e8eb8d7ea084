"""A plan that was read: what it has, and the defaults that are used."""

from __future__ import annotations

from shlex import quote

from survey.base import layout
from survey.base.layout import Column, counted, paragraphs, wrapped
from survey.decisions.inspection import Inspection
from survey.inputs.buildings import Face
from survey.inputs.plan import Plan
from survey.output.answers.values import Record, plain

UPRIGHT = 1e-6
"""A face whose outside rises no more than this is upright. [-]"""
KEPT = "\N{NO-BREAK SPACE}"
"""Stands for a space at which no line may end."""


def check_text(inspection: Inspection) -> str:
    """Return what `survey check` prints: what the plan has, and the defaults in use, table by table."""
    plan = inspection.scene.plan
    counts = ", ".join(counted(number, what) for what, number in inspection.counts if number)
    (west, east), (south, north), (low, high) = inspection.extent_m
    extent = (
        f"Inverters, gateways and spots are {west:.2f} to {east:.2f} m east, {south:.2f} to {north:.2f} m "
        f"north, {low:.2f} to {high:.2f} m high."
    )
    return paragraphs(
        wrapped(f"{plan.file}: {plan.site.name}"),
        wrapped(f"No errors found: {counts}."),
        wrapped(_next_step(inspection)),
        wrapped(extent),
        _faces(plan),
        _defaults(inspection) or "No defaults are used: the plan gives every value.",
    )


FACE_COLUMNS = (
    Column("face", text=True),
    Column("material", text=True),
    Column("length\nm", spare=1),
    Column("height\nor pitch"),
    Column("left end\nx, y, height", spare=2),
)
"""A face of a building as a row; what a narrow terminal can do without is a judgement."""


def _faces(plan: Plan) -> str:
    """A table of the faces of all buildings, and how far corners were moved to make them."""
    if not plan.faces:
        return ""
    rows = [
        [
            face.name,
            face.material,
            f"{face.length_m:.2f}",
            f"{face.height_m:.2f} m" if _is_upright(face) else f"{face.frames[0].slope_deg:.1f}\N{DEGREE SIGN}",
            ", ".join(f"{value:.2f}" for value in (face.frames[0].origin_m.round(2) + 0.0).tolist()),
        ]
        for face in plan.faces
    ]
    moved = [
        wrapped(f'Corners of "{name}" were moved by up to {moved_m:.2f} m to close or square it.')
        for name, moved_m in plan.moved_m.items()
    ]
    return "\n".join(["Faces of buildings, as seen from outside:", layout.table(FACE_COLUMNS, rows), *moved])


def _is_upright(face: Face) -> bool:
    return abs(float(face.frames[0].outside[2])) < UPRIGHT


def _face_record(face: Face) -> Record:
    upright = _is_upright(face)
    return {
        "name": face.name,
        "material": face.material,
        "length_m": plain(face.length_m),
        "height_m": plain(face.height_m) if upright else None,
        "pitch_deg": None if upright else plain(face.frames[0].slope_deg),
        "at_m": [plain(value) for value in face.frames[0].origin_m],
    }


def _next_step(inspection: Inspection) -> str:
    """Return what to do next."""
    plan, file = inspection.scene.plan, quote(inspection.scene.plan.file)
    if inspection.warnings:
        return "Next step: read the warnings, correct the plan where they are right, then run survey check again."
    if plan.spots or plan.searches:
        return f"Next step: find the best spot for the gateway: survey place {file}"
    if plan.gateways:
        return f"Next step: list the links to the existing gateway: survey links {file}"
    return "Next step: add a [[spot]] or a [[search]] where a gateway could go."


def defaults_by_table(inspection: Inspection) -> dict[str, list[str]]:
    """Return the keys of each table of the plan with their defaults, and how many entries omit them."""
    by_table: dict[str, list[str]] = {}
    for (table, key, value), times in inspection.defaults:
        shown = f"{key} = {_toml(value)}" + (f" ({times} times)" if times > 1 else "")
        by_table.setdefault(table.strip("[]"), []).append(shown.replace(" ", KEPT))
    return by_table


def _defaults(inspection: Inspection) -> str:
    """Return a line for each table of the plan."""
    by_table = defaults_by_table(inspection)
    wide = max(map(len, by_table), default=0)
    lines = [
        wrapped(f"{table:{wide}}  {', '.join(keys)}", indent="  ", hang=wide + 2) for table, keys in by_table.items()
    ]
    return "\n".join(["Defaults in use:", *lines]).replace(KEPT, " ") if lines else ""


def _toml(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else f"{value:g}" if isinstance(value, float) else str(value)


def check_record(inspection: Inspection) -> Record:
    """Return what `survey check --json` prints."""
    plan = inspection.scene.plan
    return {
        "plan": plan.file,
        "site": plan.site.name,
        "counts": dict(inspection.counts),
        "extent_m": [[plain(low), plain(high)] for low, high in inspection.extent_m],
        "defaults": [
            {"table": table, "key": key, "value": value, "times": times}
            for (table, key, value), times in inspection.defaults
        ],
        "faces": [_face_record(face) for face in plan.faces],
        "moved_m": {name: plain(moved_m) for name, moved_m in plan.moved_m.items()},
        "warnings": list(inspection.warnings),
    }
