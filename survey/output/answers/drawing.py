"""What is said of how far the drawing of a site is to be trusted, beside what simulation runs show."""

from __future__ import annotations

import math

from survey.budget import STATES
from survey.decisions.simulation import (
    GEOMETRIES,
    MIN_MOVE_DB,
    STEP_M,
    CriticalPosition,
    GeometryRecord,
    LinkMove,
    RankingCertainty,
)
from survey.output.answers.values import Record, plain

UNSTEADY_MARK = "*"
"""Behind the state of a link that another geometry of the site changes."""
UNSTEADY_KEY = (
    f"{UNSTEADY_MARK} This state depends on exact positions. In more than 5 of 100 geometries within the accuracy of "
    "the drawing, the link has another state."
)
MOVES_SHOWN = 2
"""How many positions and heights are named of a link; all are in the JSON. A judgement."""


def distance(length_m: float) -> str:
    """Return a tolerance as people say it.

    Examples
    --------
    >>> distance(0.1), distance(0.025), distance(1.5)
    ('10 cm', '2.5 cm', '1.5 m')
    """
    return f"{100.0 * length_m:g} cm" if length_m < 1.0 else f"{length_m:g} m"


def drawing_facts(sure: RankingCertainty) -> list[tuple[str, str]]:
    """Return what the geometries of a recommendation show, each fact with its label."""
    if sure.record is None:
        return []
    place = sure.links.gateways.places[0]
    error = f"; standard error of the share of {place}: {points(sure.place_error(place))}"
    return [
        ("Drawing", geometry_words(sure.record) + error),
        ("Measure again", measure_words(sure.measure_again)),
    ]


def choice_facts(record: GeometryRecord | None) -> list[tuple[str, str]]:
    """Return the same of a choice of several gateways."""
    if record is None:
        return []
    return [("Drawing", geometry_words(record)), ("Measure again", measure_words(record.critical_choice()))]


def points(error: float) -> str:
    """Return a standard error in percentage points; one that is not 0 does not look so.

    Examples
    --------
    >>> points(0.0123), points(0.0001), points(float("nan"))
    ('1.2 points', '<0.1 points', 'unknown')
    """
    if math.isnan(error):
        return "unknown"
    return "<0.1 points" if 0.0 < error < 0.0005 else f"{100.0 * error:.1f} points"  # noqa: PLR2004  half of the last digit


def geometry_words(record: GeometryRecord) -> str:
    """Return how many geometries the runs have, and what moved in them."""
    geometries = record.geometries
    spreads_m = 2.0 * geometries.pieces.spread_m.max(axis=1)
    low_m, high_m = float(spreads_m.min()), float(spreads_m.max())
    within = distance(high_m) if math.isclose(low_m, high_m) else f"{distance(low_m)} to {distance(high_m)}"
    count = len(geometries)
    fewer = (
        " (fewer than usual, since the site has so many links)"
        if count < min(GEOMETRIES, sum(geometries.sizes))
        else ""
    )
    runs = f"the runs use {count} geometries{fewer}" if count > 1 else "the runs use 1 geometry"
    return f"{runs}, in which everything is moved at random, within {within}"


def measure_words(critical: tuple[CriticalPosition, ...]) -> str:
    """Return the positions and heights whose error moves most, or that none does."""
    if not critical:
        return "nothing; no single position or height changes the result by half an inverter"
    told = []
    for one in critical:
        what = "the lead over the next best location" if one.lead else "the number of working inverters"
        told.append(
            f"the {one.direction} of {one.name} (off by {distance(one.within_m)}, it changes {what} by up to "
            f"{one.effect:.1f}{' inverters' if one.lead else ''})"
        )
    return "; ".join(told)


def move_lines(moves: tuple[LinkMove, ...], *, state: int) -> list[str]:
    """Return which positions and heights a link depends on most, or that none does."""
    if not moves:
        wrong = f"No position or height that is wrong by {distance(STEP_M)}"
        return [f"{wrong} changes this link by {MIN_MOVE_DB:g} dB or more."]
    lines = []
    for move in moves[:MOVES_SHOWN]:
        then = f" and then it {_DOES[move.state]}" if move.state != state else ""
        lines.append(
            f"{distance(move.step_m)} on the {move.direction} of {move.name} change this link by "
            f"{abs(move.margin_db):.1f} dB{then}."
        )
    if lines:
        lines[0] += " Measure it again." if len(lines) == 1 else ""
        if len(lines) > 1:
            lines.append("Measure both again.")
    return lines


_DOES = ("fails", "is marginal", "holds")


def drawing_record(record: GeometryRecord | None) -> Record:
    """Return how many geometries the runs have, as JSON."""
    return {"geometries": len(record.geometries) if record else 0}


def critical_records(critical: tuple[CriticalPosition, ...]) -> list[Record]:
    """Return what to measure again, as JSON."""
    return [
        {
            "name": one.name,
            "direction": one.direction,
            "within_m": plain(one.within_m),
            "changes": "lead" if one.lead else "served",
            "by": plain(one.effect),
            "explained": plain(one.explained),
        }
        for one in critical
    ]


def move_records(moves: tuple[LinkMove, ...]) -> list[Record]:
    """Return what moves a link, as JSON."""
    return [
        {
            "name": move.name,
            "direction": move.direction,
            "step_m": plain(move.step_m),
            "margin_db": plain(move.margin_db),
            "state": STATES[move.state],
        }
        for move in moves
    ]
