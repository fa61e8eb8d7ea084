"""The model fitted to a site's readings."""

from survey.calibration.check import VERDICTS, Finding
from survey.calibration.fit import Fit, fingerprint, fit, names_of
from survey.calibration.likelihood import Shares

__all__ = ["VERDICTS", "Finding", "Fit", "Shares", "fingerprint", "fit", "names_of"]
