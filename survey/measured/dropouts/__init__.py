"""What is missing in a log, by likely cause: the result; `survey.measured.dropouts.sorting` finds it."""

from survey.measured.dropouts.book import (
    BRANCH,
    CAUSES,
    GATEWAY,
    INTERFERENCE,
    LOW_LIGHT,
    NO_FAULTS,
    OBSTACLE,
    UNIT,
    UNKNOWN,
    WEAK,
    Finding,
)
from survey.measured.dropouts.result import Dropouts

__all__ = [
    "BRANCH",
    "CAUSES",
    "GATEWAY",
    "INTERFERENCE",
    "LOW_LIGHT",
    "NO_FAULTS",
    "OBSTACLE",
    "UNIT",
    "UNKNOWN",
    "WEAK",
    "Dropouts",
    "Finding",
]
