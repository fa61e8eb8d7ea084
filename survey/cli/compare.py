"""The command that puts spots side by side."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import click

from survey.cli import options


@click.command()
@options.plan_argument
@click.argument("spots", metavar="SPOT SPOT...", nargs=-1, required=True)
@click.option("--inverter", "inverters", multiple=True, metavar="NAME", help="Show only this one; may be repeated.")
@options.fit_option
@options.require_option
@options.json_and_out
def compare(
    plan_file: Path,
    spots: tuple[str, ...],
    inverters: tuple[str, ...],
    *,
    fit_file: Path | None,
    require: bool,
    output: options.Output,
) -> None:
    """Put spots side by side, link by link.

    Takes two or more spots or gateways of PLAN.
    """
    from survey import comparison, records, tables  # noqa: PLC0415  start-up time

    if len(set(spots)) < 2:  # noqa: PLR2004  nothing to compare
        raise click.UsageError("name two different spots or more to compare")
    scene = options.read_scene(plan_file, fit_file)
    scene.check_names(places=spots, inverters=inverters)
    found = comparison.compare(scene, spots)
    output.show(
        partial(tables.compare_table, inverters=inverters),
        partial(records.compare_record, inverters=inverters),
        found,
    )
    options.finish(require=require, all_hold=found.links.all_hold)
