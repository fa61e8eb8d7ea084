"""A fit as plain values: what `--json` prints is what `--fit` takes."""

from __future__ import annotations

import numpy as np

from survey.calibration import Fit, fingerprint
from survey.calibration.model import EXPONENT, LOSSES, OFFSET
from survey.records.values import Record, plain


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
