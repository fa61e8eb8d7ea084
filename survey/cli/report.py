"""The command that writes the page for the job file."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import click

from survey.base.errors import OutputError, one_line
from survey.cli import options
from survey.cli.logs import log_options, read_site_log

ENDINGS = (".html", ".htm")


@click.command()
@options.plan_argument
@click.option("--out", type=click.Path(path_type=Path), required=True, metavar="FILE.html", help="Write the page here.")
@click.option(
    "--gateway",
    "gateways",
    multiple=True,
    metavar="NAME",
    help="Make map and table about this gateway or spot, not about the recommended one; may be repeated.",
)
@click.option(
    "--readings",
    "readings_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Set these measured levels (CSV) against the prediction.",
)
@click.option(
    "--log",
    "log_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Sort the dropouts of this log (CSV) by likely cause.",
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

    It holds the question, the recommendation that `survey place` gives with the same options and how sure it is, a
    map, a table of all inverters, the weakest links explained, what would mend them, what was assumed, and cautions.
    The page needs no network and no other file.
    """
    from survey import __version__
    from survey.output import report as pages

    if out.suffix.casefold() not in ENDINGS:
        raise OutputError(one_line(f"{out}: the page is HTML; name a file that ends in .html"))
    inputs = tuple(one for one in (plan_file, fit_file, readings_file, log_file) if one is not None)
    options.check_writable(out, inputs=inputs)
    scene = placing.asked_of(options.read_scene(plan_file, fit_file), max_relays=max_relays)
    plain_scene = options.read_scene(plan_file) if fit_file is not None else scene
    readings = None
    if readings_file is not None:
        from survey.inputs.readings import read_readings
        from survey.measured.calibration import names_of

        readings = read_readings(readings_file, names_of(plain_scene))
        for note in readings.notes:
            options.warn(note)
    log = None
    if log_file is not None:
        log = read_site_log(scene, log_file, log_style)
    given = pages.Given(gateways=gateways, plain_scene=plain_scene, readings=readings, log=log)
    wanted = placing.wanted(draws=draws, seed=seed)
    with options.progress("working out the page") as told:
        found = pages.findings_of(scene, given, wanted=wanted, progress=told)
    day = (date or datetime.now().astimezone()).date().isoformat()
    stamp = pages.Stamp(version=__version__, plan=plan_file.read_bytes(), date=day)
    options.write_whole(out, pages.html_page(found, stamp), inputs=inputs)
    click.echo(f"written: {one_line(str(out))}", err=True)
    options.finish(require=require, all_hold=found.network.all_hold)
