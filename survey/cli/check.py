"""The command that looks a plan over."""

from __future__ import annotations

from pathlib import Path

import click

from survey.cli import options


@click.command()
@options.plan_argument
@options.json_and_out
def check(plan_file: Path, output: options.Output) -> None:
    """Look a plan over for what seems wrong.

    Says what is in PLAN and which defaults apply, and warns of what is allowed but looks wrong. Faults are told all
    at once.
    """
    from survey.library.check import check as check_plan
    from survey.output.answers.check import check_text

    with options.progress("looking for obstacles that no link meets") as told:
        found = check_plan(options.read_plan(plan_file), progress=told)
    output.show(lambda: check_text(found.inspection), found.to_dict)
    for warning in found.warnings:
        options.warn(warning)
