"""The command that fits the model to readings."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import click

from survey.base.limits import MAX_EXPONENT_SD, MIN_EXPONENT_SD
from survey.cli import options


@click.command()
@options.plan_argument
@click.argument("readings_file", metavar="READINGS", type=click.Path(path_type=Path))
@click.option("--check", is_flag=True, help="Show for each inverter: as expected, weaker or stronger.")
@click.option(
    "--exponent-sd",
    type=click.FloatRange(min=MIN_EXPONENT_SD, max=MAX_EXPONENT_SD),
    callback=options.finite,
    metavar="NUMBER",
    help="Uncertainty of the plan's path loss exponent, one standard deviation (0.5).",
)
@click.option("--anchored", is_flag=True, help="Keep the plan's radio figures: the offset stays 0.")
@click.option("--plain", is_flag=True, help="Use the readings alone: no prior, no protection against outliers.")
@options.json_and_out
def fit(
    plan_file: Path,
    readings_file: Path,
    *,
    check: bool,
    exponent_sd: float | None,
    anchored: bool,
    plain: bool,
    output: options.Output,
) -> None:
    """Fit the model to readings (measured levels).

    READINGS is a CSV file with the columns inverter (or serial), gateway and level_dbm. --out FILE.json writes the
    result for `--fit FILE.json` of the other commands.
    """
    from survey.library.fit import fit as fitted
    from survey.output.answers.fit import fit_table

    plan = options.read_plan(plan_file)
    found = fitted(
        plan, readings_file, exponent_sd=exponent_sd, anchored=anchored, plain=plain, told=partial(click.echo, err=True)
    )
    output.show(lambda: fit_table(found.fit, check=check), found.to_dict)
