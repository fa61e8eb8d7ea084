"""The program's own model as a function of what readings can change: offset, exponent, losses of what is crossed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray, IntArray
from survey.budget import Links
from survey.measured.calibration.pairs import Pairs
from survey.propagation.passes import WAYS
from survey.scene import Ends, Scene

OFFSET, EXPONENT, LOSSES = 0, 1, 2
"""Where the parameters stand: the offset, the exponent, then the losses, then the deviations of ends."""
OFFSET_SD_DB = 40.0
"""Data sheets, mountings and level registers are off by up to 60 dB, so the offset is given this width."""
EXPONENT_SD = 0.5
"""Standard deviation of the plan's path loss exponent before readings: an assumption."""
LEAST_EXPONENT, MOST_EXPONENT = 0.5, 8.0
"""Limits of a fit: those that a plan has."""
LEAST_SPREAD_DB, USUAL_SPREAD = 2.0, 0.3
"""Where the plan gives a loss no spread, it gets this share of the loss, and at least so many dB (an assumption)."""
MIN_SPREAD_DB_PER_M, USUAL_SPREAD_PER_M = 0.1, 0.5
"""The same for a loss by the metre: trees measured at 10 to 20 dB differ by a factor of two (an assumption)."""
LEAST_PART = 0.05
"""A loss is fitted where some reading gets this share of its power through it, or more."""
NO_PRIOR_SD = 1_000.0
"""So wide that it says nothing: for a fit of the readings alone."""
END_SD_DB = 2.0
"""Where to begin with the standard deviation of gateways among each other; the readings decide."""


@dataclass(frozen=True, kw_only=True)
class Unit:
    """Obstacles that share one loss: all of a material, or one that has a loss of its own.

    Attributes
    ----------
    name : str
        Of the material or the obstacle.
    own : bool
        Whether it is an obstacle with a loss of its own.
    loss_db, spread_db : float
        Loss of a pass in the plan, or of a metre, and its standard deviation before readings. [dB; dB/m]
    by_metre : bool
        Whether it is a loss by the metre inside.
    """

    name: str
    own: bool
    loss_db: float
    spread_db: float
    by_metre: bool = False

    @property
    def unit(self) -> str:
        """Return the unit of its loss, in words."""
        return "dB per metre" if self.by_metre else "dB per sheet"


def units_of(scene: Scene) -> tuple[tuple[Unit, ...], IntArray]:
    """The losses of a site that readings could change, and which of them each obstacle has.

    Closed metal has a working cap instead of a loss, which stays as it is (-1).
    """
    obstacles, plan = scene.obstacles, scene.plan
    units: dict[tuple[bool, str], Unit] = {}
    numbers: dict[tuple[bool, str], int] = {}
    unit = np.full(len(obstacles), -1, dtype=np.int64)
    for i, obstacle in enumerate(obstacles.entries):
        if obstacles.opaque[i]:
            continue
        own, by_metre = obstacle.has_own_loss, obstacle.volume() is not None
        key = (own, obstacle.fitted_with)
        if key not in units:
            loss_db = float(obstacles.loss_db[i])
            spread_db = float(obstacles.spread_db[i]) if own else plan.materials[key[1]].spread_db
            least_db, share = (MIN_SPREAD_DB_PER_M, USUAL_SPREAD_PER_M) if by_metre else (LEAST_SPREAD_DB, USUAL_SPREAD)
            units[key] = Unit(
                name=_unit_name(key[1], scene) if own else plan.materials[key[1]].name,
                own=own,
                loss_db=loss_db,
                spread_db=spread_db or max(least_db, share * loss_db),
                by_metre=by_metre,
            )
        unit[i] = numbers.setdefault(key, len(numbers))
    return tuple(units.values()), unit


def _unit_name(obstacle: str, scene: Scene) -> str:
    """Return what the loss of an obstacle is called: its name, told from a material of the same name."""
    return f"{obstacle} (its own loss)" if obstacle.casefold() in scene.plan.materials else obstacle


@dataclass(frozen=True, kw_only=True)
class End:
    """A gateway, or the inverters with one set of radio figures, whose levels may lie above or below all others.

    Attributes
    ----------
    kind : str
        ``gateway``, ``receivers`` (all inverters as receivers of each other) or ``inverters``.
    name : str
        The gateway, or the first such inverter.
    names : tuple of str
        All ends that it stands for, read or not.
    """

    kind: str
    name: str
    names: tuple[str, ...]


def are_relays(links: Links) -> NDArray[np.bool_]:
    """Return which receivers of some links are inverters, shape (gateways,)."""
    scene = links.scene
    relays = set(scene.inverters.names) - set(scene.gateways_and_spots.names)
    return np.array([name in relays for name in links.gateways.names], dtype=np.bool_)


