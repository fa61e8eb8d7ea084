"""Spots side by side as plain values."""

from __future__ import annotations

from collections.abc import Sequence

from survey.comparison import Comparison
from survey.links import STATES
from survey.network import Network
from survey.records.network import route_names
from survey.records.place import score_record
from survey.records.sure import served_record
from survey.records.values import Record, plain


def compare_record(comparison: Comparison, *, inverters: Sequence[str] = ()) -> Record:
    """What `survey compare --json` prints; with names of inverters, of the links only theirs."""
    links, scores, drawn = comparison.links, comparison.scores, comparison.drawn
    spots = links.gateways.names
    names = links.inverters.names
    return {
        "plan": links.scene.plan.file,
        "site": links.scene.plan.site.name,
        "draws": drawn.draws,
        "seed": drawn.seed,
        "spots": [
            {**score_record(scores, names, i), "drawn": served_record(drawn.served(i))}
            for i in range(len(scores.spots))
        ],
        "pairs": [
            {
                "one": spots[pair.one],
                "other": spots[pair.other],
                "one_more": {"share": plain(pair.one_more), "by": plain(pair.one_by)},
                "equal_share": plain(pair.equal),
                "other_more": {"share": plain(pair.other_more), "by": plain(pair.other_by)},
            }
            for pair in drawn.pairs()
        ],
        "links": [
            {
                "inverter": inverter,
                "spots": {spot: _verdict(network, i) for spot, network in zip(spots, comparison.networks, strict=True)},
            }
            for i, inverter in ((names.index(name), name) for name in dict.fromkeys(inverters or names))
        ],
    }


def _verdict(network: Network, i: int) -> Record:
    """What an inverter's route to a spot is worth: of its own link, where it talks to the spot itself."""
    route = network.routes[i]
    found = {
        "margin_db": plain(route.weakest_margin_db),
        "reliability": plain(route.reliability),
        "state": STATES[int(network.state[i])],
    }
    if network.scene.plan.requirement.max_relays:
        found["route"] = route_names(network, route)
    return found
