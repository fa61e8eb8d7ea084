"""The remedies of a link as text: a table, what each changes for others, and its safety rules."""

from __future__ import annotations

from collections.abc import Sequence
from shlex import quote

from survey.base.layout import Column, listed, paragraphs, table, wrapped
from survey.budget import HOLDS, STATES
from survey.decisions.remedies import CAUTIONS, WORTH_DB, Change, Explained, Explanation, Remedy
from survey.output.answers.figures import (
    NOTHING_DB,
    db,
    margin,
    percent,
)
from survey.output.answers.link_budget import NAMES_SHOWN, NOT_ADDED

REMEDIES_SHOWN = 12
"""Remedies that a screen has room for; all are in the JSON. A judgement."""
SPARE_SHOWN = 3
"""Remedies shown of a link that holds, where they were asked for. A judgement."""
REMEDY_COLUMNS = (
    Column("remedy", text=True, yields=True),
    Column("gain\ndB", spare=3),
    Column("margin\ndB", spare=2),
    Column("chance", spare=1),
    Column("state", text=True),
    Column("others\nbetter/worse"),
)
"""A remedy as a row; what a narrow terminal can do without is a judgement."""
REMEDY_KEY = "Others better/worse: how many other inverters get a better state, and how many a worse one."
KIND_WORDS = {
    "outside": "hang the gateway outside its box",
    "move": "move the gateway along its wall",
    "raise": "raise the gateway",
    "cable": "put the antenna on a cable",
    "other spot": "another spot",
    "relay": "one more relay",
    "one more": "another gateway",
    "obstacle": "remove an obstacle",
}


def shown_remedies(one: Explanation) -> tuple[Remedy, ...]:
    """Return the remedies that are printed: all of a link that needs one, and a few of a link that holds."""
    return one.remedies[: SPARE_SHOWN if one.holds else REMEDIES_SHOWN]


def remedies_text(explained: Explained, one: Explanation) -> str:
    """Return the remedies of one inverter under their title, their keys and notes; nothing where none was tried."""
    if one.holds and not one.remedies and not one.idle:  # none was asked for
        return ""
    shown, wanted = shown_remedies(one), explained.scene.plan.requirement.reliability
    title = remedies_title(one)
    if not shown:
        return paragraphs("\n".join([title, *(wrapped(line) for line in [idle_words(one)] if line)]))
    rows = [
        [
            f"{number:>{len(str(len(shown)))}}  {remedy.action}",
            *remedy_cells(remedy, wanted=wanted),
        ]
        for number, remedy in enumerate(shown, start=1)
    ]
    more = len(one.remedies) - len(shown)
    lines = [f"{more} more with --json."] if more else []
    lines += [
        f"Remedy {number} makes worse: {changes_words(remedy.harmed)}."
        for number, remedy in enumerate(shown, start=1)
        if remedy.harmed
    ]
    lines += [REMEDY_KEY, *_notes(explained, one), idle_words(one)]
    return "\n".join([title, table(REMEDY_COLUMNS, rows), *(wrapped(line) for line in lines if line)])


def _notes(explained: Explained, one: Explanation) -> list[str]:
    """Return what to know of the remedies and gains shown for one inverter."""
    shown = shown_remedies(one)
    numbers = [str(number) for number, remedy in enumerate(shown, start=1) if remedy.kind in {"other spot", "one more"}]
    lines = [_cable_line(explained, shown)]
    if numbers:
        verb, noun = ("uses", "Remedy") if len(numbers) == 1 else ("use", "Remedies")
        lines.append(
            f"{noun} {' and '.join(numbers)} {verb} the best spot for {one.budget.inverter} alone. "
            f"The best spot for all inverters: survey place {quote(explained.scene.plan.file)}"
        )
    if not one.holds and any(remedy.at_m for remedy in shown):
        lines.append(
            "Test before you fix anything: hold the gateway at the new position, on a pole from the ground or, "
            f"if it is too high for that, from a safe place to work. Read the level of {one.budget.inverter} there."
        )
    if len(one.costs) > 1:
        lines.append(f"Obstacles: {NOT_ADDED[0].lower()}{NOT_ADDED[1:]}")
    return lines


def remedies_title(one: Explanation) -> str:
    """Return the title of the remedies of a link, or the line in their place where there are none."""
    if one.holds and not one.remedies and not one.idle:
        return f"The {'route' if one.by_way_of else 'link'} holds: it needs no remedy."
    if not shown_remedies(one):
        return "No remedy that was tried " + ("adds margin." if one.holds else "helps.")
    if one.holds:
        return "Ways to gain margin, the least work at the top"
    if one.remedies[0].state == HOLDS:
        return "What to do: remedies that make the link hold come first, the least work at the top"
    return "What to do: the remedies with the best state come first, the least work at the top"


def remedy_cells(remedy: Remedy, *, wanted: float) -> list[str]:
    """Return a remedy under `REMEDY_COLUMNS`, without its action."""
    return [
        db(remedy.gain_db) if remedy.margin_db - remedy.gain_db >= NOTHING_DB else "much",
        margin(remedy.margin_db),
        percent(remedy.reliability, wanted=wanted),
        STATES[remedy.state],
        f"{len(remedy.helped)}/{len(remedy.harmed)}",
    ]


def changes_words(changes: tuple[Change, ...]) -> str:
    """Return the inverters whose state changes, each with both states; the first few of many."""
    names = [f"{change.inverter} (from {STATES[change.before]} to {STATES[change.after]})" for change in changes]
    return listed(names, NAMES_SHOWN)


def idle_words(one: Explanation) -> str:
    """Return the kinds of remedy that were tried without benefit."""
    useful = {remedy.kind for remedy in one.remedies}
    kinds = [word for kind, word in KIND_WORDS.items() if kind not in useful and any(i.kind == kind for i in one.idle)]
    if not kinds:
        return ""
    return f"Tried without benefit (gain under {WORTH_DB:g} dB, or a lower chance or state): {', '.join(kinds)}."


def safety_text(shown: Sequence[Remedy]) -> str:
    """Return the safety rules of the remedies shown, under their title."""
    lines = _safety_lines(shown)
    return "\n".join(["Safety", *(wrapped(f"- {line}", indent="  ") for line in lines)]) if lines else ""


def caution_lines(explained: Explained, shown: Sequence[Remedy]) -> list[str]:
    """Return the safety rules of remedies and what was assumed, in sentences."""
    return [line for line in (_cable_line(explained, shown), *_safety_lines(shown)) if line]


def _cable_line(explained: Explained, shown: Sequence[Remedy]) -> str:
    """Return the cable loss that the remedies count with; nothing where none needs a cable."""
    cable = explained.cable
    if not any("cable" in remedy.cautions for remedy in shown):
        return ""
    loss = f"{cable.loss_db_per_m:.2f} dB per metre and {cable.connectors_db:g} dB for both connectors"
    text = f"The gain of an antenna on a cable includes its cable loss: {loss}."
    if cable.assumed:
        text += " That is an assumption: read the data sheet and give its figure with --cable-loss-db-per-m."
    return text


def _safety_lines(shown: Sequence[Remedy]) -> list[str]:
    words = {word for remedy in shown for word in remedy.cautions}
    return [text for word, text in CAUTIONS.items() if word in words]
