"""The command that writes the page for the job file."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import click

from survey.cli import options
from survey.cli.logs import log_options

PAGE_ENDINGS = ("html", "htm")
FORM_ENDINGS = ("html", "csv")


@click.command()
@options.plan_argument
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    metavar="FILE.html",
    help="Write the page here; - for standard output.",
)
@click.option(
    "--form",
    is_flag=True,
    help="Write the sheet for a day of readings instead: every inverter, its expected level, space to write.",
)
@click.option("--csv", "as_csv", is_flag=True, help="With --form: rows for a spreadsheet, as FILE.csv has them.")
@click.option(
    "--gateway",
    "gateways",
    multiple=True,
    metavar="NAME",
    help=(
        "Show this gateway or spot in map and table, not the recommended spot. Repeated: all of them in use together, "
        "each inverter at the best one; for each as the only gateway, see survey compare."
    ),
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
    form: bool,
    as_csv: bool,
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

    With --form it is the sheet for a day of readings, to print or as CSV. `survey fit` reads that CSV once it is filled
    in.

    The page begins with the spot that `survey place` recommends with the same options. Then come its certainty, and a
    map and a table of all inverters. The weakest links with remedies, assumptions and cautions follow. The page needs
    no network and no other file.
    """
    inputs = tuple(one for one in (plan_file, fit_file, readings_file, log_file) if one is not None)
    day = None if date is None else date.date()
    if as_csv and not form:
        raise click.UsageError("--csv is only for --form; for rows of all links, see survey links --csv")
    if form and (readings_file is not None or log_file is not None):
        raise click.UsageError("--form is a sheet to fill in; omit --readings and --log")
    endings = FORM_ENDINGS if form else PAGE_ENDINGS
    what = "the sheet is HTML or CSV" if form else "the page is HTML"
    ending = options.ending_of(out, "csv" if as_csv else None, endings=endings, usual="html", what=what)
    options.check_writable(out, inputs=inputs)
    with options.progress("calculating the sheet" if form else "calculating the page") as told:
        if form:
            from survey.library.form import form as form_of

            sheet = form_of(plan_file, gateway=gateways, **placing, relays=max_relays, fit=fit_file, progress=told)
            plan, all_hold = sheet.plan, sheet.network.all_hold
            text = sheet.csv() + "\n" if ending == "csv" else sheet.html(date="" if day is None else day.isoformat())
        else:
            from survey.library.report import report as page_of

            page = page_of(
                plan_file,
                gateway=gateways,
                readings=readings_file,
                log=log_file,
                date=day,
                **log_style,
                **placing,
                relays=max_relays,
                fit=fit_file,
                draws=draws,
                seed=seed,
                progress=told,
            )
            plan, all_hold, text = page.plan, page.all_hold, page.html
    options.remember(plan, plan_file)
    options.deliver(out, text, inputs=inputs)
    options.finish(require=require, all_hold=all_hold)
