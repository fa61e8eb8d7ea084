"""Power that arrives along strings: what bends over their edges, and what grazed edges take away."""

from __future__ import annotations

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.geometry import Lines, Strings
from survey.geometry.hulls import LEAST_NU, MOST_GRAZED, Paths
from survey.propagation.diffraction import edges_amplitude, wedge_ratio
from survey.propagation.slight import smooth
from survey.scene import Scene

BOX_WEDGE = 1.5
"""Outer angle of a box's edge in half turns; a sheet's is 2."""
FULL_NU = -0.6
"""An edge grazed this closely counts in full; from `LEAST_NU` up to here by degrees. J(-0.78) = 0 dB lies between."""


def string_power(strings: Strings, lines: Lines, scene: Scene, *, wavelength_m: float) -> tuple[FloatArray, FloatArray]:
    """Power that arrives along each string, relative to the straight line in free space, and its detour as nu.

    Parameters
    ----------
    strings : Strings
        Strings with their corners and grazed edges.
    lines : Lines
        The lines that they belong to.
    scene : Scene
        Whose radio's polarisation counts.
    wavelength_m : float
        Wavelength. [m]

    Returns
    -------
    tuple of two ndarrays of float, shape (strings,)
        Power ratio, and ``2 sqrt(detour / wavelength)``, the nu of a single edge of that detour. [-]
    """
    length_m = lines.length_m[strings.line]
    paths = strings.paths
    path = paths.with_ends(length_m)
    upright = strings.side < 2  # noqa: PLR2004  over and under: level edges
    hard_share = _hard_share(scene.plan.radio.polarisation, upright)
    at_m, below_m, turns_rad = _along(path, paths.screen >= 0, paths.corners)
    weights, rank = _grazing_weights(paths, at_m, below_m, wavelength_m=wavelength_m)
    power = np.zeros(len(strings))
    for more in range(weights.shape[1]):
        # Corners and the so many closest of the grazed edges: as each comes nearer it takes over from the one before.
        part = np.flatnonzero(weights[:, more] > 0)
        kept = rank[part] <= more
        edges = kept.sum(axis=1)
        order = np.argsort(~kept, axis=1, kind="stable")
        for count in np.unique(edges).tolist():
            these = np.flatnonzero(edges == count)
            chosen, columns = part[these], order[these, :count]
            rows = chosen[:, None]
            along_m = np.concatenate([at_m[rows, :1][:, 0], at_m[rows, columns + 1], at_m[rows, -1:][:, 0]], axis=1)
            legs_m = np.maximum(np.diff(along_m, axis=1), 1e-3)
            bends = turns_rad[rows, columns], below_m[rows, columns]
            hard, soft = _arrived(legs_m, bends, paths.screen[rows, columns], scene, wavelength_m=wavelength_m)
            arrived = hard_share[chosen] * hard + (1.0 - hard_share[chosen]) * soft
            spread = (length_m[chosen] / legs_m.sum(axis=1)) ** 2
            power[chosen] += weights[chosen, more] * np.minimum(arrived * spread, 1.0)
    detour_m = at_m[:, -1] - length_m
    return power, 2.0 * np.sqrt(np.maximum(detour_m, 0.0) / wavelength_m)


