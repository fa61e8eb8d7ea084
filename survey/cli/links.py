"""The command that lists links."""

from __future__ import annotations

from pathlib import Path

import click

from survey.cli import options


@click.command()
@options.plan_argument
@click.option(
    "--gateway", "gateways", multiple=True, metavar="NAME", help="List links to this gateway or spot; may be repeated."
)
@click.option(
    "--inverter", "inverters", multiple=True, metavar="NAME", help="List this inverter only; may be repeated."
)
@click.option(
    "--array", "arrays", multiple=True, metavar="NAME", help="List the inverters of this array only; may be repeated."
)
@click.option(
    "--state",
    "states",
    multiple=True,
    type=click.Choice(["holds", "marginal", "fails"]),
    help="List only inverters whose best link has this state; may be repeated.",
)
@click.option(
    "--sort", type=click.Choice(["plan", "margin"]), default="plan", help="margin: the smallest margin first."
)
@options.fit_option
@options.require_option
@options.json_csv_and_out
def links(
    plan_file: Path,
    gateways: tuple[str, ...],
    inverters: tuple[str, ...],
    *,
    arrays: tuple[str, ...],
    states: tuple[str, ...],
    sort: str,
    fit_file: Path | None,
    require: bool,
    output: options.Output,
) -> None:
    """List the link of every inverter.

    Links go to the existing gateways of PLAN, or to the gateways or spots named.
    """
    from survey.library.links import links as links_of
    from survey.output.answers.links import link_table
    from survey.output.answers.links_csv import links_csv

    plan = options.read_plan(plan_file)
    found = links_of(plan, gateway=gateways, inverter=inverters, array=arrays, state=states, sort=sort, fit=fit_file)
    output.show(
        lambda: link_table(found.links, shown=found.shown, of=found.shown_as),
        found.to_dict,
        lambda: links_csv(found.links, shown=found.shown),
    )
    options.finish(require=require, all_hold=found.all_hold)
