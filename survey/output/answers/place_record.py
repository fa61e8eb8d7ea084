"""A recommendation as JSON: the spot, the runners-up, the reason and the link of every inverter."""

from __future__ import annotations

from survey.budget import HOLDS, STATES
from survey.decisions.placement import Decider, Placement, Scores
from survey.output.answers.links import link_records
from survey.output.answers.network import route_names
from survey.output.answers.sure import best_shares, served_record, sure_record
from survey.output.answers.values import Record, plain
from survey.routing import Network
from survey.siting.choice import Choice
from survey.siting.fewest import Fewest


def score_record(
    scores: Scores, inverters: tuple[str, ...], i: int, share: float | None = None, *, existing: bool = False
) -> Record:
    """Return one line of a ranking; `share` is the share of the simulation runs in which it is the best."""
    return {
        "spot": scores.spots.names[i],
        "served": int(scores.served[i]),
        "expected_served": plain(scores.expected_served[i]),
        "worst_inverter": inverters[int(scores.worst_inverter[i])],
        "worst_margin_db": plain(scores.worst_margin_db[i]),
        "median_margin_db": plain(scores.median_margin_db[i]),
        "best_share": share,
        "existing": existing,
    }


def place_record(placement: Placement) -> Record:
    """Return what `survey place --json` prints."""
    scene, scores, network = placement.scene, placement.scores, placement.network
    names, worst = scene.inverters.names, placement.worst_inverter
    shares = best_shares(placement.certainty)
    return {
        "plan": scene.plan.file,
        "site": scene.plan.site.name,
        "gateways": [_gateway_record(placement, k) for k in range(len(placement.chosen))],
        "served": placement.served,
        "inverters": len(scene.inverters),
        "expected_served": plain(placement.expected_served),
        "worst_inverter": names[worst],
        "worst_margin_db": plain(network.weakest_margin_db[worst]),
        "without_room": placement.network.over_capacity,
        "numbers": [_choice_record(placement, choice) for choice in placement.choices],
        "fewest": _fewest_record(placement, placement.fewest) if placement.fewest else None,
        "drawn": served_record(placement.runs),
        "unsteady_links": [names[i] for i in placement.unsteady],
        "sure": sure_record(placement.certainty),
        "reason": _reason_record(placement),
        "moving": _moving_record(placement),
        "ranking": [
            score_record(scores, names, i, shares.get(scores.spots.names[i], 0.0), existing=placement.is_existing(i))
            for i in placement.order.tolist()
        ],
        "links": _link_records(network),
    }


def _gateway_record(placement: Placement, k: int) -> Record:
    """One of the gateways recommended, and how many inverters it is for."""
    spots, i = placement.scores.spots, placement.chosen[k]
    x, y, height_m = spots.at_m[i].tolist()
    mine = [
        state
        for route, state in zip(placement.network.routes, placement.network.state, strict=True)
        if route.gateway == k
    ]
    return {
        "name": spots.names[i],
        "at": [plain(x), plain(y)],
        "height_m": plain(height_m),
        "existing": placement.is_existing(i),
        "inverters": len(mine),
        "served": int(sum(state == HOLDS for state in mine)),
    }


def _choice_record(placement: Placement, choice: Choice) -> Record:
    """What a number of gateways brings, and how far that is proven."""
    return {
        "gateways": [placement.scores.spots.names[i] for i in choice.chosen],
        "served": choice.served,
        "expected_served": plain(choice.expected_served),
        "worst_margin_db": plain(choice.worst_margin_db),
        "most_served": choice.bound_served,
        "gap": choice.gap,
        "proven": choice.proven_served,
    }


def _fewest_record(placement: Placement, few: Fewest) -> Record:
    """The fewest gateways, who cannot be served at all, and how far that is proven."""
    names = placement.scene.inverters.names
    return {
        "gateways": [placement.scores.spots.names[i] for i in few.chosen],
        "spare": placement.options.spare,
        "served": few.served,
        "cannot_hold": [names[i] for i in few.unservable],
        "short_of_room": few.over_capacity,
        "at_least": few.bound,
        "gap": few.gap,
        "proven": few.proven,
    }


def _link_records(network: Network) -> list[Record]:
    """The link of every inverter to the gateway that it belongs to, and the route that its messages take."""
    records = link_records(network.links, network.gateway_of.tolist())
    for record, route, state in zip(records, network.routes, network.state.tolist(), strict=True):
        record["route"] = route_names(network, route)
        record["route_reliability"] = plain(route.reliability)
        record["route_margin_db"] = plain(route.weakest_margin_db)
        record["route_state"] = STATES[state]
    return records


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


def _moving_record(placement: Placement) -> Record | None:
    moving = placement.moving
    if moving is None:
        return None
    names = placement.scores.spots.names
    return {
        "existing": names[moving.existing],
        "spot": names[moving.spot],
        "more_share": plain(moving.more_share),
        "fewer_share": plain(moving.fewer_share),
        "certain": moving.is_certain,
        "advised": moving.is_advised,
    }
