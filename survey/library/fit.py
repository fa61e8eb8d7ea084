"""The model fitted to readings, as `survey fit` does it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.errors import SurveyError
from survey.base.limits import MAX_EXPONENT_SD, MAX_NEXT, MIN_EXPONENT_SD
from survey.decisions.next_readings import NextReadings
from survey.decisions.next_readings import next_readings as next_readings_of
from survey.inputs.plan import Plan
from survey.inputs.readings import Readings
from survey.inputs.readings import read_readings as read_readings_file
from survey.library.sites import Answer, PlanSource, check_range, scene_from, warn
from survey.measured import calibration
from survey.output.answers.fit import fit_record
from survey.output.answers.next_readings import next_record
from survey.output.answers.values import Record
from survey.scene import Scene, corrected


@dataclass(frozen=True, kw_only=True)
class FittedSite(Answer):
    """What readings have taught; every array has the shape (pairs,), one for each pair of inverter and gateway.

    Attributes
    ----------
    fit : Fit
        All that was worked out.
    next_readings : NextReadings or None
        What to read next, where it was asked for.
    """

    fit: calibration.Fit
    next_readings: NextReadings | None = None

    @property
    def plan(self) -> Plan:
        """The plan as it was before the readings."""
        return self.fit.scene.plan

    @property
    def pairs(self) -> tuple[tuple[str, str], ...]:
        """Inverter and gateway of each pair, beside the arrays."""
        inverters, gateways = self.fit.links.inverters.names, self.fit.links.gateways.names
        rows = zip(self.fit.pairs.inverter.tolist(), self.fit.pairs.gateway.tolist(), strict=True)
        return tuple((inverters[i], gateways[j]) for i, j in rows)

    @property
    def level_dbm(self) -> FloatArray:
        """Level that was read; NaN where nothing was heard. [dBm]"""
        return np.asarray(self.fit.pairs.level_dbm)

    @property
    def predicted_dbm(self) -> FloatArray:
        """Level by the fit. [dBm]"""
        return self.fit.predicted_dbm

    @property
    def rmse_db(self) -> float | None:
        """RMS error of the levels; None where none was heard. [dB]"""
        return self.fit.rmse_db

    def to_dict(self) -> Record:
        """Return what `survey fit --json` prints: what ``fit=`` and ``--fit`` take, too."""
        record = fit_record(self.fit)
        return record if self.next_readings is None else record | next_record(self.next_readings)


@dataclass(frozen=True, kw_only=True)
class FirstReadings(Answer):
    """What to read first, before there is any reading.

    Attributes
    ----------
    scene : Scene
        The site.
    next_readings : NextReadings
        The links to read.
    """

    scene: Scene
    next_readings: NextReadings

    @property
    def plan(self) -> Plan:
        """The plan."""
        return self.scene.plan

    def to_dict(self) -> Record:
        """Return what `survey fit PLAN --next N --json` prints."""
        return {"plan": self.plan.file, "site": self.plan.site.name} | next_record(self.next_readings)


def first_readings(plan: PlanSource, *, count: int, exponent_sd: float | None = None) -> FirstReadings:
    """Choose the links whose readings would tell most, before there is any.

    Parameters
    ----------
    plan : str, Path or Plan
        The plan.
    count : int
        How many.
    exponent_sd : float, optional
        Standard deviation of the plan's path loss exponent.

    Returns
    -------
    FirstReadings

    Raises
    ------
    SurveyError
        As the command does.
    """
    check_range("exponent_sd", exponent_sd, low=MIN_EXPONENT_SD, high=MAX_EXPONENT_SD)
    check_range("count", count, low=1, high=MAX_NEXT)
    scene = scene_from(plan)
    before = corrected(scene, calibration.before_readings(scene, exponent_sd=exponent_sd))
    return FirstReadings(scene=scene, next_readings=_next(before, count))


def _next(scene: Scene, count: int) -> NextReadings:
    """Choose what to read next."""
    if not len(scene.gateways_and_spots) or not len(scene.inverters):
        raise SurveyError(f"{scene.plan.file}: has no link to read; add an inverter and a [[spot]] or [[gateway]]")
    return next_readings_of(scene, count=count)


def fit(
    plan: PlanSource,
    readings: str | Path,
    *,
    exponent_sd: float | None = None,
    anchored: bool = False,
    plain: bool = False,
    next_readings: int | None = None,
    told: Callable[[str], None] | None = None,
) -> FittedSite:
    """Fit the model to measured levels.

    Parameters
    ----------
    plan : str, Path or Plan
        The plan.
    readings : str or Path
        A CSV file with the columns inverter (or serial), gateway and level_dbm.
    exponent_sd : float, optional
        Standard deviation of the plan's path loss exponent before the readings.
    anchored : bool
        Keep the plan's radio figures: the offset stays 0.
    plain : bool
        Readings alone: no prior knowledge, no guard against outliers.
    next_readings : int, optional
        Choose so many links to read next.
    told : callable, optional
        Given a line for each step of a long fit.

    Returns
    -------
    FittedSite

    Raises
    ------
    SurveyError
        As the command does; `TableError` for the readings.
    """
    check_range("exponent_sd", exponent_sd, low=MIN_EXPONENT_SD, high=MAX_EXPONENT_SD)
    check_range("next_readings", next_readings, low=1, high=MAX_NEXT)
    scene = scene_from(plan)
    table = read_readings(scene, readings)
    found = calibration.fit(scene, table, exponent_sd=exponent_sd, anchored=anchored, plain=plain, told=told)
    if next_readings is None:
        return FittedSite(fit=found)
    return FittedSite(fit=found, next_readings=_next(corrected(scene, calibration.correction_of(found)), next_readings))


def read_readings(scene: Scene, path: str | Path) -> Readings:
    """Read measured levels of a site; warns of columns that are ignored."""
    table = read_readings_file(Path(path), calibration.names_of(scene))
    for note in table.notes:
        warn(note)
    return table
