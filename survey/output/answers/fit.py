"""A fit to readings as text and as JSON, and a check of every inverter that was read."""

from __future__ import annotations

from collections.abc import Iterator
from shlex import quote

import numpy as np

from survey.base.layout import Column, counted, listed, paragraphs, table, wrapped
from survey.measured.calibration import EXPONENT, LOSSES, OFFSET, OUTSIDE, Finding, Fit, Unit, fingerprint
from survey.output.answers.figures import CAUTION, db, signed_db
from survey.output.answers.links import in_the_line
from survey.output.answers.values import Record, plain

FEW = 12
"""With up to so many links every inverter is shown without --check. A judgement."""
NAMES_SHOWN = 4
"""Names that fit a line; all are in the JSON. A judgement."""
CONTRADICTING_OFFSET_DB, CONTRADICTING_SIGMA_DB = 25.0, 15.0
"""Beyond these a fit to levels and misses says that they may contradict each other. A judgement. [dB]"""
MOST_OUT_OF_LINE = 10
"""Rows that are read at a glance; all are in the JSON. A judgement."""
FIGURES = (Column("", text=True), Column("plan"), Column("fitted"), Column("standard\nerror"))
RESIDUALS = (
    Column("inverter", text=True),
    Column("gateway", text=True),
    Column("read\ndBm"),
    Column("fitted\ndBm"),
    Column("difference\ndB"),
)
CHECKED = (
    Column("inverter", text=True),
    Column("verdict", text=True),
    Column("difference\ndB"),
    Column("levels", spare=2),
    Column("missed", spare=1),
    Column("obstacles on\ndirect line", text=True, yields=True),
)
"""An inverter that was read as a row; what a narrow terminal can do without is a judgement."""
END_WORDS = {"gateway": "gateway {}", "receivers": "between inverters", "inverters": "inverters such as {}"}
"""What an end is called whose levels may lie above or below those of others."""
ON_THE_ROOF = (
    "Look from the ground first. Follow the local rules for work at height, near mains and on metal roofs. Only a "
    "licensed electrician may open an inverter, an isolator or a switchboard."
)
WEAKER = (
    "Weaker than expected: is it where the plan says (compare the serial)? Is it fixed flat against metal, behind a "
    "rail, a clamp or a cable bundle? Is there an obstacle on the direct line that the plan does not have? A unit "
    "that never answered may have no supply or too little light: try it again in full daylight."
)
STRONGER = (
    "Stronger than expected: this alone is no fault. Is it where the plan says? Are all obstacles of the plan on its "
    "direct line really there?"
)


def fit_table(fit: Fit, *, check: bool = False, more: str = "") -> str:
    """Return what `survey fit` prints: the result, the fitted figures, their quality, outliers, and a last part."""
    parts = [wrapped(_heading(fit)) + "\n" + _answer(fit)]
    if not check:
        parts += [table(FIGURES, list(_figures(fit))), *(wrapped(one) for one in _quality(fit))]
        if fit.cannot_tell:
            parts.append("\n".join(["What these readings cannot show", *_listed(fit.cannot_tell)]))
        parts.append(_out_of_line(fit))
    if check or len(fit.pairs) <= FEW:
        parts.append(_checked(fit))
    return paragraphs(*parts, more, wrapped(CAUTION))


def _heading(fit: Fit) -> str:
    nearest_m, farthest_m = fit.nearest_and_farthest_m
    heard = int(np.sum(~np.isnan(fit.readings.level_dbm)))
    missed = len(fit.readings) - heard
    gone = f" and {counted(missed, 'missed reading')}" if missed else ""
    return (
        f"{fit.scene.plan.site.name}: {counted(heard, 'level')}{gone} of {counted(len(fit.pairs), 'link')}, "
        f"{nearest_m:.1f} to {farthest_m:.1f} m long"
    )


