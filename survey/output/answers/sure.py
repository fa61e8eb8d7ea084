"""How sure a recommendation is, in words."""

from __future__ import annotations

import math

from survey.base.layout import counted, wrapped
from survey.decisions.simulation import REACH_SPREADS, RankingCertainty, Search, Served, Turning
from survey.inputs.plan import Plan
from survey.output.answers.drawing import critical_records, drawing_facts, drawing_record
from survey.output.answers.values import Record, plain

RIVALS_SHOWN = 3
"""As many as fit a line or two; all are in the JSON."""


def share(value: float) -> str:
    """A share of draws in whole percent, none of which looks like nothing or all where it is not.

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
    """Between which numbers of inverters most draws lie.

    Examples
    --------
    >>> import numpy as np
    >>> served_words(Served(counts=np.array([38, 40, 40]), inverters=40, seed=0))
    '38 to 40 of 40 inverters work in nine draws of ten, 39.3 on average'
    """
    low, high = served.interval
    span = f"{low}" if low == high else f"{low} to {high}"
    work = "works" if high == 1 else "work"
    of = f"{span} of {counted(served.inverters, 'inverter')}"
    return f"{of} {work} in nine draws of ten, {served.mean:.1f} on average"


def sure_text(sure: RankingCertainty) -> str:
    """How often the recommended spot comes first, who else does, how many inverters work, and what matters most.

    Parameters
    ----------
    sure : RankingCertainty
        What was drawn.
    """
    title = wrapped(drawn_words(sure.draws, sure.seed))
    return "\n".join([title, *(wrapped(line, indent="  ") for line in sure_lines(sure))])


def drawn_words(draws: int, seed: int) -> str:
    """The heading over what was found in draws."""
    return f"How sure, by {counted(draws, 'draw')} of what the plan does not know (seed {seed})"


def sure_lines(sure: RankingCertainty) -> list[str]:
    """The sentences of `sure_text`."""
    spots = sure.links.gateways
    name, place = spots.names[0], spots.places[0]
    places = list(dict.fromkeys(spots.places))
    shares = {one: sure.place_share(one) for one in places}
    first = f"{place} comes first in {share(shares[place])} of them"
    if place != name:
        first += f"; this very point in {share(float(sure.best_share[0]))}, the rest go to points beside it"
    rivals = sorted((one for one in places[1:] if shares[one] > 0), key=lambda one: -shares[one])
    more = f"; and {len(rivals) - RIVALS_SHOWN} more" if len(rivals) > RIVALS_SHOWN else ""
    others = "; ".join(f"{one} in {share(shares[one])}" for one in rivals[:RIVALS_SHOWN])
    lines = [
        first,
        f"else: {others}{more}" if others else "",
        f"no other spot serves more inverters in {share(sure.unbeaten_share)}" if len(spots) > 1 else "",
        served_words(sure.served),
        matters_words(sure.search, sure.links.scene.plan) if len(spots) > 1 and sure.search else "",
        f"not drawn: {counted(sure.left_out, 'spot')}, which expect {sure.shortfall:.1f} inverters fewer or worse"
        if sure.left_out
        else "",
        *(f"{label}: {fact}" for label, fact in drawing_facts(sure)),
    ]
    return [line for line in lines if line]


def matters_words(search: Search, plan: Plan) -> str:
    """The unknown that matters most, or that none does alone."""
    nearest = search.nearest
    if nearest is not None:
        return f"what matters most: if {turning_words(nearest, plan)}, {nearest.rival} wins"
    tried = ", ".join(one.replace("_", " ") for one in search.tried)
    return f"no single figure off by {REACH_SPREADS:g} times its spread puts another first; tried: {tried}"


def turning_words(turning: Turning, plan: Plan) -> str:
    """What a shift of an unknown means, rounded so that it is enough."""
    if turning.kind == "exponent":
        usual = plan.environment.path_loss_exponent
        step = math.copysign(math.ceil(abs(turning.shift) * 100.0 - 1e-6) / 100.0, turning.shift)
        return f"the path loss exponent is {usual + step:.2f} and not {usual:g}"
    size_db = math.ceil(abs(turning.shift) * 10.0 - 1e-6) / 10.0
    return f"{turning.name} lets through {size_db:.1f} dB {'less' if turning.shift > 0 else 'more'}"


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
