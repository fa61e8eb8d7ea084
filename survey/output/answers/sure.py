"""How certain a recommendation is, in words."""

from __future__ import annotations

import math

from survey.base.layout import counted, labelled, wrapped
from survey.decisions.simulation import REACH_SPREADS, RankingCertainty, Search, Served, Turning
from survey.inputs.plan import Plan
from survey.output.answers.drawing import critical_records, drawing_facts, drawing_record
from survey.output.answers.figures import is_default
from survey.output.answers.values import Record, plain
from survey.scene import Scene

SHOWN_SHORTFALL = 0.05
"""Inverters: fewer than this one decimal shows as none."""
RIVALS_SHOWN = 3
"""Rivals that fit a line or two; all are in the JSON. A judgement."""


def share(value: float) -> str:
    """Return a share of simulation runs in whole percent; a share that is not 0 or 1 does not look so.

    Examples
    --------
    >>> share(0.0), share(0.004), share(0.123), share(0.999), share(1.0)
    ('0 %', '<1 %', '12 %', '>99 %', '100 %')
    """
    if 0.0 < value < 0.01:  # noqa: PLR2004  a percent
        return "<1 %"
    if 0.99 < value < 1.0:  # noqa: PLR2004
        return ">99 %"
    return f"{100.0 * value:.0f} %"


def served_words(served: Served) -> str:
    """Return between which numbers of working inverters 9 of 10 runs lie.

    Examples
    --------
    >>> import numpy as np
    >>> served_words(Served(counts=np.array([38, 40, 40]), inverters=40, seed=0))
    '38 to 40 of 40 inverters in 9 of 10 runs, 39.3 on average'
    """
    low, high = served.interval
    span = f"{low}" if low == high else f"{low} to {high}"
    return f"{span} of {counted(served.inverters, 'inverter')} in 9 of 10 runs, {served.mean:.1f} on average"


def sure_text(sure: RankingCertainty) -> str:
    """Return how often the recommended spot is the best, its rivals, the working inverters and the critical figure."""
    return "\n".join([wrapped(drawn_words(sure.draws, sure.seed)), *labelled(sure_facts(sure))])


def drawn_words(draws: int, seed: int) -> str:
    """Return the heading over the results of simulation runs."""
    return (
        f"How certain is this? {counted(draws, 'simulation run')}, each with random errors in what the plan gives only "
        f"roughly (seed {seed})"
    )


def exponent_words(scene: Scene) -> str:
    """Return the path loss exponent with its uncertainty in the runs, and where each of the two comes from."""
    plan, correction = scene.plan, scene.correction
    exponent, spread = plan.environment.path_loss_exponent, plan.environment.exponent_spread
    if correction is not None:
        spread = float(correction.covariance[1, 1]) ** 0.5
        return f"{exponent:.4g}, in the runs with an uncertainty of {spread:.2g} (from the fit)"
    sources = [
        "the default" if is_default(plan, key) else "from the plan" for key in ("path_loss_exponent", "exponent_spread")
    ]
    if sources[0] == sources[1]:
        both = "both from the plan" if sources[0] == "from the plan" else "both are defaults"
        return f"{exponent:.4g}, in the runs with an uncertainty of {spread:.2g} ({both})"
    return f"{exponent:.4g} ({sources[0]}), in the runs with an uncertainty of {spread:.2g} ({sources[1]})"


def sure_lines(sure: RankingCertainty) -> list[str]:
    """Return the facts of `sure_text` as sentences."""
    return [f"{label}: {fact}" for label, fact in sure_facts(sure)]


def sure_facts(sure: RankingCertainty) -> list[tuple[str, str]]:
    """Return the facts of `sure_text`, each with its label."""
    spots = sure.links.gateways
    name, place = spots.names[0], spots.places[0]
    places = list(dict.fromkeys(spots.places))
    shares = {location: sure.place_share(location) for location in places}
    best = f"{place} in {share(shares[place])} of the runs"
    if place != name:
        best += f" (this exact point in {share(float(sure.best_share[0]))}, other points of the search in the rest)"
    rivals = sorted((location for location in places[1:] if shares[location] > 0), key=lambda rival: -shares[rival])
    best += "".join(f", {location} in {share(shares[location])}" for location in rivals[:RIVALS_SHOWN])
    best += f", {len(rivals) - RIVALS_SHOWN} more" if len(rivals) > RIVALS_SHOWN else ""
    best += " (most working inverters, then the better weakest link)" if len(places) > 1 else ""
    unbeaten = f"in {share(sure.unbeaten_share)} of the runs no other spot has more working inverters"
    left_out = f"{counted(sure.left_out, 'spot')}, later in the ranking"
    if sure.shortfall >= SHOWN_SHORTFALL:
        left_out += f", each with at least {sure.shortfall:.1f} fewer inverters expected working"
    critical = matters_words(sure.search, sure.links.scene.plan) if len(spots) > 1 and sure.search else ""
    facts = [
        ("Best location", best),
        ("Best choice", unbeaten if len(spots) > 1 else ""),
        ("Working", served_words(sure.served)),
        ("Exponent", exponent_words(sure.links.scene)),
        ("Critical figure", critical),
        ("Not simulated", left_out if sure.left_out else ""),
        *drawing_facts(sure),
    ]
    return [(label, fact) for label, fact in facts if fact]


def matters_words(search: Search, plan: Plan) -> str:
    """Return the figure whose error changes the best location first, or that there is none."""
    nearest = search.nearest
    if nearest is not None:
        return f"{turning_words(nearest, plan)}, {nearest.rival} becomes the best location. Measure it."
    tried = ", ".join(name.replace("_", " ") for name in search.tried)
    if not tried:
        return "none: no figure of the plan has an uncertainty"
    return (
        f"none. The best location stays the same if any one figure is wrong by up to {REACH_SPREADS:g} times its "
        f"uncertainty (tested: {tried})"
    )


def turning_words(turning: Turning, plan: Plan) -> str:
    """Return a critical figure and its error, rounded so that it is enough."""
    if turning.kind == "exponent":
        in_plan = plan.environment.path_loss_exponent
        step = math.copysign(math.ceil(abs(turning.shift) * 100.0 - 1e-6) / 100.0, turning.shift)
        return f"the path loss exponent. If it is {in_plan + step:.2f} instead of {in_plan:g}"
    size_db = math.ceil(abs(turning.shift) * 10.0 - 1e-6) / 10.0
    more = "more" if turning.shift > 0 else "less"
    what = f"a metre of {turning.name}" if turning.kind == "foliage" else turning.name
    return f"the loss of {what}. If it is {size_db:.1f} dB {more} than in the plan"


def served_record(served: Served) -> Record:
    """How many inverters work over the draws: average, and the numbers between which nine draws of ten lie."""
    low, high = served.interval
    return {"mean": plain(served.mean), "low": low, "high": high, "mean_error": plain(served.mean_error)}


def sure_record(sure: RankingCertainty) -> Record:
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
        **drawing_record(sure.record),
        "place_share_error": {place: plain(sure.place_error(place)) for place in places},
        "measure_again": critical_records(sure.measure_again),
    }


def best_shares(sure: RankingCertainty) -> dict[str, float]:
    """The share of the draws in which each spot comes first, by name; spots that were not drawn are not there."""
    return dict(zip(sure.links.gateways.names, plain(sure.best_share), strict=True))
