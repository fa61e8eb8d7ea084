"""Links as rows for a spreadsheet: the record of the site as it was built."""

from __future__ import annotations

import csv
import io

from survey.budget import CARRIERS, STATES, Links
from survey.inputs.csv_files import inert
from survey.output.answers.links import FIGURES, in_the_line
from survey.output.answers.values import plain

COLUMNS = (
    "inverter",
    "serial",
    "gateway",
    "east_m",
    "north_m",
    "height_m",
    *FIGURES,
    "state",
    "way",
    "crossed",
)


def links_csv(links: Links) -> str:
    """Every link as one row, inverter by inverter, with the serial that the plan gives.

    Text is `inert`: names that begin like a formula get an apostrophe before them. Figures stay numbers.
    """
    figures = {name: plain(getattr(links, name)) for name in FIGURES}
    carriers, states, at_m = links.carrier.tolist(), links.state.tolist(), plain(links.inverters.at_m)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for i, inverter in enumerate(links.inverters.names):
        for j, gateway in enumerate(links.gateways.names):
            writer.writerow(
                [
                    inert(inverter),
                    inert(links.inverters.serials[i]),
                    inert(gateway),
                    *at_m[i],
                    *(values[i][j] for values in figures.values()),
                    STATES[states[i][j]],
                    CARRIERS[carriers[i][j]],
                    "; ".join(map(inert, in_the_line(links, i, j))),
                ]
            )
    return text.getvalue().removesuffix("\n")
