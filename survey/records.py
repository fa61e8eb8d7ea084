"""Results as plain values for JSON, in the shapes that the interface fixes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from survey.comparison import Comparison
from survey.inspection import Inspection
from survey.links import STATES, WAYS, Links
from survey.materials import Material, vegetation_loss
from survey.placement import Decider, Placement, Scores

Record = dict[str, Any]
DECIMALS = 6
CARRIERS = ("straight", *WAYS)
"""The ways of a link: straight through, and around what stands there."""


def plain(value: Any) -> Any:  # noqa: ANN401  whatever a result holds
    """A number as JSON has it: rounded, and null where there is none.

    Examples
    --------
    >>> plain(np.float64(1.23456789)), plain(float("nan")), plain(np.int64(3)), plain(-1e-9)
    (1.234568, None, 3, 0.0)
    """
    if isinstance(value, bool | str | None):
        return value
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, list | tuple):
        return [plain(one) for one in value]
    if isinstance(value, int | np.integer):
        return int(value)
    number = float(value)
    return round(number, DECIMALS) + 0.0 if math.isfinite(number) else None  # no minus zero


def carried_by(links: Links) -> NDArray[np.intp]:
    """Which way carries each link, the one that loses least: index into `CARRIERS`, shape (inverters, gateways)."""
    losses_db = np.stack([links.straight_db, *(links.around_db[way] for way in WAYS)])
    return np.asarray(np.argmin(np.where(np.isnan(losses_db), np.inf, losses_db), axis=0))


def link_records(links: Links) -> list[Record]:
    """Every link, inverter by inverter."""
    columns = {
        name: plain(getattr(links, name))
        for name in (
            "distance_m",
            "base_loss_db",
            "obstacle_loss_db",
            "path_loss_db",
            "uplink_level_dbm",
            "uplink_margin_db",
            "downlink_level_dbm",
            "downlink_margin_db",
            "margin_db",
            "sigma_db",
            "reliability",
        )
    }
    around = {name: plain(values) for name, values in links.around_db.items()}
    states, carriers = links.state.tolist(), carried_by(links).tolist()
    records = []
    for i, inverter in enumerate(links.inverters.names):
        for j, gateway in enumerate(links.gateways.names):
            one = {name: values[i][j] for name, values in columns.items()}
            records.append(
                {
                    "inverter": inverter,
                    "gateway": gateway,
                    "distance_m": one["distance_m"],
                    "base_loss_db": one["base_loss_db"],
                    "obstacle_loss_db": one["obstacle_loss_db"],
                    "path_loss_db": one["path_loss_db"],
                    "crossed": [{"obstacle": name, "loss_db": plain(loss_db)} for name, loss_db in links.met_by(i, j)],
                    "around": {f"{way}_db": around[way][i][j] for way in WAYS},
                    "carried_by": CARRIERS[carriers[i][j]],
                    "uplink": {"level_dbm": one["uplink_level_dbm"], "margin_db": one["uplink_margin_db"]},
                    "downlink": {"level_dbm": one["downlink_level_dbm"], "margin_db": one["downlink_margin_db"]},
                    "margin_db": one["margin_db"],
                    "sigma_db": one["sigma_db"],
                    "reliability": one["reliability"],
                    "state": STATES[states[i][j]],
                }
            )
    return records


def links_record(links: Links) -> Record:
    """What `survey links --json` prints."""
    return {"plan": links.scene.plan.file, "site": links.scene.plan.site.name, "links": link_records(links)}


def score_record(scores: Scores, inverters: tuple[str, ...], i: int) -> Record:
    """One line of a ranking."""
    return {
        "spot": scores.spots.names[i],
        "served": int(scores.served[i]),
        "expected_served": plain(scores.expected_served[i]),
        "worst_inverter": inverters[int(scores.worst_inverter[i])],
        "worst_margin_db": plain(scores.worst_margin_db[i]),
        "median_margin_db": plain(scores.median_margin_db[i]),
        "best_share": None,
    }


def place_record(placement: Placement) -> Record:
    """What `survey place --json` prints."""
    scene, scores, best = placement.scene, placement.scores, int(placement.order[0])
    ranking = [score_record(scores, scene.inverters.names, i) for i in placement.order.tolist()]
    links = link_records(placement.links)
    for link in links:
        link["route"] = [link["inverter"], link["gateway"]]
    x, y, height_m = scores.spots.at_m[best].tolist()
    return {
        "plan": scene.plan.file,
        "site": scene.plan.site.name,
        "gateways": [{"name": scores.spots.names[best], "at": [plain(x), plain(y)], "height_m": plain(height_m)}],
        "served": ranking[0]["served"],
        "inverters": len(scene.inverters),
        "expected_served": ranking[0]["expected_served"],
        "worst_inverter": ranking[0]["worst_inverter"],
        "worst_margin_db": ranking[0]["worst_margin_db"],
        "reason": _reason_record(placement),
        "ranking": ranking,
        "links": links,
    }


def _reason_record(placement: Placement) -> Record | None:
    reason = placement.reason
    if reason is None:
        return None

    def deciders(group: tuple[Decider, ...]) -> list[Record]:
        return [{name: plain(value) for name, value in vars(one).items()} for one in group]

    return {
        "rival": reason.rival,
        "decided_by": reason.decided_by,
        "gained": deciders(reason.gained),
        "lost": deciders(reason.lost),
        "nearer": deciders(reason.nearer),
    }


def compare_record(comparison: Comparison, *, inverters: Sequence[str] = ()) -> Record:
    """What `survey compare --json` prints; with names of inverters, of the links only theirs."""
    links, scores = comparison.links, comparison.scores
    names = links.inverters.names
    margins, chances, states = plain(links.margin_db), plain(links.reliability), links.state.tolist()
    return {
        "plan": links.scene.plan.file,
        "site": links.scene.plan.site.name,
        "spots": [score_record(scores, names, i) for i in range(len(scores.spots))],
        "links": [
            {
                "inverter": inverter,
                "spots": {
                    spot: {"margin_db": margins[i][j], "reliability": chances[i][j], "state": STATES[states[i][j]]}
                    for j, spot in enumerate(links.gateways.names)
                },
            }
            for i, inverter in ((names.index(name), name) for name in dict.fromkeys(inverters or names))
        ],
    }


def materials_record(materials: list[Material], frequency_mhz: float) -> Record:
    """What `survey materials --json` prints."""
    return {
        "frequency_mhz": plain(frequency_mhz),
        "vegetation": dict(zip(("loss_db_per_m", "most_loss_db"), plain(vegetation_loss(frequency_mhz)), strict=True)),
        "materials": [
            {
                "name": material.name,
                "loss_db": plain(material.loss_db(frequency_mhz)),
                "spread_db": plain(material.spread_db),
                "opaque": material.opaque,
                "source": material.source,
                "status": material.status,
            }
            for material in materials
        ],
    }


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
