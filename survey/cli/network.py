"""The command that shows routes and single points of failure."""

from __future__ import annotations

from pathlib import Path

import click

from survey.base.errors import one_line
from survey.cli import options


@click.command()
@options.plan_argument
@click.option(
    "--gateway", "gateways", multiple=True, metavar="NAME", help="Show routes to this gateway or spot; may be repeated."
)
@click.option("--graphml", type=click.Path(path_type=Path), help="Write the network to this file too, as GraphML.")
@options.relays_option
@options.fit_option
@options.require_option
@options.json_csv_and_out
def network(
    plan_file: Path,
    gateways: tuple[str, ...],
    graphml: Path | None,
    max_relays: int | None,
    *,
    fit_file: Path | None,
    require: bool,
    output: options.Output,
) -> None:
    """Show the route of every inverter and single points of failure.

    Routes go to the existing gateways of PLAN, or to the gateways or spots named. They use up to as many relays as
    max_relays in the plan allows.
    """
    from survey.library.network import network as routes_of
    from survey.output.answers.csv_rows import network_csv
    from survey.output.answers.network import network_table

    inputs = (plan_file,) if fit_file is None else (plan_file, fit_file)
    if graphml is not None:
        options.check_writable(graphml, inputs=inputs)
        options.check_ending(graphml, endings=(".graphml", ".xml"))
        if output.file is not None and output.file.resolve() == graphml.resolve():
            raise click.UsageError("--out and --graphml name the same file")
    plan = options.read_plan(plan_file)
    with options.progress("links between inverters") as told:
        found = routes_of(plan, gateway=gateways, relays=max_relays, fit=fit_file, progress=told)
    if graphml is not None:
        options.write_whole(graphml, found.graphml() + "\n", inputs=inputs)
        click.echo(f"written: {one_line(str(graphml))}", err=True)
    points = found.points
    output.show(
        lambda: network_table(points),
        found.to_dict,
        lambda: network_csv(points.network, two_routes=points.two_routes),
    )
    options.finish(require=require, all_hold=found.all_hold)
