"""The link of every inverter to every gateway: loss, levels both ways, margin, reliability, state."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from survey.antennas import gains_dbi
from survey.errors import SurveyError
from survey.geometry import Chords, Crossings, chords, crossings_and_misses
from survey.geometry.crossings import EDGE_M
from survey.probability import chance_above
from survey.propagation import power_sum_loss_db
from survey.propagation.around import Around, around, near_lines, within_reach
from survey.propagation.distance import log_distance_loss_db
from survey.propagation.enclosed import Leaks, no_leaks, shut_on_one_side
from survey.propagation.penetration import chord_losses_db, sheet_losses_db, total_over_links
from survey.propagation.sides import Near
from survey.propagation.slight import graze_reach_m
from survey.scene import Ends, Scene
from survey.units import ratio_from_db, wavelength_m
from survey.workers import WORKERS, in_order

FloatArray = NDArray[np.float64]
StateArray = NDArray[np.int8]
R = TypeVar("R")

STATES = ("fails", "marginal", "holds")
"""What a state number means, from worst to best."""
HOLDS = STATES.index("holds")
MARGINAL_RELIABILITY = 0.5
WAYS = ("over", "left", "right", "reflected")
"""The ways around what stands in the line."""
CARRIERS = ("straight", *WAYS)
"""The ways of a link: straight through, and around what stands there."""
PAIRS_AT_ONCE = 200_000
"""How many links are worked out in one go where there are many: few enough to stay in a processor's cache."""

