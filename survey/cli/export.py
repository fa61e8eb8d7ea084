"""The command that writes the site for other programs."""

from __future__ import annotations

from pathlib import Path

import click

from survey.cli import options

ENDINGS = ("geojson", "csv", "dxf")


@click.command()
@options.plan_argument
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    help="File to write: .geojson, .csv or .dxf; - for standard output.",
)
@click.option("--format", "chosen", type=click.Choice(ENDINGS), help="Format on standard output; csv by default.")
@click.option(
    "--gateway", "gateways", multiple=True, metavar="NAME", help="Links to this gateway or spot; may be repeated."
)
@options.fit_option
def export(plan_file: Path, out: Path, *, chosen: str | None, gateways: tuple[str, ...], fit_file: Path | None) -> None:
    """Write the site for maps, spreadsheets and drawings.

    Each inverter gets the state and levels of its best link. Links go to the existing gateways of PLAN, or to the
    gateways or spots named.
    """
    ending = options.ending_of(out, chosen, endings=ENDINGS, usual="csv", what="cannot be exported")
    inputs = (plan_file,) if fit_file is None else (plan_file, fit_file)
    options.check_writable(out, inputs=inputs)
    from survey.library.export import export as export_of

    plan = options.read_plan(plan_file)
    options.check_writable(out, inputs=inputs)  # again: now it is known what the plan names
    found = export_of(plan, gateway=gateways, fit=fit_file)
    text: str = getattr(found, ending)
    if found.site.links is None:
        options.warn("the plan has no gateway, so the file has no links; name a spot with --gateway NAME")
    options.deliver(out, text + "\n" * (not text.endswith("\n")), inputs=inputs)
