"""What a plan holds, and what in it is legal but looks wrong: one file for each kind of thing that can look wrong."""

from survey.decisions.inspection.inspect import Inspection, defaults_of, inspect

__all__ = ["Inspection", "defaults_of", "inspect"]