def figures_of(ends: Ends) -> list[tuple[float, ...]]:
    """The radio figures of each of some ends, by which they are of one kind or another."""
    columns = (ends.tx_power_dbm, ends.antenna_gain_dbi, ends.pattern, ends.loss_db, ends.need_dbm)
    return list(zip(*(column.tolist() for column in columns), strict=True))


def ends_of(links: Links, pairs: Pairs) -> tuple[tuple[End, ...], FloatArray]:
    """The ends that may differ from each other, and which of them each pair has, shape (pairs, ends).

    Gateways where two or more were read, and kinds of inverters where two or more were. Inverters that heard each other
    are one end together, so that hops which were not read have its deviation too.
    """
    found: list[End] = []
    columns: list[FloatArray] = []
    gateways = np.flatnonzero(~are_relays(links)).tolist()
    at_relay = are_relays(links)[pairs.gateway]
    if len(gateways) + bool(at_relay.any()) > 1:
        found += [End(kind="gateway", name=name, names=(name,)) for name in (links.gateways.names[j] for j in gateways)]
        columns += [(pairs.gateway == j).astype(np.float64) for j in gateways]
        if at_relay.any():
            names = links.scene.inverters.names
            found.append(End(kind="receivers", name=names[0], names=names))
            columns.append(at_relay.astype(np.float64))
    read = figures_of(links.inverters)
    kinds = list(dict.fromkeys(read))
    if len(kinds) > 1:
        every = figures_of(links.scene.inverters)
        for kind in kinds:
            names = tuple(n for n, own in zip(links.scene.inverters.names, every, strict=True) if own == kind)
            found.append(End(kind="inverters", name=names[0], names=names))
            columns.append(np.array([float(own == kind) for own in read])[pairs.inverter])
    return tuple(found), np.column_stack(columns) if columns else np.zeros((len(pairs), 0))