def _answer(fit: Fit) -> str:
    """Return the verdict on the inverters read, and what to do next."""
    verdicts = [finding.verdict for finding in fit.findings]
    weaker, stronger = verdicts.count("weaker"), verdicts.count("stronger")
    as_expected = len(verdicts) - weaker - stronger
    inverters = counted(len(verdicts), "inverter")
    lines = [f"{inverters} read: {as_expected} as expected, {weaker} weaker, {stronger} stronger."]
    if weaker:
        names = [_one_of(finding, fit) for finding in fit.findings if finding.verdict == "weaker"]
        lines.append(f"Next step: check the weaker ones first: {listed(names, NAMES_SHOWN)}")
    else:
        file = quote(fit.scene.plan.file)
        then = f"survey place {file} --fit FIT.json"
        lines.append(f"Next step: save the fit with --out FIT.json, then plan with it: {then}")
    return "\n".join(map(wrapped, lines))


def _figures(fit: Fit) -> Iterator[list[str]]:
    parameters, stderr, model = fit.solution.parameters, fit.stderr, fit.model
    fixed = "fixed" if not model.free[OFFSET] else f"{stderr[OFFSET]:.1f}"
    yield ["offset, dB", "0.0", db(parameters[OFFSET]), fixed]
    exponents = (model.mean[EXPONENT], parameters[EXPONENT], stderr[EXPONENT])
    yield ["path loss exponent", *(f"{one:.2f}" for one in exponents)]
    yield ["shadowing, dB", f"{fit.scene.plan.environment.shadowing_db:.1f}", f"{fit.solution.sigma_db:.1f}", ""]
    for name, spread in fit.spreads.items():
        yield [f"shadowing at {name}, dB", "", db(spread * fit.solution.sigma_db), ""]
    for u, one in enumerate(fit.units):
        at = LOSSES + u
        yield [f"{one.name}, {one.unit}", *_losses(one, parameters[at], stderr[at])]
    for e, end in enumerate(fit.ends):
        at = LOSSES + len(fit.units) + e
        what = END_WORDS[end.kind].format(end.name)
        yield [f"{what}, dB besides the offset", "0.0", db(parameters[at]), f"{stderr[at]:.1f}"]


def _losses(unit: Unit, change_db: float, stderr_db: float) -> tuple[str, ...]:
    """Return a loss in the plan, fitted, and its standard error; by the metre with two decimals."""
    decimals = 2 if unit.by_metre else 1
    return tuple(f"{one:.{decimals}f}" for one in (unit.loss_db, unit.loss_db + change_db, stderr_db))


def _quality(fit: Fit) -> Iterator[str]:
    if fit.unread_rmse_db is not None and fit.rmse_db is not None:
        yield from _two_figures(fit)
    elif fit.rmse_db is not None:
        text = f"RMS error: {fit.rmse_db:.1f} dB"
        left_out = fit.places_left_out
        if left_out.rmse_db is not None and left_out.inside is not None:
            text += (
                f", in cross-validation {left_out.rmse_db:.1f} dB ({left_out.groups} groups). The 90 % intervals "
                f"contained {100.0 * left_out.inside:.0f} % of the levels left out"
            )
        yield text + "."
    yield from _contradiction(fit)
    if fit.is_counted:
        yield (
            f"By what was counted a message gets through with a chance of at most {fit.ceiling:.2f}, however strong "
            f"the level. Fading in time: {fit.fade_db:.0f} dB (one standard deviation). Commands with --fit use both."
        )
    elif np.any(np.isnan(fit.readings.level_dbm)):
        shares = fit.solution.shares
        text = f"Of the readings with enough level, {100.0 * shares.lost:.1f} % were missed for other reasons"
        if shares.silent >= 0.01:  # noqa: PLR2004  a percent
            text += f". Of the links, {100.0 * shares.silent:.0f} % gave no level for other reasons"
        yield text + "."


def _two_figures(fit: Fit) -> Iterator[str]:
    """Return how far off the fit is where it was read, and where it was not."""
    read, unread = fit.places_left_out, fit.gateways_left_out
    text = f"RMS error: {fit.rmse_db:.1f} dB"
    if read.rmse_db is not None and read.inside is not None:
        text += (
            f". At gateways and spots that were read, for inverters that were not: {read.rmse_db:.1f} dB "
            f"(cross-validation over {read.groups} neighbourhoods). The 90 % intervals contained "
            f"{100.0 * read.inside:.0f} % of the levels left out"
        )
    yield text + "."
    if unread.rmse_db is not None:
        yield (
            f"At a spot that was not read: {fit.unread_rmse_db:.1f} dB (cross-validation over {unread.groups} gateways "
            f"or spots). Gateways differ among each other by {fit.end_sd_db:.1f} dB."
        )
    else:
        yield (
            f"At a spot that was not read: about {fit.unread_rmse_db:.1f} dB. One gateway or spot was read, so this "
            f"assumes that others differ from it by {fit.end_sd_db:.1f} dB. Read at a second spot to learn it."
        )


