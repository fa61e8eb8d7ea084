"""The command that writes the page for the job file."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import click

from survey.base.errors import OutputError, one_line
from survey.cli import options
from survey.cli.logs import log_options

ENDINGS = (".html", ".htm")


@click.command()
@options.plan_argument
@click.option("--out", type=click.Path(path_type=Path), required=True, metavar="FILE.html", help="Write the page here.")
@click.option(
    "--gateway",
    "gateways",
    multiple=True,
    metavar="NAME",
    help="Show this gateway or spot in map and table, not the recommended spot. Repeated: all of them in use together.",
)
@click.option(
    "--readings",
    "readings_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Compare these readings (CSV) with the prediction.",
)
@click.option(
    "--log",
    "log_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Sort the missed polls of this log (CSV) by likely cause.",
)
@click.option(
    "--date",
    type=click.DateTime(formats=["%Y-%m-%d"]),
    metavar="YYYY-MM-DD",
    help="Date of the page.  [default: today]",
)
@log_options
@options.placing_options
@options.relays_option
@options.draws_options
@options.fit_option
@options.require_option
def report(
    plan_file: Path,
    out: Path,
    gateways: tuple[str, ...],
    readings_file: Path | None,
    log_file: Path | None,
    *,
    date: datetime | None,
    placing: options.Placing,
    max_relays: int | None,
    fit_file: Path | None,
    draws: int,
    seed: int,
    require: bool,
    log_style: dict[str, Any],
) -> None:
    """Write one page for the job file.

    The page begins with the spot that `survey place` recommends with the same options. Then come its certainty, and a
    map and a table of all inverters. The weakest links with remedies, assumptions and cautions follow. The page needs
    no network and no other file.
    """
    from survey.library.report import report as page_of

    if out.suffix.casefold() not in ENDINGS:
        raise OutputError(one_line(f"{out}: the page is HTML; give a file name that ends in .html"))
    inputs = tuple(one for one in (plan_file, fit_file, readings_file, log_file) if one is not None)
    options.check_writable(out, inputs=inputs)
    with options.progress("calculating the page") as told:
        page = page_of(
            plan_file,
            gateway=gateways,
            readings=readings_file,
            log=log_file,
            date=None if date is None else date.date(),
            **log_style,
            **placing,
            relays=max_relays,
            fit=fit_file,
            draws=draws,
            seed=seed,
            progress=told,
        )
    options.remember(page.plan, plan_file)
    options.write_whole(out, page.html, inputs=inputs)
    click.echo(f"written: {one_line(str(out))}", err=True)
    options.finish(require=require, all_hold=page.all_hold)