@dataclass(frozen=True, kw_only=True)
class Model:
    """Levels of some pairs as a function of the parameters.

    Attributes
    ----------
    level_dbm : ndarray of float, shape (pairs,)
        Without any obstacle, by the plan. [dBm]
    decades : ndarray of float, shape (pairs,)
        Logarithm of the distance over the reference distance, 0 below it. [-]
    straight_db : ndarray of float, shape (pairs,)
        What the straight line loses on top, by the plan. [dB]
    around : ndarray of float, shape (pairs,)
        Power of the ways around, as a share of that without obstacles; a fit does not change it. [-]
    passes : ndarray of float, shape (pairs, units)
        How often the straight line goes through each unit, or how many of its metres count. [-; m]
    leaked : ndarray of float, shape (pairs, ways)
        Power of what comes around but through a building, by the plan, as such a share; not in `around`. [-]
    leaking : ndarray of float, shape (pairs, ways, units)
        How often that goes through each unit. [-]
    ends : ndarray of float, shape (pairs, ends)
        Which of the ends that may differ each pair has. [-]
    need_dbm : ndarray of float, shape (pairs,)
        What the receiver needs. [dBm]
    mean, sd, lower, upper : ndarray of float, shape (2 + units + ends,)
        Prior knowledge of the parameters, and their limits.
    free : ndarray of bool, shape (2 + units + ends,)
        Whether a parameter may move.
    """

    level_dbm: FloatArray
    decades: FloatArray
    straight_db: FloatArray
    around: FloatArray
    passes: FloatArray
    leaked: FloatArray
    leaking: FloatArray
    ends: FloatArray
    need_dbm: FloatArray
    mean: FloatArray
    sd: FloatArray
    lower: FloatArray
    upper: FloatArray
    free: NDArray[np.bool_]

    def pick(self, chosen: NDArray[np.bool_]) -> Model:
        """The same for some of the pairs."""
        names = ("level_dbm", "decades", "straight_db", "around", "passes", "leaked", "leaking", "ends", "need_dbm")
        return replace(self, **{name: getattr(self, name)[chosen] for name in names})

    def predict(self, parameters: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Levels and their slopes.

        Parameters
        ----------
        parameters : ndarray of float, shape (2 + units + ends,)
            Offset [dB], exponent [-], changes of the losses [dB], deviations of ends [dB].

        Returns
        -------
        tuple of ndarrays of float, shapes (pairs,) and (pairs, 2 + units + ends)
            Level [dBm], and its change with each parameter.
        """
        changes_db, deviations_db = np.split(parameters[LOSSES:], [self.passes.shape[1]])
        straight = 10.0 ** (-(self.straight_db + self.passes @ changes_db) / 10.0)
        leaked = self.leaked * 10.0 ** (-(self.leaking @ changes_db) / 10.0)
        arrived = straight + self.around + leaked.sum(axis=1)
        loss_db = -10.0 * np.log10(np.maximum(arrived, 1e-300))
        steeper = parameters[EXPONENT] - self.mean[EXPONENT]
        level_dbm = self.level_dbm + parameters[OFFSET] - 10.0 * steeper * self.decades - loss_db
        level_dbm += self.ends @ deviations_db
        lost = straight[:, None] * self.passes + np.sum(leaked[:, :, None] * self.leaking, axis=1)
        lost /= np.maximum(arrived, 1e-300)[:, None]
        first = np.column_stack([np.ones(len(level_dbm)), -10.0 * self.decades])
        return level_dbm, np.concatenate([first, -lost, self.ends], axis=1)

    def with_end_sd(self, sd_db: float) -> Model:
        """The same with another standard deviation of ends among each other. [dB]"""
        sd = self.sd.copy()
        sd[LOSSES + self.passes.shape[1] :] = sd_db
        return replace(self, sd=sd)


def model_of(
    links: Links, pairs: Pairs, *, exponent_sd: float, anchored: bool, plain: bool
) -> tuple[Model, IntArray, tuple[End, ...]]:
    """The model for pairs of some links.

    Parameters
    ----------
    links : Links
        Worked out from the plan.
    pairs : Pairs
        Their indices into the links.
    exponent_sd : float
        Standard deviation of the plan's exponent. [-]
    anchored : bool
        Keep the offset at zero.
    plain : bool
        Without prior knowledge.

    Returns
    -------
    Model, ndarray of int, tuple of End
        And which units of the scene it fits, and which ends.
    """
    scene = links.scene
    units, unit = units_of(scene)
    at = (pairs.inverter, pairs.gateway)
    flat = pairs.inverter * links.shape[1] + pairs.gateway
    passes = links.passes_of(unit, len(units))[flat]
    leaked, leaking = _leaks_of(links, unit, len(units), flat)
    share = links.straight_share[at]
    total = 10.0 ** (-links.obstacle_loss_db[at] / 10.0)
    part = share[:, None] * passes + np.sum(leaked[:, :, None] * leaking, axis=1) / np.maximum(total, 1e-300)[:, None]
    heeded = np.flatnonzero(part.max(axis=0, initial=0.0) >= LEAST_PART)
    around = -leaked.sum(axis=1)
    for way_db in links.around_db:
        around += np.where(np.isnan(way_db[at]), 0.0, 10.0 ** (-np.nan_to_num(way_db[at]) / 10.0))
    environment = scene.plan.environment
    around = np.maximum(around, 0.0)
    losses_db = np.array([units[u].loss_db for u in heeded])
    spreads_db = np.array([units[u].spread_db for u in heeded])
    found, ends = ends_of(links, pairs)
    if plain:
        found, ends = (), ends[:, :0]
    beside = np.zeros(len(found))
    sd = np.array([OFFSET_SD_DB, exponent_sd, *spreads_db, *(beside + END_SD_DB)])
    free = np.ones(len(sd), dtype=bool)
    free[OFFSET] = not anchored and bool((pairs.heard > 0).any())  # misses alone would push it down without end
    model = Model(
        level_dbm=(links.uplink_level_dbm + links.obstacle_loss_db)[at],
        decades=np.log10(np.maximum(links.distance_m[at] / environment.reference_distance_m, 1.0)),
        straight_db=links.straight_db[at],
        around=around,
        passes=passes[:, heeded],
        leaked=leaked,
        leaking=leaking[:, :, heeded],
        ends=ends,
        need_dbm=links.gateways.need_dbm[pairs.gateway],
        mean=np.array([0.0, environment.path_loss_exponent, *np.zeros(len(heeded)), *beside]),
        sd=np.full(len(sd), NO_PRIOR_SD) if plain else sd,
        lower=np.array([-np.inf, LEAST_EXPONENT, *-losses_db, *(beside - np.inf)]),
        upper=np.array([np.inf, MOST_EXPONENT, *np.full(len(heeded), np.inf), *(beside + np.inf)]),
        free=free,
    )
    return model, heeded, found


def _leaks_of(links: Links, unit: IntArray, units: int, flat: IntArray) -> tuple[FloatArray, FloatArray]:
    """What comes around but through a building, and how often it goes through each unit, for some links by number."""
    path_passes, count = links.path_passes, links.shape[0] * links.shape[1]
    leaked = np.zeros((count, WAYS))
    leaked[path_passes.link, path_passes.way] = path_passes.power
    of = unit[path_passes.owner]
    known = of >= 0
    at = (path_passes.link[known] * WAYS + path_passes.way[known]) * units + of[known]
    leaking = np.bincount(at, weights=path_passes.passes[known], minlength=count * WAYS * units)
    return leaked[flat], leaking.astype(np.float64).reshape(count, WAYS, units)[flat]
