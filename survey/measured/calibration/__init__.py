"""The model fitted to a site's readings."""

from survey.measured.calibration.as_correction import correction_of, fingerprint
from survey.measured.calibration.before import before_readings
from survey.measured.calibration.check import OUTSIDE, VERDICTS, Finding
from survey.measured.calibration.fit import Fit, fit, names_of
from survey.measured.calibration.fit_file import correction_from, read_fit
from survey.measured.calibration.likelihood import Shares
from survey.measured.calibration.model import EXPONENT, LOSSES, OFFSET, Unit

__all__ = [
    "EXPONENT",
    "LOSSES",
    "OFFSET",
    "OUTSIDE",
    "VERDICTS",
    "Finding",
    "Fit",
    "Shares",
    "Unit",
    "before_readings",
    "correction_from",
    "correction_of",
    "fingerprint",
    "fit",
    "names_of",
    "read_fit",
]
