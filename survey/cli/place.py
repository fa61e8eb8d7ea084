"""The command that recommends a spot for the gateway."""

from __future__ import annotations

from pathlib import Path

import click

from survey.cli import options


@click.command()
@options.plan_argument
@click.option("--top", type=click.IntRange(min=1), metavar="N", help="Show the first N spots of the whole ranking.")
@click.option("--all", "every", is_flag=True, help="Show the link of every inverter, not only the weakest.")
@options.placing_options
@options.relays_option
@options.draws_options
@options.fit_option
@options.require_option
@options.json_csv_and_out
def place(
    plan_file: Path,
    top: int | None,
    *,
    every: bool,
    placing: options.Placing,
    max_relays: int | None,
    fit_file: Path | None,
    draws: int,
    seed: int,
    require: bool,
    output: options.Output,
) -> None:
    """Recommend a spot for one gateway or several, and say why.

    Tests every spot and every point of a search in PLAN. Shows the best spot, the next best ones, the inverters that
    make the difference, and the weakest links.
    """
    from survey.library.place import place as recommend
    from survey.output.answers.csv_rows import network_csv
    from survey.output.answers.place import place_table

    plan = options.read_plan(plan_file)
    with options.progress("testing spots") as told:
        found = recommend(plan, **placing, relays=max_relays, fit=fit_file, draws=draws, seed=seed, progress=told)
    output.show(
        lambda: place_table(found.placement, top=top, every=every),
        found.to_dict,
        lambda: network_csv(found.placement.network),
    )
    options.finish(require=require, all_hold=found.all_hold)
