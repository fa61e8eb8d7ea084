"""What states and ways of links are called, and what a chance is worth."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray
from survey.scene import Scene

StateArray = NDArray[np.int8]

STATES = ("fails", "marginal", "holds")
"""What a state number means, from worst to best."""
HOLDS = STATES.index("holds")
MARGINAL_RELIABILITY = 0.5
"""From here on a link that does not hold works more often than not: our definition. [-]"""
WAYS = ("over", "left", "right", "reflected")
"""The ways around what stands in the line."""
CARRIERS = ("straight", *WAYS)
"""The ways of a link: straight through, and around what stands there."""


def state_of(scene: Scene, reliability: FloatArray) -> StateArray:
    """What chances are worth under the plan's requirement: index into `STATES`."""
    required = scene.plan.requirement.reliability
    return np.asarray((reliability >= MARGINAL_RELIABILITY).astype(np.int8) + (reliability >= required))
