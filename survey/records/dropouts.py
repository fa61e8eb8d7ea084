"""Dropouts as plain values."""

from __future__ import annotations

from survey.dropouts import CAUSES, NO_FAULTS, Dropouts
from survey.records.values import Record, plain


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
