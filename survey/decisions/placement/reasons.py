"""Why one spot comes before another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import IntArray
from survey.budget import Links, links_between
from survey.decisions.placement.scores import Scores, best_of_each_place
from survey.routing import Hops, alone, reached, room_of
from survey.scene import Scene


@dataclass(frozen=True, kw_only=True)
class Decider:
    """An inverter by which the best spot beats another: its margin [dB] and reliability at either."""

    inverter: str
    margin_db: float
    rival_margin_db: float
    reliability: float
    rival_reliability: float


@dataclass(frozen=True, kw_only=True)
class Reason:
    """Why the best spot comes before a rival.

    Attributes
    ----------
    rival : str
        The best spot that belongs to another entry of the plan; where there is none, the runner-up.
    decided_by : str
        The first figure in which they differ: ``served``, ``expected_served``, ``worst_margin_db``, or ``order`` in
        the plan where they do not.
    gained, lost : tuple of Decider
        Inverters that hold at the best spot and not at the rival, and the other way about.
    nearer : tuple of Decider
        The inverters that make up most of the difference in reliability, where no other decides.
    """

    rival: str
    decided_by: str
    gained: tuple[Decider, ...]
    lost: tuple[Decider, ...]
    nearer: tuple[Decider, ...]


def reason_for(
    scores: Scores, order: IntArray, *, scene: Scene, links: Links | None = None, hops: Hops | None = None
) -> Reason | None:
    """Why the first of a ranking comes before the best of another place."""
    if len(order) < 2:  # noqa: PLR2004  there is no rival
        return None
    best = int(order[0])
    places = best_of_each_place(scores, order)
    rival = int(places[1]) if len(places) > 1 else int(order[1])
    both = [best, rival]
    links = links.to(both) if links else links_between(scene, scene.inverters, scores.spots.pick(both))
    reliability, margin_db = alone(scene, *reached(links, hops))
    holds = reliability >= scene.plan.requirement.reliability
    difference = reliability[:, 0] - reliability[:, 1]
    figures = ("served", "expected_served", "worst_margin_db")
    differs = (name for name in figures if abs(getattr(scores, name)[best] - getattr(scores, name)[rival]) > 1e-6)  # noqa: PLR2004

    def deciders(indices: IntArray) -> tuple[Decider, ...]:
        return tuple(
            Decider(
                inverter=scene.inverters.names[i],
                margin_db=float(margin_db[i, 0]),
                rival_margin_db=float(margin_db[i, 1]),
                reliability=float(reliability[i, 0]),
                rival_reliability=float(reliability[i, 1]),
            )
            for i in indices.tolist()
        )

    decided_by = next(differs, "order")
    if room_of(scene) and decided_by != "served":  # other inverters have the room there: that decides nothing
        holds, difference = np.zeros_like(holds), np.zeros_like(difference)
    largest = np.argsort(-np.abs(difference), kind="stable")
    return Reason(
        rival=scores.spots.names[rival],
        decided_by=decided_by,
        gained=deciders(np.flatnonzero(holds[:, 0] & ~holds[:, 1])),
        lost=deciders(np.flatnonzero(holds[:, 1] & ~holds[:, 0])),
        nearer=deciders(largest[np.abs(difference[largest]) > 1e-6][:5]),  # noqa: PLR2004
    )
