"""What each number of gateways brings, and the fewest that are enough."""

from __future__ import annotations

from survey.base.layout import Cell, Column, counted, listed, table, wrapped
from survey.decisions.placement import Placement
from survey.output.answers.figures import (
    margin,
)
from survey.output.answers.recommendation import DECIDERS_SHOWN
from survey.siting.fewest import Fewest

CHOICE_COLUMNS = (
    Column("gateways"),
    Column("inverters\ncovered"),
    Column("expected\nworking", spare=1),
    Column("weakest\nmargin dB", spare=2),
    Column("best\npossible?", text=True),
    Column("where", text=True, yields=True),
)
"""A number of gateways as a row; what a narrow terminal can do without is a judgement."""


def choices_table(placement: Placement) -> str:
    """Return what each number of gateways brings, and how far that is proven."""
    if placement.fewest:
        return "\n".join(wrapped(line) for line in fewest_lines(placement, placement.fewest))
    if not placement.choices:
        return ""
    return "Coverage by number of gateways\n" + table(CHOICE_COLUMNS, choice_rows(placement))


def choice_rows(placement: Placement) -> list[list[Cell]]:
    """Return what each number of gateways brings, under `CHOICE_COLUMNS`."""
    return [
        [
            str(number),
            str(choice.served),
            f"{choice.expected_served:.1f}",
            margin(choice.worst_margin_db),
            "yes, proven" if choice.proven_served else f"up to {choice.gap} more",
            tuple(placement.scores.spots.names[i] for i in choice.chosen)
            if len(choice.chosen) == number
            else "no improvement",
        ]
        for number, choice in enumerate(placement.choices, start=1)
    ]


def fewest_lines(placement: Placement, few: Fewest) -> list[str]:
    """Return the fewest gateways with their proof, and the inverters that no spot covers, in sentences."""
    names = placement.scene.inverters.names
    twice = " twice, so that any one gateway may fail" if placement.options.spare else ""
    if few.over_capacity:
        short = counted(few.over_capacity, "inverter")
        lines = [
            f"Gateways at every spot are not enough: {short} over their capacity.",
            "Raise inverters_per_gateway, or add spots.",
        ]
        if len(placement.scores.spots.names) > 1:
            lines.append("This is the best single spot. For as many inverters as N gateways can take: --gateways N")
        return lines
    lines = []
    if few.chosen:
        number = len(few.chosen)
        verb = "covers" if number == 1 else "cover"
        proof = "fewer are not enough (proven)" if few.proven else f"{few.bound} may be enough (time ran out)"
        lines.append(f"{counted(number, 'gateway')} {verb} every inverter that can be covered{twice}; {proof}.")
    if few.unservable:
        shown = listed([names[i] for i in few.unservable], DECIDERS_SHOWN)
        lines.append(f"Cannot be covered{twice} from any spot: {shown}")
    return lines
