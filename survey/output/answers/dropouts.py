"""Dropouts by cause, and inverter by inverter."""

from __future__ import annotations

from collections.abc import Sequence

from survey.base.layout import Column, counted, names_within, paragraphs, table, wrapped
from survey.decisions.remedies import JointRemedies
from survey.measured.dropouts import (
    BETTER,
    CAUSES,
    FADING,
    NO_FAULTS,
    OBSTACLE,
    SAME,
    UNIT,
    UNKNOWN,
    UNSEEN,
    WORSE,
    Compared,
    Dropouts,
    Finding,
)
from survey.output.answers.figures import fit_words
from survey.output.answers.joint import joint_record, joint_text
from survey.output.answers.values import Record, plain

CAUTION_WORDS = (
    "These are likely causes, not certain ones: confirm them on site before you take anything apart or move it. Only a "
    "licensed electrician may work on mains, breakers and branch cables. Follow the local rules for work at height and "
    "on metal roofs."
)
NAMES_WIDE = 70
"""What a line has left for names in 100 columns. [letters]"""
MIN_ODD = 0.10
"""An inverter without a cause that misses more than this, and three times as much as the middle one, is named. [-]"""
CAUSE_WORDS = {
    OBSTACLE: "new obstacle",
    UNIT: "faulty unit",
    UNKNOWN: "unknown",
    FADING: "fading link",
}
"""What people read for a cause, where it is not the word that scripts read."""
COLUMNS = [
    Column("cause", text=True),
    Column("what", text=True, yields=True),
    Column("inverters"),
    Column("missed", spare=2),
    Column("share"),
    Column("first", text=True, spare=3),
    Column("last", text=True, spare=1),
]
"""A cause as a row; what a narrow terminal can do without is a judgement."""


def cause_words(cause: str) -> str:
    """Return the words for a cause.

    Examples
    --------
    >>> cause_words("single unit"), cause_words("weak link")
    ('faulty unit', 'weak link')
    """
    return CAUSE_WORDS.get(cause, cause)


def answer_text(
    found: Dropouts, *, repair: Sequence[Compared] | None = None, joint: JointRemedies | None = None
) -> str:
    """The table, after what a repair has changed, and before what would help most.

    Parameters
    ----------
    found : Dropouts
        What was found.
    repair : sequence of Compared, optional
        Each inverter before and after.
    joint : JointRemedies, optional
        What one change does for all weak links.
    """
    parts = [repair_table(repair)] if repair is not None else []
    parts += [joint_text(joint)] if joint is not None else []
    return paragraphs(*parts, dropouts_table(found))


def repair_table(repair: Sequence[Compared]) -> str:
    """Each inverter before and after, those that changed first, and how many did."""
    order = {WORSE: 0, BETTER: 1, UNSEEN: 2, SAME: 3}
    counts = {verdict: sum(one.verdict == verdict for one in repair) for verdict in order}
    head = f"Repair: better: {counts[BETTER]}, worse: {counts[WORSE]}, no different: {counts[SAME]}"
    head += f", not in both logs: {counts[UNSEEN]}" if counts[UNSEEN] else ""
    columns = [Column("inverter", text=True), Column("answered\nbefore"), Column("99 %\ninterval", spare=3)]
    columns += [
        Column("answered\nafter"),
        Column("99 %\ninterval", spare=2),
        Column("change\npoints"),
        Column("verdict", text=True),
    ]
    rows = [
        [one.inverter, *_interval(one.before), *_interval(one.after), _points(one.difference[0]), one.verdict]
        for one in sorted(repair, key=lambda one: order[one.verdict])
    ]
    return head + "\n" + table(columns, rows)


def _interval(share: tuple[float, float, float]) -> list[str]:
    if share[0] != share[0]:
        return ["", ""]
    return [f"{100 * share[0]:.1f} %", f"{100 * share[1]:.1f} to {100 * share[2]:.1f}"]


def _points(change: float) -> str:
    return "" if change != change else f"{100 * change:+.1f}"  # noqa: PLR0124  NaN


def answer_record(
    found: Dropouts, *, repair: Sequence[Compared] | None = None, joint: JointRemedies | None = None
) -> Record:
    """What `survey dropouts --json` prints."""
    record = dropouts_record(found)
    if repair is not None:
        record["repair"] = [
            {
                "inverter": one.inverter,
                "before": [plain(value) for value in one.before],
                "after": [plain(value) for value in one.after],
                "difference": [plain(value) for value in one.difference],
                "verdict": one.verdict,
            }
            for one in repair
        ]
    if joint is not None:
        record["remedies"] = joint_record(joint)
    return record


def dropouts_table(found: Dropouts) -> str:
    """Causes with their shares, then each with its next steps and what shows it, then the inverters.

    Parameters
    ----------
    found : Dropouts
        What was found.
    """
    lines, total = [f"{found.scene.plan.site.name}: {log_words(found)}", *fit_words(found.scene)], total_words(found)
    absent = f"Not in the log: {names_within(found.absent, NAMES_WIDE)}" if found.absent else ""
    return paragraphs(
        "\n".join(map(wrapped, lines)),
        wrapped(total) + ("" if faults_of(found) or found.silent else "\n" + wrapped(no_fault_words(found))),
        table(COLUMNS, [finding_row(found, one) for one in found.findings]) if found.findings else "",
        *(_details(one) for one in faults_of(found)),
        _inverters(found),
        absent,
        wrapped(CAUTION_WORDS),
    )


def faults_of(found: Dropouts) -> list[Finding]:
    """Return the findings that need work, and what is unknown but has steps of its own."""
    return [
        one for one in found.findings if one.cause not in NO_FAULTS or (one.cause == UNKNOWN and len(one.steps) > 1)
    ]


