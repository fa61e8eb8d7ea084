"""Which readings settle most: the weakest links, far enough apart that each tells something of its own."""

from __future__ import annotations

import numpy as np

from survey.routing import Network

READINGS = 3
"""Inverters to read first on site. A judgement."""


def weakest_first(network: Network) -> list[int]:
    """Return the inverters from the weakest route to the best."""
    margin_db = np.where(np.isnan(network.weakest_margin_db), -np.inf, network.weakest_margin_db)
    order: list[int] = np.argsort(margin_db, kind="stable").tolist()
    return order


def first_readings(network: Network) -> list[int]:
    """Return the inverters to read first, the weakest before the others.

    Neighbours are shadowed alike, so a second reading within `correlation_m` of another teaches little: it is taken
    only where no other inverter is left. Inverters that no gateway has capacity for are not read.
    """
    at_m = network.links.inverters.at_m
    apart_m = network.scene.plan.environment.correlation_m
    order = [i for i in weakest_first(network) if network.routes[i].gateway >= 0]
    chosen: list[int] = []
    for i in order:
        if len(chosen) < READINGS and all(np.linalg.norm(at_m[i] - at_m[one]) > apart_m for one in chosen):
            chosen.append(i)
    rest = [i for i in order if i not in chosen]
    chosen += rest[: READINGS - len(chosen)]
    return [i for i in order if i in set(chosen)]
