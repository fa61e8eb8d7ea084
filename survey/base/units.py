"""The only conversions between decibels, powers, angles and lengths."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

SPEED_OF_LIGHT_M_PER_S = 299_792_458.0
"""Exact by the definition of the metre (SI)."""

DIPOLE_GAIN_DBI = 2.15
"""What turns a level relative to a half-wave dipole (e.r.p., dBd) into one relative to an isotropic antenna."""

COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
"""The eight compass words, clockwise from north."""


def compass_word(east_m: float, north_m: float) -> str:
    """Return the nearest of eight compass words for a direction in plan.

    Examples
    --------
    >>> compass_word(-3.0, 0.5)
    'west'
    """
    return COMPASS[round(math.degrees(math.atan2(east_m, north_m)) / 45.0) % len(COMPASS)]


def wavelength_m(frequency_mhz: ArrayLike) -> NDArray[np.float64]:
    """Wavelength in free space.

    Parameters
    ----------
    frequency_mhz : array_like
        Frequency. [MHz]

    Returns
    -------
    ndarray of float
        Wavelength. [m]

    Examples
    --------
    >>> float(wavelength_m(2440.0).round(4))
    0.1229
    """
    return np.asarray(SPEED_OF_LIGHT_M_PER_S / (np.asarray(frequency_mhz, dtype=np.float64) * 1e6))


def db_from_ratio(power_ratio: ArrayLike) -> NDArray[np.float64]:
    """Decibels of a ratio of powers; minus infinity for nothing at all.

    Examples
    --------
    >>> float(db_from_ratio(100.0))
    20.0
    """
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10(np.asarray(power_ratio, dtype=np.float64)))


def ratio_from_db(level_db: ArrayLike) -> NDArray[np.float64]:
    """Ratio of powers that a number of decibels stands for.

    Examples
    --------
    >>> float(ratio_from_db(-30.0))
    0.001
    """
    return np.asarray(np.power(10.0, np.asarray(level_db, dtype=np.float64) / 10.0))


def dbm_from_watt(power_w: ArrayLike) -> NDArray[np.float64]:
    """Level of a power, relative to a milliwatt.

    Examples
    --------
    >>> float(dbm_from_watt(0.025).round(2))
    13.98
    """
    return db_from_ratio(np.asarray(power_w, dtype=np.float64) * 1e3)


def eirp_dbm_from_erp_dbm(erp_dbm: float) -> float:
    """Effective isotropic radiated power of a power given relative to a half-wave dipole.

    Examples
    --------
    >>> round(eirp_dbm_from_erp_dbm(13.979), 2)
    16.13
    """
    return erp_dbm + DIPOLE_GAIN_DBI


def elevation_deg(towards_m: ArrayLike) -> NDArray[np.float64]:
    """Elevation of a direction, positive upward.

    Parameters
    ----------
    towards_m : array_like, shape (..., 3)
        Vector in space. [m]

    Returns
    -------
    ndarray of float, shape (...)
        Angle from level. [deg]

    Examples
    --------
    >>> float(elevation_deg([3.0, 4.0, 5.0]).round(6))
    45.0
    """
    towards_m = np.asarray(towards_m, dtype=np.float64)
    return np.asarray(np.rad2deg(np.arctan2(towards_m[..., 2], np.hypot(towards_m[..., 0], towards_m[..., 1]))))


def direction_of_bearing(bearing_deg: float) -> NDArray[np.float64]:
    """Unit vector in plan of a bearing clockwise from north.

    Examples
    --------
    >>> direction_of_bearing(90.0).round(6).tolist()
    [1.0, 0.0]
    """
    angle_rad = np.deg2rad(bearing_deg)
    return np.array([np.sin(angle_rad), np.cos(angle_rad)])
