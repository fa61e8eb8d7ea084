"""What a flat plate of building material lets through, from its electrical figures (Recommendation ITU-R P.2040)."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survey.base.units import db_from_ratio, wavelength_m


@dataclass(frozen=True, kw_only=True, slots=True)
class Substance:
    """The four figures of a material in P.2040-3, Table 3, and the frequencies for which they were found.

    Relative permittivity is ``a f**b`` and conductivity ``c f**d`` in S/m, with f in GHz.
    """

    a: float
    b: float
    c: float
    d: float
    low_mhz: float
    high_mhz: float


SUBSTANCES = MappingProxyType(
    {
        "concrete": Substance(a=5.24, b=0.0, c=0.0462, d=0.7822, low_mhz=1e3, high_mhz=100e3),
        "brick": Substance(a=3.91, b=0.0, c=0.0238, d=0.16, low_mhz=1e3, high_mhz=40e3),
        "plasterboard": Substance(a=2.73, b=0.0, c=0.0085, d=0.9395, low_mhz=1e3, high_mhz=100e3),
        "wood": Substance(a=1.99, b=0.0, c=0.0047, d=1.0718, low_mhz=1.0, high_mhz=100e3),
        "glass": Substance(a=6.31, b=0.0, c=0.0036, d=1.3394, low_mhz=100.0, high_mhz=100e3),
        "ceiling board": Substance(a=1.48, b=0.0, c=0.0011, d=1.075, low_mhz=1e3, high_mhz=100e3),
        "chipboard": Substance(a=2.58, b=0.0, c=0.0217, d=0.78, low_mhz=1e3, high_mhz=100e3),
        "plywood": Substance(a=2.71, b=0.0, c=0.33, d=0.0, low_mhz=1e3, high_mhz=40e3),
        "marble": Substance(a=7.074, b=0.0, c=0.0055, d=0.9262, low_mhz=1e3, high_mhz=60e3),
    }
)
"""Recommendation ITU-R P.2040-3 (2023), Table 3: what a wall may be made of, as ``slab`` in a plan."""


def slab_loss_db(
    substance: Substance, *, thickness_m: float, frequency_mhz: float, cos_incidence: ArrayLike = 1.0
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    r"""Loss of a plane wave in passing through a single flat plate.

    Parameters
    ----------
    substance : Substance
        What the plate is made of.
    thickness_m : float
        Its thickness. [m]
    frequency_mhz : float
        Frequency. [MHz]
    cos_incidence : array_like
        Cosine of the angle between the wave and the plate's normal; 1 is square on. [-]

    Returns
    -------
    tuple of two ndarrays of float
        Loss with the electric field along the plate (TE), and with the magnetic field along it (TM). [dB]

    Notes
    -----
    .. math::

        \eta &= a f^b - j\,17.98\,c f^d / f, \quad q = \frac{2 \pi t}{\lambda}\sqrt{\eta - \sin^2 \theta} \\
        T &= \frac{(1 - R^2)\,e^{-jq}}{1 - R^2 e^{-2jq}}

    with R the reflection coefficient of one face. Reflections within the plate are in it, so loss does not simply
    grow with thickness.

    References
    ----------
    .. [1] Recommendation ITU-R P.2040-3 (2023), equations (31), (37), (43b), (44) and Table 3.

    Examples
    --------
    >>> te_db, tm_db = slab_loss_db(SUBSTANCES["brick"], thickness_m=0.11, frequency_mhz=2440.0)
    >>> float(te_db.round(3)), float(tm_db.round(3))
    (3.976, 3.976)
    """
    frequency_ghz = frequency_mhz / 1e3
    conductivity_s_per_m = substance.c * frequency_ghz**substance.d
    eta = substance.a * frequency_ghz**substance.b - 17.98j * conductivity_s_per_m / frequency_ghz
    cosine = np.asarray(cos_incidence, dtype=np.float64)
    root = np.sqrt(eta - (1.0 - cosine**2))
    phase = 2.0 * np.pi * thickness_m / wavelength_m(frequency_mhz) * root
    losses = []
    for face in ((cosine - root) / (cosine + root), (eta * cosine - root) / (eta * cosine + root)):
        through = (1.0 - face**2) * np.exp(-1j * phase) / (1.0 - face**2 * np.exp(-2j * phase))
        losses.append(-db_from_ratio(np.abs(through) ** 2))
    return losses[0], losses[1]