Progress = Callable[[int, int], None]
"""Called now and then with what is done and what there is to do."""


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
    grazed_db, grazed_screen : ndarray of float, ndarray of int
        What it loses to the edges, and the nearest screen that they belong to; -1 where there is none. [dB]
    around_db : dict of str to ndarray of float
        What each of `WAYS` loses on top; NaN where there is no such way. [dB]
    mirror : ndarray of int
        The sheet that throws back most of what comes by mirrors; -1 where there is none.
    leave_deg, arrive_deg : ndarray of float
        Elevation in which the strongest way around leaves the inverter, and in which it leaves the gateway. [deg]
    spread_squared_db2 : ndarray of float
        Sum of the squared spreads of the sheets crossed. [dB^2]
    leaks : Leaks
        What the ways around go through all the same: a link is inverter times gateways plus gateway.
    crossings, chords : Crossings, Chords
        What each straight line goes through: starts are inverters, ends are gateways.
    """

    scene: Scene
    inverters: Ends
    gateways: Ends
    distance_m: FloatArray
    base_loss_db: FloatArray
    straight_db: FloatArray
    grazed_db: FloatArray
    grazed_screen: NDArray[np.int64]
    around_db: dict[str, FloatArray]
    mirror: NDArray[np.int64]
    leave_deg: FloatArray
    arrive_deg: FloatArray
    spread_squared_db2: FloatArray
    leaks: Leaks
    crossings: Crossings
    chords: Chords

    @property
    def shape(self) -> tuple[int, int]:
        """Number of inverters and of gateways."""
        return len(self.inverters), len(self.gateways)

    @cached_property
    def obstacle_loss_db(self) -> FloatArray:
        """What all that stands there costs: the power sum of straight through and the ways around. [dB]"""
        ways_db = list(self.around_db.values())
        some = np.nonzero(~np.all([np.isnan(way_db) for way_db in ways_db], axis=0))
        loss_db = self.straight_db.copy()  # most lines have no way but straight on
        loss_db[some] = power_sum_loss_db([self.straight_db[some], *(way_db[some] for way_db in ways_db)])
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
        ways_db = np.stack([np.where(np.isnan(way), np.inf, way) for way in self.around_db.values()])
        goes_around = (ways_db.min(axis=0) < self.straight_db) & ~np.isnan(self.leave_deg)
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
            spreads_db2 = self.leak_share * self.leaks.passes * _own_spreads_db(self.scene)[self.leaks.owner] ** 2
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
            passes=self.straight_share.reshape(-1, 1) * passes_of(self, correction.unit, units)
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

    @cached_property
    def carrier(self) -> NDArray[np.intp]:
        """Which way carries the link, the one that loses least: index into `CARRIERS`."""
        losses_db = np.stack([self.straight_db, *(self.around_db[way] for way in WAYS)])
        return np.asarray(np.argmin(np.where(np.isnan(losses_db), np.inf, losses_db), axis=0))

    @property
    def all_hold(self) -> bool:
        """Whether every inverter holds on one of its links or more."""
        return bool(np.all(self.state.max(axis=1, initial=0) == HOLDS))

    def to(self, chosen: Sequence[int] | NDArray[np.int64]) -> Links:
        """The links to some of the gateways, each once, in the order asked for."""
        place = np.full(self.shape[1], -1)
        place[chosen] = np.arange(len(chosen))

        def kept(values: Any) -> Any:  # noqa: ANN401  whatever a field holds
            if isinstance(values, np.ndarray):
                return values[:, chosen]
            if isinstance(values, dict):
                return {way: kept(one) for way, one in values.items()}
            if isinstance(values, Leaks):
                inverter, gateway = np.divmod(values.link, self.shape[1])
                inside = place[gateway] >= 0
                return replace(values.pick(inside), link=(inverter * len(chosen) + place[gateway])[inside]).sorted()
            if isinstance(values, Crossings):
                return values.to(np.asarray(chosen))
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
            owner = self.scene.screens.owner[self.grazed_screen[start, end]]
            found.setdefault((start, end), []).append((obstacles.names[owner], float(self.grazed_db[start, end])))
        return found


def links_between(scene: Scene, inverters: Ends, gateways: Ends) -> Links:
    """Work out the links of some inverters to some gateways or spots.

    Parameters
    ----------
    scene : Scene
        The site.
    inverters, gateways : Ends
        Ends of that site.

    Returns
    -------
    Links
        One for each pair.
    """
    links, detours = straight_links(scene, inverters, gateways)
    number, ways = detours.number, detours.ways()
    grazed_db = _laid_out(number, ways.grazed_db, 0.0, links.shape)
    return replace(
        links,
        straight_db=links.straight_db + grazed_db,
        grazed_db=grazed_db,
        grazed_screen=_laid_out(number, ways.grazed_screen, -1, links.shape),
        around_db={
            "over": _laid_out(number, ways.over_db, np.nan, links.shape),
            "left": _laid_out(number, ways.left_db, np.nan, links.shape),
            "right": _laid_out(number, ways.right_db, np.nan, links.shape),
            "reflected": _laid_out(number, ways.reflected_db, np.nan, links.shape),
        },
        leaks=ways.leaks.numbered(number),
        mirror=_laid_out(number, ways.mirror, -1, links.shape),
        leave_deg=_laid_out(number, ways.leave_deg, np.nan, links.shape),
        arrive_deg=_laid_out(number, ways.arrive_deg, np.nan, links.shape),
    )


@dataclass(frozen=True, kw_only=True)
class Detours:
    """Lines of links that screens block or come close to, whose ways around are still to be worked out.

    Attributes
    ----------
    scene : Scene
        The site.
    number : ndarray of int, shape (lines,)
        Which links, sorted: inverter times the number of gateways plus gateway.
    starts_m, ends_m : ndarray of float, shape (lines, 3)
        Their ends. [m]
    near : tuple of three ndarrays
        Pairs of line and screen, and whether it blocks the line or lies close to it.
    shut : ndarray of float, shape (lines, buildings)
        How far each building shuts in one end of a line and not the other. [-]
    """

    scene: Scene
    number: NDArray[np.int64]
    starts_m: FloatArray
    ends_m: FloatArray
    near: Near
    shut: FloatArray

    def ways(self, chosen: NDArray[np.int64] | None = None) -> Around:
        """Ways around of all lines, or of some of them; with a fit, less what it has found of buildings they leave."""
        if chosen is None:
            return self._fitted(around(self.scene, self.starts_m, self.ends_m, self.near, self.shut))
        place = np.full(len(self.number), -1)
        place[chosen] = np.arange(len(chosen))
        line, screen, blocks = self.near
        row = np.flatnonzero(place[line] >= 0)
        near = (place[line[row]], screen[row], blocks[row])
        return self._fitted(around(self.scene, self.starts_m[chosen], self.ends_m[chosen], near, self.shut[chosen]))

    def _fitted(self, ways: Around) -> Around:
        correction, leaks = self.scene.correction, ways.leaks
        if correction is None:
            return ways
        around_db = {"over": ways.over_db, "left": ways.left_db, "right": ways.right_db}
        for one in np.unique(leaks.owner):
            change_db = max(float(correction.change_db[one]), -float(self.scene.obstacles.loss_db[one]))
            leaks, around_db = leaks.thicker(around_db, one, change_db)
        over_db, left_db, right_db = around_db.values()
        return replace(ways, leaks=leaks, over_db=over_db, left_db=left_db, right_db=right_db)


def straight_links(scene: Scene, inverters: Ends, gateways: Ends) -> tuple[Links, Detours]:
    """Work out what goes straight through, and which links have more than that.

    Parameters
    ----------
    scene : Scene
        The site.
    inverters, gateways : Ends
        Ends of that site.

    Returns
    -------
    tuple of Links and Detours
        The links without ways around and without what edges close by take; and those that have such.
    """
    environment, shape = scene.plan.environment, (len(inverters), len(gateways))
    distance_m = np.linalg.norm(inverters.at_m[:, None] - gateways.at_m[None], axis=2)
    wave_m = float(wavelength_m(scene.plan.radio.frequency_mhz))
    half_m = distance_m.max(initial=0.0) / 2.0
    widest_m = graze_reach_m(half_m, half_m, wavelength_m=wave_m)
    beside_m = np.where(scene.screens.of_sheet >= 0, widest_m, EDGE_M)
    through, missed = crossings_and_misses(inverters.at_m, gateways.at_m, scene.sheets, beside_m)
    missed = within_reach(missed, distance_m, wavelength_m=wave_m)
    number, near = near_lines(through, missed, scene.screens, columns=shape[1])
    inside = chords(inverters.at_m, gateways.at_m, scene.prisms)
    owner = scene.sheets.owner[through.sheet]
    spreads_db = _own_spreads_db(scene)[owner]
    straight_db = total_over_links(through, sheet_losses_db(scene, through, inverters.at_m, gateways.at_m), shape=shape)
    no_way = np.broadcast_to(np.nan, shape)
    links = Links(
        scene=scene,
        inverters=inverters,
        gateways=gateways,
        distance_m=distance_m,
        base_loss_db=log_distance_loss_db(
            distance_m,
            frequency_mhz=scene.plan.radio.frequency_mhz,
            path_loss_exponent=environment.path_loss_exponent,
            reference_distance_m=environment.reference_distance_m,
        ),
        straight_db=straight_db + total_over_links(inside, chord_losses_db(scene, inside), shape=shape),
        grazed_db=np.broadcast_to(0.0, shape),
        grazed_screen=np.broadcast_to(np.int64(-1), shape),
        around_db=dict.fromkeys(WAYS, no_way),
        mirror=np.broadcast_to(np.int64(-1), shape),
        leave_deg=no_way,
        arrive_deg=no_way,
        spread_squared_db2=total_over_links(through, spreads_db**2, shape=shape),
        leaks=no_leaks(),
        crossings=through,
        chords=inside,
    )
    inverter, gateway = number // max(1, shape[1]), number % max(1, shape[1])
    detours = Detours(
        scene=scene,
        number=number,
        starts_m=inverters.at_m[inverter],
        ends_m=gateways.at_m[gateway],
        near=near,
        shut=shut_on_one_side(scene, inverters.at_m, gateways.at_m, inverter, gateway),
    )
    return links, detours


def _own_spreads_db(scene: Scene) -> FloatArray:
    """Spreads of obstacles, 0 for those that were fitted: what is known of these stands in the covariance. [dB]"""
    if scene.correction is None:
        return scene.obstacles.spread_db
    return np.where(scene.correction.unit >= 0, 0.0, scene.obstacles.spread_db)


def passes_of(links: Links, unit: NDArray[np.int64], units: int) -> FloatArray:
    """How often each straight line goes through the obstacles of each unit.

    Parameters
    ----------
    links : Links
        Some links.
    unit : ndarray of int, shape (obstacles,)
        Which unit each obstacle belongs to; -1 for none.
    units : int
        How many there are.

    Returns
    -------
    ndarray of float, shape (inverters * gateways, units)
        Numbers of crossings.
    """
    met = links.crossings
    of = unit[links.scene.sheets.owner[met.sheet]]
    link = (met.start * links.shape[1] + met.end)[of >= 0]
    count = links.shape[0] * links.shape[1]
    found = np.bincount(link * units + of[of >= 0], minlength=count * units) if units else np.zeros(0)
    return found.astype(np.float64).reshape(count, units)


def _laid_out(number: NDArray[np.int64], values: NDArray[Any], fill: float, shape: tuple[int, int]) -> NDArray[Any]:
    """Values of some links among all links."""
    every = np.full(shape[0] * shape[1], fill, dtype=values.dtype)
    every[number] = values
    return every.reshape(shape)


def links_in_blocks(
    scene: Scene, inverters: Ends, gateways: Ends, *, progress: Progress | None = None
) -> Iterator[tuple[slice, Links]]:
    """The same as `links_between`, a few gateways at a time, so that memory does not grow with their number.

    Yields
    ------
    tuple of slice and Links
        Which of the gateways, and their links.
    """
    yield from judged_in_blocks(scene, inverters, gateways, lambda links: links, progress=progress)


def judged_in_blocks(
    scene: Scene,
    inverters: Ends,
    gateways: Ends,
    judge: Callable[[Links], R],
    *,
    progress: Progress | None = None,
    workers: int = WORKERS,
) -> Iterator[tuple[slice, R]]:
    """What somebody makes of the links to a few gateways at a time; the links themselves are let go.

    Parameters
    ----------
    scene : Scene
        The site.
    inverters, gateways : Ends
        Ends of that site.
    judge : callable
        Given the links of all inverters to some gateways; called in one of several threads.
    progress : callable, optional
        Told how many gateways are done.
    workers : int
        How many threads share the work; the answer is the same with any number.

    Yields
    ------
    tuple of slice and object
        Which of the gateways, in their order, and what was made of their links.
    """
    step = max(1, PAIRS_AT_ONCE // max(1, len(inverters)))
    blocks = [slice(first, min(first + step, len(gateways))) for first in range(0, len(gateways), step)]

    def work(block: slice) -> R:
        return judge(links_between(scene, inverters, gateways.pick(block)))

    for block, judged in zip(blocks, in_order(work, blocks, workers=workers), strict=True):
        yield block, judged
        if progress:
            progress(block.stop, len(gateways))


def links_of(scene: Scene, *, gateways: Sequence[str] = (), inverters: Sequence[str] = ()) -> Links:
    """The links that somebody asks for by name.

    Parameters
    ----------
    scene : Scene
        The site.
    gateways : sequence of str
        Gateways or spots; without any, the gateways that stand today.
    inverters : sequence of str
        Inverters; without any, all of them.

    Returns
    -------
    Links
        In the order of the names, or of the plan.

    Raises
    ------
    UnknownNameError
        Naming every name that there is not.
    SurveyError
        Where no gateway stands and none is named.
    """
    file = scene.plan.file
    if not gateways and not len(scene.gateways):
        raise SurveyError(f"{file}: has no [[gateway]]; add one, or name a spot with --gateway NAME")
    scene.check_names(places=gateways, inverters=inverters)
    far = scene.gateways_and_spots.named(gateways, file=file, what="gateway or spot") if gateways else scene.gateways
    near = scene.inverters.named(inverters, file=file, what="inverter") if inverters else scene.inverters
    return links_between(scene, near, far)


def carried_by(links: Links) -> NDArray[np.intp]:
    """Which way carries each link, the one that loses least: index into `CARRIERS`, shape (inverters, gateways)."""
    return links.carrier


def state_of(scene: Scene, reliability: FloatArray) -> StateArray:
    """What chances are worth under the plan's requirement: index into `STATES`."""
    required = scene.plan.requirement.reliability
    return np.asarray((reliability >= MARGINAL_RELIABILITY).astype(np.int8) + (reliability >= required))
