"""Links as far as their direct lines go: distance, and what the straight line goes through."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.base.units import wavelength_m
from survey.geometry import EDGE_M, Chords, Crossings, chords, crossings_and_misses
from survey.propagation.around import Around, around, near_lines, within_reach
from survey.propagation.distance import log_distance_loss_db
from survey.propagation.enclosed import Shut, shut_on_one_side
from survey.propagation.penetration import chord_losses_db, sheet_losses_db, total_over_links
from survey.propagation.sides import Near, blocked_lines
from survey.propagation.slight import graze_reach_m
from survey.scene import Ends, Scene


@dataclass(frozen=True, kw_only=True)
class DirectLinks:
    """Every inverter's direct line to every gateway, as arrays of shape (inverters, gateways).

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
        What the straight line loses on top. [dB]
    spread_squared_db2 : ndarray of float
        Sum of the squared spreads of the sheets crossed. [dB^2]
    crossings, chords : Crossings, Chords
        What each straight line goes through: starts are inverters, ends are gateways.
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

    @property
    def shape(self) -> tuple[int, int]:
        """Number of inverters and of gateways."""
        return len(self.inverters), len(self.gateways)

    @property
    def columns(self) -> dict[str, Any]:
        """The fields by name, to make links of them that have more."""
        return {one.name: getattr(self, one.name) for one in fields(self)}

    @property
    def crossed_obstacles(self) -> BoolArray:
        """Which obstacles any of the straight lines goes through, shape (obstacles,)."""
        crossed = np.zeros(len(self.scene.obstacles), dtype=bool)
        crossed[self.scene.sheets.owner[self.crossings.sheet]] = True
        crossed[self.scene.prisms.owner[self.chords.prism]] = True
        return crossed

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
            Numbers of crossings.
        """
        of = unit[self.scene.sheets.owner[self.crossings.sheet]]
        link = (self.crossings.start * self.shape[1] + self.crossings.end)[of >= 0]
        count = self.shape[0] * self.shape[1]
        passes = np.bincount(link * units + of[of >= 0], minlength=count * units) if units else np.zeros(0)
        return passes.astype(np.float64).reshape(count, units)


@dataclass(frozen=True, kw_only=True)
class DeferredPathsAround:
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
    shut : Shut
        How far each building shuts in one end of a line and not the other.
    """

    scene: Scene
    number: NDArray[np.int64]
    starts_m: FloatArray
    ends_m: FloatArray
    near: Near
    shut: Shut

    def paths(self, chosen: NDArray[np.int64] | None = None) -> Around:
        """Ways around of all lines, or of some of them; with a fit, less what it has found of buildings they leave."""
        if chosen is None:
            return self._fitted(around(self.scene, self.starts_m, self.ends_m, self.near, self.shut))
        place = np.full(len(self.number), -1)
        place[chosen] = np.arange(len(chosen))
        line, screen, blocks = self.near
        row = np.flatnonzero(place[line] >= 0)
        near = (place[line[row]], screen[row], blocks[row])
        return self._fitted(
            around(self.scene, self.starts_m[chosen], self.ends_m[chosen], near, self.shut.pick(chosen))
        )

    def _fitted(self, paths: Around) -> Around:
        correction, leaks, around_db = self.scene.correction, paths.leaks, paths.around_db
        if correction is None:
            return paths
        for one in np.unique(leaks.owner):
            change_db = max(float(correction.change_db[one]), -float(self.scene.obstacles.loss_db[one]))
            leaks, around_db = leaks.with_extra_loss(around_db, one, change_db)
        return replace(paths, leaks=leaks, around_db=around_db)


def direct_links(scene: Scene, inverters: Ends, gateways: Ends) -> tuple[DirectLinks, DeferredPathsAround]:
    """Work out what goes straight through, and which links have more than that.

    Parameters
    ----------
    scene : Scene
        The site.
    inverters, gateways : Ends
        Ends of that site.

    Returns
    -------
    tuple of DirectLinks and DeferredPathsAround
        What goes straight through, without what edges close by take; and the links that have such edges or ways around.
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
    spreads_db = own_spreads_db(scene)[owner]
    straight_db = total_over_links(through, sheet_losses_db(scene, through, inverters.at_m, gateways.at_m), shape=shape)
    direct = DirectLinks(
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
        spread_squared_db2=total_over_links(through, spreads_db**2, shape=shape),
        crossings=through,
        chords=inside,
    )
    inverter, gateway = number // max(1, shape[1]), number % max(1, shape[1])
    blocked = blocked_lines(near, len(number))
    deferred = DeferredPathsAround(
        scene=scene,
        number=number,
        starts_m=inverters.at_m[inverter],
        ends_m=gateways.at_m[gateway],
        near=near,
        shut=shut_on_one_side(scene, inverters.at_m, gateways.at_m, *np.where(blocked, (inverter, gateway), -1)),
    )
    return direct, deferred


def own_spreads_db(scene: Scene) -> FloatArray:
    """Spreads of obstacles, 0 for those that were fitted: what is known of these stands in the covariance. [dB]"""
    if scene.correction is None:
        return scene.obstacles.spread_db
    return np.where(scene.correction.unit >= 0, 0.0, scene.obstacles.spread_db)
