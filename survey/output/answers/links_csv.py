"""Links as rows for a spreadsheet: the record of the site as it was built."""

from __future__ import annotations

from collections.abc import Sequence

from survey.budget import CARRIERS, STATES, Links
from survey.output.answers.links import FIGURES, in_the_line
from survey.output.answers.values import csv_text, plain

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


def links_csv(links: Links, *, shown: Sequence[int] | None = None) -> str:
    """Return every link as one row, inverter by inverter, with the serial that the plan gives; `shown` as elsewhere."""
    figures = {name: plain(getattr(links, name)) for name in FIGURES}
    carriers, states, at_m = links.carrier.tolist(), links.state.tolist(), plain(links.inverters.at_m)
    return csv_text(
        COLUMNS,
        (
            [
                links.inverters.names[i],
                links.inverters.serials[i],
                gateway,
                *at_m[i],
                *(values[i][j] for values in figures.values()),
                STATES[states[i][j]],
                CARRIERS[carriers[i][j]],
                in_the_line(links, i, j),
            ]
            for i in (range(len(links.inverters)) if shown is None else shown)
            for j, gateway in enumerate(links.gateways.names)
        ),
    )
