"""The ways around what stands in a line, and what a line loses to edges that it only grazes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.base.units import wavelength_m
from survey.geometry import Crossings, Screens
from survey.propagation.around import Bodies, Polarisation, Way, ways_around
from survey.propagation.around.of_scene import moved_bodies, scene_bodies
from survey.propagation.enclosed import Leaks
from survey.propagation.sides import Near
from survey.propagation.slight import graze_reach_m
from survey.scene import Scene


@dataclass(frozen=True, kw_only=True)
class Around:
    """What goes around, for some lines.

    Attributes
    ----------
    around_db : ndarray of float, shape (ways, lines)
        Excess loss of each `Way` over the base loss; NaN where it is not there. [dB]
    mirror : ndarray of int, shape (lines,)
        The sheet that throws most of what is reflected; -1 where there is none.
    leave_deg, arrive_deg : ndarray of float, shape (lines,)
        Elevation in which the strongest of these ways leaves the start, and from which it comes in at the end;
        NaN where there is none. [deg]
    grazed_db : ndarray of float, shape (lines,)
        What the straight line loses to edges that it passes closely. [dB]
    grazed_obstacle : ndarray of int, shape (lines,)
        The nearest of them; -1 where there is none.
    leaks : Leaks
        What these ways go through all the same, by line.
    """

    around_db: FloatArray
    mirror: IntArray
    leave_deg: FloatArray
    arrive_deg: FloatArray
    grazed_db: FloatArray
    grazed_obstacle: IntArray
    leaks: Leaks


def within_reach(missed: Crossings, distance_m: FloatArray, *, wavelength_m: float) -> Crossings:
    """Those misses of lines that are near enough to graze, whatever other lines were looked at beside them.

    Parameters
    ----------
    missed : Crossings
        What lines miss by little.
    distance_m : ndarray of float, shape (starts, ends)
        Lengths of the lines. [m]
    wavelength_m : float
        Wavelength. [m]
    """
    length_m = distance_m[missed.start, missed.end]
    before_m, beyond_m = missed.fraction * length_m, (1.0 - missed.fraction) * length_m
    return missed.pick(-missed.inside_m <= graze_reach_m(before_m, beyond_m, wavelength_m=wavelength_m))


def near_lines(crossed: Crossings, missed: Crossings, screens: Screens, *, columns: int) -> tuple[IntArray, Near]:
    """Lines that screens block or come close to.

    Parameters
    ----------
    crossed, missed : Crossings
        What lines cross, and what they miss by little.
    screens : Screens
        The screens.
    columns : int
        How many ends there are; line number is start times columns plus end.

    Returns
    -------
    tuple of ndarray and a tuple of three
        The lines' numbers, sorted; and for each pair of line and screen the line's place among them, the screen, and
        whether it blocks.
    """
    count = max(1, len(screens))

    def pairs(met: Crossings) -> IntArray:
        screen = screens.of_sheet[met.sheet]
        chosen = screen >= 0
        return (met.start[chosen] * columns + met.end[chosen]) * count + screen[chosen]

    blocked = np.unique(pairs(crossed))
    beside = np.setdiff1d(pairs(missed), blocked)
    pair = np.concatenate([blocked, beside])
    number, line = np.unique(pair // count, return_inverse=True)
    return number, (line, pair % count, np.arange(len(pair)) < len(blocked))


def around(scene: Scene, starts_m: FloatArray, ends_m: FloatArray, touched: BoolArray) -> Around:
    """Work out the ways around for some lines.

    Parameters
    ----------
    scene : Scene
        The site.
    starts_m, ends_m : ndarray of float, shape (lines, 3)
        Their ends. [m]
    touched : ndarray of bool, shape (lines,)
        Lines that are charged with going through something: where the rule has them clear, they only touch its edge,
        and what arrives past that edge is told as a way over it.

    Returns
    -------
    Around
    """
    radio = scene.plan.radio
    bodies = _bodies(scene)
    ways = ways_around(
        bodies,
        starts_m,
        ends_m,
        wavelength_m=float(wavelength_m(radio.frequency_mhz)),
        polarisation=Polarisation[radio.polarisation.upper()],
    )
    solid = ways.grazed_solid
    first = np.where(solid >= 0, bodies.solid_first[np.maximum(solid, 0)], 0)
    owner = bodies.obstacle[first] if len(bodies.obstacle) else np.zeros(len(solid), dtype=np.int64)
    past = touched & ways.clear
    around_db = ways.loss_db.T.copy()
    around_db[Way.OVER] = np.where(past, ways.grazed_db, around_db[Way.OVER])
    return Around(
        around_db=around_db,
        mirror=ways.mirror.astype(np.int64),
        leave_deg=ways.leave_deg,
        arrive_deg=ways.arrive_deg,
        grazed_db=np.where(past, 0.0, ways.grazed_db),
        grazed_obstacle=np.where(solid >= 0, owner, -1).astype(np.int64),
        leaks=Leaks(
            link=ways.pass_line.astype(np.int64),
            way=ways.pass_way.astype(np.int64),
            owner=ways.pass_obstacle.astype(np.int64),
            passes=ways.pass_count,
            power=ways.pass_power,
        ),
    )


def _bodies(scene: Scene) -> Bodies:
    """The site made ready, once for each scene."""
    kept: Bodies | None = scene.__dict__.get("_around_bodies")
    if kept is None:
        kept = scene_bodies(scene) if scene.shift is None else moved_bodies(scene.shift, _bodies(scene.shift.base))
        scene.__dict__["_around_bodies"] = kept
    return kept
