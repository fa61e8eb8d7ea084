"""What is missing in a log, by likely cause: the result; `survey.measured.dropouts.sorting` finds it."""

from survey.measured.dropouts.book import Finding
from survey.measured.dropouts.causes import (
    BRANCH,
    CAUSES,
    FADING,
    GATEWAY,
    INTERFERENCE,
    LOW_LIGHT,
    MOVED,
    NO_FAULTS,
    OBSTACLE,
    UNIT,
    UNKNOWN,
    WEAK,
)
from survey.measured.dropouts.repair import BETTER, SAME, UNSEEN, WORSE, Compared, compared
from survey.measured.dropouts.result import Dropouts
from survey.measured.dropouts.steps import steps_of

__all__ = [
    "BETTER",
    "BRANCH",
    "CAUSES",
    "FADING",
    "GATEWAY",
    "INTERFERENCE",
    "LOW_LIGHT",
    "MOVED",
    "NO_FAULTS",
    "OBSTACLE",
    "SAME",
    "UNIT",
    "UNKNOWN",
    "UNSEEN",
    "WEAK",
    "WORSE",
    "Compared",
    "Dropouts",
    "Finding",
    "compared",
    "steps_of",
]
