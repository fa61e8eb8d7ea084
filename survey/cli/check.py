"""The command that checks a plan."""

from __future__ import annotations

from pathlib import Path

import click

from survey.base.errors import one_line
from survey.cli import options


@click.command()
@options.plan_argument
@click.option(
    "--sheets",
    "sheets_file",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Write the plan in loose sheets, boxes and points to FILE; put it beside the plan.",
)
@options.json_and_out
def check(plan_file: Path, sheets_file: Path | None, output: options.Output) -> None:
    """Find errors and likely mistakes in a plan.

    Lists the contents of PLAN and the defaults in use. Warns of entries that are allowed but look like mistakes.
    Reports all errors in one run.
    """
    from survey.library.check import check as check_plan
    from survey.output.answers.check import check_text

    if sheets_file is not None:
        options.check_writable(sheets_file, inputs=(plan_file,))
        options.check_ending(sheets_file, endings=(".toml",))
    with options.progress("checking obstacles") as told:
        found = check_plan(options.read_plan(plan_file), progress=told)
    if sheets_file is not None:
        options.write_whole(sheets_file, found.sheets, inputs=(plan_file,))
        click.echo(f"written: {one_line(str(sheets_file))}", err=True)
    output.show(lambda: check_text(found.inspection), found.to_dict)
    for warning in found.warnings:
        options.warn(warning)
