"""What to do with the gateway, in short: where, what it covers, who is left out, how certain, and the next step."""

from __future__ import annotations

from shlex import quote

import numpy as np

from survey.base.layout import counted, listed, place_name
from survey.budget import HOLDS
from survey.decisions.placement import Moving, Placement
from survey.inputs.plan import Search
from survey.output.answers.figures import (
    NOTHING_DB,
    covered,
    db,
    explain_command,
    percent,
)
from survey.output.answers.first_readings import first_readings, weakest_first
from survey.output.answers.sure import share
from survey.output.answers.where import along_words, entry_of, where_words
from survey.routing import Network

POLE_M = 5.0
"""So high above the ground a person holds a gateway on a pole: a judgement. [m]"""
DECIDERS_SHOWN = 6
"""The same for inverters that decide, and for those not covered. A judgement."""


def title_words(placement: Placement) -> str:
    """Return what to do with the gateway, or the gateways."""
    if len(placement.chosen) > 1:
        return f"Put {len(placement.chosen)} gateways at these spots"
    (i,) = placement.chosen
    spots, verb = placement.scores.spots, "Leave" if placement.is_existing(i) else "Put"
    entry, (x, y, height_m) = entry_of(placement.scene.plan, spots.places[i]), spots.at_m[i].tolist()
    along = along_words(entry, x, y) if isinstance(entry, Search) else ""
    if along:  # a place that a person finds, and how the plan calls it
        return f"{verb} the gateway {along}, {height_m:.1f} m high ({spots.names[i]})"
    return f"{verb} the gateway at {place_name(spots.names[i])}"


def certainty_words(placement: Placement) -> str:
    """Return how often the recommended location is the best one, or that another is equally good."""
    sure, reason = placement.certainty, placement.reason
    if reason and reason.decided_by not in {"served", "expected_served"}:
        unbeaten = f"no other spot has more working inverters in {share(sure.unbeaten_share)}"
        return f"{reason.rival} is equally good; {unbeaten} of {sure.draws} simulation runs"
    return f"best location in {share(sure.place_share(sure.links.gateways.places[0]))} of {sure.draws} simulation runs"


def moving_words(placement: Placement, moving: Moving) -> str:
    """Return what moving an existing gateway to the best spot brings, and how certain that is."""
    names = placement.scores.spots.names
    runs = f"{placement.options.draws} simulation runs"
    shares = f"more working inverters in {share(moving.more_share)} of {runs}, fewer in {share(moving.fewer_share)}"
    if moving.is_advised:
        served = int(placement.scores.served[moving.existing])
        return f"from {names[moving.existing]} ({served} covered) brings {shares}" + (
            "" if moving.is_certain else ". That is not certain"
        )
    return f"to {names[moving.spot]} brings nothing that is certain: {shares}"


def next_steps(placement: Placement) -> list[tuple[str, str]]:
    """Return what to do next, each step with its label."""
    network, plan, names = placement.network, placement.scene.plan, placement.scene.inverters.names
    file = quote(plan.file)
    missing = uncovered(placement)
    explain = explain_command(network, names[missing[0]]) if missing else ""
    if not placement.served:
        return [("Next step", f"add spots nearer to the inverters. See what stops the weakest link: {explain}")]
    first = first_readings(network)
    existing = all(placement.is_existing(i) for i in placement.chosen)
    how = "Read" if existing else f"Before you fix anything, {_hold_words(placement)}. Read"
    readings = _and([_predicted(network, first[0]), *(names[i] for i in first[1:])])
    steps = [("Next step", f"{how} the level of {readings}.")]
    if missing:
        steps.append(("For the rest", explain))
    return [*steps, ("Then", f"compare the readings: survey fit {file} READINGS.csv")]


def _hold_words(placement: Placement) -> str:
    """Return how to try a gateway where it would be, before it is fixed."""
    plan, at_m = placement.scene.plan, placement.scores.spots.at_m[list(placement.chosen)]
    ground_m = np.zeros(len(at_m)) if plan.ground is None else np.nan_to_num(plan.ground.height_m(at_m[:, :2]))
    where = "there" if len(at_m) == 1 else "at each spot"
    above_m = at_m[:, 2] - ground_m
    if np.all(above_m <= POLE_M):
        return f"hold the gateway {where} on a pole, from the ground"
    if np.all(above_m > POLE_M):
        return f"hold the gateway {where} from a safe place to work at that height"
    return f"hold the gateway {where}: on a pole from the ground, or from a safe place to work at that height"


def _predicted(network: Network, i: int) -> str:
    """Return an inverter with its predicted level at the gateway, where it has a direct link to it."""
    route, name = network.routes[i], network.links.inverters.names[i]
    level_dbm = float(network.links.uplink_level_dbm[i, route.gateway])
    direct = not route.relays and network.weakest_margin_db[i] >= NOTHING_DB
    return f"{name} (predicted {db(level_dbm)} dBm)" if direct else name


