"""A site fitted to its readings: what was found, how sure it is, what cannot be told."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray, IntArray
from survey.base.errors import Fault, TableError
from survey.budget import Links, links_between
from survey.inputs.readings import Names, Readings
from survey.measured.calibration.check import SUSPECT, Finding, Outlook, findings_of, outlook_of
from survey.measured.calibration.field import Field, Shadow
from survey.measured.calibration.left_out import FOLDS, LeftOut, leave_out, neighbourhoods
from survey.measured.calibration.likelihood import Shares
from survey.measured.calibration.model import (
    EXPONENT_SD,
    End,
    Model,
    Unit,
    are_relays,
    figures_of,
    model_of,
    units_of,
)
from survey.measured.calibration.open_questions import open_questions
from survey.measured.calibration.pairs import Pairs, pairs_of
from survey.measured.calibration.search import solve
from survey.measured.calibration.solve import Solution, Task, gains_of
from survey.measured.calibration.uncertainty import covariance_of
from survey.scene import Scene, join

ENOUGH_TRIES = 100
"""From so many counted tries on a ceiling and fading in time are used: its error is then some 3 % (a judgement)."""
UNREAD_SD_DB = 4.0
"""Standard deviation of gateways among each other where one alone was read: an assumption. [dB]"""


@dataclass(frozen=True, kw_only=True)
class Fit:
    """A site fitted to readings.

    Attributes
    ----------
    scene : Scene
        The site as the plan has it.
    readings, pairs, links : Readings, Pairs, Links
        What was read; pair by pair, as indices into the links; and these links by the plan.
    model, task, solution : Model, Task, Solution
        How levels depend on the parameters, what was fitted, and what was found.
    covariance : ndarray of float, shape (2 + units, 2 + units)
        Of the offset, the exponent and the losses.
    units, unit : tuple of Unit, ndarray of int
        The losses that were fitted, and which of them each obstacle has; -1 for none.
    ends : tuple of End
        Gateways, and kinds of inverters, that may differ from each other.
    exponent_sd : float
        Of the exponent before readings.
    anchored, plain : bool
        How it was asked for.
    places_left_out, gateways_left_out : LeftOut
        Levels beside fits without the readings of their neighbourhood, and without those of their gateway.
    leverage : ndarray of float, shape (pairs,)
        How far each pair pulls its own prediction towards itself. [-]
    end_sd_db : float
        Standard deviation of gateways among each other; an assumption where only one was read. [dB]
    """

    scene: Scene
    readings: Readings
    pairs: Pairs
    links: Links
    model: Model
    task: Task
    solution: Solution
    covariance: FloatArray
    units: tuple[Unit, ...]
    unit: NDArray[np.int64]
    ends: tuple[End, ...]
    exponent_sd: float
    anchored: bool
    plain: bool
    places_left_out: LeftOut
    gateways_left_out: LeftOut
    leverage: FloatArray
    end_sd_db: float

    @cached_property
    def predicted_dbm(self) -> FloatArray:
        """Level of each pair by the fit. [dBm]"""
        return self.model.predict(self.solution.parameters)[0]

    @cached_property
    def residual_db(self) -> FloatArray:
        """What was heard less that; NaN where nothing was. [dB]"""
        return self.pairs.level_dbm - self.predicted_dbm

    @cached_property
    def unread_rmse_db(self) -> float | None:
        """Error at a spot that was not read, from gateways left out, or assumed; None where no level was read. [dB]"""
        if self.plain or not self.pairs.has_level.any():
            return None
        if self.gateways_left_out.rmse_db is not None:
            return self.gateways_left_out.rmse_db
        slopes = self.model.predict(self.solution.parameters)[1]
        unknown_db2 = np.einsum("li,ij,lj->l", slopes, self.covariance, slopes, optimize=True)
        return float(np.sqrt(self.solution.sigma_db**2 + self.end_sd_db**2 + np.mean(unknown_db2)))

    @property
    def is_counted(self) -> bool:
        """Whether tries were counted, and enough of them to tell a ceiling and fading in time."""
        counted = self.readings.received
        return counted is not None and int(self.readings.tries[counted >= 0].sum()) >= ENOUGH_TRIES

    @property
    def ceiling(self) -> float:
        """Chance that a message gets through however strong the level; 1 where too few were counted."""
        return 1.0 - self.solution.shares.lost if self.is_counted else 1.0

    @property
    def fade_db(self) -> float:
        """Fading in time, as a standard deviation; 0 where too few were counted. [dB]"""
        return self.pairs.fade_db if self.is_counted else 0.0

    @cached_property
    def spreads(self) -> dict[str, float]:
        """Shadowing at each gateway as a factor of the shadowing of all; nothing where readings do not tell it."""
        if np.all(self.task.scale == 1.0):
            return {}
        read, first = np.unique(self.pairs.gateway, return_index=True)
        names = self.links.gateways.names
        return {names[j]: float(self.task.scale[row]) for j, row in zip(read.tolist(), first.tolist(), strict=True)}

    @cached_property
    def day(self) -> str:
        """The day of the newest reading that has a time, else of the file; nothing where there is none."""
        return self.readings.day

    @cached_property
    def off_db(self) -> FloatArray:
        """What each pair says of its shadowing: the residual, or for what was only heard or missed one like it. [dB]"""
        solution, task = self.solution, self.task
        found = task.score(self.predicted_dbm, solution.shadow, solution.shares)
        return found.slope * (solution.sigma_db * task.scale) ** 2 / solution.told

    @cached_property
    def outlook(self) -> Outlook:
        """Each pair against what the others lead to expect."""
        slopes = self.model.predict(self.solution.parameters)[1]
        return outlook_of(
            self.pairs,
            predicted_dbm=self.predicted_dbm,
            need_dbm=self.model.need_dbm,
            unknown_db2=np.einsum("li,ij,lj->l", slopes, self.covariance, slopes, optimize=True),
            leverage=self.leverage,
            sigma_db=self.solution.sigma_db * self.task.scale,
            shares=self.solution.shares,
        )

    @cached_property
    def suspect(self) -> NDArray[np.bool_]:
        """Pairs that are far out of line."""
        return np.abs(self.outlook.deviations) > SUSPECT

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """Every inverter that was read, the most unusual first."""
        return findings_of(self.pairs, self.outlook)

    @cached_property
    def rmse_db(self) -> float | None:
        """Of the levels heard. [dB]"""
        return _rms(self.residual_db)

    @cached_property
    def stderr(self) -> FloatArray:
        """Standard errors of the parameters."""
        return np.sqrt(np.maximum(np.diag(self.covariance), 0.0))

    @cached_property
    def nearest_and_farthest_m(self) -> tuple[float, float]:
        """The distances between which readings were heard, or tried where none was. [m]"""
        distance_m = self.links.distance_m[self.pairs.inverter, self.pairs.gateway]
        heard = self.pairs.heard > 0
        heard_m = distance_m[heard] if heard.any() else distance_m
        return float(heard_m.min()), float(heard_m.max())

    @cached_property
    def cannot_tell(self) -> tuple[str, ...]:
        """What the readings leave open, in words."""
        return tuple(open_questions(self))


def fit(
    scene: Scene,
    readings: Readings,
    *,
    exponent_sd: float | None = None,
    anchored: bool = False,
    plain: bool = False,
    shares: Shares | None = None,
    told: Callable[[str], None] | None = None,
) -> Fit:
    """Fit a site to readings.

    Parameters
    ----------
    scene : Scene
        The site by its plan.
    readings : Readings
        Their indices are those of `names_of`.
    exponent_sd : float, optional
        Standard deviation of the plan's exponent. [-]
    anchored : bool
        Keep the plan's radio figures: an offset of zero.
    plain : bool
        The readings alone, without prior knowledge and without a guard against wild ones.
    shares : Shares, optional
        Shares of what has nothing to do with level, where they are given.
    told : callable, optional
        Given a line for each step of a long fit.

    Returns
    -------
    Fit
        Whatever the readings: one of them moves little but the offset.

    Raises
    ------
    TableError
        Where there is no reading.
    """
    if not len(readings):
        raise TableError([Fault(file=readings.file, problem="has no readings")])
    if exponent_sd is None:
        exponent_sd = EXPONENT_SD
    receivers = join([scene.gateways_and_spots, scene.inverters])
    readings = _one_way(scene, readings)
    gathered = pairs_of(readings, starts_m=scene.inverters.at_m, ends_m=receivers.at_m)
    inverters, inverter = np.unique(gathered.inverter, return_inverse=True)
    places, gateway = np.unique(gathered.gateway, return_inverse=True)
    links = links_between(scene, scene.inverters.pick(inverters), receivers.pick(places))
    pairs = replace(gathered, inverter=inverter, gateway=gateway)
    model, heeded, ends = model_of(links, pairs, exponent_sd=exponent_sd, anchored=anchored, plain=plain)
    environment = scene.plan.environment
    plan = Shadow(sigma_db=environment.shadowing_db, alike=1.0, correlation_m=environment.correlation_m)
    field = Field(pairs.starts_m, pairs.ends_m)
    task = Task(pairs=pairs, model=model, field=field, plan=plan, plain=plain, scale=np.ones(len(pairs)))
    found = solve(task, shares=shares, counted=readings.received is not None and not plain, told=told)
    task, solution = found.task, found.solution
    units, unit = units_of(scene)
    kept = np.full(len(units) + 1, -1, dtype=np.int64)
    kept[heeded] = np.arange(len(heeded))
    covariance = covariance_of(task, solution)
    by_place = pairs.starts_m if len(inverters) > 1 else pairs.ends_m
    return Fit(
        scene=scene,
        readings=readings,
        pairs=task.pairs,
        links=links,
        model=task.model,
        task=task,
        solution=solution,
        covariance=covariance,
        units=tuple(units[u] for u in heeded),
        unit=kept[unit],
        ends=ends,
        exponent_sd=exponent_sd,
        anchored=anchored,
        plain=plain,
        places_left_out=leave_out(task, solution, neighbourhoods(by_place, FOLDS)),
        gateways_left_out=leave_out(task, solution, _gateways(links, pairs)),
        leverage=np.einsum(
            "li,ij,lj->l", task.model.predict(solution.parameters)[1], covariance, gains_of(task, solution)
        ),
        end_sd_db=0.0 if plain else found.end_sd_db if len(places) > 1 else UNREAD_SD_DB,
    )


def names_of(scene: Scene) -> Names:
    """The names by which readings call what is on a site."""
    return Names(
        plan_file=scene.plan.file,
        inverters=scene.inverters.names,
        serials=scene.inverters.serials,
        places=(*scene.gateways_and_spots.names, *scene.inverters.names),
    )


def _one_way(scene: Scene, readings: Readings) -> Readings:
    """Turn readings between inverters of the same radio, so that both ways are one link, as their shadowing is."""
    places = len(scene.gateways_and_spots)
    figures = figures_of(scene.inverters)
    inverter, gateway = readings.inverter.copy(), readings.gateway.copy()
    for row in np.flatnonzero(gateway >= places).tolist():
        start, end = int(inverter[row]), int(gateway[row]) - places
        if start > end and figures[start] == figures[end]:
            inverter[row], gateway[row] = end, places + start
    return replace(readings, inverter=inverter, gateway=gateway)


def _gateways(links: Links, pairs: Pairs) -> IntArray:
    """Return the groups in which gateways are left out, shape (pairs,): neighbours, and all between inverters."""
    group = neighbourhoods(pairs.ends_m, FOLDS)
    group[are_relays(links)[pairs.gateway]] = FOLDS
    return group


def _rms(values: FloatArray) -> float | None:
    there = values[~np.isnan(values)]
    return float(np.sqrt(np.mean(there**2))) if len(there) else None
