"""The command that puts many sites in order: which needs a visit."""

from __future__ import annotations

from pathlib import Path

import click

from survey.base.errors import one_line
from survey.base.limits import MAX_WORKERS, SITE_MEMORY_MB, SITE_TIME_S
from survey.cli import options
from survey.cli.folders import json_csv_and_folder, write_folder


@click.command()
@click.argument("sites_file", metavar="SITES", type=click.Path(path_type=Path))
@click.option("--top", type=click.IntRange(min=1), default=20, show_default=True, metavar="N", help="List N visits.")
@click.option(
    "--results",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Keep results here (JSON lines), for the next run. By default beside SITES.",
)
@click.option("--anew", is_flag=True, help="Assess every site again, also without a change.")
@click.option(
    "--workers",
    type=click.IntRange(1, MAX_WORKERS),
    metavar="N",
    help="Use N processes. By default one for each core.",
)
@click.option("--on", metavar="ADDRESS", help="Hand the work to the Dask scheduler at this address.")
@click.option(
    "--limit-s",
    type=click.FloatRange(min=0.0),
    callback=options.finite,
    default=SITE_TIME_S,
    show_default=True,
    metavar="SECONDS",
    help="Longest time for a site; 0 for no limit.",
)
@click.option(
    "--limit-mb",
    type=click.FloatRange(min=0.0),
    callback=options.finite,
    default=SITE_MEMORY_MB,
    show_default=True,
    metavar="MB",
    help="Most memory for a site; 0 for no limit.",
)
@click.option("--require", is_flag=True, help=f"Exit with status {options.NOT_HELD} if a site needs a visit.")
@json_csv_and_folder
def rounds(
    sites_file: Path,
    top: int,
    results: Path | None,
    *,
    anew: bool,
    workers: int | None,
    on: str | None,
    limit_s: float,
    limit_mb: float,
    require: bool,
    output: options.Output,
    folder: Path | None,
) -> None:
    """Put many sites in order: which one needs a visit today.

    SITES is a CSV file with a row for each site, or a folder with a folder for each site. The header of the file names
    the columns site and plan; log, readings, fit and branch are used if present. Paths count from the folder of SITES.
    """
    from survey.library.rounds import rounds as rounds_of
    from survey.output.answers.rounds import rounds_csv, rounds_text

    if results is not None:
        options.check_writable(results, inputs=(sites_file,))
    with options.progress("assessing sites", is_timed=True) as told:
        found = rounds_of(
            sites_file,
            results=results,
            anew=anew,
            workers=workers,
            on=on,
            limit_s=limit_s,
            limit_mb=limit_mb,
            progress=told,
        )
    if folder is not None:
        from survey.output.site_pages import pages_of

        write_folder(folder, pages_of(found.table, found.order))
        click.echo(f"written: {one_line(str(folder / 'index.html'))}", err=True)
    output.show(
        lambda: rounds_text(found.table, found.order, reused=found.reused, top=top),
        found.to_dict,
        lambda: rounds_csv(found.table, found.order),
    )
    options.finish(require=require, all_hold=found.all_in_order)