def _and(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def share_words(network: Network, gateway: int) -> str:
    """Return how many inverters one of several gateways is assigned."""
    states = network.state.tolist()
    mine = [state for route, state in zip(network.routes, states, strict=True) if route.gateway == gateway]
    return f"{counted(len(mine), 'inverter')} assigned, {mine.count(HOLDS)} covered"


def answer_lines(placement: Placement) -> list[str]:
    """Return the facts of `answer_facts` as sentences."""
    return [f"{label}: {fact}" for label, fact in answer_facts(placement)]


def answer_facts(placement: Placement) -> list[tuple[str, str]]:
    """Return the coverage of a recommendation, the inverters left out, its weakest link and its certainty, labelled."""
    network, count, names = placement.network, len(placement.scene.inverters), placement.scene.inverters.names
    worst, plan = placement.worst_inverter, placement.scene.plan
    chance = percent(network.routes[worst].reliability, wanted=plan.requirement.reliability)
    weakest = f"margin {db(network.weakest_margin_db[worst])} dB, chance {chance}"
    if not network.weakest_margin_db[worst] >= NOTHING_DB:
        weakest = "no usable signal arrives"
    relayed = sum(
        state == HOLDS and len(route.relays) > 0
        for route, state in zip(network.routes, network.state.tolist(), strict=True)
    )
    through = f", {relayed} of them through relays" if relayed else ""
    expected = f"{placement.expected_served:.1f} expected working (sum of the chances)"
    facts = [
        ("Coverage", f"{covered(placement.served, count)}{through}; {expected}"),
        ("Not covered", not_covered_words(placement)),
        ("Weakest route" if placement.hops else "Weakest link", f"{names[worst]}, {weakest}"),
    ]
    if placement.moving:
        facts.append(("Moving", moving_words(placement, placement.moving)))
    elif not placement.choices and not placement.fewest and len(placement.order) > 1:
        facts.append(("Certainty", certainty_words(placement)))
    return [(label, fact) for label, fact in facts if fact]


def uncovered(placement: Placement) -> list[int]:
    """Return the inverters that are not covered, the weakest first."""
    states = placement.network.state
    return [i for i in weakest_first(placement.network) if states[i] != HOLDS]


def not_covered_words(placement: Placement) -> str:
    """Return the inverters that are not covered, whole arrays by their names, and the spot that would cover most."""
    missing = set(uncovered(placement))
    if not missing:
        return ""
    ends, full = placement.scene.inverters, placement.network.over_capacity
    members: dict[str, list[int]] = {}
    for i, place in enumerate(ends.places):
        members.setdefault(place, []).append(i)
    names = []
    for place, numbers in members.items():
        lost = [i for i in numbers if i in missing]
        if len(lost) == len(numbers) > 1:
            names.append(f"array {place} (all {len(numbers)})")
        else:
            names += [ends.names[i] for i in lost]
    over = f"{counted(full, 'inverter')} over the gateways' capacity. " if full else ""
    return f"{over}{listed(names, DECIDERS_SHOWN)}. {_would_cover(placement, missing)}"


def _would_cover(placement: Placement, missing: set[int]) -> str:
    """Return the further spot that would cover most of the missing inverters."""
    matrix = placement.coverage.matrix
    covers = matrix.holds[sorted(missing)].sum(axis=0)
    covers[list(placement.chosen)] = 0
    best = int(np.argmax(covers))
    count = min(int(covers[best]), matrix.limit or len(missing))
    if not count:
        return f"No spot covers {'it' if len(missing) == 1 else 'any of them'}: add spots, or allow relays."
    of = "it" if len(missing) == 1 else f"{count} of them"
    return f"Another gateway at {place_name(placement.scores.spots.names[best])} would cover {of}."


def where_lines(placement: Placement, spot: int) -> list[str]:
    """Return where a recommended spot is, the plan's note and its cable, in sentences."""
    return [f"{label}: {fact}" for label, fact in where_facts(placement, spot)]


def where_facts(placement: Placement, spot: int) -> list[tuple[str, str]]:
    """Return the facts of `where_lines`, each with its label."""
    scene, spots = placement.scene, placement.scores.spots
    x, y, height_m = spots.at_m[spot].tolist()
    entry = entry_of(scene.plan, spots.places[spot])
    in_title = len(placement.chosen) == 1 and isinstance(entry, Search) and along_words(entry, x, y)
    position = "" if in_title else where_words(entry, (x, y, height_m))
    cable_loss_db = entry.radio(scene.plan.radio.gateway).cable_loss_db
    cable = f"cable loss of {cable_loss_db:g} dB included" if cable_loss_db else ""
    return [("Position" if position else "Note", "; ".join(part for part in (position, entry.note, cable) if part))]
