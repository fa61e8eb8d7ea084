"""The command that sorts the missed polls of a log."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from survey.cli import options
from survey.cli.logs import log_options


@click.command()
@options.plan_argument
@click.argument("log_file", metavar="LOG", type=click.Path(path_type=Path))
@click.option(
    "--before",
    "before_file",
    type=click.Path(path_type=Path),
    metavar="LOG2",
    help="Compare with this log from before a repair, inverter by inverter.",
)
@click.option("--remedies", is_flag=True, help="Show the remedies that help most weak links together.")
@log_options
@options.fit_option
@options.json_and_out
def dropouts(
    plan_file: Path,
    log_file: Path,
    before_file: Path | None,
    fit_file: Path | None,
    *,
    remedies: bool,
    log_style: dict[str, Any],
    output: options.Output,
) -> None:
    """Sort the missed polls in LOG by likely cause.

    LOG is a CSV or spreadsheet file. Its header names the columns time, inverter, gateway and heard; level_dbm, power_w
    and branch are used if present.
    """
    from survey.library.dropouts import dropouts as causes_of
    from survey.output.answers.dropouts import answer_text

    plan = options.read_plan(plan_file)
    with options.progress("trying remedies" if remedies else "reading the log") as told:
        found = causes_of(
            plan, log_file, before=before_file, remedies=remedies, fit=fit_file, progress=told, **log_style
        )
    output.show(lambda: answer_text(found.dropouts, repair=found.repair, joint=found.joint), found.to_dict)
