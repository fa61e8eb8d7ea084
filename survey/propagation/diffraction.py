"""What a wave loses in bending over the edges of steel: one edge, several in a row, and faces between them."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survey.base.arrays import BoolArray, FloatArray

ComplexArray = NDArray[np.complex128]

NODES = 16
"""Points of the quadrature at each edge: within 0.05 dB of 300 points for the edges of a site."""
STRINGS_AT_ONCE = 250
"""How many strings are integrated in one go: few enough to stay in a processor's cache."""
_REACH = 7.0
_CROWDING = 1.6
_CLOSEST = 0.3
"""Edges nearer together than this share of their own widths are computed as if so far apart."""


def knife_edge_loss_db(nu: ArrayLike) -> FloatArray:
    r"""Extra loss of one sharp edge across the path.

    Parameters
    ----------
    nu : array_like
        Fresnel-Kirchhoff parameter, positive where the edge blocks the line. [-]

    Returns
    -------
    ndarray of float
        Loss on top of free space, never negative; zero below nu = -0.78, NaN where `nu` is NaN. [dB]

    Notes
    -----
    .. math:: J(\nu) = 6.9 + 20 \log_{10}(\sqrt{(\nu - 0.1)^2 + 1} + \nu - 0.1)

    after [1]_; within 0.13 dB of the Fresnel integral for nu from -0.7 to 20.

    References
    ----------
    .. [1] Recommendation ITU-R P.526-15 (2019), section 4.1, equation (31).

    Examples
    --------
    >>> knife_edge_loss_db([-1.0, 0.0, 2.4]).round(2).tolist()
    [0.0, 6.03, 20.54]
    """
    nu = np.asarray(nu, dtype=np.float64)
    shifted = nu - 0.1
    loss_db = 6.9 + 20.0 * np.log10(np.sqrt(shifted**2 + 1.0) + shifted)
    return np.where(nu > -0.78, np.maximum(loss_db, 0.0), np.where(np.isnan(nu), np.nan, 0.0))  # noqa: PLR2004  P.526


@lru_cache
def _rule() -> tuple[FloatArray, FloatArray]:
    """Points and weights from 0 to `_REACH`, crowded towards 0."""
    points, weights = np.polynomial.legendre.leggauss(NODES)
    share = (points + 1.0) / 2.0
    return _REACH * share**_CROWDING, weights / 2.0 * _REACH * _CROWDING * share ** (_CROWDING - 1.0)


def edges_amplitude(
    legs_m: FloatArray, turns_rad: FloatArray, below_m: FloatArray, *, wavelength_m: float, along_face: BoolArray
) -> tuple[ComplexArray, ComplexArray]:
    r"""Field behind a row of straight parallel edges, relative to the field over the same length without them.

    Parameters
    ----------
    legs_m : ndarray of float, shape (strings, edges + 1)
        Along the tight string over the edges, from its start to the first, and so on to its end. [m]
    turns_rad : ndarray of float, shape (strings, edges)
        Angle by which the string turns at each edge into the shadow; zero where it passes above. [rad]
    below_m : ndarray of float, shape (strings, edges)
        How far each edge lies below the string; zero where the string turns. [m]
    wavelength_m : float
        Wavelength. [m]
    along_face : ndarray of bool, shape (strings, edges - 1)
        Where the leg between two edges runs along a steel face.

    Returns
    -------
    tuple of two ndarrays of complex, shape (strings,)
        With the electric field square to the faces (hard) and parallel to faces and edges (soft). [-]

    Notes
    -----
    The Fresnel-Kirchhoff integral over the open half-planes above all edges [1]_,

    .. math::

        \sqrt{\frac{D}{\prod d_i}} (2\pi)^{-N/2} \int_0^\infty \!\!\cdots \int_0^\infty
        \prod_i e^{-\frac{x_i^2}{2}(1/d_{i-1} + 1/d_i) + (j - 1) b_i x_i}
        \prod_i \left(e^{x_i x_{i+1} / d_i} \pm e^{-x_i x_{i+1} / d_i}\right) dx_1 \cdots dx_N

    on a path turned by 45 degrees, where nothing oscillates, with :math:`b_i = \sqrt{k/2}\,2\sin(\theta_i/2)` at a
    corner of the string, less :math:`\sqrt{k/2}\,((h_i - h_{i-1})/d_{i-1} + (h_i - h_{i+1})/d_i)` for depths h below
    it. The integrand falls off by the turns of the tight string, however steeply it rises between edges below, so those
    turns say how far it is followed. The second exponential is the image in a steel face between two edges: plus for
    hard, minus for soft, absent where there is no face. So N edges that just graze cost 20 log10(N + 1) dB, and a flush
    face counts once and not twice.

    References
    ----------
    .. [1] L. E. Vogler, "An attenuation function for multiple knife-edge diffraction", Radio Science 17 (1982)
       1541-1546.
    """
    legs_m, turns_rad, below_m = np.atleast_2d(legs_m), np.atleast_2d(turns_rad), np.atleast_2d(below_m)
    if len(legs_m) > STRINGS_AT_ONCE:
        parts = [
            edges_amplitude(
                legs_m[part], turns_rad[part], below_m[part], wavelength_m=wavelength_m, along_face=along_face[part]
            )
            for part in (slice(k, k + STRINGS_AT_ONCE) for k in range(0, len(legs_m), STRINGS_AT_ONCE))
        ]
        return np.concatenate([hard for hard, _ in parts]), np.concatenate([soft for _, soft in parts])
    edges = turns_rad.shape[1]
    points, weights = _rule()
    root_k = np.sqrt(np.pi / wavelength_m)
    steepness = root_k * 2.0 * np.sin(turns_rad / 2.0)
    legs_m, width = _apart(legs_m, steepness)
    total_m = legs_m.sum(axis=1)
    rises = np.diff(below_m, axis=1, prepend=0.0, append=0.0) / legs_m
    steepness = steepness - root_k * (rises[:, :-1] - rises[:, 1:])
    x = width[:, :, None] * points
    curvature = 1.0 / legs_m[:, :-1] + 1.0 / legs_m[:, 1:]
    own = np.exp(-0.5 * curvature[..., None] * x**2 + (1j - 1.0) * steepness[..., None] * x)
    own *= width[:, :, None] * weights
    hard = soft = own[:, 0]
    for i in range(1, edges):
        exponent = x[:, i - 1, :, None] * (x[:, i] / legs_m[:, i, None])[:, None]
        face = np.flatnonzero(along_face[:, i - 1])
        direct = np.exp(np.minimum(exponent, 600.0, out=exponent), out=exponent)
        image = 1.0 / direct[face]
        parted = hard is not soft
        hard, hard_image = _carried(hard, direct), _carried(hard[face], image)
        soft, soft_image = (_carried(soft, direct), _carried(soft[face], image)) if parted else (hard, hard_image)
        if len(face):
            soft = soft.copy()
            hard[face] += hard_image
            soft[face] -= soft_image
        same = hard is soft
        hard = hard * own[:, i]
        soft = hard if same else soft * own[:, i]
    scale = np.sqrt(total_m / np.prod(legs_m, axis=1)) * (2.0 * np.pi) ** (-edges / 2.0)
    return scale * hard.sum(axis=1), scale * soft.sum(axis=1)


