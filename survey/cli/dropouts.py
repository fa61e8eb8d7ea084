"""The command that sorts the missed polls of a log."""

from __future__ import annotations

from pathlib import Path

import click

from survey.cli import options


@click.command()
@options.plan_argument
@click.argument("log_file", metavar="LOG", type=click.Path(path_type=Path))
@options.fit_option
@options.json_and_out
def dropouts(plan_file: Path, log_file: Path, fit_file: Path | None, *, output: options.Output) -> None:
    """Sort the missed polls in LOG by likely cause.

    LOG is a CSV file. Its header names the columns time, inverter, gateway and heard; level_dbm, power_w and branch are
    used if present.
    """
    from survey.library.dropouts import dropouts as causes_of
    from survey.output.answers.dropouts import dropouts_table

    plan = options.read_plan(plan_file)
    with options.progress("reading the log") as told:
        found = causes_of(plan, log_file, fit=fit_file, progress=told)
    output.show(lambda: dropouts_table(found.dropouts), found.to_dict)
