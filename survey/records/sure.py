"""How sure a recommendation is as plain values."""

from __future__ import annotations

from survey.draws import Served, Sure
from survey.records.values import Record, plain


def served_record(served: Served) -> Record:
    """How many inverters work over the draws: average, and the numbers between which nine draws of ten lie."""
    low, high = served.interval
    return {"mean": plain(served.mean), "low": low, "high": high}


def sure_record(sure: Sure) -> Record:
    """How sure a recommendation is; the share of every spot stands in `best_shares`."""
    nearest = sure.search.nearest if sure.search else None
    turning = None
    if nearest is not None:
        turning = {
            "name": nearest.name,
            "kind": nearest.kind,
            "shift": plain(nearest.shift),
            "spreads": plain(nearest.spreads),
            "wins": nearest.rival,
        }
    places = dict.fromkeys(sure.links.gateways.places)
    return {
        "draws": sure.draws,
        "seed": sure.seed,
        "place_share": {place: plain(sure.place_share(place)) for place in places},
        "unbeaten_share": plain(sure.unbeaten_share),
        "served": served_record(sure.served),
        "matters_most": turning,
        "tried": list(sure.search.tried) if sure.search else [],
        "spots_left_out": sure.left_out,
    }


def best_shares(sure: Sure) -> dict[str, float]:
    """The share of the draws in which each spot comes first, by name; spots that were not drawn are not there."""
    return dict(zip(sure.links.gateways.names, plain(sure.best_share), strict=True))