def _carried(field: ComplexArray, kernel: FloatArray) -> ComplexArray:
    """Field over one edge, shape (strings, points), carried to the next by a real kernel, (strings, points, points)."""
    parts = np.stack([field.real, field.imag], axis=1) @ kernel
    return np.asarray(parts[:, 0] + 1j * parts[:, 1])


def _apart(legs_m: FloatArray, steepness: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Legs with no two edges too close for the quadrature, and the width of each edge's integral."""

    def widths(legs_m: FloatArray) -> FloatArray:
        total_m = legs_m.sum(axis=1, keepdims=True)
        reached_m = np.cumsum(legs_m, axis=1)[:, :-1]
        width = 1.0 / (np.maximum(steepness, 0.0) + np.sqrt(total_m / (reached_m * (total_m - reached_m))))
        root_m = np.sqrt(legs_m)
        # What passes an edge is no wider than what passes a corner close by, and what spreads on the way.
        for i in range(1, width.shape[1]):
            width[:, i] = np.minimum(width[:, i], width[:, i - 1] + root_m[:, i])
        for i in range(width.shape[1] - 1, 0, -1):
            width[:, i - 1] = np.minimum(width[:, i - 1], width[:, i] + root_m[:, i])
        return np.asarray(width)

    width = widths(legs_m)
    if legs_m.shape[1] > 2:  # noqa: PLR2004  two edges or more
        legs_m = legs_m.copy()
        least_m = (_CLOSEST * np.minimum(width[:, 1:], width[:, :-1])) ** 2
        legs_m[:, 1:-1] = np.maximum(legs_m[:, 1:-1], least_m)
        width = widths(legs_m)
    return legs_m, width


def wedge_ratio(turn_rad: ArrayLike, outer_angle: ArrayLike) -> FloatArray:
    r"""Field behind the edge of a solid wedge, relative to that behind a sharp edge, for the same turn.

    Parameters
    ----------
    turn_rad : array_like
        Angle by which the wave turns into the shadow; at and below zero the ratio is 1. [rad]
    outer_angle : array_like
        Angle outside the wedge in half turns: 2 for a sheet, 1.5 for the edge of a box. [-]

    Returns
    -------
    ndarray of float
        Ratio of amplitudes. [-]

    Notes
    -----
    .. math:: \frac{2 \sin(\alpha / 2) \sin(\pi / n) / n}{\cos(\pi / n) - \cos((\pi + \alpha) / n)}

    the first term of Keller's coefficient for a wedge over that for a half-plane.

    References
    ----------
    .. [1] J. B. Keller, "Geometrical theory of diffraction", J. Opt. Soc. Am. 52 (1962) 116-130.
    .. [2] R. G. Kouyoumjian and P. H. Pathak, Proc. IEEE 62 (1974) 1448-1461.

    Examples
    --------
    >>> wedge_ratio([0.0, 0.2, 0.2], [1.5, 1.5, 2.0]).round(3).tolist()
    [1.0, 1.041, 1.0]
    """
    turn_rad, n = np.broadcast_arrays(np.asarray(turn_rad, dtype=np.float64), np.asarray(outer_angle))
    turns = turn_rad > 1e-6  # noqa: PLR2004  in the limit of no turn the two are the same
    turn = np.where(turns, turn_rad, 1.0)
    wedge = np.sin(np.pi / n) / n / (np.cos(np.pi / n) - np.cos((np.pi + turn) / n))
    return np.where(turns, wedge * 2.0 * np.sin(turn / 2.0), 1.0)
