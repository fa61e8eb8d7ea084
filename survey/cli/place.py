"""The command that recommends where the gateway goes."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import click

from survey.cli import options


@click.command()
@options.plan_argument
@click.option("--top", type=click.IntRange(min=1), metavar="N", help="Show the first N spots of the whole ranking.")
@click.option(
    "--gateways",
    type=click.IntRange(1, options.MOST_GATEWAYS),
    metavar="N",
    help="Use up to N gateways, whatever the plan's requirement says.",
)
@click.option("--fewest", is_flag=True, help="Find the fewest gateways with which all hold that can hold.")
@click.option("--spare", is_flag=True, help="The same, with every inverter holding twice: any one gateway may fail.")
@options.relays_option
@click.option(
    "--time-limit",
    "time_limit_s",
    type=click.FloatRange(min=0.0),
    callback=options.finite,
    default=60.0,
    metavar="SECONDS",
    help="How long to look for a proof that no other choice of gateways is better; 60 by default.",
)
@options.draws_options
@options.fit_option
@options.require_option
@options.json_and_out
def place(
    plan_file: Path,
    top: int | None,
    gateways: int | None,
    max_relays: int | None,
    time_limit_s: float,
    *,
    fit_file: Path | None,
    draws: int,
    seed: int,
    fewest: bool,
    spare: bool,
    require: bool,
    output: options.Output,
) -> None:
    """Say where the gateway goes, or several of them, and why.

    Tries every spot and every point of a search in PLAN, and shows the best of them, the runners-up, the inverters
    that decide it, and the weakest links.
    """
    from survey import placement  # noqa: PLC0415  start-up time
    from survey.records import place as records  # noqa: PLC0415
    from survey.tables import place as tables  # noqa: PLC0415

    if gateways is not None and (fewest or spare):
        raise click.UsageError("--gateways asks for the most inverters, --fewest and --spare for the fewest gateways")
    scene = options.read_scene(plan_file, fit_file).wanting(gateways=gateways, max_relays=max_relays)
    told_short = placement.short_of_room(scene)
    if told_short and not (fewest or spare):
        options.warn(told_short)
    wanted = placement.Wanted(fewest=fewest or spare, spare=spare, time_limit_s=time_limit_s, draws=draws, seed=seed)
    with options.progress("trying spots") as told:
        found = placement.place(scene, wanted=wanted, progress=told)
    output.show(partial(tables.place_table, top=top), records.place_record, found)
    options.finish(require=require, all_hold=found.network.all_hold)
