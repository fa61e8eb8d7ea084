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
    help="Frequency of the losses.",
)
@options.json_and_out
def materials(frequency_mhz: float, output: options.Output) -> None:
    """List the built-in materials and their losses.

    Shows the loss of one sheet of each material, its uncertainty, and its source.
    """
    from survey.inputs.materials import BUILT_IN
    from survey.output.answers.materials import materials_record, materials_table

    known = list(BUILT_IN.values())
    output.show(partial(materials_table, known, frequency_mhz), partial(materials_record, known, frequency_mhz))
