"""The command that recommends where the gateway goes."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import click

from survey.cli import options


@click.command()
@options.plan_argument
@click.option("--top", type=click.IntRange(min=1), metavar="N", help="Show the first N spots of the whole ranking.")
@options.fit_option
@options.require_option
@options.json_and_out
def place(plan_file: Path, top: int | None, *, fit_file: Path | None, require: bool, output: options.Output) -> None:
    """Say where the gateway goes, and why.

    Tries every spot and every point of a search in PLAN, and shows the best of them, the runners-up, the inverters
    that decide it, and the weakest links.
    """
    from survey import placement, records, tables  # noqa: PLC0415  start-up time

    scene = options.read_scene(plan_file, fit_file)
    asked = scene.plan.requirement
    if asked.gateways > 1 or asked.max_relays or asked.inverters_per_gateway:
        options.warn("this version plans one gateway without relays; the plan's other wishes do not act yet")
    with options.progress("trying spots") as told:
        found = placement.place(scene, progress=told)
    output.show(partial(tables.place_table, top=top), records.place_record, found)
    options.finish(require=require, all_hold=found.links.all_hold)
