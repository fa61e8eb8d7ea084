"""The causes of missed polls, by the words that scripts read."""

LOW_LIGHT = "low light"
BRANCH = "supply branch"
GATEWAY = "gateway or network"
WEAK = "weak link"
OBSTACLE = "something new in the way"
INTERFERENCE = "interference"
UNIT = "single unit"
UNKNOWN = "cannot tell"
MOVED = "gateway moved"
FADING = "fading"
CAUSES = (LOW_LIGHT, BRANCH, GATEWAY, MOVED, WEAK, OBSTACLE, INTERFERENCE, FADING, UNIT, UNKNOWN)
NO_FAULTS = (LOW_LIGHT, UNKNOWN)
"""Causes that need no work on the site."""
