"""The command that fits the model to readings."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import click

from survey.base.limits import MAX_EXPONENT_SD, MAX_NEXT, MIN_EXPONENT_SD
from survey.cli import options


@click.command()
@options.plan_argument
@click.argument("readings_file", metavar="READINGS", type=click.Path(path_type=Path), required=False)
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
@click.option(
    "--next",
    "next_readings",
    type=click.IntRange(1, MAX_NEXT),
    metavar="N",
    help="Name the N links whose reading would tell most; READINGS may then be left out.",
)
@options.json_and_out
def fit(
    plan_file: Path,
    readings_file: Path | None,
    *,
    check: bool,
    exponent_sd: float | None,
    anchored: bool,
    plain: bool,
    next_readings: int | None,
    output: options.Output,
) -> None:
    """Fit the model to readings (measured levels).

    READINGS is a CSV file with the columns inverter (or serial), gateway and level_dbm. --out FILE.json writes the
    result for `--fit FILE.json` of the other commands.
    """
    from survey.library.fit import first_readings
    from survey.library.fit import fit as fitted
    from survey.output.answers.fit import fit_table
    from survey.output.answers.next_readings import first_table, next_table

    if readings_file is None:
        if next_readings is None:
            raise click.UsageError("READINGS is missing; without it use --next N, which names what to read")
        if name := next(
            (one for one, given in (("check", check), ("anchored", anchored), ("plain", plain)) if given), ""
        ):
            raise click.UsageError(f"--{name} needs READINGS")
        first = first_readings(options.read_plan(plan_file), count=next_readings, exponent_sd=exponent_sd)
        output.show(lambda: first_table(first.plan, first.next_readings), first.to_dict)
        return
    plan = options.read_plan(plan_file)
    found = fitted(
        plan,
        readings_file,
        exponent_sd=exponent_sd,
        anchored=anchored,
        plain=plain,
        next_readings=next_readings,
        told=partial(click.echo, err=True),
    )
    chosen = found.next_readings
    output.show(
        lambda: fit_table(found.fit, check=check, more=next_table(chosen) if chosen else ""),
        found.to_dict,
    )
