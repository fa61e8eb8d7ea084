"""The command that sorts what is missing in a log."""

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
    """Sort the dropouts in LOG by likely cause.

    LOG is a CSV file with a header: time,inverter,gateway,heard and, where there are such columns, level_dbm, power_w
    and branch.
    """
    from survey.inputs.logs import read_log
    from survey.measured.dropouts.sorting import dropouts_of
    from survey.output.answers.dropouts import (
        dropouts_record,
        dropouts_table,
    )

    scene = options.read_scene(plan_file, fit_file)
    with options.progress("reading the log") as told:
        log = read_log(
            log_file,
            inverters=scene.inverters.names,
            serials=scene.inverters.serials,
            gateways=scene.gateways_and_spots.names,
            progress=told,
        )
    for note in log.notes:
        options.warn(f"{log_file}: {note}")
    output.show(dropouts_table, dropouts_record, dropouts_of(scene, log))
