"""A plan as arrays: who stands where with which radio, and what could be in the way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from survey.base.errors import SurveyError, UnknownNameError, check_names
from survey.geometry import Prisms, Sheets
from survey.inputs.antennas import Pattern
from survey.inputs.plan import Plan
from survey.scene.correction import Correction
from survey.scene.ends import Ends, ends_of, join, radios_at
from survey.scene.obstacles import Obstacles, obstacles_of
from survey.scene.own_moves import SPREADS_WITHIN
from survey.scene.pieces import Pieces, Shift, pieces_of

__all__ = [
    "SPREADS_WITHIN",
    "Ends",
    "Obstacles",
    "Pieces",
    "Scene",
    "Shift",
    "corrected",
    "join",
    "pieces_of",
    "radios_at",
    "revised",
    "scene_of",
]


@dataclass(frozen=True, kw_only=True)
class Scene:
    """A site ready for computing.

    Attributes
    ----------
    plan : Plan
        What it was made of.
    patterns : tuple of Pattern
        Of the antennas, isotropic first.
    inverters, gateways, spots : Ends
        The inverters; the gateways that stand today; the places where one could go, searches included.
    obstacles : Obstacles
        Whatever `sheets` and `prisms` name as owner.
    sheets, prisms : Sheets, Prisms
        Their geometry.
    correction : Correction or None
        What readings have taught, where a fit is used.
    shift : Shift or None
        Where it came from, if it was moved (`Pieces.moved`).
    """

    plan: Plan
    patterns: tuple[Pattern, ...]
    inverters: Ends
    gateways: Ends
    spots: Ends
    obstacles: Obstacles
    sheets: Sheets
    prisms: Prisms
    correction: Correction | None = None
    shift: Shift | None = None

    @cached_property
    def gateways_and_spots(self) -> Ends:
        """All places that a command may name as a gateway."""
        return join([self.gateways, self.spots])

    @property
    def capacity(self) -> int:
        """How many inverters a gateway takes where that leaves one out; 0 where it takes them all."""
        limit = self.plan.requirement.inverters_per_gateway
        return limit if limit < len(self.inverters) else 0

    def wanting(self, **changes: int | None) -> Scene:
        """The same site with some of the plan's requirements changed."""
        wanted = {name: value for name, value in changes.items() if value is not None}
        plan = replace(self.plan, requirement=replace(self.plan.requirement, **wanted))
        return replace(self, plan=plan)

    def gateways_asked(
        self, names: Sequence[str], *, hint: str = "add one, or name a spot with --gateway NAME"
    ) -> Ends:
        """The gateways or spots that somebody names, or the gateways that stand today.

        Raises
        ------
        UnknownNameError
            Naming every name that there is not.
        SurveyError
            Where no gateway stands and none is named; with a hint at what to do.
        """
        if names:
            return self.gateways_and_spots.named(names, file=self.plan.file, what="gateway or spot")
        if not len(self.gateways):
            raise SurveyError(f"{self.plan.file}: has no [[gateway]]; {hint}")
        return self.gateways

    def check_names(self, *, places: Sequence[str], inverters: Sequence[str]) -> None:
        """Refuse names that the plan does not have, those of both ends in one message.

        Raises
        ------
        UnknownNameError
            Naming every name that there is not.
        """
        told = []
        for ends, asked, what in (
            (self.gateways_and_spots, places, "gateway or spot"),
            (self.inverters, inverters, "inverter"),
        ):
            try:
                check_names(asked, ends.names, file=self.plan.file, what=what)
            except UnknownNameError as error:
                told.append(str(error))
        if told:
            raise UnknownNameError("\n".join(told))


def scene_of(plan: Plan) -> Scene:
    """Lay a plan out as arrays.

    Parameters
    ----------
    plan : Plan
        A plan.

    Returns
    -------
    Scene
        Inverters of arrays first, then single ones; spots first, then searches, each in the order of the plan.
    """
    obstacles, sheets, prisms = obstacles_of(plan)
    common = plan.radio
    return Scene(
        plan=plan,
        patterns=tuple(plan.patterns.values()),
        inverters=join(ends_of(plan, one, common.inverter) for one in (*plan.arrays, *plan.inverters)),
        gateways=join(ends_of(plan, one, common.gateway) for one in plan.gateways),
        spots=join(ends_of(plan, one, common.gateway) for one in (*plan.spots, *plan.searches)),
        obstacles=obstacles,
        sheets=sheets,
        prisms=prisms,
    )


def corrected(scene: Scene, correction: Correction) -> Scene:
    """A site as readings have shown it to be.

    Parameters
    ----------
    scene : Scene
        As the plan has it.
    correction : Correction
        Fitted to readings of that site.

    Returns
    -------
    Scene
        With the fitted exponent and shadowing in its plan, and with the standard errors of fitted losses in the place
        of their spreads. The losses themselves, and with them what ways around meet, stay the plan's; links add the
        changes to straight lines, and to ways that leave a building.
    """
    fitted = correction.unit >= 0
    errors_db = np.sqrt(np.diag(correction.covariance))[2:]
    spread_db = scene.obstacles.spread_db.copy()
    spread_db[fitted] = errors_db[correction.unit[fitted]]
    environment = replace(
        scene.plan.environment,
        path_loss_exponent=correction.path_loss_exponent,
        shadowing_db=correction.shadowing_db,
        correlation_m=correction.read.correlation_m if correction.read else scene.plan.environment.correlation_m,
    )
    return replace(
        scene,
        plan=replace(scene.plan, environment=environment),
        obstacles=replace(scene.obstacles, spread_db=spread_db),
        correction=correction,
    )


def revised(scene: Scene, plan: Plan) -> Scene:
    """The site of a changed plan; where readings have corrected the site, so is the new one, obstacle by obstacle."""
    changed, correction = scene_of(plan), scene.correction
    if correction is None:
        return changed
    old = {name: i for i, name in enumerate(scene.obstacles.names)}
    index = np.array([old.get(name, -1) for name in changed.obstacles.names], dtype=np.int64)
    unit = np.append(correction.unit, -1)[index]
    change_db = np.append(correction.change_db, 0.0)[index]
    return corrected(changed, replace(correction, unit=unit, change_db=change_db))
