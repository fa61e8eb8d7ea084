"""The command that sorts what is missing in a log."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from survey.cli import options
from survey.cli.logs import log_options, read_site_log


@click.command()
@options.plan_argument
@click.argument("log_file", metavar="LOG", type=click.Path(path_type=Path))
@click.option(
    "--before",
    "before_file",
    type=click.Path(path_type=Path),
    metavar="LOG2",
    help="Compare with this log from before a repair: which inverters are better, worse, or no different.",
)
@click.option("--remedies", is_flag=True, help="Work out which one change does most for all weak links together.")
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

    LOG is a table with a header: time,inverter,gateway,heard and, where there are such columns, level_dbm, power_w
    and branch; CSV as loggers and spreadsheets write it, or a spreadsheet file.
    """
    from survey.measured.dropouts.sorting import dropouts_of
    from survey.output.answers.dropouts import answer_record, answer_text

    scene = options.read_scene(plan_file, fit_file)
    found = dropouts_of(scene, read_site_log(scene, log_file, log_style))
    repair = None
    if before_file is not None:
        from survey.measured.dropouts import compared

        repair = compared(dropouts_of(scene, read_site_log(scene, before_file, log_style)), found)
    joint = None
    if remedies:
        from survey.decisions.remedies import joint_remedies

        with options.progress("trying remedies") as told:
            joint = joint_remedies(scene, found.for_remedies, progress=told)
    output.show(
        lambda one: answer_text(one, repair=repair, joint=joint),
        lambda one: answer_record(one, repair=repair, joint=joint),
        found,
    )
