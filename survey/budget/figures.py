"""The figures of links: loss, levels both ways, margin, reliability, state."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray
from survey.base.probability import chance_above
from survey.base.units import ratio_from_db
from survey.budget.direct import DirectLinks, own_spreads_db
from survey.geometry import Chords, Crossings
from survey.inputs.antennas import gains_dbi
from survey.propagation import Way, power_sum_loss_db
from survey.propagation.enclosed import Leaks
from survey.propagation.penetration import chord_losses_db, sheet_losses_db
from survey.scene import Scene

StateArray = NDArray[np.int8]

STATES = ("fails", "marginal", "holds")
"""What a state number means, from worst to best."""
HOLDS = STATES.index("holds")
MARGINAL_RELIABILITY = 0.5
"""From this chance on a link is marginal: it works more often than not, by definition of the state. [-]"""
CARRIERS = ("straight", *(way.name.lower() for way in Way))
"""The paths of a link: straight through, then each `Way` around what stands there."""


@dataclass(frozen=True, kw_only=True)
class LinkFigures(DirectLinks):
    """What links are worth, as arrays of shape (inverters, gateways) unless another is given.

    Attributes
    ----------
    straight_db : ndarray of float
        What the straight line loses on top: in all that it goes through, and to edges that it grazes. [dB]
    grazed_db : ndarray of float
        What it loses to the edges. [dB]
    around_db : ndarray of float, shape (paths, inverters, gateways)
        What paths around lose on top, each by itself or all as one; NaN where there is none. [dB]
    leave_deg, arrive_deg : ndarray of float
        Elevation in which the strongest path around leaves the inverter, and in which it leaves the gateway. [deg]
    leaks : Leaks
        What the paths around go through all the same: a link is inverter times gateways plus gateway.
    """

    grazed_db: FloatArray
    around_db: FloatArray
    leave_deg: FloatArray
    arrive_deg: FloatArray
    leaks: Leaks

    @cached_property
    def obstacle_loss_db(self) -> FloatArray:
        """What all that stands there costs: the power sum of straight through and the ways around. [dB]"""
        some = np.nonzero(~np.isnan(self.around_db).all(axis=0))
        loss_db = self.straight_db.copy()  # most lines have no way but straight on
        loss_db[some] = power_sum_loss_db([self.straight_db[some], *(path_db[some] for path_db in self.around_db)])
        return loss_db

    @cached_property
    def path_loss_db(self) -> FloatArray:
        """Base loss and obstacle loss; the same in both directions. [dB]"""
        return self.base_loss_db + self.obstacle_loss_db

    @cached_property
    def antenna_gains_dbi(self) -> tuple[FloatArray, FloatArray]:
        """Gains of inverters and of gateways, each in the direction in which the strongest way leaves it. [dBi]"""
        one, other = self.inverters, self.gateways
        if not one.pattern.any() and not other.pattern.any():
            return one.antenna_gain_dbi[:, None], other.antenna_gain_dbi[None]
        rise_m = other.at_m[None, :, 2] - one.at_m[:, None, 2]
        straight_deg = np.rad2deg(np.arcsin(np.clip(rise_m / np.maximum(self.distance_m, 1e-9), -1.0, 1.0)))
        strongest_db = np.fmin.reduce(self.around_db, axis=0)  # NaN without any, which is less than nothing
        goes_around = (strongest_db < self.straight_db) & ~np.isnan(self.leave_deg)
        up_deg = np.where(goes_around, self.leave_deg, straight_deg)
        down_deg = np.where(goes_around, self.arrive_deg, -straight_deg)
        patterns = self.scene.patterns
        near = gains_dbi(patterns, one.pattern, base_gain_dbi=one.antenna_gain_dbi, elevation_deg=up_deg)
        far = gains_dbi(patterns, other.pattern, base_gain_dbi=other.antenna_gain_dbi, elevation_deg=down_deg.T)
        return near, far.T

    @cached_property
    def _gains_less_losses_db(self) -> FloatArray:
        """Both antennas, mountings and cables, less the path loss: what stands between power and level. [dB]"""
        near_dbi, far_dbi = self.antenna_gains_dbi
        losses_db = self.inverters.loss_db[:, None] + self.gateways.loss_db[None]
        gained_db = near_dbi + far_dbi - losses_db - self.path_loss_db
        if self.scene.correction is None:
            return np.asarray(gained_db)
        return np.asarray(gained_db + self.scene.correction.offsets_db(self.inverters.names, self.gateways.names))

    @cached_property
    def uplink_level_dbm(self) -> FloatArray:
        """Level of the inverter at the gateway. [dBm]"""
        return np.asarray(self.inverters.tx_power_dbm[:, None] + self._gains_less_losses_db)

    @cached_property
    def downlink_level_dbm(self) -> FloatArray:
        """Level of the gateway at the inverter. [dBm]"""
        return np.asarray(self.gateways.tx_power_dbm[None] + self._gains_less_losses_db)

    @cached_property
    def uplink_margin_db(self) -> FloatArray:
        """Level at the gateway over what its receiver needs. [dB]"""
        return np.asarray(self.uplink_level_dbm - self.gateways.need_dbm[None])

    @cached_property
    def downlink_margin_db(self) -> FloatArray:
        """Level at the inverter over what its receiver needs. [dB]"""
        return np.asarray(self.downlink_level_dbm - self.inverters.need_dbm[:, None])

    @cached_property
    def margin_db(self) -> FloatArray:
        """The smaller of the two margins. [dB]"""
        return np.minimum(self.uplink_margin_db, self.downlink_margin_db)

    @cached_property
    def straight_share(self) -> FloatArray:
        """Share of the received power that comes straight through; 1 where too little arrives to tell. [-]"""
        more_db = np.where(np.isinf(self.obstacle_loss_db), 0.0, self.obstacle_loss_db - self.straight_db)
        return np.asarray(10.0 ** (more_db / 10.0))

    @cached_property
    def leak_share(self) -> FloatArray:
        """Share of the received power that each way of `leaks` brings through what it goes through. [-]"""
        return np.asarray(self.leaks.power / ratio_from_db(-self.obstacle_loss_db.ravel()[self.leaks.link]))

    def _leaking_passes(self, unit: NDArray[np.int64], units: int) -> FloatArray:
        """How often ways around go through each unit, in the share of the power that does, (links, units)."""
        leaks, of = self.leaks, unit[self.leaks.owner]
        known, count = of >= 0, self.shape[0] * self.shape[1]
        weights = (self.leak_share * leaks.passes)[known]
        found = np.bincount(leaks.link[known] * units + of[known], weights=weights, minlength=count * units)
        return found.astype(np.float64).reshape(count, units)

    @cached_property
    def sigma_db(self) -> FloatArray:
        """Standard deviation of the margin: shadowing, and the spreads of what each way goes through. [dB]

        With a fit, what the readings left unknown takes the place of the spreads of what they went through.
        """
        shadowing_db = self.scene.plan.environment.shadowing_db
        variance_db2 = shadowing_db**2 + self.straight_share * self.spread_squared_db2
        if len(self.leaks):
            spreads_db2 = self.leak_share * self.leaks.passes * own_spreads_db(self.scene)[self.leaks.owner] ** 2
            variance_db2 += np.bincount(self.leaks.link, spreads_db2, variance_db2.size).reshape(self.shape)
        return np.sqrt(variance_db2 if self.scene.correction is None else variance_db2 + self._unknown_db2)

    @property
    def _unknown_db2(self) -> FloatArray:
        """Variance that comes from what the readings of a fit left unknown. [dB^2]"""
        correction = self.scene.correction
        assert correction is not None
        units = len(correction.covariance) - 2 - len(correction.deviation_db)
        ends, unread_db2 = correction.ends_of(self.inverters.names, self.gateways.names)
        known_db2 = correction.variance_db2(
            distance_m=self.distance_m.ravel(),
            reference_distance_m=self.scene.plan.environment.reference_distance_m,
            passes=self.straight_share.reshape(-1, 1) * self.passes_of(correction.unit, units)
            + self._leaking_passes(correction.unit, units),
            ends=ends,
        )
        return (known_db2 + unread_db2).reshape(self.shape)

    @cached_property
    def reliability(self) -> FloatArray:
        """Chance that the link works with the fade margin held back. [-]"""
        return chance_above(self.margin_db - self.scene.plan.requirement.fade_margin_db, self.sigma_db)

    @cached_property
    def state(self) -> StateArray:
        """Index into `STATES`."""
        return state_of(self.scene, self.reliability)


@dataclass(frozen=True, kw_only=True)
class Links(LinkFigures):
    """Every inverter's link to every gateway, each path around by itself.

    Attributes
    ----------
    around_db : ndarray of float, shape (ways, inverters, gateways)
        What each `Way` loses on top; NaN where there is no such way. [dB]
    grazed_screen : ndarray of int, shape (inverters, gateways)
        The nearest screen whose edge the straight line grazes; -1 where there is none.
    mirror : ndarray of int, shape (inverters, gateways)
        The sheet that throws back most of what comes by mirrors; -1 where there is none.
    """

    grazed_screen: NDArray[np.int64]
    mirror: NDArray[np.int64]

    @cached_property
    def carrier(self) -> NDArray[np.intp]:
        """Which way carries the link, the one that loses least: index into `CARRIERS`."""
        losses_db = np.concatenate([self.straight_db[None], self.around_db])
        return np.asarray(np.argmin(np.where(np.isnan(losses_db), np.inf, losses_db), axis=0))

    @property
    def all_hold(self) -> bool:
        """Whether every inverter holds on one of its links or more."""
        return bool(np.all(self.state.max(axis=1, initial=0) == HOLDS))

    def to(self, gateways: Sequence[int] | NDArray[np.int64]) -> Links:
        """The links to some of the gateways, each once, in the order asked for."""
        chosen = np.asarray(gateways, dtype=np.int64)
        place = np.full(self.shape[1], -1)
        place[chosen] = np.arange(len(chosen))

        def kept(values: Any) -> Any:  # noqa: ANN401  whatever a field holds
            if isinstance(values, np.ndarray):
                return values[..., chosen]
            if isinstance(values, Leaks):
                inverter, gateway = np.divmod(values.link, self.shape[1])
                inside = place[gateway] >= 0
                return replace(values.pick(inside), link=(inverter * len(chosen) + place[gateway])[inside]).sorted()
            if isinstance(values, Crossings):
                return values.to(chosen)
            if isinstance(values, Chords):
                met = place[values.end] >= 0
                columns = {one.name: getattr(values, one.name)[met] for one in fields(values)}
                return replace(values, **(columns | {"end": place[columns["end"]]}))
            return values

        columns = {name: kept(values) for name, values in self.columns.items()}
        return replace(self, **(columns | {"gateways": self.gateways.pick(chosen)}))

    def mirror_of(self, inverter: int, gateway: int) -> str:
        """The obstacle that throws back most of what comes by mirrors; nothing where there is none."""
        sheet = int(self.mirror[inverter, gateway])
        return self.scene.obstacles.names[self.scene.sheets.owner[sheet]] if sheet >= 0 else ""

    def met_by(self, inverter: int, gateway: int) -> list[tuple[str, float]]:
        """What one link's straight line goes through, in order from the inverter: names and losses. [dB]"""
        return self._met.get((inverter, gateway), [])

    @cached_property
    def _met(self) -> dict[tuple[int, int], list[tuple[str, float]]]:
        obstacles = self.scene.obstacles
        rows: list[tuple[int, int, float, int, float]] = []
        for met, owners, losses in (
            (
                self.crossings,
                self.scene.sheets.owner[self.crossings.sheet],
                sheet_losses_db(self.scene, self.crossings, self.inverters.at_m, self.gateways.at_m),
            ),
            (self.chords, self.scene.prisms.owner[self.chords.prism], chord_losses_db(self.scene, self.chords)),
        ):
            columns = (met.start, met.end, met.fraction, owners, losses)
            rows.extend(zip(*(column.tolist() for column in columns), strict=True))
        found: dict[tuple[int, int], list[tuple[str, float]]] = {}
        for start, end, _, owner, loss_db in sorted(rows):
            found.setdefault((start, end), []).append((obstacles.names[owner], loss_db))
        for start, end in np.argwhere(self.grazed_db > 0).tolist():
            owner = self.scene.screens.owner[self.grazed_screen[start, end]]
            found.setdefault((start, end), []).append((obstacles.names[owner], float(self.grazed_db[start, end])))
        return found


def state_of(scene: Scene, reliability: FloatArray) -> StateArray:
    """What chances are worth under the plan's requirement: index into `STATES`."""
    required = scene.plan.requirement.reliability
    return np.asarray((reliability >= MARGINAL_RELIABILITY).astype(np.int8) + (reliability >= required))
