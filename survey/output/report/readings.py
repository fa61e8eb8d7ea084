"""Readings compared with the prediction, as the page shows them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.layout import counted
from survey.budget import Links
from survey.measured.calibration import OUTSIDE, Fit
from survey.output.answers.figures import db, fit_words, signed_db
from survey.output.answers.fit import ON_THE_ROOF, STRONGER, WEAKER
from survey.output.report.findings import Findings
from survey.output.report.sections import Grid

HEADINGS = ["inverter", "gateway", "measured dBm", "predicted dBm", "difference dB", "answered", "missed", "verdict"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Compared:
    """The section on readings: sentences before the table, the table, and the next steps."""

    lines: list[str]
    grid: Grid | None
    advice: list[str]


def compared(findings: Findings) -> Compared | None:
    """Return readings compared with the prediction, or the changes of a fit; None if neither is given."""
    fitted, correction = findings.fitted, findings.scene.correction
    lines = _fit_lines(findings.network.links) if correction is not None else []
    if fitted is None:
        return Compared(lines=lines, grid=None, advice=[]) if lines else None
    off_db, rows = _rows(findings, fitted)
    if len(off_db):
        by = "plan with the fit" if correction is not None else "plan"
        mean_db, rms_db = signed_db(float(np.mean(off_db))), float(np.sqrt(np.mean(off_db**2)))
        lines.append(
            f"Readings of {counted(len(off_db), 'link')}. Difference from the prediction of the {by}: {mean_db} dB on "
            f"average, RMS {rms_db:.1f} dB."
        )
    counts = [sum(one.verdict == word for one in fitted.findings) for word in ("as expected", "weaker", "stronger")]
    lines.append(
        f"{counted(len(fitted.findings), 'inverter')} measured: as expected {counts[0]}, weaker {counts[1]}, stronger "
        f"{counts[2]}. Each is compared with the fit to all others. Weaker or stronger means a difference of more than "
        f"{OUTSIDE:.1f} standard deviations. Chance alone causes that for 1 inverter in 100."
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
    """Return differences from the prediction, and a row for each link, the most unusual inverter first."""
    links, pairs = findings.read_links, fitted.pairs
    assert links is not None
    predicted_dbm = links.uplink_level_dbm[pairs.inverter, pairs.gateway]
    off_db = pairs.level_dbm - predicted_dbm
    order = {one.inverter: (rank, one.verdict) for rank, one in enumerate(fitted.findings)}
    names, places = links.inverters.names, links.gateways.names
    rows = []
    for k in sorted(range(len(pairs)), key=lambda k: order[int(pairs.inverter[k])][0]):
        i = int(pairs.inverter[k])
        heard = bool(pairs.has_level[k])
        rows.append(
            [
                names[i],
                places[int(pairs.gateway[k])],
                db(pairs.level_dbm[k]) if heard else "no answer",
                db(predicted_dbm[k]),
                signed_db(off_db[k]) if heard else "",
                str(int(pairs.heard[k])),
                str(int(pairs.missed[k])),
                order[i][1],
            ]
        )
    return off_db[pairs.has_level], rows


def _fit_lines(links: Links) -> list[str]:
    """Return the figures of a fit that replace those of the plan, and which fit it is."""
    correction = links.scene.correction
    assert correction is not None
    offset_db = signed_db(correction.offset_db)
    return [
        (
            f"All levels and chances on this page use the fit to readings in {correction.file}: offset {offset_db} dB, "
            f"path loss exponent {correction.path_loss_exponent:.2f}, shadowing {correction.shadowing_db:.1f} dB. The "
            f"readings were taken {correction.nearest_m:.1f} to {correction.farthest_m:.1f} m from their gateways. The "
            "table of materials shows fitted losses beside those of the plan."
        ),
        *fit_words(links.scene, links),
    ]
