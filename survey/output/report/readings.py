"""Readings against prediction, as the page shows them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.layout import counted
from survey.measured.calibration import OUTSIDE, Fit
from survey.output.answers.figures import db, signed_db
from survey.output.answers.fit import ON_THE_ROOF, STRONGER, WEAKER
from survey.output.report.findings import Findings
from survey.output.report.sections import Grid
from survey.scene.correction import Correction

HEADINGS = ["inverter", "gateway", "read dBm", "predicted dBm", "off by dB", "heard", "missed", "verdict"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Compared:
    """What the page says of readings: sentences before the table, the table, and what to do."""

    lines: list[str]
    grid: Grid | None
    advice: list[str]


def compared(findings: Findings) -> Compared | None:
    """Readings against prediction, or what a fit has changed; None where neither is given."""
    fitted, correction = findings.fitted, findings.scene.correction
    lines = _fit_lines(correction) if correction is not None else []
    if fitted is None:
        return Compared(lines=lines, grid=None, advice=[]) if lines else None
    off_db, rows = _rows(findings, fitted)
    if len(off_db):
        by = "plan as readings have changed it" if correction is not None else "plan"
        mean_db, rms_db = signed_db(float(np.mean(off_db))), float(np.sqrt(np.mean(off_db**2)))
        lines.append(
            f"{counted(len(off_db), 'pair')} of inverter and gateway heard: the levels lie {mean_db} dB off what "
            f"the {by} predicts on average, {rms_db:.1f} dB as root of the mean square."
        )
    counts = [sum(one.verdict == word for one in fitted.findings) for word in ("as expected", "weaker", "stronger")]
    lines.append(
        f"{counted(len(fitted.findings), 'inverter')} read: {counts[0]} as expected, {counts[1]} weaker, {counts[2]} "
        f"stronger. Each is set against what all others lead to expect; more than {OUTSIDE:.1f} standard deviations "
        "off is told, which chance alone does to 1 in 100."
    )
    advice = [text for text, told in ((WEAKER, counts[1]), (STRONGER, counts[2])) if told]
    if advice:
        advice.append(ON_THE_ROOF)
    return Compared(
        lines=lines,
        grid=Grid(headings=HEADINGS, text=[True, True, False, False, False, False, False, True], rows=rows),
        advice=advice,
    )


def _rows(findings: Findings, fitted: Fit) -> tuple[np.ndarray[tuple[int], np.dtype[np.float64]], list[list[str]]]:
    """Levels off the prediction, and a row for each pair, the most unusual inverter first."""
    links, pairs = findings.read_links, fitted.pairs
    assert links is not None
    predicted_dbm = links.uplink_level_dbm[pairs.inverter, pairs.gateway]
    off_db = pairs.level_dbm - predicted_dbm
    order = {one.inverter: (rank, one.verdict) for rank, one in enumerate(fitted.findings)}
    names, places = links.inverters.names, links.gateways.names
    rows = []
    for k in sorted(range(len(pairs)), key=lambda k: order[int(pairs.inverter[k])][0]):
        i = int(pairs.inverter[k])
        heard = bool(pairs.was_heard[k])
        rows.append(
            [
                names[i],
                places[int(pairs.gateway[k])],
                db(pairs.level_dbm[k]) if heard else "not heard",
                db(predicted_dbm[k]),
                signed_db(off_db[k]) if heard else "",
                str(int(pairs.heard[k])),
                str(int(pairs.missed[k])),
                order[i][1],
            ]
        )
    return off_db[pairs.was_heard], rows


def _fit_lines(correction: Correction) -> list[str]:
    """What a fit has put in the place of the plan's figures."""
    offset_db = signed_db(correction.offset_db)
    return [
        (
            f"All figures of this page are as readings have shown the site to be, by {correction.file}: an offset of "
            f"{offset_db} dB, a path loss exponent of {correction.path_loss_exponent:.2f}, shadowing "
            f"of {correction.shadowing_db:.1f} dB. The readings were taken {correction.nearest_m:.1f} to "
            f"{correction.farthest_m:.1f} m from their gateways."
        )
    ]
