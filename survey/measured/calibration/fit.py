"""A site fitted to its readings: what was found, how sure it is, what cannot be told."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray
from survey.base.errors import Fault, TableError
from survey.budget import Links, links_between
from survey.inputs.plan import Plan, obstacle_kinds
from survey.inputs.readings import Names, Readings
from survey.measured.calibration.check import SUSPECT, Finding, Outlook, findings_of, outlook_of
from survey.measured.calibration.left_out import cross_validated
from survey.measured.calibration.likelihood import Shares, score
from survey.measured.calibration.model import (
    END_SD_DB,
    EXPONENT,
    EXPONENT_SD,
    LOSSES,
    OFFSET,
    End,
    Model,
    Unit,
    model_of,
    units_of,
)
from survey.measured.calibration.pairs import Pairs, pairs_of
from survey.measured.calibration.solve import Solution, Task, covariance_of, solve
from survey.scene import Scene
from survey.scene.correction import Correction

LITTLE = 0.7
"""Where readings leave more than this of what was unknown before, they say little."""
TIED = 0.9
"""From this correlation on, two figures cannot be told apart."""


@dataclass(frozen=True, kw_only=True)
class Fit:
    """A site fitted to readings.

    Attributes
    ----------
    scene : Scene
        The site as the plan has it.
    readings, pairs, links : Readings, Pairs, Links
        What was read; pair by pair, as indices into the links; and these links by the plan.
    model, solution : Model, Solution
        How levels depend on the parameters, and the parameters found.
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
    cross_validated_db : ndarray of float, shape (pairs,)
        What was heard less what a fit without that group predicts; NaN where nothing was heard. [dB]
    inside : float or None
        Share of levels within the 90 % interval of a fit without them.
    groups : int
        How many groups were left out in turn.
    """

    scene: Scene
    readings: Readings
    pairs: Pairs
    links: Links
    model: Model
    solution: Solution
    covariance: FloatArray
    units: tuple[Unit, ...]
    unit: NDArray[np.int64]
    ends: tuple[End, ...]
    exponent_sd: float
    anchored: bool
    plain: bool
    cross_validated_db: FloatArray
    inside: float | None
    groups: int

    @cached_property
    def predicted_dbm(self) -> FloatArray:
        """Level of each pair by the fit. [dBm]"""
        return self.model.predict(self.solution.parameters)[0]

    @cached_property
    def residual_db(self) -> FloatArray:
        """What was heard less that; NaN where nothing was. [dB]"""
        return self.pairs.level_dbm - self.predicted_dbm

    @cached_property
    def outlook(self) -> Outlook:
        """Each pair against what the others lead to expect."""
        slopes = self.model.predict(self.solution.parameters)[1]
        found = score(
            self.pairs,
            self.predicted_dbm,
            self.model.need_dbm,
            sigma_db=self.solution.sigma_db,
            shares=self.solution.shares,
            wild=0.0 if self.plain else 0.02,
        )
        return outlook_of(
            self.pairs,
            predicted_dbm=self.predicted_dbm,
            need_dbm=self.model.need_dbm,
            unknown_db2=np.einsum("li,ij,lj->l", slopes, self.covariance, slopes, optimize=True),
            sigma_db=self.solution.sigma_db,
            found=found,
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
    def cross_validated_rmse_db(self) -> float | None:
        """Of the levels heard, each by a fit without it. [dB]"""
        return _rms(self.cross_validated_db)

    @cached_property
    def stderr(self) -> FloatArray:
        """Standard errors of the parameters."""
        return np.sqrt(np.maximum(np.diag(self.covariance), 0.0))

    @cached_property
    def end_sd_db(self) -> float:
        """Standard deviation of gateways among each other; an assumption where only one was read. [dB]"""
        if self.plain:
            return 0.0
        return float(self.model.sd[-1]) if self.ends else END_SD_DB

    @cached_property
    def nearest_and_farthest_m(self) -> tuple[float, float]:
        """The distances between which readings were heard, or tried where none was. [m]"""
        distance_m = self.links.distance_m[self.pairs.inverter, self.pairs.gateway]
        heard_m = distance_m[self.pairs.was_heard] if self.pairs.was_heard.any() else distance_m
        return float(heard_m.min()), float(heard_m.max())

    @cached_property
    def cannot_tell(self) -> tuple[str, ...]:
        """What the readings leave open, in words."""
        return tuple(_open_questions(self))


def fit(
    scene: Scene,
    readings: Readings,
    *,
    exponent_sd: float | None = None,
    anchored: bool = False,
    plain: bool = False,
    shares: Shares | None = None,
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
    gathered = pairs_of(readings)
    inverters, inverter = np.unique(gathered.inverter, return_inverse=True)
    places, gateway = np.unique(gathered.gateway, return_inverse=True)
    links = links_between(scene, scene.inverters.pick(inverters), scene.gateways_and_spots.pick(places))
    pairs = Pairs(
        inverter=inverter,
        gateway=gateway,
        level_dbm=gathered.level_dbm,
        heard=gathered.heard,
        missed=gathered.missed,
        fade_db=gathered.fade_db,
    )
    model, heeded, ends = model_of(links, pairs, exponent_sd=exponent_sd, anchored=anchored, plain=plain)
    task = Task(pairs=pairs, model=model, plan_sigma_db=scene.plan.environment.shadowing_db, plain=plain)
    task, solution = solve(task, shares=shares)
    units, unit = units_of(scene)
    kept = np.full(len(units) + 1, -1, dtype=np.int64)
    kept[heeded] = np.arange(len(heeded))
    left_out_db, inside, groups = cross_validated(task, solution)
    return Fit(
        scene=scene,
        readings=readings,
        pairs=pairs,
        links=links,
        model=task.model,
        solution=solution,
        covariance=covariance_of(task, solution),
        units=tuple(units[u] for u in heeded),
        unit=kept[unit],
        ends=ends,
        exponent_sd=exponent_sd,
        anchored=anchored,
        plain=plain,
        cross_validated_db=left_out_db,
        inside=inside,
        groups=groups,
    )


def names_of(scene: Scene) -> Names:
    """The names by which readings call what is on a site."""
    return Names(
        plan_file=scene.plan.file,
        inverters=scene.inverters.names,
        serials=scene.inverters.serials,
        places=scene.gateways_and_spots.names,
    )


def correction_of(found: Fit, *, file: str = "") -> Correction:
    """A fit in the form in which links use it.

    Parameters
    ----------
    found : Fit
        A fit.
    file : str
        What to call it.

    Returns
    -------
    Correction
        For the scene that was fitted.
    """
    parameters = found.solution.parameters
    units = len(found.units)
    change_db = np.append(parameters[LOSSES : LOSSES + units], 0.0)[found.unit]
    nearest_m, farthest_m = found.nearest_and_farthest_m
    return Correction(
        file=file,
        offset_db=float(parameters[OFFSET]),
        path_loss_exponent=float(parameters[EXPONENT]),
        exponent_sd=found.exponent_sd,
        shadowing_db=found.solution.sigma_db,
        nearest_m=nearest_m,
        farthest_m=farthest_m,
        unit=found.unit,
        change_db=change_db,
        covariance=found.covariance,
        deviation_db=parameters[LOSSES + units :],
        gateways=dict.fromkeys(found.links.gateways.names, -1) | ends_by_name(found.ends, "gateway"),
        inverters=ends_by_name(found.ends, "inverters"),
        unread_sd_db=found.end_sd_db,
    )


def ends_by_name(ends: Sequence[End], kind: str) -> dict[str, int]:
    """Which of some ends each name of one kind belongs to."""
    return {name: i for i, one in enumerate(ends) if one.kind == kind for name in one.names}


def fingerprint(plan: Plan) -> str:
    """A short mark of all in a plan that a fit depends on; it does not change with names, spots or notes."""
    import hashlib  # noqa: PLC0415  start-up time

    environment = plan.environment
    kinds = [kind for kind in obstacle_kinds() if not kind.is_equipment]
    parts = (
        plan.radio,
        environment.path_loss_exponent,
        environment.reference_distance_m,
        plan.own_materials,
        *(tuple(one for one in plan.obstacles if type(one) is kind) for kind in kinds if kind.table),
        *((one,) for one in plan.obstacles if type(one) in kinds and not one.table),
    )
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:16]


def _open_questions(found: Fit) -> Iterator[str]:
    """What the readings leave open."""
    names = ["the offset", "the exponent", *(one.name for one in found.units)]
    before, after = found.model.sd[: len(names)], found.stderr[: len(names)]
    if not found.pairs.was_heard.any():
        yield "nothing was heard: levels too low, or a gateway or inverters that were not on; the offset is left at 0"
    if not found.plain:
        if after[EXPONENT] > LITTLE * before[EXPONENT]:
            yield "the exponent: the readings say little, so it stays near the plan's; read at more distances"
        little = [names[k] for k in range(LOSSES, len(names)) if after[k] > LITTLE * before[k]]
        if little:
            yield f"the loss of {', '.join(little)}: the readings say little; read in front of it and behind it"
    scale = np.where(after > 0, after, 1.0)
    tied = np.abs(found.covariance[: len(names), : len(names)] / np.outer(scale, scale)) >= TIED
    for i, j in np.argwhere(np.triu(tied, k=1)).tolist():
        yield f"{names[i]} and {names[j]}: only both together are known; {_advice(i, j)}"
    heard = found.pairs.was_heard
    if np.sum(found.pairs.missed[heard]) > np.sum(found.pairs.heard):
        yield (
            "the share of lost tries: there are more misses than levels on pairs that were heard; where a level is the "
            "mean of several tries, give their number in a column tries"
        )
    below = np.flatnonzero(found.pairs.level_dbm < found.model.need_dbm)
    if len(below):
        yield (
            f"{len(below)} of the levels lie below the sensitivity of the gateway in the plan: what was missed "
            "cannot be weighed rightly before sensitivity_dbm is right"
        )


def _advice(i: int, j: int) -> str:
    if (i, j) == (OFFSET, EXPONENT):
        return "read nearer and farther away"
    if i < LOSSES:
        return "read where it does not stand in the line too"
    return "read where only one of them stands in the line"


def _rms(values: FloatArray) -> float | None:
    there = values[~np.isnan(values)]
    return float(np.sqrt(np.mean(there**2))) if len(there) else None
