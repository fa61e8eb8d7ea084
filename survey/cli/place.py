"""The command that recommends where the gateway goes."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import click

from survey.cli import options


@click.command()
@options.plan_argument
@click.option("--top", type=click.IntRange(min=1), metavar="N", help="Show the first N spots of the whole ranking.")
@options.placing_options
@options.relays_option
@options.draws_options
@options.fit_option
@options.require_option
@options.json_and_out
def place(
    plan_file: Path,
    top: int | None,
    *,
    placing: options.Placing,
    max_relays: int | None,
    fit_file: Path | None,
    draws: int,
    seed: int,
    require: bool,
    output: options.Output,
) -> None:
    """Say where the gateway goes, or several of them, and why.

    Tries every spot and every point of a search in PLAN, and shows the best of them, the runners-up, the inverters
    that decide it, and the weakest links.
    """
    from survey.decisions import placement
    from survey.output.answers.place import place_table
    from survey.output.answers.place_record import place_record

    scene = placing.asked_of(options.read_scene(plan_file, fit_file), max_relays=max_relays)
    with options.progress("trying spots") as progress:
        found = placement.place(scene, options=placing.options(draws=draws, seed=seed), progress=progress)
    output.show(partial(place_table, top=top), place_record, found)
    options.finish(require=require, all_hold=found.network.all_hold)
