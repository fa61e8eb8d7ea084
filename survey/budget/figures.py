"""The figures of links: loss, levels both ways, margin, reliability, state."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.base.probability import chance_above
from survey.base.units import ratio_from_db
from survey.geometry import Chords, Crossings
from survey.inputs.antennas import gains_dbi
from survey.propagation import Way, power_sum_loss_db
from survey.propagation.passes import PathPasses
from survey.propagation.penetration import chord_losses_db, chord_metres, sheet_losses_db
from survey.scene import Ends, Scene

StateArray = NDArray[np.int8]

STATES = ("fails", "marginal", "holds")
"""What a state number means, from worst to best."""
HOLDS = STATES.index("holds")
MARGINAL_RELIABILITY = 0.5
"""From this chance on a link is marginal: it works more often than not, by definition of the state. [-]"""
CARRIERS = ("straight", *(way.name.lower() for way in Way))
"""The paths of a link: straight through, then each `Way` around what stands there."""


@dataclass(frozen=True, kw_only=True)
class Links:
    """Every inverter's link to every gateway, as arrays of shape (inverters, gateways) unless another is given.

    Attributes
    ----------
    scene : Scene
        Where they are.
    inverters, gateways : Ends
        Their ends.
    distance_m : ndarray of float
        In space. [m]
    base_loss_db : ndarray of float
        Loss that distance alone costs. [dB]
    straight_db : ndarray of float
        What the straight line loses on top: in all that it goes through, and to edges that it grazes. [dB]
    spread_squared_db2 : ndarray of float
        Sum of the squared spreads of the sheets and plants crossed. [dB^2]
    crossings, chords : Crossings, Chords
        What each straight line goes through: starts are inverters, ends are gateways.
    grazed_db : ndarray of float
        What it loses to the edges. [dB]
    grazed_obstacle : ndarray of int
        The obstacle whose edge the straight line grazes most; -1 where there is none.
    around_db : ndarray of float, shape (ways, inverters, gateways)
        What each `Way` loses on top; NaN where there is no such way. [dB]
    mirror : ndarray of int
        The sheet that throws back most of what comes by mirrors; -1 where there is none.
    leave_deg, arrive_deg : ndarray of float
        Elevation in which the strongest path around leaves the inverter, and in which it leaves the gateway. [deg]
    path_passes : PathPasses
        What the paths around go through all the same.
    """

    scene: Scene
    inverters: Ends
    gateways: Ends
    distance_m: FloatArray
    base_loss_db: FloatArray
    straight_db: FloatArray
    spread_squared_db2: FloatArray
    crossings: Crossings
    chords: Chords
    grazed_db: FloatArray
    grazed_obstacle: IntArray
    around_db: FloatArray
    mirror: IntArray
    leave_deg: FloatArray
    arrive_deg: FloatArray
    path_passes: PathPasses

    @property
    def shape(self) -> tuple[int, int]:
        """Number of inverters and of gateways."""
        return len(self.inverters), len(self.gateways)

    @property
    def crossed_obstacles(self) -> BoolArray:
        """Which obstacles any of the straight lines goes through, shape (obstacles,)."""
        crossed = np.zeros(len(self.scene.obstacles), dtype=bool)
        crossed[self.scene.sheets.owner[self.crossings.sheet]] = True
        crossed[self.scene.prisms.owner[self.chords.prism]] = True
        return crossed

    @property
    def passes_through(self) -> tuple[IntArray, IntArray, FloatArray]:
        """What straight lines go through, a row for each crossing and each chord.

        Link as inverter times gateways plus gateway; number of the obstacle; and how often its loss counts: once for a
        sheet [-], for foliage the metres that count [m].
        """
        met, inside, gateways = self.crossings, self.chords, self.shape[1]
        link = np.concatenate([met.start * gateways + met.end, inside.start * gateways + inside.end])
        owner = np.concatenate([self.scene.sheets.owner[met.sheet], self.scene.prisms.owner[inside.prism]])
        return link, owner, np.concatenate([np.ones(len(met)), chord_metres(self.scene, inside)[0]])

    def passes_of(self, unit: IntArray, units: int) -> FloatArray:
        """How often each straight line goes through the obstacles of each unit.

        Parameters
        ----------
        unit : ndarray of int, shape (obstacles,)
            Which unit each obstacle belongs to; -1 for none.
        units : int
            How many there are.

        Returns
        -------
        ndarray of float, shape (inverters * gateways, units)
            Numbers of crossings; for foliage metres that count.
        """
        link, owner, times = self.passes_through
        known, count = unit[owner] >= 0, self.shape[0] * self.shape[1]
        if not units:
            return np.zeros((count, 0))
        passes = np.bincount(link[known] * units + unit[owner[known]], times[known], count * units)
        return passes.astype(np.float64).reshape(count, units)

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
        offsets_db = self.scene.correction.offsets_db(self.inverters.names, self.gateways.names)
        return np.asarray(gained_db + offsets_db + self.read_shadow[0])

    @cached_property
    def read_shadow(self) -> tuple[FloatArray, FloatArray]:
        """What readings nearby show of shadowing: its mean [dB], and the share of its variance that is left [-]."""
        correction = self.scene.correction
        if correction is None or correction.read is None:
            return np.zeros(self.shape), np.ones(self.shape)
        mean_db, left = correction.read.near(self.inverters.at_m, self.gateways.at_m)
        return mean_db * correction.spreads_at(self.gateways.names), left

    @cached_property
    def shadowing_db(self) -> FloatArray:
        """Standard deviation of shadowing that is left after readings nearby. [dB]"""
        correction, shadowing_db = self.scene.correction, self.scene.plan.environment.shadowing_db
        spreads = 1.0 if correction is None else correction.spreads_at(self.gateways.names)
        return np.asarray(shadowing_db * spreads * np.sqrt(self.read_shadow[1]))

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
    def passing_share(self) -> FloatArray:
        """Share of the received power that each way of `path_passes` brings through what it goes through. [-]"""
        return np.asarray(self.path_passes.power / ratio_from_db(-self.obstacle_loss_db.ravel()[self.path_passes.link]))

    def _path_passes_of(self, unit: NDArray[np.int64], units: int) -> FloatArray:
        """How often ways around go through each unit, in the share of the power that does, (links, units)."""
        path_passes, of = self.path_passes, unit[self.path_passes.owner]
        known, count = of >= 0, self.shape[0] * self.shape[1]
        weights = (self.passing_share * path_passes.passes)[known]
        found = np.bincount(path_passes.link[known] * units + of[known], weights=weights, minlength=count * units)
        return found.astype(np.float64).reshape(count, units)

    @cached_property
    def sigma_db(self) -> FloatArray:
        """Standard deviation of the margin: shadowing, and the spreads of what each way goes through. [dB]

        With a fit, what the readings left unknown takes the place of the spreads of what they went through, and fading
        in time comes in where it was found.
        """
        variance_db2 = self.shadowing_db**2 + self.straight_share * self.spread_squared_db2
        if len(self.path_passes):
            spreads_db2 = (
                self.passing_share * self.path_passes.passes * own_spreads_db(self.scene)[self.path_passes.owner] ** 2
            )
            variance_db2 += np.bincount(self.path_passes.link, spreads_db2, variance_db2.size).reshape(self.shape)
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
            + self._path_passes_of(correction.unit, units),
            ends=ends,
        )
        return (known_db2 + unread_db2 + correction.fade_db**2).reshape(self.shape)

    @cached_property
    def reliability(self) -> FloatArray:
        """Chance that the link works with the fade margin held back, up to the ceiling of a fit. [-]"""
        chance = chance_above(self.margin_db - self.scene.plan.requirement.fade_margin_db, self.sigma_db)
        return chance if self.scene.correction is None else chance * self.scene.correction.ceiling

    @cached_property
    def state(self) -> StateArray:
        """Index into `STATES`."""
        return state_of(self.scene, self.reliability)

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
            if isinstance(values, PathPasses):
                return values.to(chosen, columns=self.shape[1])
            if isinstance(values, Crossings):
                return values.to(chosen)
            if isinstance(values, Chords):
                met = place[values.end] >= 0
                columns = {one.name: getattr(values, one.name)[met] for one in fields(values)}
                return replace(values, **(columns | {"end": place[columns["end"]]}))
            return values

        columns = {one.name: kept(getattr(self, one.name)) for one in fields(self)}
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
            owner = self.grazed_obstacle[start, end]
            found.setdefault((start, end), []).append((obstacles.names[owner], float(self.grazed_db[start, end])))
        return found


def state_of(scene: Scene, reliability: FloatArray) -> StateArray:
    """What chances are worth under the plan's requirement: index into `STATES`."""
    required = scene.plan.requirement.reliability
    return np.asarray((reliability >= MARGINAL_RELIABILITY).astype(np.int8) + (reliability >= required))


def own_spreads_db(scene: Scene) -> FloatArray:
    """Spreads of obstacles, 0 for those that were fitted: what is known of these stands in the covariance. [dB]"""
    if scene.correction is None:
        return scene.obstacles.spread_db
    return np.where(scene.correction.unit >= 0, 0.0, scene.obstacles.spread_db)
