"""What to read next, as text and as JSON."""

from __future__ import annotations

from shlex import quote

from survey.base.layout import Column, counted, listed, paragraphs, table, wrapped
from survey.decisions.next_readings import NextReadings
from survey.inputs.plan import Plan
from survey.output.answers.figures import CAUTION, db
from survey.output.answers.values import Record, plain

COLUMNS = (
    Column("inverter", text=True),
    Column("gateway\nor spot", text=True),
    Column("m"),
    Column("expected\ndBm"),
    Column("uncertainty\ndB"),
    Column("gain\ninverters"),
)
SURE = 0.05
"""Inverters; with less to gain no reading changes the decision. A judgement."""
SPOTS_SHOWN = 4
"""Names that fit a line. A judgement."""


def next_table(found: NextReadings) -> str:
    """Return the links to read next, and what they are expected to bring."""
    rows = [
        [
            one.inverter,
            one.gateway,
            f"{one.distance_m:.1f}",
            db(one.level_dbm),
            db(one.sigma_db),
            f"{one.gain:.2f}",
        ]
        for one in found.readings
    ]
    gain = sum(one.gain for one in found.readings)
    sure = "" if gain >= SURE else "The decision is as good without them: read these to confirm it. "
    why = sure + (
        f"Gain: inverters that the choice of a spot and the judgement of its links are expected to get right in "
        f"addition, {gain:.1f} in all. Without these readings {found.misjudged:.1f} are expected to be judged wrong at "
        f"{found.gateways[0]}. Weighed against each other: {listed(found.gateways, SPOTS_SHOWN)}. Direct links only."
    )
    return "\n".join(["Read these links next, the most telling first", table(COLUMNS, rows), wrapped(why)])


def first_table(site: Plan, found: NextReadings) -> str:
    """Return what `survey fit --next` prints where nothing has been read yet."""
    return paragraphs(
        "\n".join(
            [
                wrapped(f"{site.site.name}: nothing read yet; {counted(len(found.readings), 'link')} to begin with"),
                wrapped(f"Next step: read them, then run: survey fit {quote(site.file)} READINGS.csv"),
            ]
        ),
        next_table(found),
        wrapped(CAUTION),
    )


def next_record(found: NextReadings) -> Record:
    """Return the links to read next as JSON."""
    return {
        "misjudged": plain(found.misjudged),
        "next_readings": [
            {
                "inverter": one.inverter,
                "gateway": one.gateway,
                "distance_m": plain(one.distance_m),
                "level_dbm": plain(one.level_dbm),
                "sigma_db": plain(one.sigma_db),
                "gain": plain(one.gain),
            }
            for one in found.readings
        ],
    }
