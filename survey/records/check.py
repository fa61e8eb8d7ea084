"""What a plan holds as plain values."""

from __future__ import annotations

from survey.inspection import Inspection
from survey.records.values import Record, plain


def check_record(inspection: Inspection) -> Record:
    """What `survey check --json` prints."""
    plan = inspection.scene.plan
    return {
        "plan": plan.file,
        "site": plan.site.name,
        "counts": dict(inspection.counts),
        "extent_m": [[plain(low), plain(high)] for low, high in inspection.extent_m],
        "defaults": [
            {"table": table, "key": key, "value": value, "times": times}
            for (table, key, value), times in inspection.defaults
        ],
        "warnings": list(inspection.warnings),
    }