def _along(path: FloatArray, used: BoolArray, corners: BoolArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Points of strings as seen along them, from their places in the plane, (strings, points + 2, 2), ends included.

    How far along the tight string each lies, shape (strings, points + 2), and how far below it, (strings, points) [m];
    and the angle by which the string turns at each, (strings, points) [rad].
    """
    below_m = np.zeros(corners.shape)
    grazing = np.flatnonzero(np.any(used & ~corners, axis=1))
    if len(grazing):
        path = path.copy()
        path[grazing, 1:-1], below_m[grazing] = _feet(path[grazing], used[grazing] & ~corners[grazing])
    step = np.diff(path, axis=1)
    at_m = np.zeros(path.shape[:2])
    np.cumsum(np.hypot(step[..., 0], step[..., 1]), axis=1, out=at_m[:, 1:])
    x_m, y_m = step[..., 0], step[..., 1]
    turn_rad = np.arctan2(
        y_m[:, :-1] * x_m[:, 1:] - x_m[:, :-1] * y_m[:, 1:], x_m[:, :-1] * x_m[:, 1:] + y_m[:, :-1] * y_m[:, 1:]
    )
    return at_m, below_m, np.where(corners, turn_rad, 0.0)


def _feet(path: FloatArray, grazed: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Points between the ends with grazed edges put square up onto their legs, and how far below these they lie."""
    number, rows = np.arange(path.shape[1]), np.arange(len(path))[:, None]
    held = np.ones(path.shape[:2], dtype=bool)
    held[:, 1:-1] = ~grazed
    before = np.maximum.accumulate(np.where(held, number, 0), axis=1)[:, 1:-1]
    beyond = np.minimum.accumulate(np.where(held, number, number[-1])[:, ::-1], axis=1)[:, ::-1][:, 1:-1]
    leg, offset = path[rows, beyond] - path[rows, before], path[:, 1:-1] - path[rows, before]
    heading = leg / np.maximum(np.hypot(leg[..., 0], leg[..., 1]), 1e-9)[..., None]
    along_m = np.sum(offset * heading, axis=2)[..., None]
    below_m = heading[..., 1] * offset[..., 0] - heading[..., 0] * offset[..., 1]
    feet = np.where(grazed[..., None], path[rows, before] + along_m * heading, path[:, 1:-1])
    return feet, np.where(grazed, np.maximum(below_m, 0.0), 0.0)


def _arrived(
    legs_m: FloatArray,
    bends: tuple[FloatArray, FloatArray],
    screen: IntArray,
    scene: Scene,
    *,
    wavelength_m: float,
) -> tuple[FloatArray, FloatArray]:
    """Power, hard and soft, behind all edges of strings with as many each, relative to a free path of their length."""
    if not screen.shape[1]:
        return np.ones(len(screen)), np.ones(len(screen))
    turns_rad, below_m = bends
    is_box = scene.screens.is_box[screen]
    along_face = (screen[:, 1:] == screen[:, :-1]) & is_box[:, 1:]
    hard, soft = edges_amplitude(legs_m, turns_rad, below_m, wavelength_m=wavelength_m, along_face=along_face)
    wedge = np.prod(wedge_ratio(turns_rad, np.where(is_box, BOX_WEDGE, 2.0)), axis=1)
    return np.abs(hard * wedge) ** 2, np.abs(soft * wedge) ** 2


def _grazing_weights(
    paths: Paths, at_m: FloatArray, below_m: FloatArray, *, wavelength_m: float
) -> tuple[FloatArray, IntArray]:
    """How much a string counts with none, one, two ... of its grazed edges, and the rank of each of its points.

    The edge nearest to the string comes first. Each further one counts by how close it lies below the line of sight
    between its neighbours among those before it: in the shadow of a higher edge it is not grazed.
    """
    corners, most = paths.corners, paths.screen.shape[1]
    left = (paths.screen >= 0) & ~corners
    nu = np.where(left, paths.nu, -np.inf)
    rank = np.where(corners, 0, most + MOST_GRAZED + 1)
    falling = np.zeros((len(nu), MOST_GRAZED))
    held = np.ones(at_m.shape, dtype=bool)
    held[:, 1:-1] = corners
    depth_m = np.zeros(at_m.shape)
    depth_m[:, 1:-1] = below_m
    rows = np.flatnonzero(nu.max(axis=1, initial=-np.inf) > LEAST_NU)
    for turn in range(MOST_GRAZED if len(rows) else 0):
        best = np.argmax(nu[rows], axis=1)
        closest = nu[rows, best]
        rows, best, closest = (one[closest > LEAST_NU] for one in (rows, best, closest))
        if not len(rows):
            break
        falling[rows, turn] = smooth((closest - LEAST_NU) / (FULL_NU - LEAST_NU))
        rank[rows, best] = turn + 1
        nu[rows, best] = -np.inf
        held[rows, best + 1] = True
        nu[rows] = np.minimum(
            nu[rows], _nu_between(at_m[rows], depth_m[rows], held[rows], wavelength_m=wavelength_m)[:, 1:-1]
        )
    steps = np.concatenate([np.ones((len(nu), 1)), falling, np.zeros((len(nu), 1))], axis=1)
    return steps[:, :-1] - steps[:, 1:], rank


def _nu_between(at_m: FloatArray, depth_m: FloatArray, held: BoolArray, *, wavelength_m: float) -> FloatArray:
    """Points of strings as nu of the line of sight between those neighbours that are held; those held themselves 0."""
    number, rows = np.arange(at_m.shape[1]), np.arange(len(at_m))[:, None]
    before = np.maximum.accumulate(np.where(held, number, 0), axis=1)
    beyond = np.minimum.accumulate(np.where(held, number, at_m.shape[1] - 1)[:, ::-1], axis=1)[:, ::-1]
    ahead_m = np.maximum(at_m - at_m[rows, before], 1e-3)
    behind_m = np.maximum(at_m[rows, beyond] - at_m, 1e-3)
    total_m = ahead_m + behind_m
    sight_m = (depth_m[rows, before] * behind_m + depth_m[rows, beyond] * ahead_m) / total_m
    nu = (sight_m - depth_m) * np.sqrt(2.0 * total_m / (wavelength_m * ahead_m * behind_m))
    return np.asarray(np.where(held, 0.0, nu))


def _hard_share(polarisation: str, upright: BoolArray) -> FloatArray:
    """How much of the power has its electric field square to the edges of a string's plane.

    Vertical fields are square to level edges (over the top) and along upright ones (past the sides); level fields
    the other way about; where the attitude of the antennas is not known, half and half.
    """
    if polarisation == "unknown":
        return np.full(len(upright), 0.5)
    return np.asarray(upright == (polarisation == "vertical"), dtype=np.float64)
