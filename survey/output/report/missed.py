"""Missed polls by likely cause, as the page shows them."""

from __future__ import annotations

from dataclasses import dataclass

from survey.measured.dropouts import Dropouts
from survey.output.answers.dropouts import (
    CAUTION_WORDS,
    COLUMNS,
    cause_words,
    faults_of,
    finding_row,
    log_words,
    no_fault_words,
    percent,
    title_of,
    total_words,
)
from survey.output.report.pictures import Picture, days
from survey.output.report.sections import Grid


@dataclass(frozen=True, kw_only=True, slots=True)
class Cause:
    """A cause: its evidence, its inverters, and what to check."""

    title: str
    evidence: str
    whom: str
    check: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Missed:
    """The section on a log."""

    lines: list[str]
    grid: Grid
    causes: list[Cause]
    caution: str
    picture: Picture | None


def missed(found: Dropouts) -> Missed:
    """What is missing in a log, in words."""
    faults = faults_of(found)
    lines = [
        f"{log_words(found)}.",
        f"{total_words(found)}." + ("" if faults or found.silent else f" {no_fault_words(found)}"),
    ]
    if found.absent:
        lines.append(f"Not in the log: {', '.join(found.absent)}.")
    return Missed(
        lines=lines,
        grid=Grid(
            headings=[one.heading for one in COLUMNS],
            text=[one.text for one in COLUMNS],
            rows=[finding_row(found, one) for one in found.findings],
        ),
        causes=[
            Cause(
                title=title_of(one),
                evidence=one.evidence,
                whom="all" if len(one.inverters) == len(found.inverters) else ", ".join(one.inverters),
                check="; ".join(f"{k}. {step}" for k, step in enumerate(one.steps, start=1)),
            )
            for one in faults
        ],
        caution=CAUTION_WORDS,
        picture=None if found.silent else days(found),
    )


def missed_by(found: Dropouts) -> dict[str, tuple[str, float]]:
    """Return by inverter its share of missed polls with the main cause, and the share as a number."""
    told = {}
    for k, name in enumerate(found.inverters):
        polls, gone = int(found.polls_by[k]), int(found.missed_by[k])
        share = gone / polls if polls else 0.0
        cause = found.main_cause(k)
        words = "no answer" if found.silent else f"{percent(share)} {cause_words(cause)}".strip() if gone else "0 %"
        told[name] = (words, 1.0 if found.silent else share)
    return told
