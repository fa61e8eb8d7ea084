"""What readings have taught, as a table; and the day's work looked over."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from survey.base.layout import Column, counted, paragraphs, table, wrapped
from survey.measured.calibration import EXPONENT, LOSSES, OFFSET, OUTSIDE, Finding, Fit, fingerprint
from survey.output.answers.figures import CAUTION, db, signed_db
from survey.output.answers.links import in_the_line
from survey.output.answers.values import Record, plain

FEW = 12
"""With so few pairs every inverter is shown unasked."""
MOST_OUT_OF_LINE = 10
"""As many as one reads; all are in the JSON."""
FIGURES = (Column("", text=True), Column("plan"), Column("fitted"), Column("give or\ntake"))
RESIDUALS = (
    Column("inverter", text=True),
    Column("gateway", text=True),
    Column("read\ndBm"),
    Column("fit says\ndBm"),
    Column("off by\ndB"),
)
CHECKED = (
    Column("inverter", text=True),
    Column("verdict", text=True),
    Column("off by\ndB"),
    Column("heard"),
    Column("missed"),
    Column("in the straight line", text=True, yields=True),
)
ON_THE_ROOF = (
    "Look from the ground first. Work at height, near mains and on metal roofs by the local rules for it; only a "
    "licensed electrician opens an inverter, an isolator or a switchboard."
)
WEAKER = (
    "Weaker than expected: is it where the plan says (compare the serial)? Is it fixed flat against metal, behind a "
    "rail, a clamp or a cable bundle? Is there something in the line that the plan does not show? A unit never "
    "heard may simply have no supply or too little light: try it again in full daylight."
)
STRONGER = (
    "Stronger than expected: no fault by itself. Is it where the plan says, and is all that the plan puts in its line "
    "really there?"
)


def fit_table(fit: Fit, *, check: bool = False) -> str:
    """The figures that were fitted, how good they are, what is open, and what is out of line."""
    parts = [wrapped(_heading(fit))]
    if not check:
        parts += [table(FIGURES, list(_figures(fit))), *(wrapped(one) for one in _quality(fit))]
        if fit.cannot_tell:
            parts.append("\n".join(["What the readings cannot tell", *_listed(fit.cannot_tell)]))
        parts.append(_out_of_line(fit))
    if check or len(fit.pairs) <= FEW:
        parts.append(_checked(fit))
    return paragraphs(*parts, CAUTION)


def _heading(fit: Fit) -> str:
    nearest_m, farthest_m = fit.nearest_and_farthest_m
    heard = int(np.sum(~np.isnan(fit.readings.level_dbm)))
    missed = len(fit.readings) - heard
    gone = f" and {counted(missed, 'miss')}" if missed else ""
    gone = gone.replace("misss", "misses")
    return (
        f"{fit.scene.plan.site.name}: {counted(heard, 'level')}{gone} on {counted(len(fit.pairs), 'pair')} of inverter "
        f"and gateway, {nearest_m:.1f} to {farthest_m:.1f} m apart"
    )


def _figures(fit: Fit) -> Iterator[list[str]]:
    parameters, stderr, model = fit.solution.parameters, fit.stderr, fit.model
    held = "held" if not model.free[OFFSET] else f"{stderr[OFFSET]:.1f}"
    yield ["offset, dB", "0.0", db(parameters[OFFSET]), held]
    exponents = (model.mean[EXPONENT], parameters[EXPONENT], stderr[EXPONENT])
    yield ["path-loss exponent", *(f"{one:.2f}" for one in exponents)]
    yield ["shadowing, dB", f"{fit.scene.plan.environment.shadowing_db:.1f}", f"{fit.solution.sigma_db:.1f}", ""]
    for u, one in enumerate(fit.units):
        at = LOSSES + u
        yield [f"{one.name}, dB a pass", db(one.loss_db), db(one.loss_db + parameters[at]), f"{stderr[at]:.1f}"]
    for e, end in enumerate(fit.ends):
        at = LOSSES + len(fit.units) + e
        what = f"gateway {end.name}" if end.kind == "gateway" else f"inverters such as {end.name}"
        yield [f"{what}, dB beside the offset", "0.0", db(parameters[at]), f"{stderr[at]:.1f}"]


def _quality(fit: Fit) -> Iterator[str]:
    if fit.rmse_db is not None:
        text = f"The levels lie {fit.rmse_db:.1f} dB off the fit (root of the mean square)"
        if fit.cross_validated_rmse_db is not None and fit.inside is not None:
            text += (
                f", and {fit.cross_validated_rmse_db:.1f} dB off fits that were made without them ({fit.groups} groups "
                f"left out in turn). Of the 90 % intervals of these fits, {100.0 * fit.inside:.0f} % held"
            )
        yield text + "."
    if np.any(np.isnan(fit.readings.level_dbm)):
        shares = fit.solution.shares
        text = (
            f"Of the tries that were strong enough, {100.0 * shares.lost:.1f} % were lost for reasons other than level"
        )
        if shares.silent >= 0.01:  # noqa: PLR2004  a percent
            text += f"; {100.0 * shares.silent:.0f} % of the pairs were silent for reasons other than level"
        yield text + "."


def _out_of_line(fit: Fit) -> str:
    rows = np.flatnonzero(fit.suspect & fit.pairs.was_heard)
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
    return "\n".join(["Readings far out of line, which have little pull on the fit", table(RESIDUALS, cells)])


def _checked(fit: Fit) -> str:
    names = fit.links.inverters.names
    rows = []
    for one in fit.findings:
        first = int(np.flatnonzero(fit.pairs.inverter == one.inverter)[0])
        difference = "not heard" if one.difference_db is None else signed_db(one.difference_db)
        met = in_the_line(fit.links, one.inverter, int(fit.pairs.gateway[first])) or "clear"
        rows.append([names[one.inverter], one.verdict, difference, str(one.heard), str(one.missed), met])
    weaker, stronger = (sum(one.verdict == word for one in fit.findings) for word in ("weaker", "stronger"))
    summary = (
        f"{counted(len(fit.findings), 'inverter')} read: {len(fit.findings) - weaker - stronger} as expected, {weaker} "
        f"weaker, {stronger} stronger. Each is set against what all others lead to expect; more than {OUTSIDE:.1f} "
        "standard deviations off is told, which chance alone does to 1 in 100."
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
            yield f"{_one_of(one, fit)} and {names[other]}: each would fit the other's place; compare their serials."
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
    """What `survey fit --json` prints."""
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
        "pairs_heard": int(np.sum(pairs.was_heard)),
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
        "free_share": plain(fit.solution.shares.lost),
        "silent_share": plain(fit.solution.shares.silent),
        "materials": {
            one.name: {
                "loss_db": plain(one.loss_db + parameters[LOSSES + u]),
                "stderr": plain(stderr[LOSSES + u]),
                "before_db": plain(one.loss_db),
                "before_stderr": plain(one.spread_db),
                "own": one.own,
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
        "cross_validated_rmse_db": plain(fit.cross_validated_rmse_db),
        "cross_validated_groups": fit.groups,
        "inside_90_percent": plain(fit.inside),
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
