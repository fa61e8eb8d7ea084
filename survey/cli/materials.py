"""The command that lists the built-in materials."""

from __future__ import annotations

from functools import partial

import click

from survey.base.limits import MAX_FREQUENCY_MHZ, MIN_FREQUENCY_MHZ
from survey.cli import options


@click.command()
@click.option(
    "--frequency-mhz",
    type=click.FloatRange(MIN_FREQUENCY_MHZ, MAX_FREQUENCY_MHZ),
    default=868.0,
    callback=options.finite,
    show_default=True,
    help="Show losses at this frequency.",
)
@options.json_and_out
def materials(frequency_mhz: float, output: options.Output) -> None:
    """List the built-in materials.

    Shows what one pass through each costs, how far the figure can be trusted, and where it comes from.
    """
    from survey.inputs.materials import BUILT_IN
    from survey.output.answers.materials import materials_record, materials_table

    known = list(BUILT_IN.values())
    output.show(partial(materials_table, known, frequency_mhz), partial(materials_record, known, frequency_mhz))
