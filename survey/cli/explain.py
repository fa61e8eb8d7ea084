"""The command that shows a link's budget and its remedies."""

from __future__ import annotations

from pathlib import Path

import click

from survey.base.limits import CABLE_M, MOST_CABLE_LOSS_DB_PER_M, MOST_CABLE_M
from survey.cli import options


@click.command()
@options.plan_argument
@click.argument("inverters", metavar="INVERTER...", nargs=-1, required=True)
@click.option(
    "--gateway",
    "gateways",
    multiple=True,
    metavar="NAME",
    help="Explain the link to this gateway or spot, not to the existing gateways; may be repeated.",
)
@click.option(
    "--cable-m",
    type=click.FloatRange(0.0, MOST_CABLE_M),
    default=CABLE_M,
    show_default=True,
    metavar="M",
    callback=options.finite,
    help="Longest cable between a gateway and its antenna; 0 for none.",
)
@click.option(
    "--cable-loss-db-per-m",
    type=click.FloatRange(0.0, MOST_CABLE_LOSS_DB_PER_M),
    metavar="DB",
    callback=options.finite,
    help="Loss of that cable per metre.  [default: thin coaxial cable, an assumption]",
)
@click.option("--more-margin", is_flag=True, help="Also show remedies for links that hold, to gain margin.")
@click.option("--together", is_flag=True, help="Rank the remedies by how many of the named inverters they bring up.")
@options.relays_option
@options.fit_option
@options.require_option
@options.json_csv_and_out
def explain(
    plan_file: Path,
    inverters: tuple[str, ...],
    gateways: tuple[str, ...],
    *,
    cable_m: float,
    cable_loss_db_per_m: float | None,
    more_margin: bool,
    together: bool,
    max_relays: int | None,
    fit_file: Path | None,
    require: bool,
    output: options.Output,
) -> None:
    """Show a link's budget and its remedies.

    Explains the link of each INVERTER to the existing gateway that it reports to. If PLAN has no gateway, it explains
    the link to the recommended spot. Each remedy is calculated with the changed plan. The name of an array stands for
    all its inverters.
    """
    from survey.library.explain import explain as explained
    from survey.output.answers.csv_rows import explain_csv
    from survey.output.answers.explain import explain_text, together_text
    from survey.output.answers.joint import joint_csv

    plan = options.read_plan(plan_file)
    with options.progress("testing remedies") as told:
        found = explained(
            plan,
            inverters,
            gateway=gateways,
            cable_m=cable_m,
            cable_loss_db_per_m=cable_loss_db_per_m,
            more_margin=more_margin,
            together=together,
            relays=max_relays,
            fit=fit_file,
            progress=told,
        )
    if (joint := found.joint) is not None:
        output.show(lambda: together_text(found.explained, joint), found.to_dict, lambda: joint_csv(joint))
    else:
        output.show(lambda: explain_text(found.explained), found.to_dict, lambda: explain_csv(found.explained))
    options.finish(require=require, all_hold=found.all_hold)