def _contradiction(fit: Fit) -> Iterator[str]:
    """Return that misses and levels contradict each other, where a fit has to go far out of its way for both."""
    offset_db, sigma_db = float(fit.solution.parameters[OFFSET]), fit.solution.sigma_db
    silent = np.flatnonzero(fit.pairs.heard == 0)
    if len(silent) and (abs(offset_db) > CONTRADICTING_OFFSET_DB or sigma_db > CONTRADICTING_SIGMA_DB):
        strongest = silent[np.argsort(-(fit.predicted_dbm - fit.model.need_dbm)[silent])]
        names = [fit.links.inverters.names[fit.pairs.inverter[k]] for k in strongest.tolist()]
        yield (
            f"The missed readings may contradict the levels: the fit needs an offset of {signed_db(offset_db)} dB and "
            f"a shadowing of {sigma_db:.1f} dB for both. Check the sensitivity of the gateway in the plan. Then leave "
            f"out the missed readings of units that may have been off, and fit again. The first to check: "
            f"{listed(list(dict.fromkeys(names)), NAMES_SHOWN)}."
        )


def _out_of_line(fit: Fit) -> str:
    rows = np.flatnonzero(fit.suspect & fit.pairs.has_level)
    rows = rows[np.argsort(-np.abs(fit.outlook.deviations[rows]), kind="stable")][:MOST_OUT_OF_LINE]
    if not len(rows):
        return ""
    names, places = fit.links.inverters.names, fit.links.gateways.names
    cells = [
        [
            names[fit.pairs.inverter[k]],
            places[fit.pairs.gateway[k]],
            db(fit.pairs.level_dbm[k]),
            db(fit.predicted_dbm[k]),
            signed_db(fit.residual_db[k]),
        ]
        for k in rows.tolist()
    ]
    return "\n".join(["Outliers (the fit gives them little weight)", table(RESIDUALS, cells)])


def _checked(fit: Fit) -> str:
    names = fit.links.inverters.names
    rows = []
    for one in fit.findings:
        first = int(np.flatnonzero(fit.pairs.inverter == one.inverter)[0])
        difference = "missed" if one.difference_db is None else signed_db(one.difference_db)
        met = in_the_line(fit.links, one.inverter, int(fit.pairs.gateway[first])) or "none"
        rows.append([names[one.inverter], one.verdict, difference, str(one.heard), str(one.missed), met])
    weaker, stronger = (sum(one.verdict == word for one in fit.findings) for word in ("weaker", "stronger"))
    summary = (
        f"Each inverter is compared with the prediction from all others. Differences above {OUTSIDE:.1f} standard "
        "deviations are reported. Chance alone does that to 1 inverter in 100."
    )
    return paragraphs(
        "\n".join(["Inverter by inverter, the most unusual first", table(CHECKED, rows)]),
        wrapped(summary),
        *(wrapped(one) for one in _advice(fit, weaker=weaker, stronger=stronger)),
    )


def _advice(fit: Fit, *, weaker: int, stronger: int) -> Iterator[str]:
    names = fit.links.inverters.names
    swaps = [(one, other) for one in fit.findings if (other := one.swapped_with) is not None]
    told: set[int] = set()
    for one, other in swaps:
        if one.inverter not in told:
            told |= {one.inverter, other}
            pair = f"{_one_of(one, fit)} and {names[other]}"
            yield f"{pair}: each level fits the other's position. Compare their serials."
    if weaker:
        yield WEAKER
    if stronger:
        yield STRONGER
    if weaker or stronger:
        yield ON_THE_ROOF


def _one_of(finding: Finding, fit: Fit) -> str:
    return fit.links.inverters.names[finding.inverter]


def _listed(lines: tuple[str, ...]) -> list[str]:
    return [wrapped(f"- {one}", indent="  ") for one in lines]


