"""What states and ways of links are called, and what a chance is worth."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray
from survey.propagation import Way
from survey.scene import Scene

StateArray = NDArray[np.int8]

STATES = ("fails", "marginal", "holds")
"""What a state number means, from worst to best."""
HOLDS = STATES.index("holds")
MARGINAL_RELIABILITY = 0.5
CARRIERS = ("straight", *(way.name.lower() for way in Way))
"""The paths of a link: straight through, then each `Way` around what stands there."""


def state_of(scene: Scene, reliability: FloatArray) -> StateArray:
    """What chances are worth under the plan's requirement: index into `STATES`."""
    required = scene.plan.requirement.reliability
    return np.asarray((reliability >= MARGINAL_RELIABILITY).astype(np.int8) + (reliability >= required))
