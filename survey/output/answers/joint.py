"""One change for many inverters, as text, as JSON and as rows."""

from __future__ import annotations

from survey.base.layout import Column, counted, labelled, listed, table, wrapped
from survey.decisions.remedies import CAUTIONS, Joint, JointRemedies
from survey.output.answers.values import Record, csv_text, plain

MAX_REMEDIES = 8
"""Rows of the table of remedies at most: one screen. A judgement."""
NAMES_SHOWN = 6
"""Inverters that a line names; all are in the JSON. A judgement."""
COLUMNS = (
    Column("remedy", text=True, yields=True),
    Column("inverters\ncovered"),
    Column("others\nbetter/worse", spare=1),
)
"""A remedy for several inverters as a row; what a narrow terminal can do without is a judgement."""
KEY = "Others better/worse: how many other inverters get a better state, and how many a worse one."
CSV_COLUMNS = ("number", "kind", "action", "about", "covered", "not_covered", "others_better", "others_worse")


def joint_text(joint: JointRemedies) -> str:
    """Return the one change that does most for some inverters together, and the others that were tried."""
    if not joint.inverters:
        return "Remedies: no link is weak, fading or blocked."
    count, today = len(joint.inverters), len(joint.hold_today)
    head = f"One change for {counted(count, 'inverter')} together ({today} covered by the plan as it is)"
    if today == count:
        return f"{head}\nEvery one of them is covered: no remedy is needed."
    shown = [one for one in joint.remedies if len(one.hold) > today or one.better > one.worse][:MAX_REMEDIES]
    if not shown:
        return f"{head}\nNo remedy that was tried helps. Look for another spot: survey place"
    best = shown[0]
    rest = [name for name in joint.inverters if name not in best.hold]
    facts = [
        ("Do first", f"{action_words(joint, best)}; then {len(best.hold)} of {count} are covered (remedy 1)"),
        ("Not covered then", listed(rest, NAMES_SHOWN)),
    ]
    rows = [
        [f"{number}  {action_words(joint, one)}", f"{len(one.hold)}/{count}", f"{one.better}/{one.worse}"]
        for number, one in enumerate(shown, start=1)
    ]
    more = len(joint.remedies) - len(shown)
    keys = [*([f"{more} more with --json."] if more else []), KEY]
    cautions = [wrapped(CAUTIONS[word]) for word in dict.fromkeys(best.remedy.cautions)]
    return "\n".join([wrapped(head), *labelled(facts), table(COLUMNS, rows), *map(wrapped, keys), *cautions])


def action_words(joint: JointRemedies, one: Joint) -> str:
    """Return what to do; with several gateways also at which."""
    remedy = one.remedy
    names_it = remedy.about in remedy.action
    return remedy.action if len(joint.gateways) < 2 or names_it else f"{remedy.action} ({remedy.about})"  # noqa: PLR2004


def joint_record(joint: JointRemedies) -> Record:
    """Return remedies for some inverters together, for scripts."""
    return {
        "inverters": list(joint.inverters),
        "hold_today": list(joint.hold_today),
        "remedies": [
            {
                "kind": one.remedy.kind,
                "action": one.remedy.action,
                "about": one.remedy.about,
                "at_m": plain(one.remedy.at_m),
                "hold": list(one.hold),
                "others_better": one.better,
                "others_worse": one.worse,
                "cautions": list(one.remedy.cautions),
            }
            for one in joint.remedies
        ],
    }


def joint_csv(joint: JointRemedies) -> str:
    """Return the remedies for some inverters together as rows, the best first."""
    return csv_text(
        CSV_COLUMNS,
        (
            [
                number,
                one.remedy.kind,
                action_words(joint, one),
                one.remedy.about,
                one.hold,
                tuple(name for name in joint.inverters if name not in one.hold),
                one.better,
                one.worse,
            ]
            for number, one in enumerate(joint.remedies, start=1)
        ),
    )