def no_fault_words(found: Dropouts) -> str:
    """Say that no fault was found, and what that rests on."""
    odd = odd_inverters(found)
    return "No fault found." if not odd else f"No cause found for the missed polls of {', '.join(odd)}."


def odd_inverters(found: Dropouts) -> list[str]:
    """Return the inverters without a cause that miss far more than others, with their share."""
    struck = struck_inverters(found)
    shares = [missed / polls if polls else 0.0 for missed, polls in zip(found.missed_by, found.polls_by, strict=True)]
    middle = sorted(shares)[len(shares) // 2] if shares else 0.0
    return [
        f"{name} ({percent(float(share))})"
        for name, share in zip(found.inverters, shares, strict=True)
        if name not in struck and share > max(MIN_ODD, 3.0 * middle)
    ]


def struck_inverters(found: Dropouts) -> set[str]:
    """Return the inverters that a fault or an unclear cause strikes."""
    return {name for one in faults_of(found) for name in one.inverters}


def log_words(found: Dropouts) -> str:
    """Which log, from when to when."""
    log = found.log
    begin, end = (_time(log.stamp(at)) for at in (log.time_s[0], log.time_s[-1]))
    return f"{log.file}, {begin} to {end}, a poll about every {round(log.step_s / 60, 1):g} min"


def total_words(found: Dropouts) -> str:
    """How much was polled, answered and missed, without a full stop."""
    if found.silent:
        return (
            f"{counted(found.log.rows, 'poll')} of {counted(len(found.inverters), 'inverter')}, none answered: the "
            "program cannot tell day from night, or one cause from another. Check whether the gateway runs and has its "
            "network, whether the inverters have supply, and whether the log is of this site"
        )
    share = 100.0 * found.missed / found.polls if found.polls else 0.0
    absent = f", {found.absent_polls} of them without a row in the log" if found.absent_polls else ""
    return (
        f"{found.polls} daytime polls of {counted(len(found.inverters), 'inverter')}: {found.heard} answered, "
        f"{found.missed} missed ({share:.1f} %){absent}"
    )


def _time(stamp: str) -> str:
    return stamp.replace("T", " ")


def percent(share: float) -> str:
    """A share in whole percent, that looks like nothing only where it is."""
    return "<1 %" if 0 < share < 0.01 else f"{100.0 * share:.0f} %"  # noqa: PLR2004  a hundredth


def finding_row(found: Dropouts, one: Finding) -> list[str]:
    """A cause under `COLUMNS`."""
    every = len(one.inverters) == len(found.inverters)
    what = one.subject or ("all" if every else names_within(one.inverters, 24))
    stamps = [_time(found.log.stamp(at))[:16] for at in (one.first_s, one.last_s)]
    row = [cause_words(one.cause), what, str(len(one.inverters)), str(one.dropouts), percent(found.share(one))]
    return [*row, *stamps]


def title_of(one: Finding) -> str:
    """The cause with its subject."""
    return f"{cause_words(one.cause)}, {one.subject}" if one.subject else cause_words(one.cause)


def _details(one: Finding) -> str:
    """Which inverters, the next steps, and what shows it."""
    return "\n".join(
        [
            wrapped(f"{title_of(one)}: {names_within(one.inverters, NAMES_WIDE)}"),
            *(wrapped(f"next {k}: {step}", indent="  ") for k, step in enumerate(one.steps, start=1)),
            wrapped(f"because: {one.evidence}", indent="  "),
        ]
    )


def _inverters(found: Dropouts) -> str:
    """Polls, missed polls and causes of each inverter that a fault has struck, and the others in one line."""
    if found.silent:
        return ""
    used = [cause for cause in CAUSES if cause in found.by_cause and found.by_cause[cause].sum() >= 1]
    names = struck_inverters(found)
    odd = {one.rpartition(" (")[0] for one in odd_inverters(found)}
    parts = [missed / polls if polls else 0.0 for missed, polls in zip(found.missed_by, found.polls_by, strict=True)]
    struck = [i for i, name in enumerate(found.inverters) if name in names]
    others = [parts[i] for i, name in enumerate(found.inverters) if name not in names and name not in odd]
    lines = []
    if others:
        low, high = (percent(float(one)) for one in (min(others), max(others)))
        share = low if low == high else f"{low} to {high}"
        lines.append(
            f"No fault: {'the other ' if struck or odd else ''}{counted(len(others), 'inverter')}, "
            f"{share} of polls missed"
        )
    if odd and faults_of(found):
        lines.append(wrapped(f"No cause found for the missed polls of {', '.join(odd_inverters(found))}"))
    if not struck:
        return "\n".join(lines)
    columns = [Column("inverter", text=True), Column("polls"), Column("missed"), Column("share")]
    columns += [Column("\n".join(_heading(cause_words(cause)))) for cause in used]
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
    return paragraphs("Missed polls of each inverter by cause\n" + table(columns, rows), "\n".join(lines))


def _heading(cause: str) -> list[str]:
    """A cause over lines so short that all causes fit side by side."""
    lines = [""]
    for word in cause.split():
        if lines[-1] and len(lines[-1]) + len(word) > 9:  # noqa: PLR2004  as wide as its figures
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


def dropouts_record(found: Dropouts) -> Record:
    """What is found in a log, for scripts."""
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
        "without_row": found.absent_polls,
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
                "from_start": one.from_start,
                "to_end": one.to_end,
                "evidence": one.evidence,
                "check": one.check,
                "next": list(one.steps),
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
