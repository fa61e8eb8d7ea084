"""A recommendation as plain values."""

from __future__ import annotations

from survey.placement import Decider, Placement, Scores
from survey.records.links import link_records
from survey.records.values import Record, plain


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
