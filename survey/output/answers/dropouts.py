"""Dropouts by cause, and inverter by inverter."""

from __future__ import annotations

from survey.base.layout import Column, counted, names_within, paragraphs, table, wrapped
from survey.measured.dropouts import CAUSES, NO_FAULTS, UNKNOWN, Dropouts, Finding
from survey.output.answers.values import Record, plain

CAUTION_WORDS = (
    "Likely causes, not certain ones: confirm on site before anything is taken apart or moved. Mains work, breakers "
    "and branch cables are for a licensed electrician. Work at height and on metal roofs by the local rules for it."
)
CAUTION = wrapped(CAUTION_WORDS)
NAMES_WIDE = 70
"""What a line has left for names in 100 columns. [letters]"""
COLUMNS = [
    Column("cause", text=True),
    Column("what", text=True, yields=True),
    Column("inverters"),
    Column("dropouts"),
    Column("share"),
    Column("first", text=True),
    Column("last", text=True),
]


def dropouts_table(found: Dropouts) -> str:
    """Causes with their shares, then what speaks for each and what to check, then the inverters.

    Parameters
    ----------
    found : Dropouts
        What was found.
    """
    head, total = wrapped(f"{found.scene.plan.site.name}: {log_words(found)}"), total_words(found)
    faults = [one for one in found.findings if one.cause not in NO_FAULTS]
    absent = f"Not in the log: {names_within(found.absent, NAMES_WIDE)}" if found.absent else ""
    return paragraphs(
        head,
        wrapped(total) + ("" if faults or found.silent else "\nNo fault stands out."),
        table(COLUMNS, [finding_row(found, one) for one in found.findings]) if found.findings else "",
        *(_details(one) for one in found.findings if one.cause not in NO_FAULTS or _worth(one)),
        _inverters(found),
        absent,
        CAUTION,
    )


def log_words(found: Dropouts) -> str:
    """Which log, from when to when."""
    log = found.log
    begin, end = (_time(log.stamp(at)) for at in (log.time_s[0], log.time_s[-1]))
    return f"{log.file}, {begin} to {end}, a poll about every {log.step_s / 60:g} min"


def total_words(found: Dropouts) -> str:
    """How much was polled, heard and missed, without a full stop."""
    if found.silent:
        return (
            f"{counted(found.log.rows, 'poll')} of {counted(len(found.inverters), 'inverter')}, and nobody was heard "
            "in any of them: nothing tells day from night, or one cause from another. Check whether the gateway runs "
            "and has its network, whether the inverters have supply, and whether the log is of this site"
        )
    share = 100.0 * found.missed / found.polls if found.polls else 0.0
    return (
        f"{found.polls} polls of {counted(len(found.inverters), 'inverter')} by daylight, {found.heard} heard, "
        f"{counted(found.missed, 'dropout')} ({share:.1f} %)"
    )


def _time(stamp: str) -> str:
    return stamp.replace("T", " ")


def _worth(one: Finding) -> bool:
    return one.cause == UNKNOWN


def percent(share: float) -> str:
    """A share in whole percent, that looks like nothing only where it is."""
    return "<1 %" if 0 < share < 0.01 else f"{100.0 * share:.0f} %"  # noqa: PLR2004  a hundredth


def finding_row(found: Dropouts, one: Finding) -> list[str]:
    """A cause under `COLUMNS`."""
    every = len(one.inverters) == len(found.inverters)
    what = one.subject or ("all" if every else names_within(one.inverters, 24))
    stamps = [_time(found.log.stamp(at))[:16] for at in (one.first_s, one.last_s)]
    return [one.cause, what, str(len(one.inverters)), str(one.dropouts), percent(found.share(one)), *stamps]


def _details(one: Finding) -> str:
    """What speaks for a cause, and what to check."""
    about = f", {one.subject}" if one.subject else ""
    return "\n".join(
        [
            wrapped(f"{one.cause}{about}: {one.evidence}"),
            wrapped(f"whom: {names_within(one.inverters, NAMES_WIDE)}", indent="  "),
            wrapped(f"check: {one.check}", indent="  "),
        ]
    )


def _inverters(found: Dropouts) -> str:
    """Polls, dropouts and causes of each inverter that a fault has struck, and the others in one line."""
    if found.silent:
        return ""
    used = [cause for cause in CAUSES if cause in found.by_cause and found.by_cause[cause].sum() >= 1]
    faults = [cause for cause in used if cause not in NO_FAULTS]
    parts = [missed / polls if polls else 0.0 for missed, polls in zip(found.missed_by, found.polls_by, strict=True)]
    struck = [i for i in range(len(parts)) if sum(found.by_cause[cause][i] for cause in faults) >= 1]
    others = [parts[i] for i in range(len(parts)) if i not in set(struck)]
    line = ""
    if others:
        low, high = (percent(float(one)) for one in (min(others), max(others)))
        line = (
            f"No fault with {'the other ' if struck else ''}{counted(len(others), 'inverter')}: {low} to {high} missed."
        )
    if not struck:
        return line
    columns = [Column("inverter", text=True), Column("polls"), Column("dropouts"), Column("share")]
    columns += [Column("\n".join(_heading(cause))) for cause in used]
    rows = [
        [
            found.inverters[i],
            str(found.polls_by[i]),
            str(found.missed_by[i]),
            percent(float(parts[i])),
            *(f"{found.by_cause[cause][i]:.0f}" for cause in used),
        ]
        for i in struck
    ]
    return paragraphs("Inverter by inverter: dropouts by cause\n" + table(columns, rows), line)


def _heading(cause: str) -> list[str]:
    """A cause over lines so short that all causes fit side by side."""
    lines = [""]
    for word in cause.split():
        if lines[-1] and len(lines[-1]) + len(word) > 9:  # noqa: PLR2004  as wide as its figures
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


def dropouts_record(found: Dropouts) -> Record:
    """What `survey dropouts --json` prints."""
    log = found.log
    return {
        "plan": found.scene.plan.file,
        "site": found.scene.plan.site.name,
        "log": log.file,
        "notes": list(log.notes),
        "first": log.stamp(log.time_s[0]),
        "last": log.stamp(log.time_s[-1]),
        "interval_s": log.step_s,
        "rows": log.rows,
        "repeated_rows": log.repeated,
        "polls": found.polls,
        "heard": found.heard,
        "dropouts": found.missed,
        "causes": [
            {
                "cause": one.cause,
                "fault": one.cause not in NO_FAULTS,
                "subject": one.subject or None,
                "inverters": list(one.inverters),
                "dropouts": one.dropouts,
                "share": plain(found.share(one)),
                "first": log.stamp(one.first_s),
                "last": log.stamp(one.last_s),
                "evidence": one.evidence,
                "check": one.check,
            }
            for one in found.findings
        ],
        "inverters": [
            {
                "inverter": name,
                "polls": int(found.polls_by[i]),
                "dropouts": int(found.missed_by[i]),
                "main_cause": found.main_cause(i) or None,
                "by_cause": {
                    cause: round(float(found.by_cause[cause][i]))
                    for cause in CAUSES
                    if cause in found.by_cause and round(float(found.by_cause[cause][i]))
                },
            }
            for i, name in enumerate(found.inverters)
        ],
        "not_in_log": list(found.absent),
    }
