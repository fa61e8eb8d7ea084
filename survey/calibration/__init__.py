"""The model fitted to a site's readings."""

from survey.calibration.check import VERDICTS, Finding
from survey.calibration.fit import Fit, correction_of, fingerprint, fit, names_of
from survey.calibration.fit_file import read_fit
from survey.calibration.likelihood import Shares

__all__ = ["VERDICTS", "Finding", "Fit", "Shares", "correction_of", "fingerprint", "fit", "names_of", "read_fit"]
