"""The model fitted to readings, as `survey fit` does it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.limits import MAX_EXPONENT_SD, MIN_EXPONENT_SD
from survey.inputs.plan import Plan
from survey.inputs.readings import Readings
from survey.inputs.readings import read_readings as read_readings_file
from survey.library.sites import Answer, PlanSource, check_range, scene_from, warn
from survey.measured import calibration
from survey.output.answers.fit import fit_record
from survey.output.answers.values import Record
from survey.scene import Scene


@dataclass(frozen=True, kw_only=True)
class FittedSite(Answer):
    """What readings have taught; every array has the shape (pairs,), one for each pair of inverter and gateway.

    Attributes
    ----------
    fit : Fit
        All that was worked out.
    """

    fit: calibration.Fit

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
        return fit_record(self.fit)


def fit(
    plan: PlanSource,
    readings: str | Path,
    *,
    exponent_sd: float | None = None,
    anchored: bool = False,
    plain: bool = False,
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
    scene = scene_from(plan)
    table = read_readings(scene, readings)
    found = calibration.fit(scene, table, exponent_sd=exponent_sd, anchored=anchored, plain=plain, told=told)
    return FittedSite(fit=found)


def read_readings(scene: Scene, path: str | Path) -> Readings:
    """Read measured levels of a site; warns of columns that are ignored."""
    table = read_readings_file(Path(path), calibration.names_of(scene))
    for note in table.notes:
        warn(note)
    return table
