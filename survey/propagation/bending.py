"""Power that arrives along strings: what bends over their edges, and what grazed edges take away."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from survey.geometry import Lines, Strings
from survey.geometry.hulls import LEAST_NU, MOST_GRAZED
from survey.propagation.diffraction import edges_amplitude, wedge_ratio
from survey.propagation.slight import smooth
from survey.scene import Scene

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

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
    weights, rank = _grazing_weights(paths.screen >= 0, paths.nu)
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
            points = np.concatenate([path[rows, :1][:, 0], path[rows, columns + 1], path[rows, -1:][:, 0]], axis=1)
            step = np.diff(points, axis=1)
            legs_m = np.maximum(np.hypot(step[..., 0], step[..., 1]), 1e-3)
            hard, soft = _arrived(legs_m, step, paths.screen[rows, columns], scene, wavelength_m=wavelength_m)
            arrived = hard_share[chosen] * hard + (1.0 - hard_share[chosen]) * soft
            spread = (length_m[chosen] / legs_m.sum(axis=1)) ** 2
            power[chosen] += weights[chosen, more] * np.minimum(arrived * spread, 1.0)
    turned = path.copy()
    turned[:, 1:-1][rank != 0] = np.nan
    order = np.argsort(np.isnan(turned[..., 0]), axis=1, kind="stable")
    turned = np.take_along_axis(turned, order[..., None], axis=1)
    detour_m = np.nansum(np.hypot(*np.diff(turned, axis=1).transpose(2, 0, 1)), axis=1) - length_m
    return power, 2.0 * np.sqrt(np.maximum(detour_m, 0.0) / wavelength_m)


def _arrived(
    legs_m: FloatArray,
    step_m: FloatArray,
    screen: IntArray,
    scene: Scene,
    *,
    wavelength_m: float,
) -> tuple[FloatArray, FloatArray]:
    """Power, hard and soft, behind all edges of strings with as many each, relative to a free path of their length."""
    if not screen.shape[1]:
        return np.ones(len(screen)), np.ones(len(screen))
    turns_rad = -np.diff(np.arctan2(step_m[..., 1], step_m[..., 0]), axis=1)
    turns_rad = (turns_rad + np.pi) % (2.0 * np.pi) - np.pi
    is_box = scene.screens.is_box[screen]
    along_face = (screen[:, 1:] == screen[:, :-1]) & is_box[:, 1:]
    hard, soft = edges_amplitude(legs_m, turns_rad, wavelength_m=wavelength_m, along_face=along_face)
    wedge = np.prod(wedge_ratio(turns_rad, np.where(is_box, BOX_WEDGE, 2.0)), axis=1)
    return np.abs(hard * wedge) ** 2, np.abs(soft * wedge) ** 2


def _grazing_weights(used: BoolArray, nu: FloatArray) -> tuple[FloatArray, IntArray]:
    """How much a string counts with none, one, two ... of its grazed edges, and the rank of each of its points."""
    weight = np.where(used & np.isfinite(nu), smooth((nu - LEAST_NU) / (FULL_NU - LEAST_NU)), 0.0)
    grazes = weight > 0
    order = np.argsort(-weight, axis=1, kind="stable")
    rank = np.empty(weight.shape, dtype=np.int64)
    np.put_along_axis(rank, order, np.broadcast_to(np.arange(1, weight.shape[1] + 1), weight.shape), axis=1)
    rank = np.where(grazes, rank, np.where(used & ~np.isfinite(nu), 0, weight.shape[1] + MOST_GRAZED + 1))
    falling = np.take_along_axis(weight, order, axis=1)[:, :MOST_GRAZED]
    steps = np.concatenate([np.ones((len(weight), 1)), falling, np.zeros((len(weight), 1))], axis=1)
    return steps[:, :-1] - steps[:, 1:], rank


def _hard_share(polarisation: str, upright: BoolArray) -> FloatArray:
    """How much of the power has its electric field square to the edges of a string's plane.

    Vertical fields are square to level edges (over the top) and along upright ones (past the sides); level fields
    the other way about; where the attitude of the antennas is not known, half and half.
    """
    if polarisation == "unknown":
        return np.full(len(upright), 0.5)
    return np.asarray(upright == (polarisation == "vertical"), dtype=np.float64)
