"""The command that puts spots side by side."""

from __future__ import annotations

from pathlib import Path

import click

from survey.cli import options


@click.command()
@options.plan_argument
@click.argument("spots", metavar="SPOT SPOT...", nargs=-1, required=True)
@options.require_option
@options.json_and_out
def compare(plan_file: Path, spots: tuple[str, ...], *, require: bool, output: options.Output) -> None:
    """Put spots or gateways of PLAN side by side, link by link."""
    from survey import comparison, records, tables  # noqa: PLC0415  start-up time
    from survey.plan_file import read_plan  # noqa: PLC0415
    from survey.scene import scene_of  # noqa: PLC0415

    if len(set(spots)) < 2:  # noqa: PLR2004  nothing to compare
        raise click.UsageError("name two different spots or more to compare")
    found = comparison.compare(scene_of(read_plan(plan_file)), spots)
    output.show(tables.compare_table, records.compare_record, found)
    options.finish(require=require, all_hold=found.links.all_hold)
