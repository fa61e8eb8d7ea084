"""The command that compares spots."""

from __future__ import annotations

from pathlib import Path

import click

from survey.cli import options


@click.command()
@options.plan_argument
@click.argument("spots", metavar="SPOT SPOT...", nargs=-1, required=True)
@click.option(
    "--inverter", "inverters", multiple=True, metavar="NAME", help="Show only this inverter; may be repeated."
)
@click.option(
    "--with",
    "other_plan",
    type=click.Path(path_type=Path),
    metavar="OTHER_PLAN",
    help="Show the changes from PLAN to this plan, and their causes. One spot is then enough.",
)
@options.relays_option
@options.draws_options
@options.fit_option
@options.require_option
@options.json_csv_and_out
def compare(
    plan_file: Path,
    spots: tuple[str, ...],
    inverters: tuple[str, ...],
    other_plan: Path | None,
    max_relays: int | None,
    *,
    fit_file: Path | None,
    draws: int,
    seed: int,
    require: bool,
    output: options.Output,
) -> None:
    """Compare spots, link by link.

    Takes two or more spots or gateways of PLAN. Reports in how many simulation runs one has more working inverters
    than the other. With --with it takes one spot or more, and lists the links that changed.
    """
    from survey.library.compare import compare as put_side_by_side
    from survey.output.answers.compare import compare_table
    from survey.output.answers.csv_rows import compare_csv, plans_csv
    from survey.output.answers.plans import plans_table

    if other_plan is None and len(set(spots)) < 2:  # noqa: PLR2004  nothing to compare
        raise click.UsageError("name two or more different spots, or another plan with --with")
    plan = options.read_plan(plan_file)
    if other_plan is None:
        with options.progress("links between inverters") as told:
            found = put_side_by_side(
                plan,
                spots,
                inverter=inverters,
                relays=max_relays,
                fit=fit_file,
                draws=draws,
                seed=seed,
                progress=told,
            )
        output.show(
            lambda: compare_table(found.comparison, inverters=inverters),
            found.to_dict,
            lambda: compare_csv(found.spots, found.comparison.networks, inverters=inverters),
        )
        options.finish(require=require, all_hold=found.all_hold)
        return
    other = options.read_plan(other_plan)
    with options.progress("testing the changes") as told:
        changed = put_side_by_side(
            plan,
            spots,
            inverter=inverters,
            other_plan=other,
            relays=max_relays,
            fit=fit_file,
            draws=draws,
            seed=seed,
            progress=told,
        )
    output.show(
        lambda: plans_table(changed.between, inverters=inverters),
        changed.to_dict,
        lambda: plans_csv(changed.between, inverters=inverters),
    )
    options.finish(require=require, all_hold=changed.all_hold)