def fit_record(fit: Fit) -> Record:
    """Return what `survey fit --json` prints."""
    parameters, stderr, pairs = fit.solution.parameters, fit.stderr, fit.pairs
    names, places = fit.links.inverters.names, fit.links.gateways.names
    nearest_m, farthest_m = fit.nearest_and_farthest_m
    units = len(fit.units)
    return {
        "plan": fit.scene.plan.file,
        "site": fit.scene.plan.site.name,
        "plan_mark": fingerprint(fit.scene.plan),
        "readings": int(np.sum(~np.isnan(fit.readings.level_dbm))),
        "missed": int(np.sum(np.isnan(fit.readings.level_dbm))),
        "pairs": len(pairs),
        "pairs_heard": int(np.sum(pairs.has_level)),
        "anchored": fit.anchored,
        "plain": fit.plain,
        "path_loss_exponent": {
            "value": plain(parameters[EXPONENT]),
            "stderr": plain(stderr[EXPONENT]),
            "before": plain(fit.model.mean[EXPONENT]),
            "before_stderr": plain(fit.exponent_sd),
        },
        "offset_db": {"value": plain(parameters[OFFSET]), "stderr": plain(stderr[OFFSET])},
        "shadowing_db": plain(fit.solution.sigma_db),
        "gateway_shadowing_db": {name: plain(one * fit.solution.sigma_db) for name, one in fit.spreads.items()},
        "free_share": plain(fit.solution.shares.lost),
        "silent_share": plain(fit.solution.shares.silent),
        "materials": {
            one.name: {
                "loss_db": plain(one.loss_db + parameters[LOSSES + u]),
                "stderr": plain(stderr[LOSSES + u]),
                "before_db": plain(one.loss_db),
                "before_stderr": plain(one.spread_db),
                "own": one.own,
                "by_metre": one.by_metre,
            }
            for u, one in enumerate(fit.units)
        },
        "ends": [
            {
                "kind": one.kind,
                "name": one.name,
                "deviation_db": plain(parameters[LOSSES + units + e]),
                "stderr": plain(stderr[LOSSES + units + e]),
            }
            for e, one in enumerate(fit.ends)
        ],
        "gateways_read": list(places),
        "ends_sd_db": plain(fit.end_sd_db),
        "nearest_m": plain(nearest_m),
        "farthest_m": plain(farthest_m),
        "covariance": plain(fit.covariance),
        "rmse_db": plain(fit.rmse_db),
        "cross_validated_rmse_db": plain(fit.places_left_out.rmse_db),
        "unread_gateway_rmse_db": {
            "value": plain(fit.unread_rmse_db),
            "by": "left out" if fit.gateways_left_out.groups else "assumption",
        },
        "fitted_on": fit.day,
        "ceiling": plain(fit.ceiling),
        "fading_db": plain(fit.fade_db),
        "shadowing_alike": plain(fit.solution.shadow.alike),
        "correlation_m": plain(fit.solution.shadow.correlation_m),
        "cross_validated_groups": fit.places_left_out.groups,
        "inside_90_percent": plain(fit.places_left_out.inside),
        "cannot_tell": list(fit.cannot_tell),
        "residuals": [
            {
                "inverter": names[i],
                "gateway": places[j],
                "level_dbm": plain(pairs.level_dbm[k]),
                "predicted_dbm": plain(fit.predicted_dbm[k]),
                "residual_db": plain(fit.residual_db[k]),
                "suspect": bool(fit.suspect[k]),
                "heard": int(pairs.heard[k]),
                "missed": int(pairs.missed[k]),
                "from_m": plain(pairs.starts_m[k]),
                "to_m": plain(pairs.ends_m[k]),
                "off_db": plain(fit.off_db[k]),
                "told": plain(fit.solution.told[k]),
            }
            for k, (i, j) in enumerate(zip(pairs.inverter.tolist(), pairs.gateway.tolist(), strict=True))
        ],
        "inverters": [
            {
                "inverter": names[one.inverter],
                "verdict": one.verdict,
                "difference_db": plain(one.difference_db),
                "deviations": plain(one.deviations),
                "heard": one.heard,
                "missed": one.missed,
                "swapped_with": None if one.swapped_with is None else names[one.swapped_with],
            }
            for one in fit.findings
        ],
    }
