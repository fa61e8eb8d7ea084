"""What is known of a site before readings, in the form of a fit: for the choice of what to read first."""

from __future__ import annotations

import numpy as np

from survey.measured.calibration.fit import UNREAD_SD_DB
from survey.measured.calibration.model import EXPONENT_SD, units_of
from survey.scene import Scene
from survey.scene.correction import Correction

OFFSET_BEFORE_DB = 10.0
"""Standard deviation of the offset before readings, where the data sheets are believed: an assumption. A fit allows far
more, but then the first reading at any place tells the same: the offset. [dB]"""


def before_readings(scene: Scene, *, exponent_sd: float | None = None) -> Correction:
    """Return the plan's own figures with their uncertainties as a correction that changes nothing.

    Parameters
    ----------
    scene : Scene
        The site by its plan.
    exponent_sd : float, optional
        Standard deviation of the plan's exponent. [-]
    """
    units, unit = units_of(scene)
    exponent_sd = EXPONENT_SD if exponent_sd is None else exponent_sd
    sd = np.array([OFFSET_BEFORE_DB, exponent_sd, *(one.spread_db for one in units)])
    return Correction(
        file=scene.plan.file,
        offset_db=0.0,
        path_loss_exponent=scene.plan.environment.path_loss_exponent,
        exponent_sd=0.0,  # it stands in the covariance at any distance
        shadowing_db=scene.plan.environment.shadowing_db,
        nearest_m=0.0,
        farthest_m=0.0,
        unit=unit,
        change_db=np.zeros(len(unit)),
        covariance=np.diag(sd**2),
        unread_sd_db=UNREAD_SD_DB,
    )
