"""What to measure again: the positions and heights whose error moves a result most, found in its geometries."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from survey.base.arrays import FloatArray, IntArray
from survey.budget import Links
from survey.decisions.simulation.geometries import Geometries
from survey.scene import SPREADS_WITHIN

MIN_EFFECT = 0.5
"""Figures that move less than half an inverter are not named: no decision turns on them. A judgement."""
MIN_LEAD_SHARE = 0.1
"""Nor those that move a lead by less than a tenth of it."""
MAX_NAMED = 2
"""How many are named: what somebody measures on one visit. A judgement."""
FALSE_ALARM = 0.05
"""The chance that a figure of no effect is named, for all figures together: common practice in statistics."""
MIN_GEOMETRIES_TOLD = 30
"""With fewer geometries nothing is named: a judgement, as two slopes and a mean are fitted to them."""
UNSTEADY_SHARE = 0.05
"""A link with another state in more than this share of the geometries is marked: within what is drawn lie 95 of 100."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CriticalPosition:
    """A position or height to measure again.

    Attributes
    ----------
    name, direction : str
        What it is of, and whether it is a position or the height.
    within_m : float
        What it is drawn within. [m]
    lead : bool
        It moves the lead over the next best location; else the number of working inverters.
    effect : float
        By how many inverters, from its lowest to its highest, if it is off by up to `within_m` either way.
    explained : float
        Which share of the variance over the geometries it explains. [-]
    """

    name: str
    direction: str
    within_m: float
    lead: bool
    effect: float
    explained: float


@dataclass
class GeometryRecord:
    """What is kept of each geometry: expected inverters and states of links, not the links.

    Attributes
    ----------
    geometries : Geometries
        The geometries.
    expected : list of ndarray of float, shape (gateways,)
        Sum of the chances of all links to each gateway.
    together : list of float
        Sum of the chances that any of the gateways is reached.
    states : list of ndarray of int, shape (inverters, gateways)
        Of each link.
    """

    geometries: Geometries
    expected: list[FloatArray] = field(default_factory=list)
    together: list[float] = field(default_factory=list)
    states: list[IntArray] = field(default_factory=list)

    def add(self, links: Links) -> None:
        """Keep what is kept of the next geometry."""
        self.expected.append(links.reliability.sum(axis=0))
        self.together.append(float((1.0 - np.prod(1.0 - links.reliability, axis=1)).sum()))
        self.states.append(np.asarray(links.state, dtype=np.int8))

    def unsteady_share(self, links: Links) -> FloatArray:
        """Return in which share of the geometries each link has another state, shape (inverters, gateways). [-]"""
        changed = np.zeros(links.shape)
        for state in self.states:
            changed += state != links.state
        return changed / max(1, len(self.states))

    def critical_spot(self, links: Links) -> tuple[CriticalPosition, ...]:
        """Return what moves the lead of the first spot over the best of another location, or what works there."""
        places = np.array(links.gateways.places)
        expected = np.array(self.expected)
        others = np.flatnonzero(places != places[0])
        if not len(others):
            others = np.arange(1, len(places))
        found: tuple[CriticalPosition, ...] = ()
        if len(others):
            rival = others[np.argmax(links.reliability.sum(axis=0)[others])]
            lead = expected[:, 0] - expected[:, rival]
            found = critical_positions(lead, self.geometries, lead=True)
            found = tuple(one for one in found if one.effect >= MIN_LEAD_SHARE * abs(float(lead.mean())))
        named = {(one.name, one.direction) for one in found}
        more = critical_positions(expected[:, 0], self.geometries, lead=False)
        return (*found, *(one for one in more if (one.name, one.direction) not in named))[:MAX_NAMED]

    def critical_choice(self) -> tuple[CriticalPosition, ...]:
        """Return what moves the number of inverters that reach any of the gateways."""
        return critical_positions(np.array(self.together), self.geometries, lead=False)


def critical_positions(values: FloatArray, geometries: Geometries, *, lead: bool) -> tuple[CriticalPosition, ...]:
    r"""Find the deviations that explain most of how a value varies over the geometries.

    Parameters
    ----------
    values : ndarray of float, shape (geometries,)
        A number of inverters.
    geometries : Geometries
        The geometries that it was found in.
    lead : bool
        What the value is, as in `CriticalPosition`.

    Returns
    -------
    tuple of CriticalPosition
        Up to `MAX_NAMED`, the one that explains most first.

    Notes
    -----
    A parabola in one deviation z is fitted at a time; the second is looked for in what the first leaves. A figure of no
    effect explains a share R^2 or more of normal values with the chance :math:`(1 - R^2)^{(G - 3) / 2}`, that of the F
    distribution with 2 and G - 3 degrees of freedom; with m figures tried this has to be `FALSE_ALARM` / m or less
    (Bonferroni).
    """
    count, pieces = len(values), geometries.pieces
    if count < MIN_GEOMETRIES_TOLD:
        return ()
    total = float(np.sum((values - values.mean()) ** 2))
    tried = np.argwhere(pieces.spread_m > 0.0).tolist()
    left, found = values - values.mean(), []
    needed = 1.0 - (FALSE_ALARM / max(1, len(tried))) ** (2.0 / (count - 3))
    grid = np.linspace(-SPREADS_WITHIN, SPREADS_WITHIN, 41)
    for _ in range(MAX_NAMED):
        before = float(left @ left)
        if before <= 1e-12 * count:
            break
        fits = []
        for piece, axis in tried:
            z = geometries.deviates[:count, piece, axis]
            slopes = np.column_stack([np.ones(count), z, z**2])
            factors = np.linalg.lstsq(slopes, left, rcond=None)[0]
            rest = left - slopes @ factors
            fits.append((1.0 - float(rest @ rest) / before, piece, axis, factors, rest))
        share, piece, axis, factors, rest = max(fits, key=lambda fit: fit[0])
        effect = float(np.ptp(factors[1] * grid + factors[2] * grid**2))
        if share < needed or effect < MIN_EFFECT:
            break
        found.append(
            CriticalPosition(
                name=pieces.names[piece],
                direction=pieces.directions[piece][axis],
                within_m=float(SPREADS_WITHIN * pieces.spread_m[piece, axis]),
                lead=lead,
                effect=effect,
                explained=(before - float(rest @ rest)) / total,
            )
        )
        left = rest
        tried.remove([piece, axis])
        if not tried:
            break
    return tuple(found)
