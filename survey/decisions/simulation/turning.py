"""The unknown that matters most: how far off a single figure has to be for another place to win."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survey.budget import HOLDS, Links
from survey.decisions.simulation.unknowns import Passes, unknowns_of
from survey.propagation.distance import log_distance_loss_db

REACH_SPREADS = 2.0
"""How far from its figure in the plan an unknown is tried, in spreads."""
STEPS_SPREADS = (0.5, 1.0, 1.5, 2.0)
"""At which shifts of an unknown the ranking is looked at first, in spreads; a judgement."""
HALVINGS = 5
"""How often the step in which the first place changes is halved."""
LEAST_EXPONENT = 0.5
"""The lowest that a plan may have (`plan.Environment`)."""
UNKNOWNS_TRIED, LINKS_TRIED = 12, 20_000
"""How many unknowns, and how many links, are tried at most: those that matter, and those of the spots that lead."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Turning:
    """A figure that would put another place first.

    Attributes
    ----------
    name : str
        The material, or the obstacle with a loss of its own; ``path_loss_exponent``.
    kind : str
        ``material``, ``obstacle`` or ``exponent``.
    shift : float
        The least shift found that does it: more loss where positive. [dB; - for the exponent]
    spreads : float
        The same without its sign, in spreads of the figure. [-]
    rival : str
        The spot that then wins.
    """

    name: str
    kind: str
    shift: float
    spreads: float
    rival: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Search:
    """What came of looking for the unknown that matters most.

    Attributes
    ----------
    nearest : Turning or None
        The one that takes the fewest spreads; None where no single one within `REACH_SPREADS` does it.
    tried : tuple of str
        The names of those tried.
    left_out : int
        How many were not tried, as those that few links meet.
    """

    nearest: Turning | None
    tried: tuple[str, ...]
    left_out: int


@dataclass(frozen=True, kw_only=True, slots=True)
class _Figure:
    """Something unknown, and the links as they are with a shift of it."""

    name: str
    kind: str
    spread: float
    lowest: float
    shifted: Callable[[float], Links]


def search_of(links: Links) -> Search:
    """Look for the single unknown that overturns the recommendation with the fewest spreads.

    Parameters
    ----------
    links : Links
        Of all inverters to some spots in the order of the ranking; the first is the recommended one.

    Returns
    -------
    Search
        Another place is a spot that belongs to another entry of the plan; where all belong to one, another point.

    Notes
    -----
    Each unknown is moved alone, up and down in half spreads up to two, and the spots are ranked anew by what the links
    are then worth. The step in which another place comes first is halved five times. A place that comes first within
    less than half a spread and no longer at its end is overlooked.
    """
    if links.shape[1] < 2:  # noqa: PLR2004  nothing to choose from
        return Search(nearest=None, tried=(), left_out=0)
    links = leading(links)
    places = links.gateways.places
    home = np.array([place == places[0] for place in places])
    if home.all():
        home = np.arange(len(places)) == 0
    figures, left_out = _figures(links)
    found: list[Turning] = []
    for outer in STEPS_SPREADS:
        for figure in figures:
            for sign in (1.0, -1.0):
                spreads = _within(figure, sign * outer)
                if home[_first(figure.shifted(spreads * figure.spread))]:
                    continue
                inner = _within(figure, sign * (outer - STEPS_SPREADS[0]))
                found.append(_narrowed(figure, home, links.gateways.names, inner=inner, outer=spreads))
        if found:
            break
    nearest = min(found, key=lambda one: one.spreads, default=None)
    return Search(nearest=nearest, tried=tuple(one.name for one in figures), left_out=left_out)


def _narrowed(
    figure: _Figure, home: NDArray[np.bool_], names: tuple[str, ...], *, inner: float, outer: float
) -> Turning:
    """The step in which another place comes first, halved; its outer end still does it."""
    for _ in range(HALVINGS):
        middle = (inner + outer) / 2.0
        if home[_first(figure.shifted(middle * figure.spread))]:
            inner = middle
        else:
            outer = middle
    rival = names[_first(figure.shifted(outer * figure.spread))]
    return Turning(name=figure.name, kind=figure.kind, shift=outer * figure.spread, spreads=abs(outer), rival=rival)


def _exponent_spread(links: Links) -> float:
    """Of the fit, where there is one; else of the plan."""
    correction = links.scene.correction
    fitted = 0.0 if correction is None else float(np.sqrt(correction.covariance[1, 1]))
    return fitted or links.scene.plan.environment.exponent_spread


def _within(figure: _Figure, spreads: float) -> float:
    """No further down than a figure can be."""
    return max(spreads, figure.lowest / figure.spread)


def _first(links: Links) -> int:
    """Which spot comes first, by the rules of the ranking; those equal in all keep their order."""
    served = np.sum(links.state == HOLDS, axis=0)
    keys = (-np.round(links.margin_db.min(axis=0), 6), -np.round(links.reliability.sum(axis=0), 6), -served)
    return int(np.lexsort(keys)[0])


def leading(links: Links) -> Links:
    """The best spot of each place, and as many more in the order of the ranking as there is time for."""
    most = max(2, LINKS_TRIED // max(1, links.shape[0]))
    if links.shape[1] <= most:
        return links
    _, firsts = np.unique(np.array(links.gateways.places), return_index=True)
    kept = np.sort(firsts)[:most]
    others = np.setdiff1d(np.arange(links.shape[1]), kept)[: most - len(kept)]
    return links.to(np.sort(np.concatenate([kept, others])))


def _figures(links: Links) -> tuple[list[_Figure], int]:
    """What is unknown, that of greatest weight first, and how many more there would be."""
    unknowns, number = unknowns_of(links.scene)
    passes = Passes(links, number)
    by_db = passes.weights()
    weights = [one.spread_db * float(by_db[k]) for k, one in enumerate(unknowns)]
    heaviest = np.argsort(-np.array(weights), kind="stable").tolist() if weights else []
    met = [k for k in heaviest if by_db[k] > 0]

    def thicker(k: int) -> Callable[[float], Links]:
        return lambda shift_db: passes.shifted(k, shift_db)

    figures = [
        _Figure(
            name=unknowns[k].name,
            kind=unknowns[k].kind,
            spread=unknowns[k].spread_db,
            lowest=-unknowns[k].loss_db,
            shifted=thicker(k),
        )
        for k in met[:UNKNOWNS_TRIED]
    ]
    environment, spread = links.scene.plan.environment, _exponent_spread(links)
    if not spread:
        return figures, len(met) - len(figures)

    def steeper(shift: float) -> Links:
        base_loss_db = log_distance_loss_db(
            links.distance_m,
            frequency_mhz=links.scene.plan.radio.frequency_mhz,
            path_loss_exponent=environment.path_loss_exponent + shift,
            reference_distance_m=environment.reference_distance_m,
        )
        return replace(links, base_loss_db=base_loss_db)

    exponent = _Figure(
        name="path_loss_exponent",
        kind="exponent",
        spread=spread,
        lowest=LEAST_EXPONENT - environment.path_loss_exponent,
        shifted=steeper,
    )
    return [*figures, exponent], len(met) - len(figures)
