"""A plan that was read: what it has, and the defaults that are used."""

from __future__ import annotations

from shlex import quote

from survey.base.layout import counted, paragraphs, wrapped
from survey.decisions.inspection import Inspection
from survey.output.answers.values import Record, plain

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
        _defaults(inspection) or "No defaults are used: the plan gives every value.",
    )


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
        "warnings": list(inspection.warnings),
    }
