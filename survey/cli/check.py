"""The command that checks a plan."""

from __future__ import annotations

from pathlib import Path

import click

from survey.cli import options


@click.command()
@options.plan_argument
@options.json_and_out
def check(plan_file: Path, output: options.Output) -> None:
    """Find errors and likely mistakes in a plan.

    Lists the contents of PLAN and the defaults in use. Warns of entries that are allowed but look like mistakes.
    Reports all errors in one run.
    """
    from survey.library.check import check as check_plan
    from survey.output.answers.check import check_text

    with options.progress("checking obstacles") as told:
        found = check_plan(options.read_plan(plan_file), progress=told)
    output.show(lambda: check_text(found.inspection), found.to_dict)
    for warning in found.warnings:
        options.warn(warning)
